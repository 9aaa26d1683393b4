"""A shallow slice beside the layer it is part of, property by property."""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result, subject
from loambrief.case.measurements import layered
from loambrief.case.schema import Increment, Sample
from loambrief.case.select import SURFACE_MAX_IN, main_increment, surface_increment
from loambrief.errors import ImpossibleInput
from loambrief.findings.model import Place
from loambrief.findings.places import place_of
from loambrief.topics.stratification.formulas import (
    layer_ratio,
    layer_weighted_mean,
    lower_layer_value,
)
from loambrief.units import plain


@dataclass(frozen=True)
class Layer:
    """One property in the surface slice, the whole layer and the soil below.

    ``below_by``: ``measured`` (its own slice) or ``balance``. ``impossible``: the slice holds
    more than the whole layer. ``limit``: the lab gave only a limit for one of them, so nothing
    is worked out.
    """

    name: str
    unit: str
    top: float | None
    whole: float | None
    below: float | None = None
    below_by: str = ""
    ratio: float | None = None
    impossible: bool = False
    limit: bool = False
    results: tuple[Result, ...] = ()


@dataclass(frozen=True)
class LayerState:
    sample: Sample
    place: Place
    surface: Increment
    whole: Increment
    """``surface``, ``whole``: the shallow slice, and the layer from the surface it is compared with
    (or the slice right below, if only that was taken: ``nested`` is then False)."""
    nested: bool
    layers: tuple[Layer, ...]
    surface_ph: float | None
    whole_ph: float | None

    @property
    def impossible(self) -> tuple[Layer, ...]:
        return tuple(layer for layer in self.layers if layer.impossible)

    @property
    def results(self) -> tuple[Result, ...]:
        return tuple(r for layer in self.layers for r in layer.results)

    def layer(self, name: str) -> Layer | None:
        return next((x for x in self.layers if x.name == name), None)


def _partner(sample: Sample, surface: Increment) -> tuple[Increment | None, bool]:
    """The layer to compare with: one from the surface, else the slice right below."""
    whole = main_increment(sample)
    if whole is not None:
        return whole, True
    below = [i for i in sample.increments if abs(i.top_in - surface.bottom_in) < 0.01]
    return (below[0], False) if below else (None, False)


def _layer(name: str, unit: str, surface: Increment, other: Increment, nested: bool,
           sample: Sample) -> Layer | None:
    first, second = getattr(surface, name), getattr(other, name)
    if first is None or second is None:
        return None
    top, value = plain(first), plain(second)
    if top is None or value is None:
        return Layer(name, unit, top, value, limit=True)
    results: list[Result] = []
    below, by, whole = value, "measured", value
    with subject(place_of(sample, surface)):
        if nested:
            measured = _measured_below(sample, surface, other, name)
            if measured is not None:
                below = measured
            else:
                try:
                    balance = lower_layer_value.evaluate(
                        top_value=top, top_depth=surface.bottom_in, whole_value=value,
                        whole_depth=other.bottom_in)
                except ImpossibleInput:
                    return Layer(name, unit, top, value, impossible=True)
                results.append(balance)
                below, by = float(balance.value), "balance"
        else:
            mean = layer_weighted_mean.evaluate(
                values=[top, value], thicknesses=[surface.thickness_in, other.thickness_in])
            results.append(mean)
            whole = float(mean.value)
        ratio = None
        if below > 0:
            found = layer_ratio.evaluate(top_value=top, below_value=below)
            results.append(found)
            ratio = float(found.value)
    return Layer(name, unit, top, whole, below, by, ratio, results=tuple(results))


def _measured_below(sample: Sample, surface: Increment, whole: Increment, name: str
                    ) -> float | None:
    """Value of a slice that runs from the surface slice to the bottom of the layer."""
    for i in sample.increments:
        if (abs(i.top_in - surface.bottom_in) < 0.01
                and abs(i.bottom_in - whole.bottom_in) < 0.01):
            return plain(getattr(i, name))
    return None


def layer_state(sample: Sample) -> LayerState | None:
    """Layers of a sample; None without a shallow slice and something to hold it against."""
    surface = surface_increment(sample)
    if surface is None or surface.bottom_in > SURFACE_MAX_IN:
        return None
    whole, nested = _partner(sample, surface)
    if whole is None:
        return None
    layers = [_layer(m.field, m.unit, surface, whole, nested, sample) for m in layered()]
    return LayerState(sample, place_of(sample), surface, whole, nested,
                      tuple(x for x in layers if x is not None), surface.ph, whole.ph)
