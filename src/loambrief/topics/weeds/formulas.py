"""Weeds as screening signs: means of indicator values, their error, and cover classes."""

from __future__ import annotations

import math
from collections.abc import Iterable

from loambrief.agronomy.possible import Percent
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.topics.weeds.formulas_names import constant

INDIFFERENT = ("x", "?", "")


def _ranks(values: Iterable[object]) -> list[float | None]:
    """Indicator ranks; None for a plant that is indifferent or has no value."""
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise ImpossibleInput("values: a list of indicator values is needed")
    found: list[float | None] = []
    for value in values:
        if value is None or (isinstance(value, str) and value.strip().lower() in INDIFFERENT):
            found.append(None)
            continue
        try:
            rank = float(value)  # type: ignore[arg-type]
        except (TypeError, ValueError):
            raise ImpossibleInput(f"values: {value!r} is not an indicator value") from None
        if not 0 <= rank <= 12:
            raise ImpossibleInput(f"values: {rank:g} is not on a scale from 0 to 12")
        found.append(rank)
    return found


def _weights(weights: Iterable[float] | None, count: int) -> list[float]:
    if weights is None:
        return [1.0] * count
    found = [float(w) for w in weights]
    if len(found) != count:
        raise ImpossibleInput(f"weights: {len(found)} for {count} values")
    if any(not math.isfinite(w) or w < 0 for w in found):
        raise ImpossibleInput("weights: a weight cannot be negative")
    return found


@formula(unit="rank", source="loambrief-weed-rule", locator="weighted mean", how="convention",
         evidence="screening sign")
def indicator_mean(
    values: Iterable[float | str | None], weights: Iterable[float] | None = None
) -> Answer:
    """Weighted mean of the indicator values of the weeds of one place.

    Parameters
    ----------
    values : sequence of float, str or None
        Indicator values of one axis in one system [rank]; ``"x"``, ``"?"``, empty or None for
        a plant that is indifferent or has no value: it is left out.
    weights : sequence of float, optional
        One weight per value, see ``indicator_weight``; all 1 if absent.

    Returns
    -------
    float
        Mean [rank]; ``details`` hold ``n`` (values used), ``dropped``, ``n_eff`` (effective
        number of species), ``s`` (weighted standard deviation), ``standard_error`` (s over the
        root of n_eff), ``error`` (the same with the floor for systems that disagree) and
        ``enough`` ("yes" or "no").

    Raises
    ------
    ImpossibleInput
        No usable value, a value off the scale, a negative weight, or unequal lengths.

    Notes
    -----
    m = sum(w v)/sum(w); s² = sum(w (v - m)²)/sum(w); n_eff = sum(w)²/sum(w²); error = sqrt(s²/n_eff
    + 1.0²). Ranks are averaged as if they were measures, which they are not. Below five effective
    species ``enough`` is "no" and the mean is not to be read. Weights by the root of cover follow
    Schaffers and Sykora (2000) and Ewald (2003), who found that the kind of weighting matters
    little. Sources: schaffers-sykora-2000; ewald-2003.
    """
    ranks = _ranks(values)
    pairs = [(v, w) for v, w in zip(ranks, _weights(weights, len(ranks)), strict=True)
             if v is not None and w > 0]
    if not pairs:
        raise ImpossibleInput("values: no plant with a value on this axis")
    total = sum(w for _, w in pairs)
    mean = sum(v * w for v, w in pairs) / total
    spread = math.sqrt(sum(w * (v - mean) ** 2 for v, w in pairs) / total)
    effective = total**2 / sum(w * w for _, w in pairs)
    enough = effective >= constant("minimum_effective_species") - 1e-9
    return Answer(
        mean,
        notes=("a screening sign, not a test",),
        details={
            "n": len(pairs), "dropped": len(ranks) - len(pairs), "n_eff": effective, "s": spread,
            "standard_error": spread / math.sqrt(effective),
            "error": math.sqrt(spread**2 / effective + constant("class_error_floor") ** 2),
            "enough": "yes" if enough else "no",
        },
        within_range=enough,
    )


@formula(unit="1", source="loambrief-weed-rule", locator="weights", how="convention",
         evidence="screening sign", valid={"cover_pct": (0, 100)})
def indicator_weight(certainty: float, cover_pct: Percent) -> float:
    """Weight of one weed in a mean of indicator values.

    Parameters
    ----------
    certainty : float
        How sure the name is, 0 to 1 (certain 1.0, probable 0.7, possible 0.4: our choice).
    cover_pct : float
        Share of the ground it covers [%].

    Raises
    ------
    ImpossibleInput
        A certainty outside 0 to 1 or a cover outside 0 to 100 percent.

    Notes
    -----
    w = c sqrt(cover). Sources: ewald-2003.
    """
    if not 0 <= certainty <= 1:
        raise ImpossibleInput(f"certainty {certainty:g} is not from 0 to 1")
    return certainty * math.sqrt(cover_pct)
