"""Lime needed by one sample: which table, which depth, how much, and what others say."""

from dataclasses import dataclass, replace
from typing import Any

from loambrief.agronomy.intervals import plain_ends, within_limits
from loambrief.agronomy.registry import Result, recording, subject
from loambrief.case.schema import Analysis, CaseFile, Increment
from loambrief.case.select import sample_area_ac
from loambrief.errors import ImpossibleInput
from loambrief.findings.crop_kinds import known_crop, now_and_next, standing, stays
from loambrief.findings.model import Message, Need, NeedKind, say, sources_of
from loambrief.findings.places import place_of
from loambrief.topics.acidity.formulas import (
    UNCALIBRATED,
    constant,
    effective_lime_pct,
    lime_credit,
    lime_passes,
)
from loambrief.topics.acidity.formulas_lime import (
    fits_buffer,
    lime_requirement,
    lime_table,
    regions_of,
    tables_for,
    targets_of,
)
from loambrief.topics.acidity.formulas_quality import fineness_factor_pct
from loambrief.topics.acidity.state import AcidState, region_of, untilled
from loambrief.topics.sampling.formulas_error import answer_range
from loambrief.units import LB_PER_TON, plain

DEFAULT_TABLE = {"smp": "smp", "sikora": "smp", "mehlich": "mehlich_north_carolina",
                 "modified-mehlich": "mehlich_penn_state", "adams-evans": "adams_evans",
                 "moore-sikora": "adams_evans", "woodruff": "woodruff"}
"""Table used where neither the case nor the region names one."""
NOT_FIELD = ("smp_organic", "mehlich_penn_state_turf")
"""Tables that are not alternatives for a mineral field soil."""
SAME_CALIBRATION = ("smp", "tri_state_1995")
"""Two prints of one calibration: the other one is no second opinion."""
DAYS_PER_MONTH = 365.25 / 12
LEGUMES = ("legume", "alfalfa")
FAR_BELOW_PH = 0.8
"""So far below its target a stand of a legume is not seeded before lime has worked: our own
step."""


@dataclass(frozen=True)
class TableChoice:
    """Which lime table is used and why.

    ``by``: ``case`` (the adviser named it), ``region``, ``buffer`` (default of the buffer) or
    ``organic``. ``problem``: a message where the table cannot be used.
    """

    name: str | None
    by: str = ""
    problem: Message | None = None


@dataclass(frozen=True)
class LimeNeed:
    """Lime of one sample, and what stands around it."""

    need: Need
    choice: TableChoice
    best: Result | None = None
    alternatives: tuple[Result, ...] = ()
    depth_in: float = 0.0
    depth_by: str = ""
    credit: tuple[Result, ...] = ()
    uncredited: tuple[str, ...] = ()

    @property
    def rate(self) -> Result:
        """The chosen table's rate, where the caller knows that there is one."""
        assert self.best is not None
        return self.best

    @property
    def spread(self) -> float | None:
        """Largest over smallest printed rate, or None."""
        rates = [r for r in self.printed.values() if r > 0]
        return max(rates) / min(rates) if len(rates) > 1 else None

    @property
    def printed(self) -> dict[str, float]:
        """Rate of each table at its own depth in its own lime, the chosen one first."""
        listed = (self.best, *self.alternatives) if self.best else ()
        return {str(r.inputs["table"]): rate for r in listed
                if r.within_range and (rate := as_printed(r)) is not None}


def choose_table(case: CaseFile, state: AcidState) -> TableChoice:
    """The case's own table, else the region's, else the default of the buffer method.

    Raises ``UnknownName`` if the case names one that does not exist.
    """
    method = state.sample.methods.buffer
    if case.lime_table is not None:
        lime_table(case.lime_table)
        if method is not None and not fits_buffer(case.lime_table, method):
            return TableChoice(None, "case", say("acidity.problem_buffer", buffer=method,
                                                 table=lime_table(case.lime_table)["title"]))
        return TableChoice(case.lime_table, "case")
    if method is None:
        return TableChoice(None)
    if state.organic and fits_buffer("smp_organic", method):
        return TableChoice("smp_organic", "organic")
    region = (region_of(case) or "").lower()
    for name in tables_for(method):
        if name not in NOT_FIELD and region in (r.lower() for r in regions_of(name)):
            return TableChoice(name, "region")
    return TableChoice(DEFAULT_TABLE.get(method), "buffer")


def lime_depth(case: CaseFile, table: str) -> tuple[float, str]:
    """Depth the lime is reckoned for [in] and why (surface, tillage, shallow, table)."""
    if untilled(case):
        return constant("surface_depth_in"), "surface"
    if case.field.tillage_depth is not None and case.field.tillage_depth.plain:
        return case.field.tillage_depth.value, "tillage"
    if case.field.tillage == "reduced":
        return constant("surface_depth_in"), "shallow"
    base = lime_table(table)["base_depth_in"]
    return (base, "table") if base > 1 else (constant("slice_depth_in"), "table")


def lime_share(analysis: Analysis | None, fineness_scheme: str | None = None) -> float | None:
    """Pure, fine CaCO3 per unit of a lime as spread, from its analysis; None if not stated.

    Raises ``UnknownName`` if the material names a fineness scheme that does not exist.
    """
    if analysis is None:
        return None
    dry = 1.0 - (plain(analysis.moisture) or 0.0) / 100.0
    effective = plain(analysis.effective)
    if effective is not None:
        return effective / 100.0 * dry
    cce, fineness = plain(analysis.cce), plain(analysis.fineness)
    if cce is not None and fineness is None and analysis.passing and fineness_scheme:
        passing = {mesh: share.value for mesh, share in analysis.passing.items()}
        fineness = float(fineness_factor_pct(fineness_scheme, passing))
    if cce is None or fineness is None:
        return None
    return effective_lime_pct(cce, fineness) / 100.0 * dry


def one_pass_cap(case: CaseFile) -> tuple[float, Result]:
    """Most lime for one pass, as pure CaCO3 [ton/ac], and the rule it comes from."""
    rule = lime_passes.evaluate(product_ton_ac=1.0,
                                placement="surface" if untilled(case) else "tilled",
                                region=region_of(case))
    shares = [s for m in case.materials if m.kind == "lime"
              if (s := lime_share(m.analysis, m.fineness_scheme)) is not None and s > 0]
    return rule.details["cap_ton_ac"] * (
        min(shares) if shares else constant("ground_lime_share")), rule


def _inputs(state: AcidState, slice_: Increment, ph: float, table: str, target: float,
            depth: float, buffer_ph: float | None = None) -> dict[str, Any]:
    assert slice_.buffer_ph is not None
    return {"table": table, "buffer_ph": slice_.buffer_ph if buffer_ph is None else buffer_ph,
            "target_ph": target, "depth_in": depth, "soil_ph": ph,
            "buffer_method": state.sample.methods.buffer}


def _range(state: AcidState, slice_: Increment, ph: float, table: str, depth: float,
           best: Result) -> Result:
    """Range of the lime [ton/ac of pure CaCO3].

    From the errors of buffer and soil pH, what the table leaves open at a step of its own, and
    the lower target of an untested subsoil. It reaches down to nothing where the range of the pH
    reaches the liming point. The choice of the table is none of them: what the others say stands
    beside the need.
    """
    target = state.aim
    assert slice_.buffer_ph is not None

    def at(**changed: float) -> float:
        return _effective(lime_requirement.evaluate(**{
            **_inputs(state, slice_, ph, table, target.value, depth), **changed}))

    here = _effective(best)
    scale = here / float(best.value) if best.value else 0.0
    step = [float(best.details[end]) * scale for end in ("low", "high") if end in best.details]
    lower = target.other_value
    with recording():  # the range itself is recorded with what each error comes to
        alone = (
            [at(buffer_ph=b) for b in plain_ends(slice_.buffer_ph, state.ph_error)],
            [at(soil_ph=p) for p in plain_ends(ph, state.ph_error)],
            within_limits(here, *step) if len(step) == 2 else (),
            [at(target_ph=lower)] if lower is not None and lower < target.value else (),
            [0.0] if plain_ends(ph, state.ph_error)[1] >= _line(state, slice_) else (),
        )
    return answer_range(here, *alone)


def _line(state: AcidState, slice_: Increment) -> float:
    """pH from which a slice gets no lime: what lies below says nothing about the surface."""
    return state.line if slice_ is state.main else state.aim.trigger


def _may_be_none(state: AcidState, slice_: Increment, ph: float, table: str, depth: float,
                 taken: float) -> bool:
    """Whether no lime is due, one standard error of the soil pH or of the buffer's higher."""
    assert slice_.buffer_ph is not None
    if ph + state.ph_error >= _line(state, slice_):
        return True
    with recording():  # only whether, not how much
        above = lime_requirement.evaluate(**_inputs(
            state, slice_, ph, table, state.aim.value, depth, slice_.buffer_ph + state.ph_error))
    return _effective(above) <= taken


def _effective(result: Result) -> float:
    return float(result.details["effective_caco3_ton_ac"])


def _alternatives(state: AcidState, slice_: Increment, ph: float, chosen: str, depth: float
                  ) -> tuple[Result, ...]:
    """What other tables for the same buffer say at the same depth; only inside their range."""
    found = []
    for name in tables_for(state.sample.methods.buffer or ""):
        if name in NOT_FIELD or name == chosen or {name, chosen} <= set(SAME_CALIBRATION):
            continue
        try:
            other = lime_requirement.evaluate(
                **_inputs(state, slice_, ph, name, state.aim.value, depth))
        except ImpossibleInput:
            continue
        if other.within_range:
            found.append(other)
    return tuple(found)


def as_printed(result: Result) -> float | None:
    """A table's rate at its own depth [ton/ac of its own lime]; None for one that is per inch."""
    base = float(result.details["base_depth_in"])
    return float(result.value) * base / float(result.details["depth_in"]) if base > 1 else None


def _credits(case: CaseFile, state: AcidState) -> tuple[tuple[Result, ...], tuple[str, ...]]:
    """Earlier lime that still counts; that of unknown quality is only named."""
    counted, named = [], []
    for earlier in case.earlier_applications:
        if earlier.kind != "lime" or not earlier.rate.plain:
            continue
        months = (state.sample.date - earlier.date).days / DAYS_PER_MONTH
        share = lime_share(earlier.analysis)
        credit = lime_credit.evaluate(applied=earlier.rate.value / LB_PER_TON * (share or 1.0),
                                      months=round(months, 1), organic_soil=state.organic)
        if credit.value <= 0:
            continue
        if share is None:
            named.append(earlier.material)
        else:
            counted.append(credit)
    return tuple(counted), tuple(named)


def _no_seeding(case: CaseFile, short: bool) -> Message | None:
    """Lime that comes too late for a stand of a legume about to be seeded on sour ground."""
    dates, crop = case.field.dates, known_crop(case.field.crop)
    planting = dates.planting if dates else None
    if (not short or crop is None or crop.group not in LEGUMES or standing(case)
            or not stays(case) or planting is None or planting < case.case.date):
        return None
    lead = constant("legume_lead_months")
    if (planting - case.case.date).days >= lead * DAYS_PER_MONTH:
        return None
    return say("acidity.caution_no_seeding", crop=crop.name, planting=planting, months=lead,
               most=constant("legume_lead_most_months"))


def _cautions(case: CaseFile, short: bool = False) -> tuple[Message, ...]:
    """Cautions with lime; ``short`` where the pH is far below its target."""
    grave = _no_seeding(case, short)
    found = [*((grave,) if grave else ()),
             say("acidity.caution_dust"), say("acidity.caution_ammonia")]
    if untilled(case):
        found.append(say("acidity.caution_surface"))
    crops = now_and_next(case)
    if grave is None and any(crop.group in LEGUMES for crop in crops):
        found.append(say("acidity.caution_legume", months=constant("legume_lead_months"),
                         most=constant("legume_lead_most_months")))
    if any(crop.name == "potato" for crop in crops):
        found.append(say("acidity.caution_potato"))
    return tuple(found)


def lime_need(case: CaseFile, state: AcidState, slice_: Increment | None = None,
              ph: float | None = None, depth_in: float | None = None) -> LimeNeed:
    """Lime that brings a sample with a target to it; the amount is None where it cannot be set.

    Parameters
    ----------
    slice_, ph : Increment, float or None
        Slice whose buffer reading is used and its pH in water; the tilled layer by default.
    depth_in : float or None
        Depth to lime [in]; None for the depth the tillage reaches.
    """
    slice_ = slice_ if slice_ is not None else state.main
    ph = ph if ph is not None else state.reading
    choice = choose_table(case, state)
    target = state.aim
    base = Need(
        kind=NeedKind.LIME, item="lime", unit="ton/ac", place=state.place,
        area_ac=sample_area_ac(case, state.sample), cautions=_cautions(
            case, ph is not None and target.value - ph >= FAR_BELOW_PH),
        text=say("acidity.need_lime_unknown", target=target.value, crop=target.crop),
    )
    if choice.name is None or slice_ is None or slice_.buffer_ph is None:
        return LimeNeed(base, choice)
    if state.sample.methods.buffer in UNCALIBRATED:
        return LimeNeed(base, replace(choice, problem=say(
            "acidity.problem_acidity", table=lime_table(choice.name)["title"])))
    listed = targets_of(choice.name)
    if listed and target.value < listed[0]:
        problem = say("acidity.problem_target", table=lime_table(choice.name)["title"],
                      target=target.value, lowest=listed[0])
        return LimeNeed(base, replace(choice, problem=problem))
    depth, depth_by = lime_depth(case, choice.name)
    if depth_in is not None:
        depth, depth_by = depth_in, "slice"
    with subject(place_of(state.sample, slice_)):
        try:
            best = lime_requirement.evaluate(
                **_inputs(state, slice_, ph, choice.name, target.value, depth))
            span = _range(state, slice_, ph, choice.name, depth, best)
        except ImpossibleInput as error:
            problem = say("acidity.problem_input", table=lime_table(choice.name)["title"],
                          reason=str(error))
            return LimeNeed(base, replace(choice, problem=problem))
        same = _alternatives(state, slice_, ph, choice.name, depth)
        credit, uncredited = _credits(case, state)
        cap, rule = one_pass_cap(case)
    taken = sum(float(c.value) for c in credit)
    amount, least, most = (max(v - taken, 0.0) for v in (
        _effective(best), span.details["low"], span.details["high"]))
    params = {"amount": amount, "low": least, "high": most, "depth_in": depth,
              "depth_by": depth_by, "target": target.value, "crop": target.crop, "ph": ph,
              "table": lime_table(choice.name)["title"], "credit": taken}
    need = replace(
        base, amount=amount, low=least, high=most, cap=cap,
        text=say("acidity.need_lime", **params),
        may_be_none=_may_be_none(state, slice_, ph, choice.name, depth, taken),
        results=(best, span, *credit, rule),
        sources=sources_of((best, *credit, rule)), params=params,
    )
    return LimeNeed(need, choice, best, same, depth, depth_by, credit, uncredited)
