"""Lime quality: fineness factors and the figure each jurisdiction prints."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from loambrief.agronomy.possible import NotNegative, Percent, Positive, percent
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, load

SCHEMES = "acidity/fineness_schemes"


def schemes() -> tuple[str, ...]:
    return load(SCHEMES).column("scheme")


def lime_scheme(name: str) -> DataRow:
    """Row of a lime quality scheme; UnknownName without one."""
    return load(SCHEMES).find("fineness scheme", scheme=name)


def sieves_of(name: str) -> tuple[int, ...]:
    """Sieves (mesh) a scheme needs, coarsest first."""
    bins = load("acidity/fineness_sieves").where(scheme=name)
    found = {int(r[c]) for r in bins for c in ("passes_mesh", "held_on_mesh") if r[c]}
    return tuple(sorted(found))


def _passing(name: str, passing: object) -> dict[int, float]:
    """Percentages by mesh number, checked."""
    if not isinstance(passing, Mapping) or not passing:
        raise ImpossibleInput('passing must give the share passing each sieve, like {"60": 55}')
    found: dict[int, float] = {}
    for mesh, share in passing.items():
        digits = "".join(c for c in str(mesh) if c.isdigit())
        if not digits or isinstance(share, bool) or not isinstance(share, int | float):
            raise ImpossibleInput(f"{mesh!r}: {share!r} is not a sieve with a percentage")
        percent(**{f"passing {digits} mesh": float(share)})
        found[int(digits)] = float(share)
    ordered = sorted(found.items())
    for (coarse, more), (fine, less) in pairwise(ordered):
        if less > more:
            raise ImpossibleInput(
                f"more passes {fine} mesh ({less:g}) than {coarse} mesh ({more:g})")
    lacking = [mesh for mesh in sieves_of(name) if mesh not in found]
    if lacking:
        raise ImpossibleInput(f"{name} needs the share passing {', '.join(map(str, lacking))} mesh")
    return found


def _factor(name: str, passing: object) -> float:
    found = _passing(name, passing)
    found[0] = 100.0
    total = 0.0
    for row in load("acidity/fineness_sieves").where(scheme=name):
        held = found[int(row["held_on_mesh"])] if row["held_on_mesh"] is not None else 0.0
        total += (found[int(row["passes_mesh"])] - held) * row["factor"]
    return total


@formula(unit="%", source="state-lime-laws", locator="by the named scheme", how="memory")
def fineness_factor_pct(scheme: str, passing: Mapping[str, float]) -> Answer:
    """Fineness factor of a lime by one jurisdiction's sieves.

    Parameters
    ----------
    scheme : str
        ``new_york``, ``missouri``, ``iowa``, ``nebraska_lesson``, ``ohio``, ``minnesota``,
        ``wisconsin``, ``kentucky``, ``oklahoma_kansas``, ``illinois_1_year``,
        ``illinois_4_year``, ``ontario`` or ``oregon``.
    passing : mapping
        Mesh number -> share of the material passing that sieve [%], e.g.
        ``{"8": 95, "20": 70, "60": 50}``.

    Returns
    -------
    float
        Fineness factor [%].

    Raises
    ------
    UnknownName
        No such scheme.
    ImpossibleInput
        A sieve of the scheme is missing, a share is outside 0 to 100 %, or more passes a finer
        sieve than a coarser one.

    Notes
    -----
    Sum over the bins of (share in the bin) x (factor of the bin). The factors differ by law: the
    same lime is worth more in one place than in another. Sources: cornell-cca-lime; mo-aglime-law;
    laboski-liming-terms; unl-passel-lime-quality; oda-lime-label; mda-lime-analysis.
    """
    row = lime_scheme(scheme)
    return by_row(row, _factor(scheme, passing), details={"jurisdiction": row["jurisdiction"]})


@formula(unit="%", source="state-lime-laws", locator="by the named scheme", how="memory")
def lime_quality(
    scheme: str, cce_pct: NotNegative, passing: Mapping[str, float], moisture_pct: Percent = 0.0
) -> Answer:
    """The quality figure that a jurisdiction prints for a lime: ENP, ENM, ECCE, ENV, RNV, NI.

    Parameters
    ----------
    scheme : str
        See ``fineness_factor_pct``.
    cce_pct : float
        Calcium carbonate equivalent of the dry material [%].
    passing : mapping
        Mesh number -> share passing [%].
    moisture_pct : float
        Water in the material [%].

    Returns
    -------
    float
        Quality [% or lb/ton by the scheme]. ``details`` hold ``fineness_pct``,
        ``effective_pct`` (share of the material as spread that counts) and ``term``.

    Raises
    ------
    UnknownName
        No such scheme.
    ImpossibleInput
        As ``fineness_factor_pct``; a negative CCE; moisture outside 0 to 100 %.

    Notes
    -----
    CCE/100 x fineness/100 x (1 - moisture/100) x full value: 2000 lb/ton for ENP and ECCE in
    pounds, 800 for ENM in Missouri, 100 for percentages. Sources: laboski-liming-terms (Iowa
    example); mo-aglime-law; oda-lime-label; mda-lime-analysis.
    """
    row = lime_scheme(scheme)
    fineness = _factor(scheme, passing)
    share = cce_pct / 100.0 * fineness / 100.0 * (1.0 - moisture_pct / 100.0)
    return by_row(row, share * row["full_value"], unit=row["unit"],
                  details={"fineness_pct": fineness, "effective_pct": 100.0 * share,
                           "term": row["term"], "jurisdiction": row["jurisdiction"]})


@formula(unit="ton/ac", source="labarge-2014-enp", locator="tons of lime material", how="seen")
def lime_by_quality(requirement: NotNegative, quality: Positive, full_value: Positive) -> float:
    """Tons of a lime from its printed quality figure.

    Parameters
    ----------
    requirement : float
        Lime needed [ton/ac of full quality, or lb/ac of effective material when ``full_value``
        is 1].
    quality : float
        Figure on the label [lb/ton or %].
    full_value : float
        Figure of full quality: 2000 for ENP in lb/ton, 100 for percentages; 1 where the
        requirement itself is in lb of effective material per acre (Missouri).

    Notes
    -----
    requirement x full value / quality. Sources: mfgc-lime-contest; miller-mu-lime.
    """
    return requirement * full_value / quality
