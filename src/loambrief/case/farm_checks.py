"""Tenure, constraints, parts and strips that contradict themselves or the rest of the case."""

from collections.abc import Iterator

from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import did_you_mean, show
from loambrief.case.schema import CaseFile
from loambrief.case.schema_farm import Constraints, TreatedPart
from loambrief.case.select import SLACK, sample_area_ac
from loambrief.tables.organic import kinds_of

CASE_DATE: DataPath = ("case", "date")


def farm_faults(case: CaseFile) -> Iterator[Fault]:
    """Every contradiction in what the farm states of itself."""
    yield from _tenure(case)
    if case.constraints is not None:
        yield from _constraints(case, case.constraints)
    for i, material in enumerate(case.materials):
        if material.substance is not None and material.kind not in kinds_of(material.substance):
            yield Fault("CASE056", ("materials", i, "substance"), show(material.substance),
                        f"a substance of the kind {material.kind}",
                        f"It is {' or '.join(kinds_of(material.substance))}.",
                        needs=(("materials", i, "kind"),))
    for i, sample in enumerate(case.samples):
        if sample.treat is not None:
            yield from _treated(i, sample.treat, sample_area_ac(case, sample))
    if case.strips is not None and case.strips.width is not None \
            and min(case.strips.width.value, case.strips.length.value) <= 0:
        yield Fault("CASE058", ("strips", "width"), case.strips.width.typed,
                    "a width above zero")


def _tenure(case: CaseFile) -> Iterator[Fault]:
    tenure, path = case.tenure, ("tenure",)
    if tenure is None:
        return
    if tenure.held == "rented" and tenure.until is None:
        yield Fault("CASE021", (*path, "until"), "nothing", "the last day of the lease",
                    "What lime and build-up pay depends on it.", at_key=True)
    if tenure.held == "owned" and tenure.until is not None:
        yield Fault("CASE055", (*path, "until"), show(tenure.until.isoformat()),
                    "no such day on ground that is owned")
    if tenure.until is not None and tenure.until <= case.case.date:
        yield Fault("CASE047", (*path, "until"), show(tenure.until.isoformat()),
                    f"a day after the case date {case.case.date.isoformat()}", needs=(CASE_DATE,))
    if tenure.lime_paid_by == "shared" and tenure.grower_share is None:
        yield Fault("CASE021", (*path, "grower_share"), "nothing",
                    "the share of the lime that the grower pays, such as 50 %", at_key=True)
    if tenure.grower_share is not None and tenure.lime_paid_by != "shared":
        yield Fault("CASE055", (*path, "grower_share"), tenure.grower_share.typed,
                    "lime_paid_by: shared beside it")


def _constraints(case: CaseFile, found: Constraints) -> Iterator[Fault]:
    ids = {m.id.lower(): m.id for m in case.materials}
    zones = {s.id.lower(): s.id for s in case.samples}
    for i, entry in enumerate(found.excluded):
        path: DataPath = ("constraints", "excluded", i)
        if (entry.kind is None) == (entry.material is None):
            yield Fault("CASE056", path, "both kind and material" if entry.kind else "neither",
                        "a kind of material, or the id of one",
                        needs=((*path, "kind"), (*path, "material")))
        elif entry.material is not None and entry.material.lower() not in ids:
            yield Fault("CASE056", (*path, "material"), show(entry.material),
                        f"the id of a material: {', '.join(ids.values()) or 'none is listed'}",
                        did_you_mean(entry.material, ids.values()))
    for i, machine in enumerate(found.spreaders):
        for name in ("step", "per_day", "width"):
            value = getattr(machine, name)
            if value is not None and value.value <= 0:
                yield Fault("CASE026", ("constraints", "spreaders", i, name), value.typed,
                            "more than zero")
    for i, beside in enumerate(found.neighbours):
        path = ("constraints", "neighbours", i)
        if beside.zone is not None and beside.zone.lower() not in zones:
            yield Fault("CASE057", (*path, "zone"), show(beside.zone),
                        f"the id of a sample: {', '.join(zones.values()) or 'there is none'}")


def _treated(i: int, part: TreatedPart, whole: float) -> Iterator[Fault]:
    path: DataPath = ("samples", i, "treat")
    if (part.area is None) == (part.share is None):
        yield Fault("CASE041", path, "both area and share" if part.area else "neither",
                    "the area that is treated, or its share of the zone",
                    needs=((*path, "area"), (*path, "share")))
    elif part.area is not None and part.area.value > whole * SLACK:
        yield Fault("CASE041", (*path, "area"), part.area.typed,
                    f"at most the zone's {whole:.4g} ac", needs=(("samples", i, "area"),))
