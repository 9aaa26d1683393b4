"""Weed names, indicator means, cover classes and loss curves behave as their sources say."""


import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, parts, references
from loambrief.tables.harmful import alike, harmful_row, may_be_offered
from loambrief.topics.refractometry.formulas import sap_pressing_check
from loambrief.topics.weeds import formulas as weeds
from loambrief.topics.weeds import formulas_loss as weeds_loss
from loambrief.topics.weeds import formulas_names as names

SPECIES = load(names.SPECIES)
ACCEPTED = set(SPECIES.column("scientific_name"))
RANKS = st.lists(st.floats(1, 9), min_size=1, max_size=12)


def test_there_are_enough_species():
    """ensures that the list covers the weeds an adviser meets (own minimum, 120)."""
    assert len(SPECIES.rows) >= 120
    assert len(ACCEPTED) == len(SPECIES.rows)


def test_each_name_means_one_weed():
    """ensures that no name or EPPO code points to two weeds (own rule)."""
    owner = {}
    for row in SPECIES:
        cells = (row["scientific_name"], row["synonyms"], row["common_name"], row["eppo"])
        for name in {n.casefold() for cell in cells for n in parts(cell)}:
            assert owner.setdefault(name, row["scientific_name"]) == row["scientific_name"], name


def test_eppo_codes_have_their_form():
    """ensures that a plant code has five letters (EPPO rule, from memory, unverified)."""
    for row in SPECIES:
        assert row["eppo"] is None or (len(row["eppo"]) == 5 and row["eppo"].isupper()), row["eppo"]
        assert (row["eppo_how"] is None) == (row["eppo"] is None)


@pytest.mark.parametrize("name", [
    "Bassia scoparia", "kochia scoparia", "Kochia", "KCHSC", "kochia ", "kchsc",
])
def test_any_name_finds_the_weed(name):
    """ensures that scientific name, synonym, common name and code lead to one weed.

    Synonymy from memory, unverified.
    """
    assert names.find_species(name)["scientific_name"] == "Bassia scoparia"


def test_a_typed_apostrophe_does_not_matter():
    """ensures that curly and straight apostrophes are the same (own rule)."""
    assert names.find_species("lady’s-thumb") is names.find_species("Lady's thumb")


def test_a_misspelt_weed_is_not_guessed():
    """ensures that an unknown name is refused with the nearest one (own rule)."""
    with pytest.raises(UnknownName, match="did you mean 'rumex acetosella'"):
        names.find_species("Rumex acetosela")


def test_tables_name_known_weeds_and_sources():
    """ensures that every weed and source in the weed tables exists (own rule)."""
    for table in ("indicators", "claims", "prompts", "competition", "hazards", "seedbank",
                  "depth", "noxious", "tactics"):
        for row in load(f"weeds/{table}"):
            assert set(parts(row["species"])) <= ACCEPTED, row
            for key in str(row["source"]).split(";"):
                assert key in references(), key


def test_only_open_systems_are_shipped():
    """ensures that no system without an open licence is in the table.

    Open Government Licence (Henniges et al. 2021) and CC BY 4.0 (Dengler et al. 2023).
    """
    licences = {(row["system"], row["source"], row["licence"]) for row in load(names.INDICATORS)}
    assert licences == {("plantatt", "henniges-2021", "Open Government Licence"),
                        ("eive", "dengler-2023-eive", "CC BY 4.0")}


def test_ranks_stay_on_their_scales():
    """ensures that ranks lie on the published scales (Hill et al. 2004; Dengler et al. 2023)."""
    limits = {"plantatt": {"moisture": (1, 12), "salinity": (0, 9)}, "eive": {}}
    for row in load(names.INDICATORS):
        for axis in ("light", "moisture", "reaction", "nutrients", "salinity"):
            usual = (1, 9) if row["system"] == "plantatt" else (0, 10)
            low, high = limits[row["system"]].get(axis, usual)
            assert row[axis] is None or low <= row[axis] <= high, row
        assert row["system"] != "eive" or row["salinity"] is None


@pytest.mark.parametrize(("species", "ranks"), [
    ("Rumex acetosella", (4, 3, 0)), ("Spergula arvensis", (5, 5, 0)),
    ("Hordeum jubatum", (7, 6, 2)), ("Puccinellia distans", (7, 7, 4)),
    ("Suaeda maritima", (8, 6, 7)), ("Rumex obtusifolius", (7, 9, 0)),
])
def test_british_ranks(species, ranks):
    """ensures that reaction, nutrients and salinity are those of Henniges et al. 2021."""
    row = names.indicator_values(species)
    assert (row["reaction"], row["nutrients"], row["salinity"]) == ranks


def test_indifferent_plants_have_no_reaction():
    """ensures that a plant that grows on any soil is left out of the reaction axis.

    Indifference: Ellenberg et al. 1992; the British rank would pull a mean toward neutral.
    """
    for species in ("Chenopodium album", "Elymus repens", "Poa annua", "Equisetum arvense"):
        assert names.axis_value(species, "reaction") is None
        assert names.axis_value(species, "reaction", "eive") is None
        assert names.axis_value(species, "nutrients") is not None
    assert names.axis_value("Rumex acetosella", "reaction") == 4


def test_plants_indifferent_to_reaction_are_left_out():
    """ensures that the 147 facts on reaction hold and count in each system, and no other axis.

    Number of plants rated indifferent: Ellenberg et al. 1992, as counted from its ratings.
    """
    table = load(names.INDIFFERENCE)
    assert len(table.rows) == 147 and set(table.column("species")) <= ACCEPTED
    assert set(table.column("reaction")) <= {"yes", "no", None}
    assert table.column("reaction").count("yes") == 58
    assert set(table.source.columns) == {"species", "reaction"}
    for system in ("plantatt", "eive"):
        for row in table:
            if row["reaction"] == "yes":
                assert names.axis_value(row["species"], "reaction", system) is None, row
    assert names.indicator_values("Holcus lanatus")["reaction"] is not None
    assert names.axis_value("Spergula arvensis", "reaction") is not None
    assert names.axis_value("Galium aparine", "moisture") is not None


def test_indifference_ships_no_ranks():
    """ensures that only yes and no are taken from a system that is not open (own rule)."""
    for row in load(names.INDIFFERENCE):
        assert not any(isinstance(v, float) for v in row.values())


def test_rows_without_a_second_system_say_so():
    """ensures that a European row is marked, as held against the British one or not."""
    british = {row["species"] for row in load(names.INDICATORS) if row["system"] == "plantatt"}
    alone = 0
    for row in load(names.INDICATORS):
        expected = None
        if row["system"] == "eive":
            both = row["species"] in british
            expected = "agrees with plantatt" if both else "not cross-checked"
            alone += not both
        assert row["checked"] == expected, row
    assert alone == 14


def test_numeric_weed_tables_have_sums():
    """ensures that every column of numbers is guarded by its sum (own rule)."""
    for table in ("indicators", "competition", "constants", "depth", "seed_groups", "tactics"):
        for column, about in load(f"weeds/{table}").source.columns.items():
            assert (about.get("type") == "text") != ("sum" in about), (table, column)


@pytest.mark.parametrize(("species", "most_cm", "limit_cm"), [
    ("Setaria viridis", 2.5, 12.7),  # Dawson and Bruns 1962: most from 1/2 to 1 in, up to 5 in
    ("Portulaca oleracea", None, 6.0),  # Benvenuti and others 2001: none beyond 6 cm
    ("Abutilon theophrasti", None, 10.0),  # the same: few at 10 cm
    ("Veronica hederifolia", None, 8.0),  # Grundy and others 2003: 8 cm, the deepest
    ("Avena fatua", 5.0, 20.0),  # Alberta: most from 2 to 5 cm, up to 20 cm
    ("Setaria faberi", 1.0, 7.5),  # Fausey and Renner 1997: most from 1 cm, under 5 % at 7.5 cm
    ("Solanum physalifolium", 2.0, 8.0),  # Zhou and others 2005: most to 2 cm, none at 8 cm
])
def test_published_depths(species, most_cm, limit_cm):
    """ensures that depths of emergence are those printed, each marked as seen."""
    row = load("weeds/depth").find(species=species)
    assert (row["most_cm"], row["limit_cm"], row["how"]) == (most_cm, limit_cm, "seen")


@pytest.mark.parametrize(("species", "like", "densities", "published"), [
    # Bradley, University of Missouri Extension 2022
    ("Stellaria media", "Stellaria media", (169,), "28%"),
    ("Bromus secalinus", "Bromus sterilis", (86,), "49%"),
    ("Bromus tectorum", "Bromus sterilis", (200,), "60%"),
    ("Avena fatua", "Avena fatua", (5, 40), "35%"),  # Planta Daninha 2020
])
def test_published_losses_stand_beside_our_curve(species, like, densities, published):
    """ensures that a row which compares our curve with a published point has both right."""
    rows = load("weeds/competition")
    curve = next(r for r in rows if r["species"] == like and r["max_loss_pct"])
    slope = curve["loss_pct"] / (curve["density"] * (1 - curve["loss_pct"] / curve["max_loss_pct"]))
    ours = [round(weeds_loss.weed_yield_loss(d, slope, curve["max_loss_pct"])) for d in densities]
    said = next(r["statement"] for r in rows
                if r["species"] == species and "our curve" in r["statement"])
    assert published in said and f"{densities[-1]} plants" in said
    assert " to ".join(str(n) for n in ours) + "%" in said.split("our curve")[1]


def test_each_judgement_on_reaction_has_its_source():
    """ensures that yes and no on the reaction axis name a publication (own rule)."""
    for row in load(names.INDICATORS):
        assert (row["reaction_indicative"] is None) == (row["indicative_source"] is None)
        if row["indicative_source"] is not None:
            assert row["indicative_source"] in references() and row["system"] == "plantatt"


def test_unknown_axis_and_system_are_refused():
    """ensures that a misspelt axis or system is not guessed (own rule)."""
    with pytest.raises(UnknownName):
        names.axis_value("Poa annua", "calcium")
    with pytest.raises(UnknownName):
        names.indicator_values("Poa annua", "landolt")


HARMFUL = {
    "Solanum": ("Solanum ptychanthum", "eastern black nightshade", "nightshade", "Nightshades",
                "Solanum", "Solanum sp.", "SOLPT", "hairy nightshade", "horsenettle",
                "horse-nettle", "Solanum triflorum", "bitter-sweet nightshade", "Solanun nigrum"),
    "Daucus": ("Daucus carota", "wild carrot", "wild carrots", "Queen Anne’s lace", "DAUCA",
               "carrot, wild"),
    "Phytolacca": ("Phytolacca americana", "pokeweed", "American pokeweed", "poke", "PHTAM"),
    "Amsinckia": ("fiddleneck", "Amsinckia menziesii", "Amsinckia lycopsoides"),
    "Cynoglossum": ("hound's-tongue", "houndstongue", "Cynoglossum officinale", "hounds tongue"),
    "Toxicodendron": ("poison ivy", "poison-oak", "Toxicodendron radicans", "Rhus radicans"),
    "Heracleum": ("giant hogweed", "cow parsnip", "Heracleum sphondylium", "giant hogwed"),
    "Pastinaca": ("wild parsnip", "Pastinaca sativa"),
    "Euphorbia": ("leafy spurge", "spurges", "Euphorbia cyparissias", "Chamaesyce maculata"),
    "Datura": ("jimsonweed", "jimson weed", "thornapple", "Datura metel"),
    "Conium": ("poison hemlock", "hemlock", "Conium maculatum", "poison hemlok",
               "Hemlock, poison"),
    "Cicuta": ("water-hemlock", "western water hemlock", "Cicuta bulbifera"),
    "Senecio": ("groundsel", "Senecio vulgaris"),
    "Jacobaea": ("Jacobaea vulgaris", "tansy ragwort"),
    "Urtica": ("stinging nettle", "nettle", "Urtica dioica"),
}


@pytest.mark.parametrize(("genus", "name"), [(g, n) for g, some in HARMFUL.items() for n in some])
def test_harmful_sap_is_refused(genus, name):
    """ensures that genus, species, common name, code and a slip of the pen are all refused.

    Poison hemlock, wild carrot: University of Kentucky and Missouri Extension. Nightshades:
    Illinois Grazing Manual. Jimsonweed: USDA-ARS. The rest: Burrows and Tyrl 2013, from memory.
    """
    assert names.press_refused(name)
    assert harmful_row(name)["genus"] in (
        genus, {"Jacobaea": "Senecio", "Euphorbia": "Chamaesyce"}.get(genus, genus))
    assert sap_pressing_check(name) == "do not press"


@pytest.mark.parametrize("name", [
    "common lambsquarters", "giant ragweed", "redroot pigweed", "red dead-nettle", "Zea mays",
    "corn", "carrot", "tomato", "potato", "Solanum tuberosum", "Solanum lycopersicum", "pepper",
    "Daucus carota subsp. sativus", "Hieracium caespitosum", "spurry", "hemp nettle", "",
])
def test_crops_and_names_alike_are_not_refused(name):
    """ensures that crops of a listed genus and names that only look alike pass (own rule)."""
    assert names.press_refused(name) is None


def test_only_listed_genera_are_refused():
    """ensures that no other weed of the list is refused by a chance likeness of names."""
    genera = set(load("refractometry/no_press").column("genus"))
    for row in SPECIES:
        scientific = (row["scientific_name"], *parts(row["synonyms"]))
        harmful = any(name.split()[0] in genera for name in scientific)
        for name in (*scientific, *parts(row["common_name"]), *parts(row["eppo"])):
            assert (names.press_refused(name) is not None) == harmful, name


def test_a_harmful_plant_is_not_offered_for_another_name():
    """ensures that a harmful name is offered only where nearly all letters agree (0.9)."""
    assert names.find_species("giant ragweed")["scientific_name"] == "Ambrosia trifida"
    for typed in ("giant rogweed", "gaint ragweed", "giant hagweed", "poison hickory",
                  "wild carrat x"):
        with pytest.raises(UnknownName) as caught:
            names.find_species(typed)
        for offered in caught.value.known:
            assert may_be_offered(typed, offered)
            assert harmful_row(offered) is None or alike(typed, offered) >= 0.9, (typed, offered)
    assert not may_be_offered("giant ragweed", "giant hogweed")
    with pytest.raises(UnknownName, match="did you mean 'giant hogweed'"):
        names.find_species("giant hogwed")


@given(RANKS)
def test_mean_lies_between_its_values(values):
    """ensures that mean, spread and effective number keep their bounds (own property)."""
    result = weeds.indicator_mean.evaluate(values=values)
    assert min(values) - 1e-9 <= result.value <= max(values) + 1e-9
    assert result.details["n_eff"] == pytest.approx(len(values))
    assert result.details["error"] >= names.constant("class_error_floor")


@given(RANKS, st.floats(0.1, 50))
def test_mean_does_not_depend_on_the_unit_of_cover(values, factor):
    """ensures that weights count only by their proportions (own property)."""
    weights = [1 + i for i in range(len(values))]
    one = weeds.indicator_mean.evaluate(values=values, weights=weights)
    two = weeds.indicator_mean.evaluate(values=values, weights=[w * factor for w in weights])
    assert one.value == pytest.approx(two.value)
    assert one.details["n_eff"] == pytest.approx(two.details["n_eff"])


@given(RANKS, st.integers(0, 5))
def test_indifferent_values_change_nothing(values, extra):
    """ensures that plants without a value never count as zero (own rule)."""
    padded = [*values, *["x"] * extra]
    assert weeds.indicator_mean(padded) == pytest.approx(weeds.indicator_mean(values))


def test_five_effective_species_are_enough():
    """ensures that five equal weeds are enough and four are not (written rule)."""
    assert weeds.indicator_mean.evaluate(values=[3] * 5).within_range
    few = weeds.indicator_mean.evaluate(values=[3] * 4)
    assert few.details["enough"] == "no" and not few.within_range


def test_one_dominant_weed_is_not_five():
    """ensures that a carpet of one weed does not count as many species (written rule)."""
    weights = [weeds.indicator_weight(1.0, cover) for cover in (80, 0.5, 0.5, 0.5, 0.5, 0.5)]
    result = weeds.indicator_mean.evaluate(values=[3] * 6, weights=weights)
    assert result.details["n"] == 6 and result.details["enough"] == "no"


@pytest.mark.parametrize("wrong", [
    {"values": []}, {"values": "5"}, {"values": [13]}, {"values": ["acid"]},
    {"values": [5, 6], "weights": [1]}, {"values": [5], "weights": [-1]},
    {"values": [5], "weights": [0]},
])
def test_impossible_means_are_refused(wrong):
    """ensures that bad lists raise instead of giving a number (own rule)."""
    with pytest.raises(ImpossibleInput):
        weeds.indicator_mean.evaluate(**wrong)


@pytest.mark.parametrize("certainty, cover, weight", [
    (1, 0, 0), (1, 100, 10), (0, 50, 0), (0.4, 25, 2)])
def test_limits_of_certainty_and_cover_count(certainty, cover, weight):
    """ensures that bare ground, full cover and a name not known at all have a weight (own rule:
    certainty times the root of the cover)."""
    assert weeds.indicator_weight(certainty, cover) == pytest.approx(weight)


@pytest.mark.parametrize("certainty, cover", [(-0.01, 5), (1.01, 5), (1, -0.01), (1, 100.01)])
def test_impossible_weights_are_refused(certainty, cover):
    """ensures that a certainty or a cover past its limits raises (own rule)."""
    with pytest.raises(ImpossibleInput):
        weeds.indicator_weight(certainty, cover)


LOSS = (st.floats(0.01, 10), st.floats(5, 100))


@given(st.floats(0, 500), *LOSS)
def test_loss_is_bounded(density, i, a):
    """ensures that loss never passes a, nor i D (Cousens 1985)."""
    loss = weeds_loss.weed_yield_loss(density, i, a)
    assert 0 <= loss <= min(a, i * density) * (1 + 1e-9)


@pytest.mark.parametrize("call", [
    lambda: weeds_loss.weed_yield_loss(1, -1, 50), lambda: weeds_loss.weed_yield_loss(1, 1, 0),
])
def test_impossible_losses_are_refused(call):
    """ensures that an input that cannot be raises (own rule)."""
    with pytest.raises(ImpossibleInput):
        call()


@pytest.mark.parametrize("typed, species", [
    ("quelite cenizo", "Chenopodium album"), ("zacate Johnson", "Sorghum halepense"),
    ("cola de zorra gigante", "Setaria faberi"), ("diente de leon", "Taraxacum officinale"),
    ("Diente de león", "Taraxacum officinale"), ("toloache", "Datura stramonium"),
])
def test_spanish_names(typed, species):
    """ensures that weeds are known by their Mexican names, with or without accents."""
    assert names.find_species(typed)["scientific_name"] == species


def test_spanish_name_of_a_plant_that_burns():
    """ensures that a plant not to be pressed is told from its Spanish name too."""
    assert harmful_row("perejil gigante") is not None and harmful_row("cicuta") is not None
