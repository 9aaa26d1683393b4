"""Salinity against sodium as a chart."""

from loambrief.charts.model import Threshold
from loambrief.charts.salinity import SalinityPoint, SalinitySpec
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.salinity.findings import plane


def chart(context: Context) -> SalinitySpec | None:
    points = plane(context.case)
    if points is None:
        return None
    word = context.word
    crop = None
    if points.crop is not None and points.crop_threshold is not None:
        crop = Threshold(points.crop_threshold, word("chart_crop_threshold", crop=points.crop))
    return SalinitySpec(
        title=context.topic_title("salinity", "chart_salinity"),
        **captions(context, "salinity"),
        points=tuple(SalinityPoint(place.label, ece, sodium, estimated)
                     for place, ece, sodium, estimated in points.points),
        ece_limit=points.ece_limit,
        sodium_limit=points.esp_limit,
        sodium_name=word("chart_sodium_name"),
        ece_name=word("chart_ece_name"),
        sodium_unit="%",
        classes=(word("chart_class_neither"), word("chart_class_saline"),
                 word("chart_class_sodic"), word("chart_class_both")),
        crop=crop,
    )
