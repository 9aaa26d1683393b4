"""Whole fields, each held against what a competent adviser would and would not say.

What holds in every field is checked in every field; what holds in one stands in its
``expect.yaml`` with the source it rests on.
"""

import re

import pytest
from scenario_checks import (
    META,
    NAMES,
    PRACTICE,
    check_of,
    expectations,
    refusal,
    run,
    scenario,
    typed,
    verdicts,
)

from loambrief.actions.ranking import step_of
from loambrief.findings.model import JudgedKind, NeedKind, Verdict
from loambrief.report.blocks import plain
from loambrief.tables import references

EACH = [pytest.param(name, label, id=f"{name}-{label}")
        for name in NAMES for label in expectations(name)["expect"]]
ADVISED = [name for name in NAMES if not expectations(name).get("refused")]
every_field = pytest.mark.parametrize("name", ADVISED)
NEAR_WATER = [name for name in ADVISED if typed(name)["field"].get("sensitive_areas")]
ASKED = [name for name in ADVISED if typed(name)["case"].get("purpose")]

NUTRIENT_OF = {"phosphorus": "P2O5", "potassium": "K2O", "sulfate_s": "S", "magnesium": "Mg",
               "calcium": "Ca", "zinc": "Zn", "boron": "B", "manganese": "Mn", "copper": "Cu",
               "iron": "Fe"}
ANALYSIS_OF = {"n": "N", "p2o5": "P2O5", "k2o": "K2O", "sulfur": "S", "magnesium": "Mg",
               "calcium": "Ca", "zinc": "Zn", "boron": "B", "manganese": "Mn", "copper": "Cu",
               "iron": "Fe"}
WORDS_OF = {"N": "nitrogen", "P2O5": "phosph", "K2O": "potas"}
PRIMARY = tuple(WORDS_OF)
WATER_WORDS = r"water|ditch|creek|stream|brook|river|pond|well|drain"
RULED_OUT = ("material_interval", "material_excluded", "material_organic_prohibited")
"""Reasons against a material that are no verdict on what it would supply."""
NEEDLESS = ("material_enough", "material_needless", "material_amendment")
"""Reasons that rest on verdicts of all that a material is sold for."""
LIMITED = ("material_over_limit", "material_metals")
AMENDMENTS = ("lime", "gypsum", "elemental sulfur")
GUESSES = ("weeds", "refractometry")


@pytest.mark.parametrize(("name", "label"), EACH)
def test_says_what_a_competent_adviser_says(name, label):
    """ensures that one expectation of one field holds."""
    run(name, expectations(name)["expect"][label])


@pytest.mark.parametrize("name", NAMES)
def test_every_expectation_has_a_source(name):
    """ensures that each expectation names a listed publication, a citation, or the trade."""
    known = references()
    for label, expectation in expectations(name)["expect"].items():
        check_of(expectation)
        source, why = expectation["source"], expectation["why"]
        key = source.split(",")[0]
        cited = re.search(r"\b(19|20)\d\d\b", source) and len(source) > 40
        assert source.startswith(PRACTICE) or key in known or cited, (label, source)
        assert len(why.split()) >= 3, label
        assert set(expectation) >= set(META)


def test_the_suite_spans_the_work():
    """ensures that fields stay many, of many crops, guides and regions."""
    cases = [typed(name) for name in NAMES]
    assert len(NAMES) >= 25
    assert len({c["field"]["crop"] for c in cases}) >= 15
    assert len({c["farm"]["region"] for c in cases}) >= 15
    assert len({c.get("guide") for c in cases}) >= 6


@every_field
def test_each_nutrient_has_one_verdict(name):
    """ensures that all that was measured or is needed is judged once in each place, or said
    not to be judged.
    """
    s = scenario(name)
    found = verdicts(s)
    ids = [v["id"] for v in found]
    assert len(set(ids)) == len(ids)
    told = {(v["key"], v["place"]["id"]) for v in found if v["kind"] == "nutrient"}
    lacking = []
    for sample in s.loaded.case.samples:
        for field, key in NUTRIENT_OF.items():
            if (any(getattr(i, field) is not None for i in sample.increments)
                    and (key, str(sample.id)) not in told and (key, "") not in told):
                lacking.append((key, sample.id))
        lacking += [(key, sample.id) for key in PRIMARY
                    if (key, str(sample.id)) not in told and (key, "") not in told]
    if not s.loaded.case.samples:
        lacking += [key for key in PRIMARY if not [k for k, _ in told if k == key]]
    assert not lacking


@every_field
def test_each_material_has_one_verdict(name):
    """ensures that nothing on offer is passed over in silence."""
    s = scenario(name)
    found = [v["key"] for v in verdicts(s) if v["kind"] == "material"]
    assert sorted(found) == sorted(str(m.id) for m in s.loaded.case.materials)


@every_field
def test_verdicts_say_why(name):
    """ensures that each verdict has its reason, an unjudged one what would settle it, and a
    need its amount or what would settle the amount.
    """
    for v in verdicts(scenario(name)):
        assert v["verdict"] in ("needed", "not needed", "optional", "not judged"), v
        assert v["why"] and v["reason"], v
        if v["verdict"] == "not judged":
            assert v["settled_by"] and not v["amount"], v
        if v["verdict"] == "needed" and v["kind"] == "nutrient":
            assert v["amount"] or v["settled_by"], v
        if v["verdict"] == "not needed":
            assert not v["amount"], v


@every_field
def test_advises_against_nothing_unjudged(name):
    """ensures that "do not buy" is said only of what the evidence says is not needed."""
    s = scenario(name)
    by_key: dict[str, set[str]] = {}
    for v in verdicts(s):
        by_key.setdefault(v["key"], set()).add(v["verdict"])
    for entry in s.data["not_advised"]:
        assert entry["key"] or entry["material_id"], entry
        if entry["key"]:  # it may be needed in another zone
            assert "not needed" in by_key.get(entry["key"], ()), (entry, by_key.get(entry["key"]))
        if entry["material_id"]:
            assert by_key.get(entry["material_id"]) == {"not needed"}, entry
    against = {e["material_id"] for e in s.data["not_advised"]}
    reasons = {v["key"]: v["reason"] for v in verdicts(s) if v["kind"] == "material"}
    ruled_out = {key for key, reason in reasons.items() if reason in RULED_OUT}
    for material in s.loaded.case.materials:
        if str(material.id) in against - ruled_out and material.analysis is not None:
            holds = sold_for(material)
            told = {v for key in holds for v in by_key.get(key, ())}
            reason = reasons[str(material.id)]
            if reason in NEEDLESS:
                assert told == {"not needed"}, (material.id, told)
            else:  # a limit that it crosses speaks, whatever it is wanted for
                assert reason in LIMITED, (material.id, reason)
            if material.kind in AMENDMENTS:
                assert reason == "material_amendment", "no test shows enough of an amendment"


def sold_for(material):
    """What a material is bought for: lime for lime, gypsum for gypsum; of a fertilizer what
    makes up at least half of its largest share (our own rule: the 11 % N of a 11-52-0 does not
    decide its purchase); of manures and composts all that they hold.
    """
    own = {"lime": "lime", "gypsum": "gypsum", "elemental sulfur": "sulfur"}
    if material.kind in own:
        return [own[material.kind]]
    shares = {key: getattr(material.analysis, field).value for field, key in ANALYSIS_OF.items()
              if getattr(material.analysis, field) is not None}
    least = max(shares.values(), default=0) / 2 if material.kind == "fertilizer" else 0
    return [key for key, share in shares.items() if share >= least]


@every_field
def test_unjudged_primary_nutrients_stand_on_page_one(name):
    """ensures that page 1 names nitrogen, phosphorus or potassium that was not judged."""
    s = scenario(name)
    for v in verdicts(s):
        if v["kind"] == "nutrient" and v["key"] in PRIMARY and v["verdict"] == "not judged":
            assert re.search(WORDS_OF[v["key"]], s.page, re.I), v["key"]
            avoided = " ".join(map(plain, s.summary.avoid))
            assert not re.search(WORDS_OF[v["key"]], avoided, re.I), avoided


@every_field
def test_a_need_without_a_rate_keeps_its_materials(name):
    """ensures that a nutrient the plan asks for is not on the list of what not to buy."""
    s = scenario(name)
    ruled_out = {v.key for v in s.plan.verdicts if v.reason in RULED_OUT}
    against = {n.material_id for n in s.plan.not_advised} - ruled_out
    asked = {a.need.item for a in s.plan.actions
             if a.kind is NeedKind.NUTRIENT and a.rate is None}
    holding = {key: {str(m.id) for m in s.loaded.case.materials if m.analysis is not None
                     and getattr(m.analysis, field) is not None}
               for field, key in ANALYSIS_OF.items()}
    wrong = {key: sorted(holding[key] & against) for key in asked & set(holding)}
    assert not any(wrong.values()), wrong


@every_field
def test_page_one_does_not_deny_its_plan(name):
    """ensures that page 1 does not say that nothing is to be done where work waits for money,
    nor that nothing measured is at fault where nothing was measured.
    """
    s = scenario(name)
    assert not s.plan.actions or s.summary.actions, "work waits, and page 1 shows none"
    if s.summary.no_actions and s.plan.actions:
        assert plain(s.summary.no_actions) not in s.page
    if not s.loaded.case.samples:
        assert not re.search(r"nothing that was measured holds", s.page, re.I)


@every_field
def test_rates_lie_in_their_own_range(name):
    """ensures that a rate is not outside the range printed beside it."""
    for entry in scenario(name).data["actions"]:
        low, rate, high = entry["rate_low"], entry["rate"], entry["rate_high"]
        if rate is None or entry["own_rate_reason"]:
            continue
        assert low is None or rate >= low - 1e-9, (entry["id"], low, rate, high)
        assert high is None or rate <= high + 1e-9, (entry["id"], low, rate, high)


@every_field
def test_rates_rest_on_measurements(name):
    """ensures that no rate stands on weeds or sap readings alone."""
    for entry in scenario(name).data["actions"]:
        if entry["rate"] is not None:
            assert [w for w in entry["why"] if w.split(".")[0] not in GUESSES], entry["id"]


@every_field
def test_money_adds_up(name):
    """ensures that the chosen actions and what whole packages leave over make the total, and
    that the total stays within the budget.
    """
    s = scenario(name)
    money = s.plan.budget
    costs = sum(a.cost_total or 0.0 for a in s.plan.actions if a.id in money.chosen)
    left_over = sum(o.extra_cost or 0.0 for o in s.plan.orders)
    saved = sum(getattr(o, "saved", None) or 0.0 for o in s.plan.orders)
    assert money.spent == pytest.approx(costs + left_over - saved, abs=1.0)
    assert money.limit is None or money.spent <= money.limit + 0.5
    assert not set(money.chosen) & set(money.left_out)


def dollars(text):
    """Amounts of money in a text."""
    return [float(x.replace(",", "")) for x in re.findall(r"\$([\d,]+(?:\.\d+)?)", text)]


def signed_dollars(text):
    """An amount of money, below zero with a minus."""
    (amount,) = dollars(text)
    return -amount if "\N{MINUS SIGN}" in text or "-" in text else amount


@every_field
def test_page_one_adds_up(name):
    """ensures that the costs printed on page 1 and the lines of its foot make its total to the
    last digit, and that this is what the plan spends and the data say.
    """
    s = scenario(name)
    *added, total = [0.0, *(signed_dollars(plain(f.value)) for f in s.summary.foot)]
    printed = [x for line in s.summary.actions for x in dollars(plain(line.cost))]
    assert sum(printed) + sum(added) == pytest.approx(total, abs=0.001), (printed, added, total)
    assert total == pytest.approx(s.plan.budget.spent, abs=0.51)
    assert total == s.data["budget"]["printed"]["total"]


@every_field
def test_a_plan_without_prices_is_not_said_to_fit(name):
    """ensures that "the whole plan fits" is not said while actions lack a price."""
    s = scenario(name)
    if s.plan.budget.unpriced:
        assert not re.search(r"whole plan fits|everything fits", s.text, re.I)


@every_field
def test_work_falls_in_the_time_of_the_case(name):
    """ensures that nothing is due before the advice or begins after it has lapsed."""
    s = scenario(name)
    header = s.loaded.case.case
    for action in s.plan.actions:
        window = action.window
        if window is None or action.pass_number > 1:
            continue  # a later pass is a matter of the next advice
        if window.start is not None:
            assert window.start >= header.date, (action.id, window.start)
            assert header.valid_until is None or window.start <= header.valid_until, (
                action.id, window.start)
        if window.end is not None:
            assert window.end >= header.date, (action.id, window.end)
            assert window.start is None or window.start <= window.end, action.id
    for followup in s.plan.followups:
        assert followup.due is None or followup.due >= header.date, followup.due


@every_field
def test_page_one_begins_with_action_one(name):
    """ensures that ranks on page 1 rise, with what may be left out after what is needed, and
    that the first action the money covers is there.
    """
    s = scenario(name)
    optional = {a.rank: a.optional for a in s.plan.actions}
    ranks = [line.rank for line in s.summary.actions]
    assert ranks == sorted(ranks, key=lambda r: (optional[r], r))
    first = [a for a in s.plan.actions if a.id in s.plan.budget.chosen and a.pass_number == 1]
    needed = [a for a in first if not a.optional]
    covered = [a.rank for a in needed or first]
    paid = [r for r in ranks if s.plan.actions[r - 1].id in s.plan.budget.chosen]
    if covered:
        assert paid and paid[0] == min(covered)


@every_field
def test_what_is_left_out_of_page_one_is_a_habit_or_a_test(name):
    """ensures that no work with a rate or a cost is called a habit or a test."""
    s = scenario(name)
    named = {int(n) for m in re.finditer(
        r"Actions? ([\d, and]+) (?:is a habit|are habits)", s.page)
        for n in re.findall(r"\d+", m.group(1))}
    wrong = [a.id for a in s.plan.actions
             if a.rank in named and a.kind not in (NeedKind.MANAGE, NeedKind.MEASURE)]
    assert not wrong


@pytest.mark.parametrize("name", NEAR_WATER)
def test_water_nearby_is_named_with_each_source(name):
    """ensures that each source of nitrogen or phosphate carries the caution about water where
    the case has water nearby, in the plan and on its line of page 1.
    """
    s = scenario(name)
    lines = {line.rank: plain(line.caution) for line in s.summary.actions}
    for entry in s.data["actions"]:
        supplies = entry["supplies_lb_ac"]
        if (supplies.get("N") or 0) > 0 or (supplies.get("P2O5") or 0) > 0:
            assert re.search(WATER_WORDS, " ".join(entry["cautions"]), re.I), entry["id"]
            line = lines.get(entry["rank"])
            assert line is None or re.search(WATER_WORDS, line, re.I), (entry["id"], line)


@every_field
def test_what_may_be_skipped_is_called_optional(name):
    """ensures that page 1 calls an action optional if and only if it may be skipped."""
    s = scenario(name)
    shown = {line.rank for line in s.summary.actions}
    on_page = [e for e in s.data["actions"] if e["rank"] in shown]
    assert all(isinstance(e.get("optional"), bool) for e in s.data["actions"])
    if [e for e in on_page if e["optional"]]:
        assert re.search(r"\boptional\b", s.page, re.I)


@pytest.mark.parametrize("name", ASKED)
def test_the_question_is_answered_or_said_to_be_open(name):
    """ensures that page 1 answers what was asked, from findings, or says what it lacks."""
    s = scenario(name)
    asked = s.loaded.case.case.purpose
    question = s.data["question"]
    assert question["asked"] == asked
    assert question["answer"]
    known = {f["id"] for f in s.data["findings"]}
    assert set(question["basis"]) <= known
    assert question["basis"] or not question["answered"]
    assert " ".join(question["answer"].split())[:60] in s.page


@pytest.mark.parametrize("name", [n for n in NAMES if n not in ADVISED])
def test_a_case_that_cannot_be_right_is_refused(name):
    """ensures that the case is refused with the place in the file."""
    said = refusal(name)
    assert said and re.match(r"\d+: ", said), said


@every_field
def test_what_is_needed_is_acted_on(name):
    """ensures that a verdict of needed has an action, a caution or a line of page 1.

    The action names the key, brings it, or says in a caution how it is to be brought.
    """
    s = scenario(name)
    for verdict in s.plan.verdicts:
        if verdict.verdict is not Verdict.NEEDED or verdict.kind not in (
                JudgedKind.NUTRIENT, JudgedKind.AMENDMENT):
            continue
        here = [a for a in s.plan.actions
                if not a.place.id or not verdict.place.id or a.place.id == verdict.place.id]
        served = [a for a in here if verdict.key in (a.item, a.kind.value, *a.meets)
                  or a.supplies.get(verdict.key, 0.0) > 0
                  or (verdict.key == "sulfur" and a.kind is NeedKind.ACIDIFY)
                  or (verdict.finding_ids and set(verdict.finding_ids) & set(a.finding_ids))]
        cautioned = verdict.key == "Mg" and any(
            c.key == "actions.caution_dolomitic" for a in here for c in a.cautions)
        assert served or cautioned, (verdict.id, verdict.reason)
        if verdict.key == "Mg" and not any(a.supplies.get("Mg", 0.0) >= (verdict.amount or 0.0)
                                           for a in here):
            assert cautioned or any(a.item == "Mg" for a in here), verdict.id


@every_field
def test_what_goes_first_is_among_the_limits(name):
    """ensures that work for water and air goes before lime and feed only against a fault that
    limits the crop, which then stands among the limits.
    """
    s = scenario(name)
    limits = {f.id for f in s.plan.findings if f.severity >= 2}
    for action in s.plan.actions:
        if action.kind is NeedKind.MANAGE and step_of(action) == 1:
            assert limits & set(action.finding_ids), action.id


@every_field
def test_the_adviser_decides_after_the_work(name):
    """ensures that what the adviser is to decide stands once, after work, and never asks for
    nitrogen of a legume.
    """
    s = scenario(name)
    asked = [a for a in s.plan.actions if a.item == "adviser decides"]
    assert len(asked) <= 1
    legume = any(v.reason == "nitrogen_legume" for v in s.plan.verdicts)
    for action in asked:
        assert not (legume and "N" in action.need.text.params["keys"])
        later = [a for a in s.plan.actions if a.rank > action.rank]
        assert all(a.optional or step_of(a) >= 5 or a.decided_by or a.depends_on for a in later)



@every_field
def test_what_may_be_left_out_never_goes_before_what_is_needed(name):
    """ensures that no needed work ranks below what may be left out, unless the adviser put it
    there.
    """
    actions = [a for a in scenario(name).plan.actions if "move" not in a.changed and not a.own]
    spare = [a.rank for a in actions if a.optional]
    needed = [a.rank for a in actions if not a.optional]
    assert not spare or not needed or min(spare) > max(needed)


@every_field
def test_a_reading_stands_before_what_it_decides(name):
    """ensures that a test ranks before the work whose rate or very need it decides, and so does
    all that an action waits for, unless the adviser moved one of them.
    """
    actions = [a for a in scenario(name).plan.actions if "move" not in a.changed]
    place = {a.id: a.rank for a in actions}
    for action in actions:
        for first in (*action.depends_on, *action.decided_by, action.conditional_on):
            assert place.get(first, 0) < action.rank, (first, action.id)


@every_field
def test_a_reading_is_over_before_what_it_decides_begins(name):
    """ensures that the window of a test closes before that of the work it decides opens, where
    both are dated and the work does not open with the advice itself.
    """
    actions = {a.id: a for a in scenario(name).plan.actions}
    for action in actions.values():
        for first in (*action.decided_by, action.conditional_on):
            test, opens = actions.get(first), action.window and action.window.start
            if test is None or not opens or not test.window or not test.window.start \
                    or test.window.start >= opens:
                continue
            assert test.window.end and test.window.end <= opens, (first, action.id)


BEFORE_PLANTING = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.NUTRIENT, NeedKind.LEACH,
                   NeedKind.DRAIN)


@every_field
def test_windows_lie_on_the_right_side_of_the_crop(name):
    """ensures that what feeds or prepares a crop that is still to be planted opens and closes
    before it is planted, with bloom gypsum after planting and before harvest, and that loosening
    and cover crops open after a harvest of this season.
    """
    s = scenario(name)
    dates, today = s.loaded.case.field.dates, s.loaded.case.case.date
    if dates is None:
        return
    planting = dates.planting if dates.planting and dates.planting > today else None
    harvest = dates.harvest if dates.harvest and dates.harvest > today else None
    for action in s.plan.actions:
        window = action.window
        if window is None or action.pass_number > 1 or action.deferred is not None:
            continue
        days = [d for d in (window.start, window.end) if d is not None]
        if planting and action.kind in BEFORE_PLANTING and action.item != "shallow calcium":
            assert all(d <= planting for d in days), (action.id, days)
        if planting and action.kind is NeedKind.MEASURE and window.end:
            assert window.end <= planting, (action.id, days)
        if action.item == "shallow calcium":
            assert all((not dates.planting or d > dates.planting)
                       and (not harvest or d < harvest) for d in days), (action.id, days)
        if harvest and action.kind is NeedKind.LOOSEN:
            assert all(d >= harvest for d in days), (action.id, days)
