"""Forage, water and tissue tests as parts of the case schema."""

from typing import Annotated

from loambrief.case import quantities as q
from loambrief.case.part import Part


class Forage(Part):
    """One forage test, dry-matter basis."""

    id: q.Identifier
    kind: Annotated[str, q.choice(("legume", "grass", "mixed"))]
    species: q.Name | None = None
    cutting: q.Name | None = None
    date: q.Date
    lab: q.Name | None = None
    cores: Annotated[int, q.count(1, 500, "a number of cores")] | None = None
    adf: q.Percent | None = None
    ndf: q.Percent | None = None
    crude_protein: q.Percent | None = None
    ether_extract: q.Percent | None = None
    ash: q.Percent | None = None
    ndfd_48h: q.Percent | None = None
    ndfd_30h: q.Percent | None = None
    nsc: q.Percent | None = None
    lignin: q.Percent | None = None
    starch: q.Percent | None = None
    wsc: q.Percent | None = None
    tdn: q.Percent | None = None
    calcium: q.Percent | None = None
    phosphorus: q.Percent | None = None
    magnesium: q.Percent | None = None
    potassium: q.Percent | None = None
    sulfur: q.Percent | None = None
    sodium: q.Percent | None = None
    chloride: q.Percent | None = None
    copper: q.Concentration | None = None
    zinc: q.Concentration | None = None
    manganese: q.Concentration | None = None
    iron: q.Concentration | None = None
    molybdenum: q.Concentration | None = None
    selenium: q.Concentration | None = None
    nitrate: q.Concentration | None = None
    nitrate_as: Annotated[str, q.choice(("no3-n", "no3", "kno3"))] | None = None


class Water(Part):
    """Irrigation water test."""

    source: q.Name
    date: q.Date
    lab: q.Name | None = None
    ec: q.Conductivity | None = None
    ph: q.PH | None = None
    calcium: q.Solution | None = None
    magnesium: q.Solution | None = None
    sodium: q.Solution | None = None
    potassium: q.Solution | None = None
    bicarbonate: q.Solution | None = None
    carbonate: q.Solution | None = None
    sulfate: q.Solution | None = None
    chloride: q.Solution | None = None
    boron: q.MgPerLitre | None = None
    nitrate_n: q.MgPerLitre | None = None
    iron: q.MgPerLitre | None = None
    manganese: q.MgPerLitre | None = None
    copper: q.MgPerLitre | None = None
    zinc: q.MgPerLitre | None = None
    selenium: q.MgPerLitre | None = None
    molybdenum: q.MgPerLitre | None = None
    dissolved_solids: q.MgPerLitre | None = None


class TissueTest(Part):
    """One test of plant tissue: dry matter, fresh sap only for ``sap_nitrate_n``."""

    id: q.Identifier
    crop: q.Name | None = None
    """Of the plant that was sampled, where it is not the field's crop."""
    place: q.Name | None = None
    part: q.Name
    stage: q.Name
    date: q.Date
    lab: q.Name | None = None
    method: q.Name | None = None
    nitrogen: q.Percent | None = None
    phosphorus: q.Percent | None = None
    potassium: q.Percent | None = None
    calcium: q.Percent | None = None
    magnesium: q.Percent | None = None
    sulfur: q.Percent | None = None
    iron: q.Concentration | None = None
    manganese: q.Concentration | None = None
    zinc: q.Concentration | None = None
    boron: q.Concentration | None = None
    copper: q.Concentration | None = None
    nitrate_n: q.Concentration | None = None
    sap_nitrate_n: q.MgPerLitre | None = None
