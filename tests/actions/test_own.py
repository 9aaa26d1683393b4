"""The adviser's own actions, changes and nitrogen line: what they do to the plan."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from plan_builders import case_of, finding, material, need

from loambrief import pipeline
from loambrief.actions.blend import BlendZone, FieldMix, field_mix
from loambrief.actions.held import held
from loambrief.actions.offers import offer
from loambrief.actions.plan import make_plan
from loambrief.actions.rounding import round_rate
from loambrief.case.load import load_bytes
from loambrief.case.schema import Material
from loambrief.cli import main
from loambrief.errors import CaseProblems, PlanFaults
from loambrief.findings.model import WHOLE_FIELD, NeedKind, Place, Verdict

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
OHIO = SAMPLES / "acid_corn_ohio" / "case.yaml"
MICHIGAN = SAMPLES / "own_plan_michigan" / "case.yaml"
TSP = material("tsp", 720, p2o5=45)
SACK = material("sack", 720, p2o5=45, loads={"load_size": "4000 lb"})


def own(**keys):
    return {"id": "a", "what": "Starter", "reason": "Cold soil.", **keys}


def change(name, action, **keys):
    return {"action": action, "change": name, "reason": f"{name} it", **keys}


def phosphorus(*materials, amount=45.0, **parts):
    case = case_of([*materials], **parts)
    return make_plan(case, (finding(need(NeedKind.NUTRIENT, "P2O5", amount, "")),))


def ohio(extra):
    """The plan of the acid corn sample with more keys."""
    text = OHIO.read_text(encoding="utf-8")
    return pipeline.advise(load_bytes(f"{text}\n{extra}\n".encode(), "case.yaml",
                                      folder=OHIO.parent))


def problems(extra):
    with pytest.raises(CaseProblems) as error:
        ohio(extra)
    return {(p.code, p.field): p for p in error.value.problems}


# own actions -------------------------------------------------------------------------------


def test_own_material_is_taken_off_the_need():
    """ensures that what the adviser spreads anyway is not bought a second time."""
    plan = phosphorus(TSP, own_actions=[own(material="tsp", rate="40 lb/ac")])
    by_id = {a.id: a for a in plan.actions}
    assert by_id["own.a"].supplies["P2O5"] == pytest.approx(18.0)
    rest = by_id["nutrient.p2o5.tsp"]
    assert rest.exact_rate == pytest.approx((45.0 - 18.0) / 0.45)
    assert by_id["own.a"].own == "action" and by_id["own.a"].reasons == ("Cold soil.",)


def test_own_material_at_no_rate_costs_nothing():
    """ensures that neither material nor its spreading is charged where nothing is spread."""
    plan = phosphorus(TSP, own_actions=[own(material="tsp", rate="0 lb/ac")])
    assert {a.id: a.cost_total for a in plan.actions}["own.a"] == 0.0


def test_own_material_that_covers_a_need_ends_it():
    """ensures that nothing is bought for a need that an own action meets whole."""
    plan = phosphorus(TSP, own_actions=[own(material="tsp", rate="120 lb/ac")])
    assert [a.id for a in plan.actions] == ["own.a"]
    (met, by), = plan.met
    assert (met.item, by.id) == ("P2O5", "own.a")


def test_an_own_action_on_part_of_the_ground_counts_for_its_part():
    """ensures that a rate on a quarter of the field brings a quarter over all of it."""
    plan = phosphorus(TSP, own_actions=[own(material="tsp", rate="100 lb/ac", area="10 ac")])
    rest = plan.action("nutrient.p2o5.tsp")
    assert rest.exact_rate == pytest.approx((45.0 - 45.0 / 4) / 0.45)


def test_loads_are_shared_with_own_actions():
    """ensures that one order holds both, and that what a load leaves over is used first."""
    plan = phosphorus(SACK, amount=45.0,
                      own_actions=[own(material="sack", rate="20 lb/ac")])
    order, = plan.orders
    spread = sum((a.rate or 0) * (a.area_ac or 0) for a in plan.actions)
    assert order.needed_lb == pytest.approx(spread)
    assert order.ordered_lb == 4000.0
    held = offer(Material.model_validate(SACK))
    shared = field_mix((BlendZone(WHOLE_FIELD, 40.0, {"P2O5": 36.0}),),
                       (type(held)(**{**held.__dict__, "committed_lb": 800.0}),))
    assert isinstance(shared, FieldMix) and shared.cost == pytest.approx(0.0)


def test_own_work_takes_the_place_of_the_same_work():
    """ensures that ripping by the adviser's own contractor is not planned twice."""
    ripper = {"id": "rip", "name": "rip", "kind": "service", "does": "subsoiling",
              "price": {"amount": 30, "per": "ac", "date": "2026-10-01"}}
    asked = (finding(need(NeedKind.LOOSEN, "dense layer", None, "")),)
    alone = make_plan(case_of([ripper]), asked)
    assert len(alone.actions) == 1
    plan = make_plan(case_of([ripper], own_actions=[own(
        kind="loosen", cost={"amount": 20, "per": "ac", "date": "2026-10-01"})]), asked)
    assert [(a.id, a.cost_total) for a in plan.actions] == [("own.a", 800.0)]


def test_own_lime_is_counted_by_its_effect():
    """ensures that lime of half the value does half of the work (94 and 78 %, 3 % water)."""
    plan = ohio("own_actions:\n  - {id: l, what: Lime, material: aglime, rate: 1 ton/ac, where: N,"
                " reason: r}").plan
    before = ohio("").plan.action("lime.lime.n")
    assert plan.action("lime.lime.n").exact_rate == pytest.approx(before.exact_rate - 1.0)


def test_a_stated_rank_and_its_dependency():
    """ensures that a place in the order is kept, and one before what is waited for is refused."""
    plan = phosphorus(TSP, own_actions=[own(kind="manage", rank=1)])
    assert plan.actions[0].id == "own.a"
    drained = (finding(need(NeedKind.DRAIN, "drain", None, "")),
               finding(need(NeedKind.LEACH, "leach", 6.0, ""), name="leach"))
    with pytest.raises(PlanFaults) as error:
        make_plan(case_of(plan_changes=[change("move", "leach", rank=1)]), drained)
    fault, = error.value.faults
    assert (fault.code, fault.path) == ("CASE053", ("plan_changes", 0, "rank"))


# changes -----------------------------------------------------------------------------------


def test_dropped_action_leaves_its_verdict_and_its_cautions():
    """ensures needed-but-set-aside: no order, no money, the verdict and the reason stay."""
    advice = ohio("plan_changes:\n  - {action: nutrient.p2o5.n, change: drop, reason: Not now.}")
    plan = advice.plan
    assert not any(a.id.startswith("nutrient.p2o5.n") for a in plan.actions)
    assert not any(o.material_id == "litter" for o in plan.orders)
    verdict = next(v for v in plan.verdicts if v.id == "nutrient.P2O5.N")
    assert verdict.verdict is Verdict.NEEDED and verdict.set_aside == ("Not now.",)
    litter = next(v for v in plan.verdicts if v.key == "litter")
    assert (litter.verdict, litter.reason) == (Verdict.NEEDED, "material_set_aside")
    assert plan.program is not None
    assert plan.program.action("nutrient.p2o5.n.litter").cost_total == pytest.approx(1164.0)
    entry = next(d for d in plan.differences if "drop" in d.kinds)
    assert entry.reasons == ("Not now.",) and entry.program[0].cost == pytest.approx(1164.0)


def test_what_waited_for_dropped_work_says_so():
    """ensures that leaching without its drainage bears a caution, and is not held for ever."""
    asked = (finding(need(NeedKind.DRAIN, "drain", None, "")),
             finding(need(NeedKind.LEACH, "leach", 6.0, ""), name="leach"))
    plan = make_plan(case_of(plan_changes=[change("drop", "drain")]), asked)
    leach, = plan.actions
    assert leach.cautions[0].key == "actions.caution_without" and leach.depends_on == ()
    assert leach.id in plan.budget.chosen


def test_deferred_work_costs_nothing_now():
    """ensures that what is put off, and what waits for it, is neither paid nor ordered."""
    asked = (finding(need(NeedKind.DRAIN, "drain", None, "")),
             finding(need(NeedKind.LEACH, "leach", 6.0, ""), name="leach"))
    plan = make_plan(case_of(plan_changes=[change("defer", "drain", until="2027-09-01")]), asked)
    assert set(plan.budget.deferred) == {a.id for a in plan.actions}
    assert plan.budget.chosen == () and plan.orders == ()


def test_replaced_material_does_the_same_work():
    """ensures that another material brings the same phosphorus, in steps of the spreader."""
    plan = phosphorus(TSP, material("dear", 2000, p2o5=52), plan_changes=[
        change("replace", "nutrient.p2o5.tsp", material="dear")])
    action, = plan.actions
    assert (action.id, action.material_id) == ("nutrient.p2o5.tsp", "dear")
    assert action.rate == pytest.approx(85.0)  # 45 lb of P2O5 in 52 % is 86.5, step 5
    assert action.cost_total == pytest.approx(85.0 * 1.0 * 40)


def test_split_parts_add_up():
    """ensures that areas of parts make the whole, in money and product, and else are refused."""
    parts = [{"area": "15 ac"}, {"area": "25 ac", "window": {"start": "2027-03-01"}}]
    plan = phosphorus(TSP, plan_changes=[change("split", "nutrient.p2o5.tsp", parts=parts)])
    whole = phosphorus(TSP)
    assert [a.id for a in plan.actions] == ["nutrient.p2o5.tsp.1", "nutrient.p2o5.tsp.2"]
    assert sum(a.cost_total for a in plan.actions) == pytest.approx(whole.actions[0].cost_total)
    assert plan.orders == whole.orders
    with pytest.raises(PlanFaults):
        phosphorus(TSP, plan_changes=[change("split", "nutrient.p2o5.tsp",
                                             parts=[{"area": "15 ac"}, {"area": "15 ac"}])])


@pytest.mark.parametrize("kind", ["drop", "move", "defer"])
def test_a_change_of_nothing_is_named_with_what_there_is(kind):
    """ensures that a misspelt id is a problem of the case at its place, near names first."""
    keys = {"drop": "", "move": "rank: 1,", "defer": "until: 2027-06-01,"}[kind]
    found = problems(f"plan_changes:\n  - {{action: lime.lime.m, change: {kind}, {keys} "
                     "reason: r}")
    problem = found["CASE052", "plan_changes[1].action"]
    lines = OHIO.read_text(encoding="utf-8").count("\n")
    assert problem.line == lines + 3 and problem.column == 14
    assert problem.help.startswith("Did you mean 'lime.lime.n'? There are: lime.lime.n, ")
    assert "nutrient.k2o.s.potash" in problem.help or "organic-matter" in problem.help


def test_a_new_material_does_not_name_the_change():
    """ensures that a wrong material is shown at its entry by number, as every change is."""
    found = problems("plan_changes:\n  - {action: lime.lime.n, change: replace, "
                     "material: chalk, reason: r}")
    assert ("CASE052", "plan_changes[1].material") in found


def test_check_names_strips_for_work_that_is_not_there(tmp_path):
    """ensures that the check sees what only the plan can tell of the strips."""
    path = tmp_path / "case.yaml"
    path.write_text(OHIO.read_text(encoding="utf-8")
                    + "\nstrips: {count: 4, length: 300 ft, actions: [lime.lime.m]}\n",
                    encoding="utf-8")
    done = CliRunner().invoke(main, ["check", str(path), "--json"])
    assert [(p["code"], p["field"]) for p in json.loads(done.stdout)
            if p["severity"] == "error"] == [("CASE052", "strips.actions[1]")]


def test_an_unreadable_plan_is_the_only_problem():
    """ensures that warnings that were not looked for are not said to have gone."""
    assert list(problems("nitrogen: {file: nowhere.yaml}")) == [("CASE067", "nitrogen.file")]


def test_changes_that_contradict_each_other_are_refused():
    """ensures that one action is not dropped and moved, nor replaced under two ids at once."""
    found = problems("plan_changes:\n  - {action: lime.lime.n, change: drop, reason: r}\n"
                     "  - {action: lime.lime.n, change: move, rank: 2, reason: r}")
    assert ("CASE053", "plan_changes[2].change") in found
    found = problems("plan_changes:\n  - {action: organic-matter, change: split, "
                     "parts: [{area: 1 ac}, {area: 2 ac}], reason: r}")
    assert ("CASE053", "plan_changes[1].action") in found


# limits ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("entry", "code", "field"), [
    # 40 CFR 503.13: no test of the regulated metals
    ("{id: a, what: Cake, material: cake, rate: 2 ton/ac, where: N, reason: r}", "CASE054",
     "own_actions[a].rate"),
    # the guide advises no phosphorus at S, a ditch is near: none from manure
    ("{id: a, what: Litter, material: litter, rate: 3 ton/ac, where: S, reason: r}", "CASE054",
     "own_actions[a].rate"),
    # 1.0 lb/ac is the most of boron for corn (nofa-soil-table27, table 27)
    ("{id: a, what: Boron, material: borate, rate: 30 lb/ac, where: N, reason: r}", "CASE054",
     "own_actions[a].rate"),
])
def test_above_a_legal_or_published_limit_is_refused(entry, code, field):
    """ensures that an own entry is held to the limits of computed ones, at its place."""
    text = OHIO.read_text(encoding="utf-8").replace(
        "budget:\n", "  - {id: cake, name: cake, kind: biosolids, analysis: {p2o5: 3 %},"
        " price: {amount: 5, per: ton, date: 2026-10-01}}\n"
        "  - {id: borate, name: borate, kind: fertilizer, analysis: {boron: 15 %},"
        " price: {amount: 900, per: ton, date: 2026-10-01}}\n\nbudget:\n", 1)
    loaded = load_bytes(f"{text}\nown_actions:\n  - {entry}\n".encode(), "case.yaml",
                        folder=OHIO.parent)
    with pytest.raises(CaseProblems) as error:
        pipeline.advise(loaded)
    assert (code, field) in {(p.code, p.field) for p in error.value.problems}


LIME = ("own_actions:\n  - {id: l, what: Lime, material: aglime, rate: 5 ton/ac, where: S, "
        "reason: r}")


def test_outside_the_usual_is_warned_and_can_be_accepted():
    """ensures that much lime in one pass is a warning, printed with its reason once accepted."""
    advice = ohio(LIME)
    warning = next(w for w in advice.loaded.warnings if w.code == "CASE131")
    assert warning.field == "own_actions[l].rate" and "one pass" in warning.wanted
    text = OHIO.read_text(encoding="utf-8").replace(
        "accept:\n", "accept:\n  - {code: CASE131, field: 'own_actions[l].rate', reason: Plowed}\n")
    accepted = pipeline.advise(load_bytes(f"{text}\n{LIME}\n".encode(), "case.yaml",
                                          folder=OHIO.parent)).loaded
    assert not any(w.code == "CASE131" for w in accepted.warnings)
    assert any(p.code == "CASE131" and why == "Plowed" for p, why in accepted.accepted)
    unused = pipeline.advise(load_bytes(text.encode(), "case.yaml", folder=OHIO.parent)).loaded
    assert any(w.code == "CASE117" for w in unused.warnings)


@pytest.mark.parametrize(("rate", "row", "over"), [(60, 30, False), (90, 30, True),
                                                    (60, 40, True)])
def test_a_starter_with_the_seed_is_held_to_its_limit(rate, row, over):
    """ensures that 11-52-0 with corn stays under 72 lb in 30 in rows, and less in wider ones.

    Sources: ksu-seed-placed, 72 lb of 11-52-0; ksu-starter-corn, 6 lb of salt in 40 in rows.
    """
    case = case_of([material("map", 700, n=11, p2o5=52)], field={"row_spacing": f"{row} in"},
                   own_actions=[own(material="map", rate=f"{rate} lb/ac", with_seed=True)])
    plan = make_plan(case, ())
    told = next(c for c in plan.action("own.a").cautions if c.name == "caution_seed_row")
    assert told.params["over"] is over and told.params["row"] == pytest.approx(row)
    assert any("with the seed" in f.found for f in held(case, plan, ())) is over


def test_nitrogen_alone_has_no_limit_with_the_seed():
    """ensures that what may be urea is never told a rate beside the seed (ksu-starter-corn)."""
    case = case_of([material("urea", 500, n=46)],
                   own_actions=[own(material="urea", rate="5 lb/ac", with_seed=True)])
    plan = make_plan(case, ())
    told = next(c for c in plan.action("own.a").cautions if c.name == "caution_seed_row")
    assert told.params["product"] is None
    assert any("with the seed" in f.found for f in held(case, plan, ()))


def test_setting_aside_what_keeps_stock_safe_is_warned():
    """ensures that such a drop is questioned, and that its caution stays in the advisory."""
    advice = ohio(
        "forage:\n  - {id: h, kind: grass, date: 2026-09-01, lab: Lab, nitrate: 9000 ppm,"
        " nitrate_as: no3}\n"
        "plan_changes:\n  - {action: manage.nitrate, change: drop, reason: r}")
    assert any(w.code == "CASE133" for w in advice.loaded.warnings)
    aside, = advice.plan.set_aside
    assert aside.cautions == aside.action.need.cautions


# nitrogen ----------------------------------------------------------------------------------


NITROGEN = """nitrogen:
  set_by: Ilse Varga
  source: state calculator
  rate: 190 lb/ac
  rate_is: {rate_is}
"""


def test_nitrogen_line_settles_who_set_it():
    """ensures that N is judged, that nobody is asked again, and that soybean is taken off.

    45 lb/ac after soybean: University of Nebraska EC117, from memory, unverified.
    """
    plan = ohio(NITROGEN.format(rate_is="from all sources")).plan
    verdicts = [v for v in plan.verdicts if v.key == "N"]
    assert {v.reason for v in verdicts} == {"nitrogen_set"}
    assert {v.amount for v in verdicts} == {190.0 - 45.0}
    assert not any(a.item == "adviser decides" for a in plan.actions)
    assert plan.program is not None
    assert any(a.item == "adviser decides" for a in plan.program.actions)
    whole = ohio(NITROGEN.format(rate_is="still to apply")).plan
    assert {v.amount for v in whole.verdicts if v.key == "N"} == {190.0}


def test_passes_that_miss_the_line_are_questioned():
    """ensures that what the passes and other materials bring is held against the line."""
    short = NITROGEN.format(rate_is="still to apply") + "  passes: [{nitrogen: 100 lb/ac}]"
    advice = ohio(short)
    assert [w.field for w in advice.loaded.warnings if w.code == "CASE132"] == ["nitrogen.rate"]
    action = advice.plan.action("nutrient.n.pass-1")
    assert action.own == "nitrogen" and action.supplies == {"N": 100.0}


def test_passes_keep_their_ids_and_name_what_a_spreader_can_hold():
    """ensures that a pass has an id of its place, and its product the steps of every other rate.

    10 and 40 lb of nitrogen take 35.7 and 142.9 lb of a 28 % solution (own arithmetic).
    """
    sample = (SAMPLES / "own_plan_michigan" / "case.yaml")
    plan = pipeline.advise(load_bytes(sample.read_bytes(), str(sample), folder=sample.parent)).plan
    assert {a.id: (a.rate, a.supplies["N"]) for a in plan.actions if a.own == "nitrogen"} == {
        "nutrient.n.pass-1": (35.0, pytest.approx(9.8)),
        "nutrient.n.w.pass-2": (145.0, pytest.approx(40.6))}
    assert round_rate(33.4, "gal/ac") == 33.0


def test_places_with_dots_and_dashes_keep_their_own_ids():
    """ensures that adding a sample never renames the actions of another."""
    asked = [finding(need(NeedKind.NUTRIENT, "P2O5", 45.0, name), name=name)
             for name in ("N.1", "N-1")]
    alone = make_plan(case_of([TSP]), (asked[0],)).actions
    both = make_plan(case_of([TSP]), tuple(asked)).actions
    assert {a.id for a in alone} < {a.id for a in both} and len(both) == 2
    assert Place("N.1") in {a.place for a in both}


def test_work_on_the_whole_field_is_split_by_zone():
    """ensures that parts named by zone get its area and an id of the zone's own, whatever stands
    before them, and that the parts still make up the field."""
    entry = ("plan_changes:\n  - {action: manage.traffic, change: split, reason: One at a time, "
             "parts: [{where: W}, {where: e, window: {start: 2027-04-01}}]}\n")
    parts = {a.id: a for a in michigan(entry).plan.actions if a.split_from == "manage.traffic"}
    assert {name: (a.place.id, a.area_ac) for name, a in parts.items()} == {
        "manage.traffic.w": ("W", 20.0), "manage.traffic.e": ("E", 18.0)}


@pytest.mark.parametrize("action, parts, found", [
    ("manage.traffic", "{where: W}, {where: W}", "one zone twice"),
    ("manage.traffic", "{where: W}, {area: 18 ac}", "where of 1 parts only"),
    ("manage.traffic", "{where: W}, {where: north}", "'north'"),
    ("lime.lime.w", "{where: W}, {where: E}", "where: W"),
])
def test_a_split_by_zone_that_is_none(action, parts, found):
    """ensures that a zone that is unknown, named twice or not the action's is told by its place."""
    with pytest.raises(CaseProblems) as error:
        michigan(f"plan_changes:\n  - {{action: {action}, change: split, reason: No, "
                 f"parts: [{parts}]}}\n")
    assert any(p.code in ("CASE052", "CASE053") and found in p.found and p.line
               for p in error.value.problems), [(p.code, p.found) for p in error.value.problems]


def test_a_setback_is_taken_off_once_where_the_action_is_split():
    """ensures that 150 ft by 581 ft, two acres, leave 18 of the 20 acres of both parts of the
    lime, the strips left as a check counted: 4 of 40 ft by 600 ft, 2.2 acres."""
    plan = pipeline.advise(load_bytes(MICHIGAN.read_bytes(), "case.yaml",
                                      folder=MICHIGAN.parent)).plan
    lime = [a for a in plan.actions if a.split_from == "lime.lime.w"]
    strips = sum(s.area_ac for s in plan.strips if s.laid_out)
    assert len(lime) == 2 and strips == pytest.approx(4 * 40 * 600 / 43_560)
    assert sum(a.area_ac for a in lime) + strips == pytest.approx(
        20 - 150 * 581 / 43_560, abs=1e-6)


def michigan(changes):
    """The sample with all keys, with these changes in place of its own."""
    text = MICHIGAN.read_text(encoding="utf-8")
    head, rest = text.split("plan_changes:", 1)
    keep = rest[rest.index("\naccept:"):].replace("\nstrips:", "\n")
    head = "\n".join(line for line in head.splitlines() if not line.startswith("strips:"))
    return pipeline.advise(load_bytes(f"{head}\n{changes}{keep}".encode(), "case.yaml",
                                      folder=MICHIGAN.parent))
