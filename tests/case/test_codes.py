"""Every documented code occurs, at the right place, and alone."""

import pytest
from case_builders import PENETROMETER, minimal, sample

from loambrief.case import names
from loambrief.case.codes import codes
from loambrief.tables import DataTable, TableSource

READ = {  # codes of test_reader.py
    "CASE001", "CASE002", "CASE003", "CASE004", "CASE005", "CASE006", "CASE007", "CASE008",
    "CASE009", "CASE010", "CASE011", "CASE012", "CASE013", "CASE014", "CASE015", "CASE019",
}

TAKEN_IN = {  # codes of test_intake.py, test_yaml_edit.py and test_profiles.py
    "CASE060", "CASE061", "CASE062", "CASE063", "CASE064", "CASE065", "CASE066", "CASE067",
    "CASE068",
    "CASE069", "CASE070", "CASE071",  # tests/fieldsheet
    "CASE073", "CASE074",  # tests/history
    "CASE049", "CASE123",  # test_boundary.py
    "CASE072",  # test_photos.py
    "CASE075", "CASE076",  # test_brand.py
    "CASE077", "CASE078", "CASE079",  # test_workbook.py
    "CASE054", "CASE131", "CASE132", "CASE133",  # tests/actions/test_own.py
}


def one(**increment):
    return minimal(samples=[sample(increment)])


def two(first, second, **keys):
    return minimal(samples=[sample(first, second, **keys)])


def changed(part, **keys):
    case = minimal()
    case[part] = {**case[part], **keys}
    return case


def point(*readings, **keys):
    return minimal(penetrometer={**PENETROMETER, "points": [{"id": "P1", "readings": readings}],
                                 **keys})


def sap(**keys):
    reading = {"plant": "corn", "role": "crop", "replicates": [7, 7.4, 6.8], **keys}
    return minimal(refractometer={"date": "2026-07-01", "atc": True, "readings": [reading]})


def forage(**keys):
    return minimal(forage=[{"id": "F1", "kind": "grass", "date": "2026-06-01", **keys}])


def water(**keys):
    return minimal(water={"source": "well", "date": "2026-06-01", **keys})


def material(**keys):
    return minimal(weeds=WEED, materials=[
        {"id": "m", "name": "Monoammonium phosphate 11-52-0", "kind": "fertilizer", **keys}])


WEED = [{"species": "Rumex acetosella", "identification": "certain"}]
PRICE = {"amount": 5, "per": "ton"}
LAB = {"name": "Lab"}
COPIED = {"ph": 6.2, "phosphorus": "20 ppm", "potassium": "150 ppm", "calcium": "1400 ppm"}


def own(**keys):
    return minimal(weeds=WEED, own_actions=[
        {"id": "a", "what": "Mow", "kind": "manage", "reason": "seed heads", **keys}])


def change(**keys):
    return minimal(weeds=WEED, plan_changes=[{"action": "x", "reason": "no", **keys}])


def nitrogen(**keys):
    return minimal(weeds=WEED, nitrogen={
        "set_by": "the adviser", "source": "own trials", "rate": "120 lb/ac",
        "rate_is": "still to apply", **keys})


def in_lane():
    case = point(100, 200, 300)
    case["penetrometer"]["points"][0]["place"] = "south headland"
    return case


CASES = [  # code, field, case
    # one value
    ("CASE020", "farm.acres", changed("farm", acres=3)),
    ("CASE020", "nonsense", minimal(nonsense=1)),
    ("CASE021", "adviser.interest", changed("adviser", interest=None)),
    ("CASE021", "samples[B1].lab", minimal(samples=[sample(lab=None)])),
    ("CASE021", "materials[m].price.date", material(price=PRICE)),
    ("CASE022", "farm", minimal(farm="Halloran")),
    ("CASE022", "samples", minimal(samples={"id": "x"})),
    ("CASE022", "farm.name", changed("farm", name=["x"])),
    ("CASE022", "farm.name", changed("farm", name=True)),
    ("CASE022", "refractometer.atc", minimal(refractometer={
        "date": "2026-07-01", "atc": "yes",
        "readings": [{"plant": "corn", "role": "crop", "replicates": [7, 7, 7]}]})),
    ("CASE023", "samples[B1].increments[0-6 in].phosphorus", one(phosphorus=21)),
    ("CASE023", "samples[B1].increments[0-6 in].phosphorus", one(phosphorus="21")),
    ("CASE023", "field.yield_goal.value",
     changed("field", yield_goal={"value": 60, "basis": "records"})),
    ("CASE024", "samples[B1].increments[0-6 in].cec", one(cec="13 ppm")),
    ("CASE024", "field.yield_goal.value",
     changed("field", yield_goal={"value": "60 bushels", "basis": "records"})),
    ("CASE025", "samples[B1].increments[0-6 in].zinc", one(zinc="low")),
    ("CASE025", "samples[B1].increments[0-6 in].zinc", one(zinc={"value": 1})),
    ("CASE025", "samples[B1].increments[0-6 in].zinc", one(zinc=[1, "ppm"])),
    ("CASE026", "samples[B1].increments[0-6 in].ph", one(ph=14)),
    ("CASE026", "samples[B1].increments[0-6 in].organic_matter", one(organic_matter="101 %")),
    ("CASE026", "field.area", changed("field", area="0 ac")),
    ("CASE026", "samples[B1].cores", minimal(samples=[sample(cores=0)])),
    ("CASE026", "samples[B1].increments[0-6 in].phosphorus",
     minimal(samples=[sample({"phosphorus": "4,000,000 lb/ac"},
                             lab={"name": "Lab", "lb_ac_means": "true_depth"})])),
    ("CASE026", "water.calcium", water(calcium="200,000 mg/L")),
    ("CASE026", "penetrometer.points[P1].readings[2]", point(1, 22, 1.2, pressure_unit="MPa")),
    ("CASE027", "field.tillage", changed("field", tillage="ploughed")),
    ("CASE027", "loambrief", minimal(loambrief=2)),
    ("CASE027", "case.currency", changed("case", currency="dollars")),
    ("CASE028", "case.date", changed("case", date="2026-02-30")),
    ("CASE028", "case.date", changed("case", date="30.10.2026")),
    ("CASE028", "case.date", changed("case", date=20261020)),
    ("CASE028", "case.date", changed("case", date="0001-01-01")),
    ("CASE029", "refractometer.readings[corn].time", sap(time="25:00")),
    ("CASE029", "refractometer.readings[corn].time", sap(time="2 pm")),
    ("CASE030", "samples[B1].increments[0-6 in].ph", one(ph="acid")),
    ("CASE030", "samples[B1].cores", minimal(samples=[sample(cores=17.5)])),
    ("CASE031", "farm.name", changed("farm", name="")),
    ("CASE031", "farm.name", changed("farm", name="x" * 201)),
    *[("CASE032", "case.id", changed("case", id=bad)) for bad in (
        "../../etc/passwd", "a/b", "a\\b", ".hidden", "-rf", "a b", "CON", "nul.pdf", "ü",
        "x" * 65, "a\n")],
    ("CASE033", "samples[B1].increments[1].depth", one(depth="-2-6 in")),
    ("CASE033", "samples[B1].increments[1].depth", one(depth=["0-6 in"])),
    *[("CASE033", f"samples[B1].increments[{bad}].depth", one(depth=bad)) for bad in (
        "6", "0-6", "6-0 in", "0-6 ppm", "0-0 in", "0-nan in", "0-900 ft")],
    ("CASE034", "samples[B1].increments", minimal(samples=[sample(increments=[])])),
    ("CASE034", "weeds", minimal(weeds=WEED * 61)),
    # values that do not fit each other
    ("CASE042", "own_actions[A].id", minimal(weeds=WEED, own_actions=[
        {"id": name, "what": "Mow", "kind": "manage", "reason": "seed"} for name in "aA"])),
    ("CASE047", "own_actions[a].window.end",
     own(window={"start": "2027-03-02", "end": "2027-03-01"})),
    ("CASE047", "plan_changes[1].until", change(change="defer", until="2026-10-01")),
    ("CASE052", "own_actions[a].material", own(material="mpa")),
    ("CASE052", "own_actions[a].where", own(where="nowhere")),
    ("CASE052", "nitrogen.passes[1].where",
     nitrogen(passes=[{"nitrogen": "120 lb/ac", "where": "S"}])),
    ("CASE053", "own_actions[a].rate", own(rate="20 lb/ac")),
    ("CASE053", "own_actions[a].kind", own(kind=None)),
    ("CASE053", "own_actions[a].area", own(area="4000 ac")),
    ("CASE053", "own_actions[a].window", own(window={"start": None})),
    ("CASE053", "own_actions[a].cost.per",
     own(cost={"amount": 3, "per": "gal", "date": "2026-10-01"})),
    ("CASE053", "own_actions[a].rate", {
        **material(analysis={"n": "11 %"}),
        "own_actions": [{"id": "a", "what": "Feed", "material": "m", "reason": "why"}]}),
    *[("CASE053", "plan_changes[1].change", change(change=name))
      for name in ("defer", "replace", "split", "move")],
    ("CASE053", "plan_changes[1].rank", change(change="drop", rank=2)),
    ("CASE053", "plan_changes[1].parts",
     change(change="split", parts=[{"area": "3 ac"}, {"window": {"when": "later"}}])),
    ("CASE053", "nitrogen.rate", nitrogen(rate="20 gal/ac")),
    ("CASE053", "nitrogen.passes[1].material", {
        **material(analysis={"p2o5": "45 %"}),
        "nitrogen": nitrogen(passes=[{"nitrogen": "120 lb/ac", "material": "m"}])["nitrogen"]}),
    ("CASE040", "samples[B1].methods.zinc", one(zinc="1 ppm")),
    ("CASE040", "samples[B1].methods.aluminum", one(aluminum="30 ppm")),
    ("CASE041", "samples[B2].area",
     minimal(samples=[sample(area="9 ac"), sample(id="B2")])),
    ("CASE041", "samples[B2].area",
     minimal(samples=[sample(area="10 ac"), sample(id="B2", area="4 ha")])),
    ("CASE041", "samples[B1].area", minimal(samples=[sample(area="19 ac")])),
    ("CASE042", "samples[2].id",
     minimal(samples=[sample(area="9 ac"), sample(area="9 ac")])),
    ("CASE042", "forage[f1].id", minimal(forage=[
        {"id": "F1", "kind": "grass", "date": "2026-06-01"},
        {"id": "f1", "kind": "grass", "date": "2026-06-01"}])),
    ("CASE043", "samples[B1].increments[6-12 in].depth",
     two({"depth": "0-8 in"}, {"depth": "6-12 in"})),
    ("CASE043", "samples[B1].increments[0-24 in].depth",
     two({"depth": "0-6 in"}, {"depth": "0-24 in"})),
    ("CASE043", "samples[B1].increments[2].depth",
     two({"depth": "0-6 in"}, {"depth": "0-6 in"})),
    ("CASE044", "penetrometer.points[P1].readings", point(100, 200)),
    ("CASE045", "penetrometer.depths[3]", point(1, 2, 3, depths=[3, 6, 6])),
    ("CASE046", "forage[F1].nitrate_as", forage(nitrate="500 ppm")),
    ("CASE047", "samples[B1].date", minimal(samples=[sample(date="2026-10-21")])),
    ("CASE047", "samples[B1].lab.received",
     minimal(samples=[sample(lab={**LAB, "received": "2026-10-01"})])),
    ("CASE047", "samples[B1].lab.reported", minimal(samples=[
        sample(lab={**LAB, "received": "2026-10-05", "reported": "2026-10-04"})])),
    ("CASE047", "case.valid_until", changed("case", valid_until="2026-10-20")),
    ("CASE047", "materials[m].price.date", material(price={**PRICE, "date": "2026-10-21"})),
    ("CASE047", "field.dates.harvest", changed("field", dates={
        "planting": "2027-05-01", "harvest": "2027-04-01"})),
    ("CASE048", "forage[F1].nitrate", forage(nitrate="500 lb/ac", nitrate_as="no3")),
    ("CASE048", "field.yield_goal.value",
     changed("field", yield_goal={"value": "5 bale/ac", "basis": "records"})),
    ("CASE051", "samples[B2].repeats.of", minimal(samples=[
        sample(), sample(id="B2", repeats={"of": "B3", "treat": "pool"})])),
    ("CASE051", "samples[B2].repeats.reason", minimal(samples=[
        sample(area="9 ac"), sample(id="B2", area="8 ac",
                                    repeats={"of": "B1", "treat": "keep apart"})])),
    ("CASE051", "samples[B2].area", minimal(samples=[
        sample(), sample(id="B2", area="8 ac", repeats={"of": "B1", "treat": "compare"})])),
    ("CASE051", "samples[B2].increments[0-8 in].depth", minimal(samples=[
        sample(), sample({"depth": "0-8 in", "ph": 6}, id="B2",
                         repeats={"of": "B1", "treat": "pool"})])),
    ("CASE051", "samples[B2].increments[0-6 in].phosphorus", minimal(samples=[
        sample({"phosphorus": "9 ppm"}), sample({"phosphorus": "<5 ppm"}, id="B2",
                                                repeats={"of": "B1", "treat": "pool"})])),
    ("CASE051", "samples[B2].increments[0-6 in].phosphorus", minimal(samples=[
        sample({"phosphorus": "9 ppm"}), sample({"phosphorus": "8 ppm"}, id="B2",
                                                methods={"phosphorus": "olsen"},
                                                repeats={"of": "B1", "treat": "pool"})])),
    ("CASE041", "samples[B2].share",
     minimal(samples=[sample(area="9 ac"), sample(id="B2", share="60 %")])),
    ("CASE041", "samples[B1].share", minimal(samples=[sample(area="9 ac", share="50 %")])),
    ("CASE041", "samples[B1].treat",
     minimal(samples=[sample(area="9 ac", treat={"reason": "the knoll only"})])),
    ("CASE041", "samples[B1].treat.area",
     minimal(samples=[sample(area="9 ac", treat={"area": "10 ac", "reason": "the knoll"})])),
    ("CASE021", "tenure.until", minimal(tenure={"held": "rented"})),
    ("CASE021", "tenure.grower_share", minimal(tenure={"held": "owned",
                                                       "lime_paid_by": "shared"})),
    ("CASE047", "tenure.until", minimal(tenure={"held": "rented", "until": "2020-01-01"})),
    ("CASE055", "tenure.until", minimal(tenure={"held": "owned", "until": "2040-01-01"})),
    ("CASE055", "tenure.grower_share", minimal(tenure={"held": "owned", "grower_share": "5 %"})),
    ("CASE056", "constraints.excluded[1]", minimal(constraints={
        "excluded": [{"reason": "no"}]})),
    ("CASE056", "constraints.excluded[slag].material", minimal(constraints={
        "excluded": [{"material": "slag", "reason": "no"}]})),
    ("CASE056", "materials[M1].substance", minimal(materials=[
        {"id": "M1", "name": "Lime", "kind": "lime", "substance": "rock phosphate"}])),
    ("CASE026", "constraints.spreaders[1].step", minimal(constraints={
        "spreaders": [{"name": "Drop", "step": "0 lb/ac"}]})),
    ("CASE057", "constraints.neighbours[1].zone", minimal(constraints={"neighbours": [
        {"name": "School", "setback": "100 ft", "length": "400 ft", "kinds": ["manure"],
         "zone": "Z9"}]})),
    ("CASE058", "strips.width", minimal(strips={"width": "0 ft", "length": "300 ft"})),
    ("CASE050", "guide", minimal(guide="tri_state_2002")),
    ("CASE050", "lime_table", minimal(lime_table="SMP")),
    ("CASE050", "field.crop", changed("field", crop="soybaen")),
    ("CASE050", "field.following_crop", changed("field", following_crop="cron")),
    ("CASE050", "farm.region", changed("farm", region="Ohoi")),
    ("CASE050", "farm.region", changed("farm", region="OH", country="USA")),
    # warnings
    ("CASE101", "samples[B1].increments[0-6 in].buffer_ph", one(ph=5.4, buffer_ph=7.9)),
    ("CASE101", "samples[B1].increments[0-6 in].buffer_ph", one(ph=7.1, buffer_ph=7.2)),
    ("CASE101", "samples[B1].increments[0-6 in].buffer_ph", one(ph=6.6, buffer_ph=5.6)),
    ("CASE102", "samples[B1].increments[0-6 in].cec",
     one(calcium="3000 ppm", magnesium="300 ppm", cec="12 meq/100g")),
    ("CASE102", "samples[B1].increments[0-6 in].cec",
     one(ph=6.8, calcium="900 ppm", magnesium="100 ppm", cec="20 meq/100g")),
    ("CASE102", "samples[B1].increments[0-6 in].exchangeable_sodium",
     one(exchangeable_sodium="14 meq/100g", cec="12 meq/100g")),
    ("CASE103", "samples[B1].increments[0-6 in].organic_matter",
     minimal(samples=[sample({"organic_matter": "9 %"}, texture="sand")])),
    ("CASE103", "samples[B1].increments[0-6 in].organic_matter",
     minimal(samples=[sample({"organic_matter": "5 %"}, texture="muck")])),
    ("CASE104", "samples[B1].increments[0-6 in].phosphorus", one(phosphorus="2400 ppm")),
    ("CASE104", "samples[B1].increments[0-6 in].ph", one(ph=2.5)),
    ("CASE104", "refractometer.readings[corn].replicates[2]", sap(replicates=[7, 74, 7])),
    ("CASE104", "penetrometer.points[P1].readings[2]", point(180, 1900, 200)),
    ("CASE104", "samples[B1].increments[6-12 in].calcium",
     two({"calcium": "1400 ppm"}, {"depth": "6-12 in", "calcium": "140 ppm"})),
    ("CASE104", "field.yield_goal.value", {
        **minimal(weeds=WEED), "field": {**minimal()["field"], "yield_goal": {
            "value": "600 bu/ac", "basis": "records"}}}),
    ("CASE105", "materials[m].analysis.p2o5", material(analysis={"n": "11 %", "p2o5": "22.7 %"})),
    ("CASE105", "materials[m].analysis.n", material(analysis={"n": "18 %", "p2o5": "52 %"})),
    ("CASE106", "samples[B1].increments[0-2 in].phosphorus",
     two({"depth": "0-2 in", "phosphorus": "90 ppm"}, {"phosphorus": "20 ppm"})),
    ("CASE107", "samples[B1].increments[12-24 in].depth",
     two({"ph": 6}, {"depth": "12-24 in", "ph": 6.4})),
    ("CASE107", "samples[B1].increments[6-12 in].depth", one(depth="6-12 in")),
    ("CASE108", "samples[B1].cores", minimal(samples=[sample(cores=14)])),
    ("CASE109", "samples[B1].area", {
        **minimal(samples=[sample()]), "field": {**minimal()["field"], "area": "21 ac"}}),
    ("CASE110", "samples[B1].date", minimal(samples=[sample(date="2023-10-01")])),
    ("CASE111", "refractometer.readings[corn].replicates", sap(replicates=[7, 7.2])),
    ("CASE112", "penetrometer.moisture", point(100, 200, 300, moisture="dry")),
    ("CASE113", "samples[B1].increments[0-6 in].ec",
     minimal(samples=[sample({"ec": "0.1 dS/m"}, methods={"ph": "cacl2", "ec": "1:1"},
                             increments=[{"depth": "0-6 in", "ec": "0.1 dS/m"}])])),
    ("CASE113", "samples[B1].increments[0-6 in].ec",
     minimal(samples=[sample(texture="loam", methods={"ec": "1:5"},
                             increments=[{"depth": "0-6 in", "ec": "0.6 dS/m"}])])),
    ("CASE114", "field.previous_crop", {**minimal(weeds=WEED), "field": {
        **minimal()["field"], "previous_crop": "soybaen"}}),
    ("CASE114", "field.crop", {**minimal(weeds=WEED), "field": {
        **minimal()["field"], "crop": "garlic", "unlisted_crops": ["Garlic"]}}),
    ("CASE125", "farm.region", {**minimal(weeds=WEED), "farm": {
        "name": "Halloran Bend", "region": "Puglia"}}),
    ("CASE048", "materials[m].analysis.p2o5", material(
        name="Slurry", kind="manure", analysis={"n": "30 lb/1000gal", "p2o5": "0.2 %"})),
    ("CASE048", "earlier_applications[slurry].rate", minimal(weeds=WEED, earlier_applications=[{
        "date": "2026-04-01", "material": "slurry", "kind": "manure", "rate": "5,000 gal/ac",
        "analysis": {"n": "0.3 %"}}])),
    ("CASE048", "residue[corn stalks].dry_mass", minimal(weeds=WEED, residue=[
        {"material": "corn stalks", "dry_mass": "5,000 gal/ac"}])),
    ("CASE021", "case.purpose", {**minimal(weeds=WEED), "case": {
        **minimal()["case"], "question": "other"}}),
    ("CASE128", "samples[B1].near_water[1].distance", minimal(samples=[sample(near_water=[
        {"kind": "stream", "distance": "20 ft", "setback": "100 ft"}])])),
    ("CASE129", "materials[m].harvest_interval", {
        **material(harvest_interval=120), "field": {
            **minimal()["field"], "dates": {"harvest": "2026-12-01"}}}),
    ("CASE130", "materials[m].price.per", material(
        name="UAN solution", analysis={"n": "28 %"},
        price={"amount": 2, "per": "gal", "date": "2026-10-01"})),
    ("CASE126", "samples[B1].lab.lb_ac_means", one(phosphorus="40 lb/ac")),
    ("CASE124", "guide", {**one(phosphorus="8 ppm"), "guide": "florida_mehlich1"}),
    ("CASE124", "samples[B1].methods.phosphorus", {
        **minimal(samples=[sample({"phosphorus": "8 ppm"}, methods={"phosphorus": "olsen"},
                                  increments=[{"depth": "0-6 in", "phosphorus": "8 ppm"}])]),
        "guide": "tri_state_2020"}),
    ("CASE124", "samples[B1].methods.buffer", {**one(buffer_ph=6.4), "lime_table": "woodruff"}),
    ("CASE116", "adviser.credential.expires", {
        **minimal(weeds=WEED), "adviser": {**minimal()["adviser"], "credential": {
            "scheme": "x", "number": "1", "expires": "2026-10-19"}}}),
    ("CASE117", "accept[1]", minimal(weeds=WEED, accept=[
        {"code": "CASE108", "field": "samples[B1].cores", "reason": "small plot"}])),
    ("CASE118", "file", minimal()),
    ("CASE119", "client.name", {**minimal(weeds=WEED), "client": {"name": "<client>"}}),
    ("CASE119", "case.id", {**minimal(weeds=WEED),
                            "case": {"id": "rename-me", "date": "2026-10-20"}}),
    ("CASE120", "water", water(ec="900 uS/cm", calcium="40 meq/L", magnesium="24 meq/L",
                               sodium="80 meq/L")),
    ("CASE120", "samples[B1].increments[0-6 in].extract",
     one(ec="4 dS/m", extract={"calcium": "2 meq/L", "magnesium": "1 meq/L",
                               "sodium": "5 meq/L"})),
    ("CASE121", "samples[B1].increments[6-12 in].depth",
     two(COPIED, {"depth": "6-12 in", **COPIED})),
    ("CASE122", "samples[B1].residue",
     two({"depth": "0-2 in", "ph": 6.0}, {"ph": 6.2}, residue="left on")),
    ("CASE127", "penetrometer.points[P1].place", in_lane()),
]


@pytest.mark.parametrize(("code", "field", "case"), CASES,
                         ids=[f"{c}-{f}-{i}" for i, (c, f, _) in enumerate(CASES)])
def test_code(code, field, case, problems):
    """ensures that a fault gives its own code at its own field, and no other problem."""
    found = [p for p in problems(case) if p.code == code or p.code != "CASE118"]
    assert [(p.code, p.field) for p in found] == [(code, field)]
    (problem,) = found
    assert problem.line >= 1
    assert problem.found and problem.wanted
    assert problem.severity == ("warning" if code >= "CASE100" else "error")


def test_every_code_is_tried():
    """ensures that no documented code is one that cannot occur."""
    assert {code for code, _, _ in CASES} | READ | TAKEN_IN | {"CASE115"} == set(codes())


def test_unknown_weed(problems, monkeypatch):
    """ensures that a weed in no table is questioned, by species and local name, with a guess."""
    names.weeds.cache_clear()
    shipped = names.load
    table = DataTable("weeds/names", TableSource("t", "r", "", "seen", "", "",
                                        {"species": {}, "common_names": {}}),
                  ({"species": "Rumex acetosella", "common_names": "sheep sorrel|red sorrel"},))
    monkeypatch.setattr(names, "all_tables", lambda folder: (f"{folder}/names",))
    monkeypatch.setattr(names, "load",
                        lambda name: table if name == "weeds/names" else shipped(name))
    case = minimal(weeds=[
        {"species": "Rumex acetosella", "identification": "certain"},
        {"species": "Rumex acetocella", "identification": "certain"},
        {"species": "Rumex sp.", "local_name": "Red Sorrel", "identification": "possible"},
        {"species": "Unheard of", "identification": "possible"}])
    try:
        found = problems(case)
    finally:
        names.weeds.cache_clear()
    assert [(p.code, p.field, p.help) for p in found] == [
        ("CASE115", "weeds[Rumex acetocella].species", "Did you mean 'Rumex acetosella'?"),
        ("CASE115", "weeds[Unheard of].species",
         "It is printed as typed; nothing can be read from it."),
    ]


def test_a_weed_may_be_typed_as_its_code(problems):
    """ensures that an EPPO code in any field raises no CASE115, and a wrong one does."""
    case = minimal(weeds=[
        {"species": "AMARE", "identification": "certain"},
        {"species": "pigweed kind", "eppo": "AMARE", "identification": "certain"},
        {"species": "QQQQQ", "identification": "certain"}])
    assert [(p.code, p.field) for p in problems(case)] == [("CASE115", "weeds[QQQQQ].species")]


def test_a_harmless_weed_is_not_led_to_a_harmful_one():
    """ensures that giant ragweed is known and a like name never offers giant hogweed."""
    assert names.nearest_weed("giant hogwed") == "giant hogweed"
    assert names.nearest_weed("giant ragwed") == "giant ragweed"
    assert names.nearest_weed("giant hagwee") != "giant hogweed"
    assert "giant ragweed" in names.weeds()
