"""Cover crops: seed, season, how they end, and what is not said."""

import copy

import pytest

from findings.test_weeds import BASE
from loambrief.case.schema import CaseFile
from loambrief.errors import ImpossibleInput
from loambrief.findings.model import Grade, NeedKind, Side
from loambrief.report.text import Writer
from loambrief.tables import load, references
from loambrief.topics.cover_crops import findings as cover_crops
from loambrief.topics.cover_crops.formulas import (
    cover_mix_seed_lb_ac,
    cover_seed_cost,
    cover_species,
)

WRITERS = {language: Writer(language, "us") for language in ("en", "es")}


def case_of(cover, **field):
    data = copy.deepcopy(BASE)
    data["field"].update({"crop": "oats", "following_crop": "corn",
                          "dates": {"harvest": "2026-10-25"}, **field})
    data["cover_crop"] = cover
    return CaseFile.model_validate(data)


def finding_of(cover, **field):
    (finding,) = cover_crops.assess(case_of(cover, **field)).findings
    return finding


def said(finding):
    return {e.text.name for e in finding.evidence}


def test_nothing_is_said_where_none_is_thought_of():
    """ensures that a case without a cover crop gets neither finding nor gap."""
    assert cover_crops.assess(CaseFile.model_validate(BASE)).findings == ()
    assert cover_crops.assess(CaseFile.model_validate(BASE)).missing == ()


def test_without_a_mix_those_that_still_fit_are_listed():
    """ensures that late ones are left out and nothing is put into the plan (own rule)."""
    finding = finding_of({"purpose": ["nitrogen"], "sowing": "2026-08-20",
                          "first_frost": "2026-10-05"})
    names = [e.text.params["name"] for e in finding.evidence if e.text.name == "seed"]
    assert "hairy vetch" in names and "red clover" not in names and "cereal rye" not in names
    assert finding.needs == ()


def test_a_mix_that_is_too_late_is_not_advised():
    """ensures that radish with 30 days before frost is called late (Ohio State: 60 days)."""
    late = finding_of({"purpose": ["compaction"], "sowing": "2026-09-05",
                       "first_frost": "2026-10-05", "mix": [{"species": "radish"}]})
    assert late.title.params["late"] == ["oilseed radish"] and late.needs == ()
    rye = finding_of({"purpose": ["erosion"], "sowing": "2026-10-25",
                      "first_frost": "2026-10-05", "mix": [{"species": "winter rye"}]})
    assert [n.kind for n in rye.needs] == [NeedKind.MANAGE] and rye.needs[0].optional


def test_unknown_things_are_not_judged():
    """ensures that a cover crop off the list, and missing dates, are named as gaps."""
    told = cover_crops.assess(case_of({"purpose": ["weeds"], "mix": [{"species": "moonflower"}]},
                                      dates={}))
    assert told.findings == ()
    assert {m.what.name for m in told.missing} == {"missing_species", "missing_dates"}


@pytest.mark.parametrize(("mix", "crop", "note"), [
    (["cereal rye"], "corn", "follow_after_rye_corn"),  # Nebraska CropWatch 2021
    (["cereal rye"], "lettuce", "follow_small_seed"),  # the same: small seeds are hurt
    (["turnip"], "canola", "follow_clubroot"),  # Canola Council 2013: crucifers are hosts
    (["hairy vetch"], "soybean", "follow_legume_bridge"),  # common practice
    (["cereal rye"], "soybean", None),
])
def test_what_follows_is_weighed(mix, crop, note):
    """ensures that notes on the next crop stand where they apply and nowhere else."""
    finding = finding_of({"purpose": ["weeds"], "mix": [{"species": s} for s in mix]},
                         following_crop=crop)
    notes = {name for name in said(finding) if name.startswith("follow_")}
    assert note in notes if note else not notes


def test_frost_is_never_the_only_way():
    """ensures that cold is told by its temperature and source, with a second way and the date.

    Oats die at about 17 F (Penn State 2015), not reliably in the Coastal Plain (Southern Cover
    Crops Council); mowing is for cereals, vetch and crimson clover (Missouri).
    """
    oats = finding_of({"purpose": ["weeds"], "mix": [{"species": "oats"}]})
    rye = finding_of({"purpose": ["weeds"], "mix": [{"species": "cereal rye"}]})
    assert {"end_frost", "end_till", "deadline"} <= said(oats) - {"end_roll_grass"}
    (cold,) = [e for e in oats.evidence if e.text.name == "winter"]
    assert cold.sources == ("penn-frost-2015",) and cold.grade is Grade.PUBLISHED
    assert "17" in WRITERS["en"].write(cold.text)
    (own,) = [e for e in finding_of({"purpose": ["weeds"], "mix": [{"species": "phacelia"}]})
              .evidence if e.text.name == "winter"]
    assert own.grade is Grade.PRACTICE and "from memory" in WRITERS["en"].write(own.text)
    assert "winter_unjudged" in said(rye)
    for species in ("red clover", "annual ryegrass"):
        assert "end_mow" not in said(finding_of({"purpose": ["erosion"],
                                                 "mix": [{"species": species}]}))
    assert {"end_roll_grass", "end_till", "deadline"} <= said(rye) - {"end_frost"}


def test_irrigated_ground_is_not_told_of_dry_trials():
    """ensures that water is weighed on rain-fed ground only, and the zone's date too."""
    finding = finding_of({"purpose": ["weeds"], "zone": 1, "mix": [{"species": "cereal rye"}]},
                         irrigation="drip")
    assert not {"water_dry", "water_humid"} & said(finding)
    (deadline,) = [e for e in finding.evidence if e.text.name == "deadline"]
    assert deadline.results == () and deadline.text.params["irrigated"]


def test_every_cover_crop_is_sourced_and_can_be_said():
    """ensures that each row renders in both languages, with known sources and sound ranges."""
    for row in load("cover_crops/species"):
        assert row["source"] in references() and row["low_lb_ac"] < row["high_lb_ac"], row
        finding = finding_of({"purpose": ["weeds"], "sowing": "2026-07-01",
                              "first_frost": "2026-10-05", "mix": [{"species": row["species"]}]})
        for writer in WRITERS.values():
            for message in (finding.title, *(e.text for e in finding.evidence),
                            *(n.text for n in finding.needs)):
                line = writer.write(message)
                assert line and "None" not in line and "{" not in line, line
    for table in ("carbon_nitrogen", "ending", "rotation"):
        for row in load(f"cover_crops/{table}"):
            assert set(str(row["source"]).split(";")) <= set(references()), row


def test_purposes_are_held_against_the_mix():
    """ensures that a purpose nothing serves speaks against the mix (common practice)."""
    finding = finding_of({"purpose": ["nitrogen", "erosion"], "mix": [{"species": "barley"}]})
    sides = {e.text.params["purpose"]: e.side for e in finding.evidence if e.text.name == "serves"}
    assert sides == {"nitrogen": Side.AGAINST, "erosion": Side.FOR}
    assert finding.title.params["unserved"] == ["nitrogen"]


def test_days_for_the_chart():
    """ensures that the chart is made of known cover crops and both dates, or not at all."""
    mix = [{"species": "radish"}, {"species": "moonflower"}, {"species": "cereal rye"}]
    dated = {"purpose": ["weeds"], "sowing": "2026-08-01", "first_frost": "2026-10-05", "mix": mix}
    assert cover_crops.days_before_frost(case_of(dated)) == (
        65.0, (("oilseed radish", 60.0), ("cereal rye", 0.0)))
    assert cover_crops.days_before_frost(case_of({"purpose": ["weeds"], "mix": mix})) is None


def test_a_mix_takes_its_share():
    """ensures that Wisconsin's third less for rye in a mix is two thirds of its rate."""
    alone, less = (cover_mix_seed_lb_ac(species="cereal rye", share_pct=s) for s in (90, 60))
    assert less == pytest.approx(alone * 2 / 3)
    assert cover_species("Secale cereale")["species"] == "cereal rye"


@pytest.mark.parametrize(("species", "stock", "wanted"), [
    ("sorghum-sudangrass", ["cattle"], {"caution_prussic_acid", "caution_nitrate"}),  # Nebraska
    ("sorghum-sudangrass", ["horses"], {"caution_cystitis"}),  # from memory, unverified
    ("oats", [], {"caution_nitrate"}),  # Southern Cover Crops Council
    ("cereal rye", ["sheep"], {"caution_nitrate", "caution_tetany"}),  # the same
    ("turnip", ["cattle"], {"caution_nitrate", "caution_sulfur"}),  # farm press, six cautions
    ("red clover", ["cattle"], {"caution_bloat"}),  # Kentucky
    ("hairy vetch", ["horses"], {"caution_vetch"}),  # Kansas State: 50 to 100 % die
    ("buckwheat", ["cattle"], set()),
])
def test_what_is_sown_for_stock_carries_its_cautions(species, stock, wanted):
    """ensures that a cover crop for grazing warns the stock kept, or all where none is named."""
    cover = {"purpose": ["grazing"], "mix": [{"species": species}]}
    finding = finding_of(cover, livestock=stock)
    cautions = finding.needs[0].cautions if finding.needs else finding.body[1:]
    assert bool(finding.needs) is (species != "hairy vetch")
    assert {c.name for c in cautions} - {"caution_vet"} == wanted
    assert all(WRITERS[language].write(c) for c in cautions for language in WRITERS)
    assert ("not_for_grazing" in said(finding)) is (species == "hairy vetch")
    mixed = finding_of({**cover, "mix": [{"species": species}, {"species": "cereal rye"}]},
                       livestock=stock)
    sown = [r["name"] for r in mixed.needs[0].text.params["rows"]]
    assert sown == [*([] if species == "hairy vetch" else [species]), "cereal rye"]
    assert ("end_graze" in said(mixed)) is (species != "hairy vetch")
    ground = finding_of({"purpose": ["weeds"], "mix": [{"species": species}]})
    assert ground.needs[0].cautions == () and "end_graze" not in said(ground)


def test_a_title_promises_nothing_that_was_not_judged():
    """ensures that without dates the title says that days are not judged (own rule)."""
    cover = {"purpose": ["weeds"], "mix": [{"species": "cereal rye"}]}
    assert "not judged" in WRITERS["en"].write(finding_of(cover).title)
    dated = finding_of({**cover, "first_frost": "2026-12-01"})
    assert "not judged" not in WRITERS["en"].write(dated.title)


@pytest.mark.parametrize(("before", "crop", "following", "note"), [
    ("alfalfa", "corn", None, None),
    ("alfalfa", "alfalfa", None, "follow_alfalfa_again"),  # a year or two between (three states)
    ("corn", "grain sorghum", "winter wheat", "follow_sorghum_wheat"),  # up to 25 %
    ("sunflower", "flax", None, "follow_sunflower_after"),  # held back in Anbar
    ("sorghum-sudangrass", "lettuce", None, "follow_sorghum_vegetable"),  # set plants died
])
def test_the_crop_before_is_weighed_without_a_cover_crop(before, crop, following, note):
    """ensures that what is published on two crops in a row is told, and nothing else."""
    data = copy.deepcopy(BASE)
    data["field"].update({"previous_crop": before, "crop": crop, "tillage": "conventional"})
    if following:
        data["field"]["following_crop"] = following
    found = cover_crops.assess(CaseFile.model_validate(data)).findings
    assert [n for f in found for n in said(f)] == ([note] if note else [])


def test_a_standing_alfalfa_is_not_its_own_forerunner():
    """ensures that a stand that stays is not told to wait for itself (own rule)."""
    data = copy.deepcopy(BASE)
    data["field"].update({"previous_crop": "alfalfa", "crop": "alfalfa", "tillage": "perennial"})
    assert cover_crops.assess(CaseFile.model_validate(data)).findings == ()


def test_set_plants_do_not_go_into_fresh_sorghum_sudangrass():
    """ensures that six to eight weeks are asked for, not the two of other covers.

    Source: ucd-sudex-2009, half to three quarters of the set plants died.
    """
    told = said(finding_of({"purpose": ["weeds"], "mix": [{"species": "sorghum-sudangrass"}]},
                           following_crop="tomato"))
    assert "follow_sorghum_vegetable" in told and "follow_small_seed" not in told


@pytest.mark.parametrize("rates, prices", [([], []), ([60.0], []), ([60.0], [-0.2]),
                                           ([60.0], [0.2, 0.3])])
def test_seed_without_its_price_has_no_cost(rates, prices):
    """ensures that each rate needs a price, and that 60 lb at 0.20 and 10 lb at 2.50 cost 37."""
    with pytest.raises(ImpossibleInput):
        cover_seed_cost(rates_lb_ac=rates, prices_per_lb=prices)
    assert cover_seed_cost(rates_lb_ac=[60, 10], prices_per_lb=[0.2, 2.5]) == pytest.approx(37.0)


def test_seed_from_memory_is_common_practice():
    """ensures that a seed rate is published only where it was looked up, whatever the species."""
    mix = [{"species": row["species"]} for row in load("cover_crops/species")][:8]
    how = {row["species"]: row["how"] for row in load("cover_crops/species")}
    finding = finding_of({"purpose": ["nitrogen"], "sowing": "2026-08-20",
                          "first_frost": "2026-10-05", "mix": mix})
    lines = [e for e in finding.evidence if e.text.name == "seed"]
    assert lines and all((e.grade is Grade.PRACTICE) is (how[e.text.params["name"]] == "memory")
                         for e in lines)


def test_those_for_most_purposes_come_first():
    """ensures that species that serve more of the purposes stand before the others (own rule)."""
    wanted = ("nitrogen", "erosion")
    finding = finding_of({"purpose": list(wanted), "sowing": "2026-08-20",
                          "first_frost": "2026-10-05"})
    serves = {row["species"]: row["purposes"].split("|") for row in load("cover_crops/species")}
    counts = [sum(p in serves[e.text.params["name"]] for p in wanted)
              for e in finding.evidence if e.text.name == "seed"]
    assert counts == sorted(counts, reverse=True) and counts[0] > 1
