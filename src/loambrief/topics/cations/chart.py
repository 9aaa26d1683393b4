"""Make-up of the exchange capacity as a chart."""

from loambrief.charts.cations import CationBar, CationSpec, Share
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.cations.findings import cation_make_up


def chart(context: Context) -> CationSpec | None:
    states = cation_make_up(context.case)
    if not states:
        return None
    acid = [
        context.word("chart_acid_share", share=s.shares["H"], name=s.place)
        for s in states if s.shares.get("H") is not None
    ]
    return CationSpec(
        title=context.word("chart_cations", acid=acid),
        **captions(context, "cations"),
        bars=tuple(
            CationBar(s.place.label, tuple(Share(ion, s.shares.get(ion))
                                     for ion in ("Ca", "Mg", "K", "Na", "H")),
                      context.amount(s.cec, "meq/100g", 1) if s.cec is not None else "")
            for s in states
        ),
    )
