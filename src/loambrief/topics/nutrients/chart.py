"""Soil tests against their critical levels as a chart."""

from collections.abc import Iterator

from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.charts.sufficiency import LevelSide, SufficiencyRow, SufficiencySpec
from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.report.naming import with_place
from loambrief.topics.nutrients.manure_plan import MANURE_RATES

ELEMENTS = {"P2O5": "p", "K2O": "k"}
"""Fertilizer nutrient -> the element that its soil test reads."""


def chart(context: Context) -> SufficiencySpec | None:
    rows: list[SufficiencyRow] = []
    for finding in context.diagnosis.by_topic("nutrients"):
        for result in finding.results:
            critical = result.details.get("critical_ppm")
            test = result.inputs.get("test_ppm")
            if critical is None or not isinstance(test, int | float) or finding.value is None:
                continue
            error = next((r.value for r in finding.results if r.formula == "soil_test_error"), None)
            spread = float(error) if isinstance(error, int | float) else None
            ends = (finding.low, finding.high)
            limit = result.details.get("limit_ppm")
            side = LevelSide.BELOW if test < critical else LevelSide.ABOVE
            if spread and abs(test - critical) < spread:  # as the finding says it
                side = LevelSide.NEAR
            rows.append(
                SufficiencyRow(
                    label=with_place(
                        context.word("chart_test_" + ELEMENTS[str(result.inputs["nutrient"])]),
                        finding.place.label if len(context.case.samples) > 1 else ""),
                    value=float(test), critical=float(critical), side=side,
                    printed=context.word("chart_level", value=float(test),
                                         critical=float(critical)),
                    verdict=context.word(f"chart_side_{side.value}"),
                    low=ends[0], high=ends[1],
                    upper=float(limit) if limit is not None and limit > critical else None,
                )
            )
            break
    if not rows:
        return None

    def named(side: LevelSide) -> list[str]:
        return [r.label.lower() for r in rows if r.side is side]

    return SufficiencySpec(
        title=context.word("chart_sufficiency", below=named(LevelSide.BELOW),
                           near=named(LevelSide.NEAR)),
        **captions(context, "sufficiency", guide=context.case.guide),
        rows=tuple(rows), coverage_pct=COVERAGE_PCT,
    )


def manure_charts(context: Context) -> Iterator[TallySpec]:
    """How much of each manure by what it may follow, where there is one zone."""
    for finding in context.diagnosis.by_topic("nutrients"):
        if finding.subject != MANURE_RATES or finding.title.params["zones"] != 1:
            continue
        params = finding.evidence[0].text.params
        unit, rows = str(params["unit"]), params["rows"]
        assert isinstance(rows, list)
        yield TallySpec(
            title=context.write(finding.title), **captions(context, "manure"),
            rows=tuple(TallyRow(
                context.word("chart_manure_row", basis=row["key"]), row["rate"],
                "" if row["rate"] is None else context.writer.quantity(
                    row["rate"], unit, 0 if unit == "gal/ac" else 1,
                    (0.9 * row["rate"], 1.1 * row["rate"])),
                context.word("chart_manure_held") if row["key"] != "nitrogen"
                and row["limit"] == "nitrogen need" else "") for row in rows))
