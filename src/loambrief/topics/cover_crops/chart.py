"""Days that the cover crops of the mix should have, within those that are left before frost."""

from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.cover_crops.findings import days_before_frost


def chart(context: Context) -> TallySpec | None:
    """One bar for each cover crop of the mix; None without both dates or without a mix."""
    found = days_before_frost(context.case)
    if found is None:
        return None
    left, rows = found
    return TallySpec(
        title=context.word("chart_cover", days=left), **captions(context, "cover"),
        rows=tuple(TallyRow(context.term(name), needs, context.word("chart_cover_days", days=needs))
                   for name, needs in rows),
        whole=max(left, 0.0), whole_label=context.word("chart_cover_whole"))
