"""Ranges of what saline and sodic soil needs, and of its exchangeable sodium."""

import math
from dataclasses import dataclass
from typing import Any

from loambrief.agronomy.intervals import RECTANGLE, Z, log_ends, within_limits
from loambrief.agronomy.registry import Result, recording
from loambrief.findings.model import Need
from loambrief.topics.salinity.formulas_gypsum import gypsum_requirement_us
from loambrief.topics.salinity.formulas_sodicity import constant
from loambrief.topics.salinity.formulas_water import reclamation_leaching_in
from loambrief.topics.salinity.state import SaltState
from loambrief.topics.sampling.formulas_error import answer_range
from loambrief.topics.sampling.pooled import composite_error, relative_error
from loambrief.units import plain

LEAST_LEACHING_IN = 1.0
"""Less water than this is no leaching; the yearly share does it (our own step)."""


def ends_of(span: Result | None) -> tuple[float | None, float | None]:
    """Ends of a range; none where a part of its errors is not known."""
    return (None, None) if span is None else (span.details["low"], span.details["high"])


def _errors(state: SaltState) -> tuple[float, float] | None:
    """Relative errors of sodium and of CEC [%]; None where the cores were not counted."""
    cec = plain(state.layer.increment.cec)
    if cec is None:
        return None
    sodium = _sodium_error(state, state.exchange.value * cec / 100.0)
    charge = composite_error("cec", state.sample, state.layer.increment, cec)
    return None if sodium is None or charge is None else (sodium, charge.pct)


def _ways(state: SaltState) -> tuple[float, float]:
    """Ends of the ESP by the ways that were open to it, its best value among them [%]."""
    ways = [e.value for e in state.esps if e.kind != "at most"]
    return within_limits(state.exchange.value, min(ways), max(ways))


def esp_range(state: SaltState) -> Result | None:
    """Range of the ESP [%]; None without one, or where the cores were not counted.

    From the errors of sodium and CEC, the latter not where the sodium of an extract told the ESP,
    and the ways to it where several were open.
    """
    esp = state.esp
    errors = None if esp is None else _errors(state)
    if esp is None or errors is None:
        return None
    shared = () if esp.kind == "from SAR" else log_ends(esp.value, errors[1])
    return answer_range(esp.value, log_ends(esp.value, errors[0]), shared, _ways(state))


def one_error_below(span: Result) -> float:
    """What a range stands on, one standard error lower."""
    return span.number - (span.number - float(span.details["low"])) / Z


def gypsum_range(state: SaltState, best: Result, inputs: dict[str, Any], share: Result | None,
                  line: float) -> Result | None:
    """Range of the gypsum [ton/ac]; None where the cores were not counted.

    From the errors of sodium and CEC, the ways to the ESP where several were open, and the
    published factor for calcium that misses. It reaches down to nothing where the range of the
    ESP reaches the line below which no gypsum is due. Target and depth are chosen.
    """
    errors = _errors(state)
    if errors is None or share is None:
        return None
    (sodium, charge), esp, cec = errors, state.exchange, float(inputs["cec_meq"])
    factor = constant("safety_factor")

    def at(esp_pct: float = esp.value, times: float = factor, cec_meq: float = cec) -> float:
        return float(gypsum_requirement_us.evaluate(**{
            **inputs, "cec_meq": cec_meq, "esp_pct": min(esp_pct, 100.0),
            "efficiency": 1.0 / times}).value)

    def with_cec(value: float) -> float:
        shared = esp.value if esp.kind == "from SAR" else esp.value * cec / value
        return at(shared, cec_meq=value)

    with recording():  # the range itself is recorded with what each error comes to
        alone = (
            [at(e) for e in log_ends(esp.value, sodium)],
            [with_cec(c) for c in log_ends(cec, charge)],
            [at(e) for e in _ways(state)],
            [at(times=f) for f in within_limits(factor, constant("f_factor_low"),
                                                constant("f_factor_high"))],
            [0.0] if float(share.details["low"]) < line else (),
        )
    return answer_range(float(best.value), *alone)


def _sodium_error(state: SaltState, meq: float) -> float | None:
    """Relative error of the sodium [%]: of a composite, or of pooled samples where that is more."""
    typical = composite_error("sodium", state.sample, state.layer.increment, meq)
    pooled = 100.0 * relative_error(state.layer.increment, "exchangeable_sodium", "sodium")
    return None if typical is None else max(typical.pct, pooled)


@dataclass(frozen=True)
class Leaching:
    """Leaching of a root zone as a function of its ECe, for the range."""

    target: float
    depth: float
    water_ec: float

    def at(self, ece: float) -> Result:
        return reclamation_leaching_in.evaluate(
            ece_ds_m=ece, target_ece_ds_m=self.target, soil_depth_in=self.depth,
            ecw_ds_m=self.water_ec)

    def none_at(self, ece: float) -> bool:
        """Too little for leaching at this ECe."""
        return self.at(ece).number < LEAST_LEACHING_IN

    def end(self, salt: float, salts: tuple[float, float], side: str) -> float:
        """One end of the range: every error moves by its part of the way, all at once.

        The rules of leaching lie the closer together the less salt there is to move, so the end
        is not the sum of what each error comes to alone.
        """
        best = self.at(salt)
        moved = [self.at(end).number - best.number for end in salts]
        moved.append(RECTANGLE * (float(best.details[side]) - best.number))
        whole = math.hypot(*moved)
        if whole == 0.0:
            return best.number
        parts = [abs(m) / whole for m in moved]
        there = self.at(salt * math.prod((end / salt) ** part for end, part in zip(
            salts, parts, strict=False)))
        return there.number + parts[-1] * RECTANGLE * (
            float(there.details[side]) - there.number)


def leaching_range(state: SaltState, leaching: Leaching) -> tuple[Result | None, bool | None]:
    """Range of the leaching depth [in], and whether none may be needed one standard error away.

    Both None where the cores were not counted. From the error of the EC, the equations that
    turned it into an ECe, and the rules of leaching, which differ. It reaches down to nothing
    where the range of the ECe does. The water's own salt is taken as read, the target is chosen.
    """
    error = composite_error("ec", state.sample, state.layer.increment, state.salt)
    if error is None:
        return None, None
    salt = state.salt
    by_test = log_ends(salt, error.pct)
    by_equation = within_limits(salt, *(state.root_equations or (salt, salt)))
    with recording():  # the range itself is recorded with its ends
        low, high = (leaching.end(salt, (by_test[n], by_equation[n]), side)
                     for n, side in enumerate(("low", "high")))
        none = leaching.none_at(by_test[0])
        near = leaching.none_at(salt * (by_test[0] / salt) ** (1.0 / Z))
        best = leaching.at(salt).number
    return answer_range(best, [low, high], [0.0] if none else ()), near


def wash_range(gypsum: Need, water: Result) -> Result | None:
    """Range of the water that dissolves a gypsum of its own range [in]."""
    if gypsum.low is None or gypsum.high is None or not gypsum.amount:
        return None
    per_ton = water.number / gypsum.amount
    return answer_range(water.number, (gypsum.low * per_ton, gypsum.high * per_ton),
                        within_limits(water.number, float(str(water.details["low"])),
                                      float(str(water.details["high"]))))
