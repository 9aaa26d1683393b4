"""Findings on weeds: hints beside measurements, claims, safety, and what is never said."""

import copy
import re
from pathlib import Path

import pytest

from loambrief.agronomy.registry import recording
from loambrief.case.load import load_case
from loambrief.case.schema import CaseFile
from loambrief.findings.harm import Harm, harm_of
from loambrief.findings.model import Confidence, Grade, NeedKind, Side, Status
from loambrief.report.text import Writer
from loambrief.tables import load, references
from loambrief.topics.weeds import findings as weeds
from loambrief.topics.weeds import hints as weeds_hints
from loambrief.topics.weeds.control import APART
from loambrief.topics.weeds.hints import hints

ROOT = Path(__file__).parents[2] / "sample_inputs"
WRITERS = {system: Writer("en", system) for system in ("us", "si")}
BASE = {
    "loambrief": 1,
    "case": {"id": "weeds-1", "date": "2026-10-20"},
    "client": {"name": "Odalys Renwick"},
    "farm": {"name": "Tern Hollow"},
    "field": {"name": "South", "area": "30 ac", "crop": "winter wheat", "tillage": "conventional",
              "irrigation": "none", "drainage": "unknown"},
    "adviser": {"name": "Imre Castellan",
                "credential": {"scheme": "State board", "number": "CO-0", "expires": "2028-01-01"},
                "interest": "None."},
    "samples": [{
        "id": "S", "date": "2026-10-01", "cores": 20, "texture": "loam", "fizz": "none",
        "lab": {"name": "Gravel Bar Laboratory"},
        "methods": {"ph": "water 1:1", "ec": "saturated-paste", "cec": "ammonium acetate",
                    "cations": "ammonium-acetate"},
        "increments": [{"depth": "0-6 in", "ph": 5.3}],
    }],
}
CONE = {"date": "2026-05-01", "cone": "small 12.83 mm", "moisture": "field capacity",
        "depths": [3, 6, 9]}


def weed(species, cover=None, identification="certain", **more):
    found = {"species": species, "identification": identification, **more}
    return found | ({"cover": f"{cover} %"} if cover is not None else {})


def case_of(*found, slice_=None, **parts):
    data = copy.deepcopy(BASE)
    data["weeds"] = list(found)
    if slice_ is not None:
        data["samples"][0]["increments"] = [{"depth": "0-6 in", **slice_}]
    for key, value in parts.items():
        if isinstance(value, dict) and key in data:
            data[key].update(value)
        else:
            data[key] = value
    return CaseFile.model_validate(data)


def cone_of(readings, **more):
    points = [{"id": str(n), "readings": list(readings)} for n in range(1, 6)]
    return {**CONE, "points": points, **more}


def by_id(case):
    return {f.id: f for f in weeds.assess(case).findings}


def needs_of(case):
    """Measurements that the weeds ask for; the work against them has tests of its own."""
    return {(n.item, n.place.label): n for f in weeds.assess(case).findings for n in f.needs
            if n.item not in CONTROL}


def texts(case, system="us"):
    write = WRITERS[system].write
    said = weeds.assess(case)
    lines = []
    for f in said.findings:
        lines += [write(f.title), *(write(b) for b in f.body), *(write(e.text) for e in f.evidence)]
        lines += [write(f.reference)] if f.reference else []
        for need in f.needs:
            lines += [write(need.text), *(write(c) for c in need.cautions)]
    for missing in said.missing:
        lines += [write(missing.what), write(missing.consequence)]
    for hint in hints(case):
        lines += [write(hint.label), write(hint.verdict_text), write(hint.measured)]
    return lines


ACID = (weed("Rumex acetosella", 8), weed("Spergula arvensis", 6), weed("Scleranthus annuus", 4))
ACID_MEADOW = (*ACID, weed("Holcus lanatus", 6), weed("Anthoxanthum odoratum", 6),
               weed("Stellaria media", 5), weed("Lamium purpureum", 5))
RICH = tuple(weed(s, 6) for s in ("Rumex obtusifolius", "Urtica urens", "Galium aparine",
                                  "Solanum nigrum", "Lolium multiflorum", "Oxybasis rubra"))
WET = tuple(weed(s, 5) for s in ("Juncus effusus", "Alopecurus geniculatus", "Juncus gerardii",
                                 "Ranunculus repens", "Juncus bufonius", "Oxybasis rubra"))
DRY = tuple(weed(s, 5) for s in ("Arnoseris minima", "Rumex acetosella", "Erodium cicutarium",
                                 "Scleranthus annuus", "Medicago lupulina", "Linaria vulgaris"))
SALT = (weed("Puccinellia distans", 8), weed("Suaeda maritima", 5),
        weed("Hordeum jubatum", 9), weed("kochia", 9))
SALT_MARSH = tuple(weed(s, 5) for s in ("Puccinellia distans", "Suaeda maritima", "Salsola kali",
                                        "Hordeum marinum", "Juncus gerardii", "Spergularia marina"))
EVERY = tuple(weed(row["scientific_name"], 1) for row in load("weeds/species"))
CONTROL = ("weeds", "weeds-throws-sap", "weeds-carry-off")
VARIANTS = {
    "acid": case_of(*ACID), "acid, limed": case_of(*ACID, slice_={"ph": 7.0}),
    "acid, middling": case_of(*ACID, slice_={"ph": 6.2}),
    "acid, no pH": case_of(*ACID, slice_={"organic_matter": "3 %"}),
    "acid, no samples": case_of(*ACID, samples=[]),
    "acid meadow": case_of(*ACID_MEADOW),
    "acid in calcium chloride": case_of(*ACID, samples=[
        {**BASE["samples"][0], "methods": {"ph": "cacl2"}}]),
    "rich": case_of(*RICH, field={"crop": "corn", "tillage": "no-till"}),
    "wet": case_of(*WET, field={"drainage": "poorly drained"}),
    "wet, well drained": case_of(*WET, field={"drainage": "well drained"}),
    "dry": case_of(*DRY, field={"drainage": "tile drained"}),
    "salt": case_of(*SALT), "salt, no samples": case_of(*SALT, samples=[]),
    "salt, measured": case_of(*SALT, slice_={"ec": "6 dS/m"}),
    "salt, not salty": case_of(*SALT, slice_={"ec": "0.6 dS/m"}),
    "salt, below a limit": case_of(*SALT, slice_={"ec": "<0.5 dS/m"}),
    "salt, above a limit": case_of(*SALT, slice_={"ec": ">20 dS/m"}),
    "salt marsh": case_of(*SALT_MARSH, slice_={"ec": "3 dS/m"}),
    "foxtail barley only": case_of(weed("Hordeum jubatum", 12)),
    "packed": case_of(weed("Polygonum aviculare", 12)),
    "packed, measured": case_of(weed("Polygonum aviculare", 12), penetrometer=cone_of([350] * 3)),
    "packed, loose": case_of(weed("Polygonum aviculare", 12), penetrometer=cone_of([80] * 3)),
    "packed, too dry": case_of(weed("Polygonum aviculare", 12),
                               penetrometer=cone_of([350] * 3, moisture="dry")),
    "no cover": case_of(weed("Avena fatua", density="20 plants/m2")),
    "unknown": case_of(weed("Nowhere plantum", 5), weed("Poa annua", 3, "possible")),
    "stock": case_of(weed("Conium maculatum", 1, "possible"), weed("Jacobaea vulgaris", 2),
                     field={"livestock": ["horses"]}),
    "sap taken": case_of(weed("Galinsoga parviflora", 5), refractometer={
        "date": "2026-06-01", "atc": True,
        "readings": [{"plant": "galinsoga", "role": "weed", "replicates": [5, 6, 5]}]}),
    "two places": case_of(weed("Rumex acetosella", 3, place="hill"),
                          weed("Rumex acetosella", 6, place="hollow")),
    "none": case_of(),
} | {f"all from {n}": case_of(*EVERY[n:n + 60]) for n in range(0, len(EVERY), 60)}
SAMPLES = {path.parent.name: load_case(path).case for path in sorted(ROOT.glob("*/case.yaml"))}
ALL = VARIANTS | SAMPLES


@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("name", ALL)
def test_every_message_can_be_written(name, system):
    """ensures that each sentence renders, in both unit systems, without gaps."""
    for line in texts(ALL[name], system):
        assert line and "None" not in line and "{" not in line and "  " not in line, line
        assert not re.search(r"\.\.|\b(inf|nan)\b", line), line


@pytest.mark.parametrize("name", ALL)
def test_weeds_never_set_an_amount(name):
    """ensures that weeds ask for measurements and work without a rate (written rule)."""
    for need in (n for f in weeds.assess(ALL[name]).findings for n in f.needs):
        assert need.kind is NeedKind.MEASURE or (need.kind is NeedKind.MANAGE and (
            need.item in CONTROL))
        assert need.amount is need.low is need.high is need.cap is None


@pytest.mark.parametrize("name", ALL)
def test_findings_are_few_and_sourced(name):
    """ensures that a case has at most five findings on weeds, each with known sources."""
    found = weeds.assess(ALL[name]).findings
    assert len(found) <= 5 and len({f.id for f in found}) == len(found)
    for finding in found:
        assert finding.sources and set(finding.sources) <= set(references())
        for evidence in finding.evidence:
            assert set(evidence.sources) <= set(references())
        assert finding.severity <= 1


def test_no_weeds_no_finding():
    """ensures that a case without weeds says nothing about them, not even "missing"."""
    said = weeds.assess(VARIANTS["none"])
    assert said.findings == said.missing == () and hints(VARIANTS["none"]) == ()


def hint_of(name, label):
    """Verdict on one row of the chart."""
    return next(h for h in hints(ALL[name]) if h.label.name == f"label_{label}")


@pytest.mark.parametrize(("name", "label", "verdict"), [
    ("acid", "acidity", "agrees"), ("acid, limed", "acidity", "differs"),
    ("acid, middling", "acidity", "mixed"), ("acid, no pH", "acidity", "not measured"),
    ("acid, no samples", "acidity", "not measured"),
    ("acid in calcium chloride", "acidity", "mixed"),
    ("salt", "salinity", "not measured"), ("salt, measured", "salinity", "agrees"),
    ("salt, not salty", "salinity", "differs"), ("salt, below a limit", "salinity", "differs"),
    ("salt, above a limit", "salinity", "agrees"), ("salt marsh", "salinity", "mixed"),
    ("packed", "compaction", "not measured"), ("packed, measured", "compaction", "agrees"),
    ("packed, loose", "compaction", "differs"), ("packed, too dry", "compaction", "mixed"),
    ("wet", "wetness", "agrees"), ("wet, well drained", "wetness", "differs"),
    ("dry", "moisture_low", "mixed"), ("rich", "nutrients_high", "not measured"),
])
def test_hint_beside_measurement(name, label, verdict):
    """ensures that a measurement confirms or overrules the weeds (written rule)."""
    assert hint_of(name, label).verdict == verdict


def test_hint_carries_weeds_and_cover():
    """ensures that the chart gets each weed once with its cover, most cover first."""
    assert hint_of("acid", "acidity").weeds == (
        ("sheep sorrel", 8.0), ("corn spurry", 6.0), ("annual knawel", 4.0))
    assert hint_of("two places", "acidity").weeds == (("sheep sorrel", 6.0),)


def test_a_disagreement_asks_to_sample_again_and_changes_nothing():
    """ensures that weeds against the laboratory print "sample it by itself" and no more."""
    finding = by_id(VARIANTS["acid, limed"])["weeds.hints"]
    assert any(b.name == "body_resample" for b in finding.body)
    assert finding.confidence is Confidence.LOW
    assert any(e.side is Side.AGAINST and e.text.name == "for_prompt" for e in finding.evidence)


def test_few_species_make_no_statement():
    """ensures that below five effective species no axis speaks (working rule, from memory)."""
    finding = by_id(VARIANTS["acid"])["weeds.hints"]
    assert not any(e.text.name == "context_axis" for e in finding.evidence)
    few = next(e.text for e in finding.evidence if e.text.name == "context_few")
    assert "reaction" in few.params["axes"]
    assert "Too few indicator species" in WRITERS["us"].write(few)


def test_enough_species_speak_in_words():
    """ensures that an axis with enough species gives words and never a pH (written rule)."""
    finding = by_id(VARIANTS["rich"])["weeds.hints"]
    axis = next(e for e in finding.evidence if e.text.params.get("axis") == "nutrients")
    text = WRITERS["us"].write(axis.text)
    assert "high productivity" in text and "not a nitrate or phosphorus test" in text
    assert axis.results and axis.results[0].formula == "indicator_mean"
    assert axis.results[0].details["n_eff"] >= 5


def test_plants_of_any_soil_do_not_vote_on_acidity():
    """ensures that indifferent weeds alone never give "neutral or limed".

    Ellenberg et al. 1992: these are indifferent; their British ranks are 6 and 7.
    """
    case = case_of(*(weed(s, 6) for s in ("Chenopodium album", "Elymus repens", "Cirsium arvense",
                                          "Setaria viridis", "Ranunculus repens", "Poa annua")))
    finding = by_id(case)["weeds.hints"]
    few = next(e.text for e in finding.evidence if e.text.name == "context_few")
    assert "reaction" in few.params["axes"]
    assert all("reaction" not in h.label.name for h in hints(case))


def test_salt_plants_ask_for_salt_and_sodium():
    """ensures that salt plants ask for ECe and SAR where neither is known, and not again."""
    assert {item for item, _ in needs_of(VARIANTS["salt"])} == {"paste extract"}
    assert {item for item, _ in needs_of(VARIANTS["salt, measured"])} == {"sodium"}
    full = case_of(*SALT, slice_={"ec": "6 dS/m", "cec": "20 meq/100g",
                                  "exchangeable_sodium": "1 meq/100g"})
    assert needs_of(full) == {}


def test_a_weak_sign_is_called_weak():
    """ensures that foxtail barley alone is a weaker reason to measure (written rule)."""
    (need,) = needs_of(VARIANTS["foxtail barley only"]).values()
    assert need.item == "paste extract" and "weak sign" in WRITERS["us"].write(need.text)
    assert needs_of(case_of(weed("Hordeum jubatum", 1))) == {}


def test_compaction_plants_ask_for_the_cone_only_without_one():
    """ensures that knotweed asks for a penetrometer where there was none (MSU Extension)."""
    assert {item for item, _ in needs_of(VARIANTS["packed"])} == {"cone"}
    assert needs_of(VARIANTS["packed, measured"]) == {}


@pytest.mark.parametrize(("species", "claim", "side"), [
    ("Amaranthus retroflexus", "contradicted", Side.AGAINST),  # Hoveland et al. 1976
    ("Sinapis arvensis", "unsupported", Side.AGAINST),  # Singh et al. 2021
    ("Bassia scoparia", "partly", Side.CONTEXT),  # J. Range Manage.
    ("Spergula arvensis", "supported", Side.FOR),  # Ervio et al. 1994
    ("Taraxacum officinale", "contradicted", Side.AGAINST),  # Buchanan et al. 1975
    ("Setaria faberi", "unsupported", Side.AGAINST),  # no experiment found
])
def test_claims_stand_beside_evidence(species, claim, side):
    """ensures that a saying of the trade carries the published verdict."""
    finding = by_id(case_of(weed(species, 5)))["weeds.claims"]
    assert finding.grade is Grade.PRACTICE
    assert finding.evidence[0].text.params["verdict"] == claim
    assert finding.evidence[0].side is side and finding.evidence[0].sources


def test_every_claim_says_resistance_is_selection():
    """ensures that resistance is never blamed on soil (WSSA 1998)."""
    finding = by_id(VARIANTS["rich"])["weeds.claims"]
    text = " ".join(WRITERS["us"].write(b) for b in finding.body)
    assert "not a sign of poor soil" in text and "selects" in text
    assert "points to tillage, not minerals" in text


def test_dangerous_plants_always_print_cautions():
    """ensures that a possibly poisonous plant warns, whatever the diagnosis (own rule)."""
    finding = by_id(VARIANTS["stock"])["weeds.safety"]
    assert finding.status is Status.WATCH and finding.severity == 1
    text = " ".join(texts(VARIANTS["stock"]))
    for words in ("Do not press", "poison hemlock", "veterinarian", "mixed up", "listed by law",
                  "licensed applicator"):
        assert words in text


@pytest.mark.parametrize("name", [
    "Solanum ptychanthum", "Solanum carolinense", "nightshade", "Solanum sp.", "SOLPT",
])
def test_every_nightshade_warns(name):
    """ensures that the whole genus, known to the list or not, prints all its cautions."""
    finding = by_id(case_of(weed(name, 1, "possible")))["weeds.safety"]
    assert {"hazard_livestock", "hazard_nitrate", "hazard_look_alike"} <= {
        e.text.name for e in finding.evidence}
    assert finding.status is Status.WATCH
    assert any(b.name == "body_press" for b in finding.body)


def test_a_local_name_is_enough_to_warn():
    """ensures that a harmful local name counts where the species is not known (own rule)."""
    finding = by_id(case_of(weed("Unknown umbel", 1, "possible", local_name="cow parsnips")))
    assert any(b.name == "body_press" for b in finding["weeds.safety"].body)


def test_cleavers_in_rape_by_any_name_of_the_crop():
    """ensures that the figure for winter rape is found for canola (Lutman, 1995)."""
    case = case_of(weed("Galium aparine", 2), field={"crop": "oilseed rape"})
    found = [e for e in by_id(case)["weeds.competition"].evidence if e.text.name == "context_loss"]
    assert ["lutman-fwi-1995" in e.sources for e in found] == [True]


@pytest.mark.parametrize("name", ALL)
def test_general_cautions_are_always_there(name):
    """ensures that label and weed law are named wherever weeds are (usual practice)."""
    found = by_id(ALL[name])
    if found:
        names = {b.name for b in found["weeds.safety"].body}
        assert {"body_label", "body_noxious", "body_incomplete"} <= names


def test_a_counted_weed_gets_a_labelled_range():
    """ensures that a loss is a range marked as illustration (Cousens 1985; Lindquist 1996).

    Wild oat in winter wheat: about 5 % near 5 plants/m2 (Marshall et al. 2003).
    """
    finding = by_id(VARIANTS["no cover"])["weeds.competition"]
    counted = next(e for e in finding.evidence if e.text.name == "context_counted")
    slope = 5 / (5 * (1 - 5 / 70))
    for result, factor in zip(counted.results, (0.5, 2.0), strict=True):
        pressure = slope * factor * 20
        assert result.value == pytest.approx(pressure / (1 + pressure / 70))
    text = WRITERS["us"].write(counted.text)
    assert text.startswith("Illustrative") and "illustration only" in WRITERS["us"].write(
        finding.title)


def test_other_crops_get_no_loss_figures():
    """ensures that figures for wheat are not used for sweet corn (own rule)."""
    case = case_of(weed("Amaranthus retroflexus", 5), field={"crop": "sweet corn"})
    assert "weeds.competition" not in by_id(case)


def test_missing_cover_is_not_zero():
    """ensures that a weed without cover is left out and named as missing."""
    (missing,) = weeds.assess(VARIANTS["no cover"]).missing
    assert missing.what.params["names"] == ["wild oat"]


def test_unknown_weeds_are_named():
    """ensures that a weed outside the list is said to be left out."""
    finding = by_id(VARIANTS["unknown"])["weeds.hints"]
    assert any(b.params.get("names") == ["Nowhere plantum"] for b in finding.body)


def test_results_are_traced():
    """ensures that the means used are recorded with what they are about."""
    with recording() as trace:
        weeds.assess(VARIANTS["rich"])
    assert {"indicator_mean", "indicator_weight"} <= {r.formula for r in trace.results}
    assert all(r.subject for r in trace.results if r.formula == "indicator_mean")


def test_salt_rank_counts_a_plant_that_is_not_on_the_list():
    """ensures that a rank of 3 or more is a salt plant (Plant Atlas, class 3)."""
    assert weeds_hints.SALT_CLASS == 3.0
    case = case_of(weed("Chenopodium glaucum", 12))
    assert {item for item, _ in needs_of(case)} == {"paste extract"}


def test_seed_and_look_alikes_take_one_line_each():
    """ensures that equal seed figures and all look-alikes are put together, none lost."""
    found = by_id(case_of(weed("Chenopodium album", 5), weed("Amaranthus retroflexus", 5),
                          weed("Setaria faberi", 5), field={"crop": "corn"}))
    (seed,) = [e for e in found["weeds.control"].evidence if e.text.name == "context_seed"]
    text = WRITERS["us"].write(seed.text)
    assert text.count("decades (from memory, unverified)") == 1
    assert "redroot pigweed, germination of buried" in text and "giant foxtail, about 7%" in text
    assert set(seed.sources) == {"weed-memory", "ars-iowa-seedbank", "burnside-1981"}
    (alike,) = [e for e in found["weeds.safety"].evidence if e.text.name == "hazard_look_alike"]
    assert WRITERS["us"].write(alike.text).count("(group: ") == 2


def tactics_of(case):
    """Names of the tactics of a case, and the weeds each is for."""
    return {e.text.name.removeprefix("tactic_"): e.text.params["weeds"]
            for e in by_id(case)["weeds.control"].evidence if e.text.name.startswith("tactic_")}


def test_tactics_follow_the_ground():
    """ensures that tillage is advised only where the field is tilled (own rule)."""
    found = {tillage: tactics_of(case_of(
        weed("Cirsium arvense", 5), weed("Setaria faberi", 5), weed("Elymus repens", 2),
        field={"tillage": tillage})) for tillage in ("conventional", "no-till", "perennial")}
    assert {"tilled_three_weeks", "dry_rhizomes", "stale_bed"} <= set(found["conventional"])
    assert not {"tilled_three_weeks", "dry_rhizomes", "stale_bed", "till_tufts"} & {
        *found["no-till"], *found["perennial"]}
    assert "dense_sward" in found["perennial"] and "surface_seed" in found["no-till"]
    assert found["no-till"]["forage_years"] == ["Canada thistle"]


def test_tactics_follow_the_life_of_the_weed():
    """ensures that each weed gets what its life cycle asks for.

    Quackgrass: bare fallow no deeper than 4 in (Maine); nutsedge before six leaves (eOrganic);
    Canada thistle: three years of alfalfa (growiwm.org); dodder: no host (common practice).
    """
    found = tactics_of(case_of(weed("Elymus repens", 5), weed("Cyperus esculentus", 5),
                               weed("Cuscuta europaea", 1), weed("Daucus carota", 1)))
    assert found["dry_rhizomes"] == ["quackgrass"] and found["six_leaves"] == ["yellow nutsedge"]
    assert found["clean_seed"] == ["dodder"] and found["rosette"] == ["wild carrot"]
    assert "dodder" not in found["before_seed"]


@pytest.mark.parametrize(("name", "side", "told"), [
    ("salt, measured", Side.FOR, True), ("salt, not salty", Side.AGAINST, True),
    ("salt, no samples", Side.CONTEXT, False), ("packed, measured", Side.FOR, True),
    ("packed, loose", Side.AGAINST, True), ("packed, too dry", Side.CONTEXT, False),
])
def test_the_soil_is_joined_only_where_it_was_measured(name, side, told):
    """ensures that what the soil adds is not judged without a clear measurement (own rule)."""
    finding = by_id(VARIANTS[name])["weeds.control"]
    (soil,) = [e for e in finding.evidence if e.text.name == "soil_adds"]
    assert soil.side is side and soil.text.params["tested"] is told
    assert ("salt_cover" in tactics_of(VARIANTS[name])) is (name == "salt, measured")
    assert any(b.name == "body_unmeasured" for b in finding.body) is not told


def test_every_tactic_has_words_and_is_reached():
    """ensures that each row of the table is printed for some weed on some ground."""
    grounds = [case_of(*EVERY[n:n + 60], slice_={"ec": "9 dS/m"}, field={"tillage": tillage})
               for tillage in ("conventional", "no-till", "perennial")
               for n in range(0, len(EVERY), 60)]
    reached = {name for case in grounds for name in tactics_of(case)}
    assert reached == set(load("weeds/tactics").column("tactic"))


def test_unknown_depth_and_seed_life_are_said():
    """ensures that a weed without a published figure is named, not passed over."""
    case = case_of(weed("Nardus stricta", 5), weed("Setaria viridis", 5))
    lines = [WRITERS["us"].write(e.text) for e in by_id(case)["weeds.control"].evidence]
    assert any(line.startswith("How long seed lasts was not found for mat-grass") for line in lines)
    assert any("Not found: mat-grass." in line and "few from 5.0" in line for line in lines)


@pytest.mark.parametrize(("species", "farm", "law"), [
    ("Convolvulus arvensis", {"region": "Kansas"}, True),  # McPherson County: law of 1937
    ("Berteroa incana", {"region": "Montana"}, True),  # Montana State University EB0194
    ("Berteroa incana", {"region": "Kansas"}, False),
    ("Cuscuta europaea", {"country": "USA"}, True),  # 7 CFR 360.200
    ("Rumex crispus", {"country": "United Kingdom"}, True),  # Weeds Act 1959, from memory
    ("Rumex crispus", {"country": "USA"}, False),
])
def test_weeds_named_by_law(species, farm, law):
    """ensures that a law is named where it is held, and the local list is asked for anyway."""
    body = by_id(case_of(weed(species, 2), farm=farm))["weeds.safety"].body
    assert any(b.name == "body_named_by_law" for b in body) is law
    assert any(b.name == "body_noxious" for b in body)


def test_each_weed_text_is_used():
    """ensures that no sentence of the template is left over (own rule)."""
    root = Path(weeds.__file__).parent
    code = "".join(p.read_text(encoding="utf-8") for p in root.glob("*.py"))
    template = (Path(__file__).parents[2] / "templates/text/en/weeds.j2").read_text("utf-8")
    for name in re.findall(r"{% macro ([a-z]\w+)\(p\)", template):
        built = name.startswith(("hazard_", "label_", "measured_", "tactic_")) or (
            name.endswith(APART))
        assert built or f"weeds.{name.removesuffix('_means')}" in code, name


def test_the_weeds_part_stays_short():
    """ensures that the weeds of the Ohio case take 1300 words at most (own limit)."""
    words = sum(len(line.split()) for line in texts(SAMPLES["acid_corn_ohio"]))
    assert 300 < words <= 1300, words


@pytest.mark.parametrize(("species", "kind", "wanted"), [
    # New York DEC: sap burns, no trimming; federal list 7 CFR 360.200
    ("Heracleum mantegazzianum", "throws-sap", "report giant hogweed to the state"),
    ("Pastinaca sativa", "throws-sap", "do not mow, trim, pull or burn"),  # the same sap
    # Ohio State: gloves, face covered, never burnt, none left behind
    ("Conium maculatum", "carry-off", "Never burn, mow or trim it"),
    ("Cicuta maculata", "carry-off", "the root of water hemlock is its deadliest part"),
    ("Datura stramonium", "carry-off", "Bag all of it"),
    ("Hyoscyamus niger", "carry-off", "Bag all of it"),
    ("Jacobaea vulgaris", "carry-off", "Bag all of it"),
])
def test_weeds_that_harm_whoever_cuts_them_are_kept_apart(species, kind, wanted):
    """ensures that no one is told to pull, mow or cut them as other weeds, in either language."""
    case = case_of(weed(species, 9), weed("Setaria faberi", 2))
    finding = by_id(case)["weeds.control"]
    needs = {need.item: need for need in finding.needs}
    assert set(needs) == {"weeds", f"weeds-{kind}"}
    assert needs["weeds"].text.params["weeds"] == ["giant foxtail"]
    found = tactics_of(case)
    assert found["before_seed"] == ["giant foxtail"] and "cut_root" not in found
    apart = needs[f"weeds-{kind}"]
    assert all(harm_of(c) is Harm.PEOPLE for c in apart.cautions) and apart.cautions
    assert wanted in " ".join(WRITERS["us"].write(m) for m in (apart.text, *apart.cautions))
    alone = by_id(case_of(weed(species, 9)))["weeds.control"]
    assert [need.item for need in alone.needs] == [f"weeds-{kind}"]


def test_johnsongrass_is_mown_not_grazed_down():
    """ensures that stock are kept off young johnsongrass (Nebraska 2014: 20 to 24 in, no
    hungry stock), and that mowing when buds show is left to broadleaved weeds."""
    for tillage in ("conventional", "perennial"):
        case = case_of(weed("Sorghum halepense", 5), field={"tillage": tillage})
        (line,) = [WRITERS["us"].write(e.text) for e in by_id(case)["weeds.control"].evidence
                   if e.text.name == "tactic_mow_two_years"]
        assert "Do not graze it close" in line and "under 24" in line and "no horses" in line
        assert not {"mow_bud", "tilled_three_weeks"} & set(tactics_of(case))


def test_seed_of_biennials_is_not_told_from_others():
    """ensures that poison hemlock gets no figure of weeds that were tried (Burnside 1996)."""
    lines = {e.text.name: e.text.params for e in
             by_id(case_of(weed("Conium maculatum", 5)))["weeds.control"].evidence}
    assert "context_seed_group" not in lines
    assert lines["context_seed_none"]["weeds"] == ["poison hemlock"]


@pytest.mark.parametrize("species", ["Stellaria media", "Galium aparine"])
def test_depths_that_were_looked_up_are_published(species):
    """ensures that a depth read in its publication is graded so (Benvenuti et al. 2001)."""
    lines = [e for f in weeds.assess(case_of(weed(species, 20))).findings for e in f.evidence
             if e.text.key == "weeds.context_depth"]
    assert [(e.grade, e.sources) for e in lines] == [(Grade.PUBLISHED, ("benvenuti-2001",))]
