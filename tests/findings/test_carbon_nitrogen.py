"""Findings on carbon and nitrogen: levels, ratios, residue, material on offer."""

from pathlib import Path

import pytest

from findings.carbon_cases import case_of
from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.findings.model import Confidence, Grade, NeedKind, Status
from loambrief.report.text import Writer
from loambrief.tables import references
from loambrief.topics.carbon_nitrogen import findings as carbon_nitrogen
from loambrief.topics.carbon_nitrogen.materials import material_findings

ROOT = Path(__file__).parents[2] / "sample_inputs"
WRITERS = {system: Writer("en", system) for system in ("us", "si")}


def material(**analysis):
    kind = analysis.pop("kind", "compost")
    name = analysis.pop("name", "Compost")
    form, animal = analysis.pop("form", "bulk"), analysis.pop("animal", None)
    return {"id": "m", "name": name, "kind": kind, "form": form, "animal": animal,
            "analysis": analysis,
            "price": {"amount": 20, "per": "ton", "date": "2026-10-01"}}


STRAW = {"material": "wheat straw", "dry_mass": "4000 lb/ac"}
VETCH = {"material": "hairy vetch", "dry_mass": "3000 lb/ac", "cn_ratio": 11}
VARIANTS = {
    "plain": case_of(),
    "rich": case_of({"depth": "0-6 in", "organic_matter": "5.5 %", "total_nitrogen": "0.3 %"}),
    "between": case_of({"depth": "0-6 in", "organic_matter": "3.7 %"}),
    "wide": case_of({"depth": "0-6 in", "organic_carbon": "1.5 %", "total_nitrogen": "0.08 %"}),
    "narrow": case_of({"depth": "0-6 in", "organic_carbon": "1.0 %", "total_nitrogen": "0.2 %"}),
    "clay": case_of({"depth": "0-6 in", "organic_carbon": "3.5 %"},
                    sample={"texture": "clay loam"}),
    "muck": case_of({"depth": "0-6 in", "organic_matter": "45 %"}, sample={"texture": "muck"}),
    "shallow only": case_of({"depth": "0-2 in", "organic_matter": "3 %"}),
    "only a limit": case_of({"depth": "0-6 in", "organic_matter": "<0.5 %"}),
    "no matter": case_of({"depth": "0-6 in", "ph": 6.5}),
    "straw": case_of(residue=[STRAW]),
    "vetch": case_of(residue=[VETCH]),
    "even": case_of(residue=[{"material": "alfalfa hay, old", "dry_mass": "2000 lb/ac",
                              "cn_ratio": 25}]),
    "much straw": case_of({"depth": "0-6 in", "organic_matter": "1.2 %"},
                          residue=[{**STRAW, "dry_mass": "12000 lb/ac"}]),
    "straw before soybean": case_of(residue=[STRAW], field={"crop": "soybean"}),
    "unknown residue": case_of(residue=[{"material": "mystery mulch", "dry_mass": "1000 lb/ac"}]),
    "compost": case_of(materials=[material(total_nitrogen="1.4 %", carbon="20 %", p2o5="1 %")]),
    "woody compost": case_of(materials=[material(total_nitrogen="0.4 %", carbon="30 %")]),
    "carbon only": case_of(materials=[material(carbon="30 %")]),
    "litter": case_of(materials=[material(kind="manure", animal="poultry",
                                          total_nitrogen="3 %", carbon="27 %")]),
    "litter stated": case_of(materials=[material(kind="manure", animal="poultry",
                                                 total_nitrogen="3 %", available_n="2.4 %")]),
    "swine slurry": case_of(materials=[material(kind="manure", animal="swine", form="slurry",
                                           total_nitrogen="0.4 %")]),
    "bare compost": case_of(materials=[{"id": "m", "name": "Compost", "kind": "compost"}]),
    "no samples": case_of(samples=[]),
}
SAMPLES = {path.parent.name: load_case(path).case for path in sorted(ROOT.glob("*/case.yaml"))}


def by_id(case):
    return {f.id: f for f in carbon_nitrogen.assess(case).findings}


def texts(case, system="us"):
    write = WRITERS[system].write
    said = carbon_nitrogen.assess(case)
    lines = []
    for f in said.findings:
        lines += [write(f.title), *(write(b) for b in f.body)]
        lines += [write(e.text) for e in f.evidence]
        lines += [write(f.reference)] if f.reference else []
        lines += [write(m) for pair in f.advise_against for m in pair]
        for need in f.needs:
            lines += [write(need.text), *(write(c) for c in need.cautions)]
    for missing in said.missing:
        lines += [write(missing.what), write(missing.consequence)]
    return lines


@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("name", [*VARIANTS, *SAMPLES])
def test_every_message_can_be_written(name, system):
    """ensures that each sentence renders, in both unit systems, without gaps."""
    for line in texts((VARIANTS | SAMPLES)[name], system):
        assert line and "None" not in line and "{" not in line, line
        if system == "si":
            assert "ton/ac" not in line and "lb/ac" not in line and "lb/ton" not in line, line


@pytest.mark.parametrize("name", [*VARIANTS, *SAMPLES])
def test_numbers_can_be_traced(name):
    """ensures that ids are unique, sources exist and every result was recorded."""
    with recording() as trace:
        said = carbon_nitrogen.assess((VARIANTS | SAMPLES)[name])
    ids = [f.id for f in said.findings]
    assert len(ids) == len(set(ids))
    known = {r.calculation for r in trace.results}
    for f in said.findings:
        for key in (*f.sources, *(s for e in f.evidence for s in e.sources),
                    *(s for n in f.needs for s in n.sources)):
            assert key in references(), key
        for result in (*f.results, *(r for e in f.evidence for r in e.results)):
            assert result.calculation in known


@pytest.mark.parametrize("name", [*VARIANTS, *SAMPLES])
def test_no_amount_and_no_promise(name):
    """ensures that carbon sets no rate: needs carry no amount, and no yield is promised.

    Nitrogen has an amount only where the adviser's own line sets it.
    """
    case = (VARIANTS | SAMPLES)[name]
    for f in carbon_nitrogen.assess(case).findings:
        for need in f.needs:
            if need.item == "N":
                assert case.nitrogen is not None and need.amount <= case.nitrogen.rate.value
                continue
            assert need.amount is None and need.low is None and need.high is None
            assert need.kind in (NeedKind.ORGANIC_MATTER, NeedKind.MANAGE)


@pytest.mark.parametrize(("name", "status"), [("plain", Status.WATCH), ("rich", Status.ADEQUATE),
                                              ("between", Status.NOTED)])
def test_level_is_held_against_two_percent_carbon(name, status):
    """ensures that 2 % carbon decides, with both carbon factors (Oldfield 2019; Pribyl 2010).

    2.5 % matter is 1.25 to 1.45 % carbon; 3.7 % is 1.85 to 2.15 %; 5.5 % is 2.75 to 3.19 %.
    """
    assert by_id(VARIANTS[name])["carbon_nitrogen.organic_matter.E"].status is status


def test_practice_stands_apart():
    """ensures that the rule of 16 is marked common practice, with the published view against."""
    lines = by_id(VARIANTS["wide"])["carbon_nitrogen.soil_ratio.E"].evidence
    practice = [e for e in lines if e.grade is Grade.PRACTICE]
    assert [e.text.key for e in practice] == ["carbon_nitrogen.practice_16"]
    assert any(e.text.key == "carbon_nitrogen.published_16" for e in lines)


@pytest.mark.parametrize(("name", "ratio", "status"), [
    ("wide", 18.75, Status.NOTED), ("narrow", 5.0, Status.NOTED), ("rich", 10.63, Status.ADEQUATE)])
def test_soil_ratio(name, ratio, status):
    """ensures that soil C:N is held against 8 to 12 (ARS Akron)."""
    found = by_id(VARIANTS[name])["carbon_nitrogen.soil_ratio.E"]
    assert found.value == pytest.approx(ratio, abs=0.01) and found.status is status


def test_missing_nitrogen_is_named_once():
    """ensures that a missing total nitrogen drops the ratio and is told."""
    said = carbon_nitrogen.assess(VARIANTS["plain"])
    assert not any("soil_ratio" in f.id for f in said.findings)
    assert [m.what.key for m in said.missing] == [
        "carbon_nitrogen.missing_rate", "carbon_nitrogen.missing_nitrogen"]


def test_limit_is_not_a_number():
    """ensures that "<0.5 %" organic matter is not used as 0.5."""
    said = carbon_nitrogen.assess(VARIANTS["only a limit"])
    assert not said.findings
    assert [m.what.key for m in said.missing] == [
        "carbon_nitrogen.missing_rate", "carbon_nitrogen.missing_matter"]


def test_straw_ties_up_and_vetch_releases():
    """ensures that 4,000 lb straw ties up 46.7 lb and 3,000 lb vetch gives 59.1 (24:1 rule)."""
    straw = by_id(VARIANTS["straw"])["carbon_nitrogen.residue.1"]
    vetch = by_id(VARIANTS["vetch"])["carbon_nitrogen.residue.1"]
    assert straw.title.params["value"] == pytest.approx(46.67, abs=0.01)
    assert vetch.title.params["value"] == pytest.approx(-59.09, abs=0.01)
    assert straw.status is Status.WATCH and vetch.status is Status.NOTED
    assert [n.item for n in straw.needs] == ["nitrogen timing"] and not vetch.needs


def test_legume_needs_no_nitrogen_timing():
    """ensures that straw before soybean is told but asks for no nitrogen."""
    assert not by_id(VARIANTS["straw before soybean"])["carbon_nitrogen.residue.1"].needs


def test_unknown_residue_is_missing_not_guessed():
    """ensures that a residue without a ratio is named as missing."""
    said = carbon_nitrogen.assess(VARIANTS["unknown residue"])
    assert "carbon_nitrogen.missing_residue" in {m.what.key for m in said.missing}
    assert not any("residue" in f.id for f in said.findings)


def test_usable_nitrogen_of_compost():
    """ensures that 28 lb total gives 1.4 to 2.8 lb in the first season (5 to 10 %, Hartz)."""
    found = by_id(VARIANTS["compost"])["carbon_nitrogen.material.m"]
    assert (found.title.params["low"], found.title.params["high"]) == pytest.approx((1.4, 2.8))
    assert found.advise_against


def test_stated_nitrogen_wins_and_disagreement_shows():
    """ensures that the case's own figure stands, with the published share against it."""
    found = by_id(VARIANTS["litter stated"])["carbon_nitrogen.material.m"]
    assert found.value == pytest.approx(48.0)
    assert any(e.side.value == "against" for e in found.evidence)


def test_woody_compost_ties_up():
    """ensures that compost at 75:1 is told to tie up nitrogen (above 30, Alberta)."""
    assert by_id(VARIANTS["woody compost"])["carbon_nitrogen.material.m"].status is Status.WATCH


def test_material_without_analysis_says_nothing():
    """ensures that nothing is guessed for a compost without an analysis."""
    assert not any("material" in f for f in by_id(VARIANTS["bare compost"]))


def test_ratios_for_the_chart():
    """ensures that soil, residue and material come in order with their ratios."""
    case = case_of({"depth": "0-6 in", "organic_carbon": "1.2 %", "total_nitrogen": "0.1 %"},
                   residue=[STRAW], materials=[material(total_nitrogen="1 %", carbon="20 %")])
    points = carbon_nitrogen.ratios(case)
    assert [(p.kind, p.ratio) for p in points] == [
        ("soil", pytest.approx(12.0)), ("residue", 80), ("material", pytest.approx(20.0))]
    assert points[1].own is False
    assert carbon_nitrogen.turning_ratio() == 24


def rate_words(case):
    """What is said of the season's nitrogen rate, or None."""
    found = [m for m in carbon_nitrogen.assess(case).missing
             if m.what.key == "carbon_nitrogen.missing_rate"]
    return WRITERS["us"].write(found[0].consequence) if found else None


def test_the_nitrogen_rate_is_named_as_missing():
    """ensures that no reader takes a plan without a nitrogen rate for a plan that needs none."""
    case = case_of(field={"crop": "corn", "previous_crop": "soybean"}, materials=[
        material(total_nitrogen="1 %"),
        {"id": "map", "name": "MAP 11-52-0", "kind": "fertilizer",
         "analysis": {"n": "11 %", "p2o5": "52 %"}},
        {"id": "tsp", "name": "TSP 0-45-0", "kind": "fertilizer", "analysis": {"p2o5": "45 %"}}])
    words = rate_words(case)
    assert "credit for soybean as the previous crop is not counted" in words
    assert "the nitrogen they bring: Compost; MAP 11-52-0." in words and "TSP" not in words
    assert "subtract" not in rate_words(case_of()) and "soybean" not in rate_words(case_of())


@pytest.mark.parametrize("crop", ["soybean", "alfalfa"])
def test_a_legume_lacks_no_nitrogen_rate(crop):
    """ensures that a crop that makes its own nitrogen is not asked for a rate."""
    assert rate_words(case_of(field={"crop": crop})) is None


def test_tie_up_is_printed_as_the_part_seen_in_the_field():
    """ensures that the title has a third to a half of the sum (from memory), not the sum.

    4,000 lb of wheat straw at 80:1: 46.7 lb by the 24:1 rule (NRCS 2011), and 0.33 to 0.5 of
    it, 15.4 to 23.3.
    """
    straw = by_id(VARIANTS["straw"])["carbon_nitrogen.residue.1"]
    title = WRITERS["us"].write(straw.title)
    assert "15 to 23" in title and "47" not in title and "not measured" in title
    assert straw.confidence is Confidence.LOW  # ratio from the table, not the case


def test_manure_on_offer_counts_against_the_early_shortage():
    """ensures that the timing need says what manure or compost would cover."""
    case = case_of(residue=[STRAW], materials=[
        material(kind="manure", name="Litter", total_nitrogen="3 %", available_n="1.5 %")])
    need, = by_id(case)["carbon_nitrogen.residue.1"].needs
    words = " ".join(WRITERS["us"].write(c) for c in need.cautions)
    assert "Litter" in words and "30" in words and "add none for this" in words
    plain_need, = by_id(VARIANTS["straw"])["carbon_nitrogen.residue.1"].needs
    assert [c.key for c in plain_need.cautions] == ["carbon_nitrogen.caution_seed_row"]


def test_transplants_get_no_seed_row_caution():
    """ensures that a crop set as plants hears nothing of a seed row."""
    case = case_of(residue=[STRAW], field={"crop": "tomato", "tillage": "raised bed"})
    need, = by_id(case)["carbon_nitrogen.residue.1"].needs
    assert not need.cautions


def test_a_standing_crop_is_asked_for_no_cover_crop():
    """ensures that organic matter of a hay stand is described and nothing is asked for."""
    low = {"depth": "0-6 in", "organic_matter": "1.5 %"}
    stand = by_id(case_of(low, field={"crop": "alfalfa", "tillage": "perennial"}))[
        "carbon_nitrogen.organic_matter.E"]
    assert not stand.needs and stand.severity == 0 and stand.status is Status.NOTED
    assert "carbon_nitrogen.body_standing" in {b.key for b in stand.body}
    assert by_id(case_of(low))["carbon_nitrogen.organic_matter.E"].needs


def test_organic_matter_is_held_against_organic_matter():
    """ensures that 2 % carbon is given as 3.4 to 4.0 % matter (1.724 and 2.0, Pribyl 2010)."""
    finding = by_id(VARIANTS["plain"])["carbon_nitrogen.organic_matter.E"]
    assert finding.unit == "%" and finding.value == pytest.approx(2.5)
    assert "3.4 to 4.0% organic matter" in WRITERS["us"].write(finding.reference)


@pytest.mark.parametrize(("field", "room"), [
    ({"crop": "corn", "following_crop": "soybean"}, True), ({"crop": "corn"}, True),
    ({"crop": "soybean", "following_crop": "winter wheat"}, False),
    ({"crop": "winter wheat"}, False), ({"crop": "alfalfa"}, False),
    ({"crop": "watermelon", "following_crop": "corn"}, True)])
def test_cover_crop_is_optional_and_only_where_it_has_room(field, room):
    """ensures that nothing is drilled into a stand or where the next crop is sown in autumn."""
    case = case_of(slice_={"depth": "0-6 in", "organic_matter": "1.5 %"},
                   field={"tillage": "conventional", **field},
                   sample={"methods": {"organic_matter": "loss on ignition"}})
    needs = [n for f in carbon_nitrogen.assess(case).findings for n in f.needs
             if n.kind is NeedKind.ORGANIC_MATTER]
    assert bool(needs) == room and all(n.optional for n in needs)


def test_compost_without_a_soil_sample_is_reckoned_for_the_usual_layer():
    """ensures that a compost is judged where no soil was tested, on the furrow slice."""
    told = material_findings(case_of(samples=[], materials=[material(
        carbon="25 %", total_nitrogen="1.5 %", moisture="40 %")]))
    assert [f.id for f in told] and told[0].results
