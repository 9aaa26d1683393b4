"""Answers keep the shape of what they are made from: monotone, reversible, orderless."""

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loambrief.topics.formulas  # noqa: F401
from loambrief.agronomy.guides import shipped
from loambrief.agronomy.registry import get
from loambrief.errors import LoambriefError
from loambrief.tables import load
from loambrief.units import DIMENSIONS, parse

LIME_TABLES = ("smp", "sikora_oregon_2025")


@pytest.mark.parametrize("table", LIME_TABLES)
@given(low=st.floats(4.9, 6.7), step=st.floats(0.0, 0.8), target=st.sampled_from([6.0, 6.4, 6.5]))
def test_a_lower_buffer_never_wants_less_lime(table, low, step, target):
    """ensures that the published lime tables, falling with buffer pH, give falling answers."""
    rate = get("lime_requirement")
    high = min(low + step, 6.8)
    wanted = {"smp": 6.5 if target > 6.2 else 6.0}.get(table, 6.4 if target > 6.2 else 6.0)
    acid = rate(table=table, buffer_ph=low, target_ph=wanted, depth_in=6)
    mild = rate(table=table, buffer_ph=high, target_ph=wanted, depth_in=6)
    assert acid >= mild - 1e-9


@pytest.mark.parametrize("table", LIME_TABLES)
@given(buffer=st.floats(4.9, 6.8))
def test_a_higher_target_never_wants_less_lime(table, buffer):
    """ensures that more is wanted for a higher target pH, in every row."""
    rate = get("lime_requirement")
    targets = (6.0, 6.5) if table == "smp" else (5.6, 6.0, 6.4, 6.8)
    answers = [rate(table=table, buffer_ph=buffer, target_ph=t, depth_in=6) for t in targets]
    assert answers == sorted(answers)


@pytest.mark.parametrize("row", tuple(load("salinity/crop_tolerance")),
                         ids=lambda r: str(r["crop"]))
def test_more_salt_never_raises_yield(row):
    """ensures that every crop's yield holds to its threshold and then falls, never below 0."""
    relative = get("relative_yield_salinity")
    threshold, slope = row["threshold_ds_m"], row["slope_pct"]
    answers = [relative(ece_ds_m=e / 2, threshold_ds_m=threshold, slope_pct=slope)
               for e in range(0, 80)]
    assert answers[0] == 100 and answers == sorted(answers, reverse=True) and min(answers) >= 0


@pytest.mark.parametrize("name", sorted(shipped()))
def test_a_higher_test_never_wants_more(name):
    """ensures that each guide's rate falls or holds as the soil test rises."""
    guide, checked = shipped()[name], 0
    for rule in guide.rules:
        for crop in rule.crops:
            answers = []
            for test in range(1, 300, 6):
                try:
                    answers.append(get("nutrient_rate").evaluate(**{
                        "guide": name, "crop": crop, "nutrient": rule.nutrient,
                        "test_ppm": float(test), "yield": 100.0,
                        "cec_meq": 12.0, "method": rule.methods[0]}).value)
                except LoambriefError:
                    answers = []
                    break
            known = [a for a in answers if a is not None]
            if len(known) > 1:
                checked += 1
                assert all(a >= b - 1e-9 for a, b in pairwise(known)), crop
    assert checked or not any(r.kind != "critical" and r.nutrient != "N"
                              for r in guide.rules), name


@given(adf=st.floats(20, 48), gap=st.floats(6, 25), more=st.floats(0.1, 5))
def test_more_fibre_never_raises_feed_value(adf, gap, more):
    """ensures that RFV falls with ADF and with NDF."""
    rfv = get("relative_feed_value")
    ndf = adf + gap
    assert rfv(adf_pct=adf + more, ndf_pct=ndf) < rfv(adf_pct=adf, ndf_pct=ndf)
    assert rfv(adf_pct=adf, ndf_pct=ndf + more) < rfv(adf_pct=adf, ndf_pct=ndf)


@pytest.mark.parametrize("name", sorted(DIMENSIONS))
@given(share=st.floats(0.001, 0.999))
def test_units_round_trip(name, share):
    """ensures that a house value typed in any accepted unit comes back as itself."""
    dimension = DIMENSIONS[name]
    low = max(dimension.lowest or 0.0, 0.0)
    value = low + share * ((dimension.highest or 1000.0) - low) * 0.5
    for unit, factor in dimension.factors.items():
        typed = value / factor - dimension.offsets.get(unit, 0.0)
        if typed < 0:
            continue
        assert parse(name, f"{typed:.12f} {unit}").value == pytest.approx(value, rel=1e-6, abs=1e-6)


@given(ppm=st.floats(0.1, 5000), cation=st.sampled_from(["Ca", "Mg", "K", "Na"]))
def test_charge_round_trip(ppm, cation):
    """ensures that ppm to meq/100 g and back loses nothing."""
    meq = get("ppm_to_meq")(ppm=ppm, cation=cation)
    assert get("meq_to_ppm")(meq=meq, cation=cation) == pytest.approx(ppm)


@given(brix=st.floats(0.5, 29.5))
def test_brix_round_trip(brix):
    """ensures that the refractive index of a sucrose solution reads back as its Brix."""
    index = get("refractive_index_of_sucrose")(brix=brix)
    assert get("brix_from_refractive_index")(index=index) == pytest.approx(brix, abs=0.02)


@settings(max_examples=40)
@given(values=st.lists(st.floats(1, 12), min_size=3, max_size=12), seed=st.integers(0, 9999))
def test_order_never_matters(values, seed):
    """ensures that shuffling replicates changes no mean, interval, share or indicator mean."""
    mixed = values[:]
    random.Random(seed).shuffle(mixed)
    for name, inputs in (("mean_interval", {"level": 0.95}), ("indicator_mean", {})):
        one = get(name).evaluate(values=values, **inputs)
        two = get(name).evaluate(values=mixed, **inputs)
        assert one.value == pytest.approx(two.value)
    share = get("compaction_share")
    assert share(readings=values, threshold_psi=6) == share(readings=mixed, threshold_psi=6)
