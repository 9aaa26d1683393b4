"""Cone readings by depth as a chart."""

from loambrief.charts.model import Threshold
from loambrief.charts.penetration import PenetrationSpec, Profile
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.compaction.formulas import threshold_psi
from loambrief.units import CM_PER_INCH, DIMENSIONS, KPA_PER_PSI


def chart(context: Context) -> PenetrationSpec | None:
    cone = context.case.penetrometer
    if cone is None:
        return None
    si = context.system == "si"
    scale = KPA_PER_PSI / 1000 if si else 1.0
    pressure = DIMENSIONS["pressure"].factors[cone.pressure_unit] * scale
    length = DIMENSIONS["depth"].factors[cone.depth_unit] * (CM_PER_INCH if si else 1.0)
    field = [p for p in cone.points if not p.traffic] or list(cone.points)
    word = context.word
    limit = threshold_psi("limit")
    return PenetrationSpec(
        title=context.topic_title("compaction", "chart_penetration"),
        **captions(context, "penetration", points=len(field), date=cone.date,
                   apart=len(cone.points) - len(field), limit=limit, digits=1 if si else 0),
        depths=tuple(round(d * length, 0 if si else 2) for d in cone.depths),
        profiles=tuple(
            Profile(p.place or p.id,
                    tuple(None if r is None else r * pressure for r in p.readings),
                    p.stopped_by is not None)
            for p in field
        ),
        depth_unit="cm" if si else "in",
        pressure_unit="MPa" if si else "psi",
        pressure_digits=1 if si else 0,
        thresholds=(
            Threshold(limit * scale, word("chart_root_limit")),
            Threshold(threshold_psi("no_air") * scale, word("chart_no_air"), practice=True),
        ),
        count_from=limit * scale,
        moisture=context.term(cone.moisture),
    )
