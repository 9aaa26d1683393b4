"""Exchangeable cations beyond single published answers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.topics.cations.formulas import (
    CATIONS,
    DIVISORS,
    acid_saturation,
    base_saturation,
    calcium_magnesium_ratio,
    cation_saturation,
    cec_by_summation,
    divisor,
    effective_cec,
    grass_tetany_ratio,
    meq_to_ppm,
    ppm_to_meq,
    summed_cec_reliability,
    traditional_saturation,
)

PPM = st.floats(0, 5000)


@given(PPM, st.sampled_from(CATIONS), st.sampled_from(DIVISORS))
def test_charge_there_and_back(ppm, cation, divisors):
    """ensures that ppm to meq to ppm is the same number with every set of divisors."""
    charge = ppm_to_meq(ppm=ppm, cation=cation, divisors=divisors)
    assert meq_to_ppm(meq=charge, cation=cation, divisors=divisors) == pytest.approx(ppm)


def test_each_cation_has_its_own_divisor():
    """ensures that divisors are not swapped (a slip seen in print): Mg < Ca < Na < K."""
    for name in DIVISORS:
        assert divisor("Mg", name) < divisor("Ca", name) < divisor("Na", name) < divisor("K", name)
    assert divisor("Mg") == pytest.approx(121.5, abs=0.1)
    assert divisor("Al", "clemson") == 90
    with pytest.raises(UnknownName):
        divisor("Zn")
    with pytest.raises(UnknownName):
        divisor("Ca", "folklore")


@given(st.floats(10, 4000), st.floats(5, 600), st.floats(5, 600), st.floats(0, 300),
       st.floats(0, 15))
def test_saturations_add_up(ca, mg, k, na, acidity):
    """ensures that the shares of one soil, hydrogen included, make 100 %."""
    total = cec_by_summation.evaluate(ca_ppm=ca, mg_ppm=mg, k_ppm=k, na_ppm=na,
                                      acidity_meq=acidity)
    shares = [cation_saturation(ppm=v, cation=c, cec_meq=total.value)
              for c, v in (("Ca", ca), ("Mg", mg), ("K", k), ("Na", na))]
    shares.append(acid_saturation(acidity_meq=acidity, cec_meq=total.value))
    assert sum(shares) == pytest.approx(100)
    about = total.details
    assert base_saturation(ca_meq=about["ca_meq"], mg_meq=about["mg_meq"], k_meq=about["k_meq"],
                           na_meq=about["na_meq"], cec_meq=total.value) == pytest.approx(
        100 - shares[-1])


def test_unmeasured_sodium_is_said():
    """ensures that a capacity without sodium says so, and that acidity may not be left out."""
    result = cec_by_summation.evaluate(ca_ppm=1000, mg_ppm=100, k_ppm=100, na_ppm=None,
                                       acidity_meq=2)
    assert "not measured" in result.notes[0]
    with pytest.raises(ImpossibleInput):
        cec_by_summation.evaluate(ca_ppm=1000, mg_ppm=100, k_ppm=100, na_ppm=10)


def test_aluminum_is_no_base():
    """ensures that base saturation cannot take aluminum at all (slip: 91 instead of 74 %)."""
    assert "al_meq" not in base_saturation.signature.parameters
    assert base_saturation(ca_meq=13, mg_meq=6, k_meq=4, na_meq=3, cec_meq=35) < 75


def test_saturation_above_the_capacity_is_flagged():
    """ensures that dissolved lime or salt shows as a flag rather than a share."""
    assert not cation_saturation.evaluate(ppm=5200, cation="Ca", cec_meq=24).within_range
    assert not base_saturation.evaluate(ca_meq=26, mg_meq=3, k_meq=1, na_meq=4,
                                        cec_meq=24).within_range


@pytest.mark.parametrize(("inputs", "word"), [
    ({"ph": 7.3}, "suppressed"), ({"ph": 7.29}, "usable"), ({"fizz": "very slight"}, "suppressed"),
    ({"ph": 6.5, "fizz": "none"}, "usable"), ({"carbonate_pct": 0.5}, "usable"),
    ({"carbonate_pct": 0.51}, "suppressed"), ({}, "unknown"),
    ({"ph": 6.9, "bases_meq": 21, "displacement_cec_meq": 20}, "suppressed"),
    ({"ph": 6.9, "bases_meq": 19, "displacement_cec_meq": 20}, "usable"),
])
def test_when_a_summed_capacity_is_suppressed(inputs, word):
    """ensures the suppression rule: pH 7.3, fizz, carbonate, or bases above the capacity."""
    assert summed_cec_reliability(**inputs) == word


def test_traditional_ranges_are_marked_as_practice():
    """ensures that a rule of the trade carries its own evidence grade."""
    result = traditional_saturation.evaluate(cation="Ca", saturation_pct=45)
    assert result.value == "below" and result.evidence == "common practice"
    assert traditional_saturation(cation="H", saturation_pct=44) == "above"
    with pytest.raises(UnknownName):
        traditional_saturation(cation="Na", saturation_pct=1, scheme="graham")
    with pytest.raises(UnknownName):
        traditional_saturation(cation="Ca", saturation_pct=1, scheme="nobody")


def test_tetany_ratio_is_by_charge():
    """ensures that the ratio uses charges (2.2) and that low magnesium is seen by itself."""
    risky = grass_tetany_ratio.evaluate(k_pct=3.5, ca_pct=0.35, mg_pct=0.15)
    assert risky.value > 2.2 and risky.details == {"risk": True, "low_magnesium": True}
    safe = grass_tetany_ratio.evaluate(k_pct=2.0, ca_pct=1.2, mg_pct=0.3)
    assert safe.details == {"risk": False, "low_magnesium": False}
    with pytest.raises(ImpossibleInput):
        grass_tetany_ratio(k_pct=3, ca_pct=0, mg_pct=0)


def test_effective_capacity_needs_something():
    """ensures that nothing at all is refused and negative charges too."""
    assert effective_cec(ca_meq=2, mg_meq=0.5, k_meq=0.2, na_meq=0.1, al_meq=1.2) == 4.0
    for bad in ({"ca_meq": 0}, {"ca_meq": -1}):
        with pytest.raises(ImpossibleInput):
            effective_cec(mg_meq=0, k_meq=0, na_meq=0, al_meq=0, **bad)


def test_ratio_of_calcium_to_magnesium():
    """ensures that magnesium at or above calcium by charge is told apart (Michigan State)."""
    assert not calcium_magnesium_ratio.evaluate(ca_ppm=1200, mg_ppm=200).details[
        "magnesium_at_least_calcium"]
    assert calcium_magnesium_ratio.evaluate(ca_ppm=300, mg_ppm=200).details[
        "magnesium_at_least_calcium"]
    with pytest.raises(ImpossibleInput):
        calcium_magnesium_ratio(ca_ppm=300, mg_ppm=0)
