"""Several fields of a client: the map, the comparison and the shared order tell the truth."""

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.report.blocks import Heading
from loambrief.report.chart_text import chart_words
from loambrief.report.client_part import client_blocks, comparison, ordered_together, shopping_list
from loambrief.report.context import Context
from loambrief.report.pictures import pictures
from loambrief.report.pictures_map import client_map, zone_map
from loambrief.report.text import Writer

FIELDS = Path(__file__).parents[2] / "sample_inputs" / "three_fields_indiana"
NAMES = ("north_terrace", "mill_piece", "creek_bottom")


@pytest.fixture(scope="module")
def contexts():
    """The three fields, judged."""
    writer = Writer()
    made = []
    for name in NAMES:
        advice = pipeline.advise(load_case(FIELDS / f"{name}.yaml"))
        made.append(Context(advice.loaded, advice.diagnosis, advice.plan, advice.calculations,
                            writer, chart_words(writer)))
    return made


def test_fields_are_filled_by_their_gravest_finding(contexts):
    """ensures that each field of the map shows the topic of the finding its page 1 puts first."""
    spec = client_map(contexts)
    for context, area in zip(contexts, spec.areas, strict=True):
        worst = context.diagnosis.worst(1)[0]
        topic = context.word(f"topic_{worst.topic}")
        assert spec.looks[area.look].lower() == topic.lower()
        assert context.case.field.name in area.label and area.label in spec.alt
    assert spec.areas[0].look == spec.areas[2].look != spec.areas[1].look


def test_zones_are_filled_by_their_own_findings(contexts):
    """ensures that one zone's fault does not colour the other zone."""
    spec = zone_map(contexts[2])
    looks = {a.label: spec.looks[a.look] for a in spec.areas}
    assert looks["west end"].startswith("acidity") and not looks["east end"].startswith("acidity")
    assert len(spec.outlines) == 1
    assert zone_map(contexts[0]) is None  # only the field is drawn there


def test_zones_say_what_goes_on(contexts):
    """ensures that each zone on the map has the rates of the spreading sheet, in its picture
    and in its text alternative."""
    from loambrief.report.applicator import spread_actions

    context = contexts[2]
    told = {area.label: area.rates for area in zone_map(context).areas}
    wanted = [a for a in spread_actions(context.plan) if a.place.id]
    assert wanted
    for action in wanted:
        here = told[action.place.label]
        assert action.material_name in here
        assert context.amount(action.rate, action.rate_unit) in here
        assert here in pictures(context).overview[0].spec.alt


def test_map_keeps_distances(contexts):
    """ensures that drawn corners are as far apart as on the ground: 30 ac stay 30 ac."""
    polygon = client_map(contexts).areas[0].polygons[0][0]
    twice = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(polygon))
    assert abs(twice) / 2 / 4046.856 == pytest.approx(30, rel=0.01)


def test_fields_far_apart_have_no_map(contexts):
    """ensures that fields a county apart are not drawn as two dots."""
    far = contexts[1].case.boundary["features"][0]
    moved = {"type": "Polygon", "coordinates": [
        [[x + 1, y] for x, y in far["geometry"]["coordinates"][0]]]}
    case = contexts[1].case.model_copy(update={"boundary": moved})
    other = replace(contexts[1], loaded=replace(contexts[1].loaded, case=case))
    assert client_map([contexts[0], other]) is None
    assert client_map(contexts[:1]) is None


def test_comparison_shows_every_test(contexts):
    """ensures that every value of every sample stands in the comparison, none of them averaged."""
    spec = comparison(contexts)
    assert spec.names == ("North Terrace", "Mill Piece", "Creek Bottom, west end",
                          "Creek Bottom, east end")
    columns = {c.label.split(",")[0]: c.values for c in spec.columns}
    assert columns["pH"] == (5.5, 6.6, 5.2, 6.4)
    assert columns["Phosphorus"] == (24, 11, 31, 48)
    assert "EC" not in " ".join(columns)  # nobody measured salt


def test_other_methods_stand_apart(contexts):
    """ensures that Olsen and Mehlich phosphorus never share a scale."""
    case = contexts[0].case
    sample = case.samples[0]
    methods = sample.methods.model_copy(update={"phosphorus": "olsen"})
    case = case.model_copy(update={"samples": [sample.model_copy(update={"methods": methods})]})
    other = replace(contexts[0], loaded=replace(contexts[0].loaded, case=case))
    found = [c for c in comparison([other, *contexts[1:]]).columns if "hosphorus" in c.label]
    assert len(found) == 2
    assert [sum(v is not None for v in c.values) for c in found] in ([1, 3], [3, 1])


def test_shared_order_saves_bags(contexts):
    """ensures that the order adds up what the plans spread, then rounds up to whole bags once."""
    orders = [o for c in contexts for o in c.plan.orders if o.material_id == "tsp"]
    needed = sum(o.needed_lb for o in orders)
    bags = math.ceil(needed / 2000)
    apart = sum(round(o.ordered_lb / 2000) for o in orders)
    assert bags < apart
    table = shopping_list(contexts)
    (row,) = [r.cells for r in table.rows if "superphosphate" in r.cells[0]]
    assert f"{bags} bags" in row[3] and f"{apart - bags}\u00a0ton more" in row[4]
    assert row[1] == "North Terrace, Mill Piece, Creek Bottom"
    assert shopping_list(contexts[:1]) is None


@given(st.lists(st.floats(1, 1e6), min_size=1, max_size=6), st.sampled_from([0.0, 50.0, 48000.0]),
       st.sampled_from([0.0, 10000.0]))
def test_together_is_never_more_than_apart(needs, package, least):
    """ensures that one order covers the need, in whole packages, and is never the larger one."""
    together = ordered_together(sum(needs), package, least)
    assert together >= sum(needs) * (1 - 1e-6) and together >= least
    assert together <= sum(ordered_together(n, package, least) for n in needs) * (1 + 1e-6)
    if package:
        assert together / package == pytest.approx(round(together / package))


def test_nothing_shared_nothing_said(contexts):
    """ensures that one field alone gets neither map nor list."""
    assert client_blocks([contexts[0]]) == []


def test_both_parts_are_headed_alike(contexts):
    """ensures that comparison and order stand one level below the title of the document."""
    found = [b for b in client_blocks(contexts) if isinstance(b, Heading)]
    assert [(h.level, h.anchor) for h in found] == [(2, "compare"), (2, "orders")]


def test_areas_are_numbered_from_one(contexts):
    """ensures that the numbers on a map count its areas, as a reader counts."""
    assert [a.number for a in client_map(contexts).areas] == ["1", "2", "3"]
    assert [a.number for a in zone_map(contexts[2]).areas] == ["1", "2"]
