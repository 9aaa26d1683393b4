"""A tissue test as a part of the case schema."""

from loambrief.case import quantities as q
from loambrief.case.part import Part


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
