"""Layers: what the soil below a shallow slice must hold, and how strongly it is layered."""

from __future__ import annotations

from collections.abc import Sequence

from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load


def figure(subject: str) -> float:
    return load("stratification/figures").find(subject=subject)["statement_value"]


def _depths(top_depth: float, whole_depth: float) -> None:
    if top_depth <= 0:
        raise ImpossibleInput("top_depth must be above zero")
    if whole_depth <= top_depth:
        raise ImpossibleInput("whole_depth must be greater than top_depth")


@formula(unit="same as values", source="layer-mass-balance",
         locator="whole = weighted mean of its parts", how="computed",
         valid={"top_depth": (0.5, 8.0), "whole_depth": (2.0, 24.0)})
def lower_layer_value(
    top_value: NotNegative, top_depth: float, whole_value: NotNegative, whole_depth: float
) -> Answer:
    """Value of the soil below a shallow slice, by mass balance.

    Parameters
    ----------
    top_value : float
        Result of the shallow slice [any unit that adds up over depth, e.g. ppm or %].
    top_depth : float
        Bottom of the shallow slice, from the surface [in or cm].
    whole_value : float
        Result of the whole layer from the surface [same unit].
    whole_depth : float
        Bottom of the whole layer [unit of ``top_depth``].

    Raises
    ------
    ImpossibleInput
        A negative value, depths that do not nest, or a slice that holds more than the whole
        layer (the soil below would hold less than nothing).

    Notes
    -----
    (whole x whole depth - top x top depth) / (whole depth - top depth), with one bulk density
    for both. A looser surface holds less soil, which makes the true lower value higher than
    this. Not for pH, which does not add up.
    """
    _depths(top_depth, whole_depth)
    left = whole_value * whole_depth - top_value * top_depth
    if left < -1e-9 * max(whole_value * whole_depth, 1.0):
        raise ImpossibleInput(
            f"the slice alone holds more ({top_value:g} x {top_depth:g}) than the whole layer "
            f"({whole_value:g} x {whole_depth:g})"
        )
    return Answer(max(left, 0.0) / (whole_depth - top_depth),
                  notes=("assumes one bulk density in both layers",))


@formula(unit="1", source="layer-mass-balance", locator="top over below", how="computed")
def layer_ratio(top_value: NotNegative, below_value: Positive) -> float:
    """How many times richer the top is than the soil below.

    Parameters
    ----------
    top_value, below_value : float
        Results of the two layers [same unit].

    Notes
    -----
    top / below. Not for pH.
    """
    return top_value / below_value


@formula(unit="same as values", source="layer-mass-balance", locator="weighted mean",
         how="computed")
def layer_weighted_mean(values: Sequence[float], thicknesses: Sequence[float]) -> float:
    """Value of a whole core from its slices.

    Parameters
    ----------
    values : sequence of float
        Results of the slices [any unit that adds up over depth].
    thicknesses : sequence of float
        Thickness of each slice [in or cm].

    Raises
    ------
    ImpossibleInput
        Empty, unequal lengths, a negative value or a thickness of zero.

    Notes
    -----
    Sum of value x thickness over sum of thickness, one bulk density. Not for pH.
    """
    if isinstance(values, str) or isinstance(thicknesses, str) or not values:
        raise ImpossibleInput("values and thicknesses are lists of numbers")
    if len(values) != len(thicknesses):
        raise ImpossibleInput(f"{len(values)} values for {len(thicknesses)} thicknesses")
    if any(v < 0 for v in values) or any(t <= 0 for t in thicknesses):
        raise ImpossibleInput("values must not be negative and thicknesses must be above zero")
    return sum(v * t for v, t in zip(values, thicknesses, strict=True)) / sum(thicknesses)
