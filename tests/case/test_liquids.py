"""Liquid manure: lb per 1,000 gal, gallons per acre and dollars per gallon, without a density."""

import pytest
from case_builders import as_bytes, minimal

from loambrief.actions.offers import offer
from loambrief.case.load import load_bytes
from loambrief.units import NOMINAL_LB_PER_GAL, parse

DATE = "2026-10-01"
SLURRY = {"id": "slurry", "name": "Dairy slurry", "kind": "manure", "form": "slurry",
          "analysis": {"n": "24 lb/1000gal", "p2o5": "9 lb/1000 gal", "k2o": "22 lb/1000gal"},
          "load_size": "6,000 gal"}


def load(**parts):
    return load_bytes(as_bytes(minimal(**parts)), "case.yaml").case


@pytest.mark.parametrize(("per", "amount"), [("gal", 0.015), ("1000gal", 15.0)])
def test_slurry_in_gallons(per, amount):
    """ensures that 5,000 gal/ac of a slurry of 9 lb P2O5 per 1,000 gal bring 45 lb/ac, and cost
    what 5,000 gallons cost (arithmetic: 5 x 9 lb, 5,000 x $0.015)."""
    case = load(materials=[{**SLURRY, "price": {"amount": amount, "per": per, "date": DATE}}])
    made = offer(case.materials[0])
    rate = parse("rate", "5,000 gal/ac")
    assert rate.value * made.fraction("P2O5") == pytest.approx(45.0)
    assert rate.value * made.product_per_lb == pytest.approx(75.0)
    assert made.package_lb / made.material.lb_per_gal == pytest.approx(6000.0)
    assert made.material.lb_per_gal == NOMINAL_LB_PER_GAL


def test_an_earlier_application_in_gallons():
    """ensures that slurry spread before brings its nutrients by the same figures."""
    case = load(earlier_applications=[{
        "date": DATE, "material": "slurry", "kind": "manure", "rate": "4,000 gal/ac",
        "analysis": SLURRY["analysis"]}])
    (before,) = case.earlier_applications
    assert before.rate.value * before.analysis.n.value / 100 == pytest.approx(96.0)


def test_a_solution_by_weight_needs_its_density():
    """ensures that a gallon of a solution analysed in percent weighs by its stated density.

    Urea ammonium nitrate solution of 28 % weighs 10.66 lb/gal (from memory, unverified).
    """
    solution = {"id": "uan", "name": "UAN solution", "kind": "fertilizer", "form": "liquid",
                "analysis": {"n": "28 %"}, "price": {"amount": 2.132, "per": "gal", "date": DATE}}
    assert offer(load(materials=[solution]).materials[0]).product_per_lb is None
    heavy = load(materials=[{**solution, "density": 10.66 * 46656 / 231}]).materials[0]
    assert heavy.lb_per_gal == pytest.approx(10.66)
    assert offer(heavy).product_per_lb == pytest.approx(0.2)


@pytest.mark.parametrize(("typed", "percent"), [
    ("20 lb/ton", 1.0), ("10 kg/t", 1.0), ("10 kg/m3", 1.0), ("83.454 lb/1000gal", 1.0)])
def test_contents(typed, percent):
    """ensures that contents per ton or per volume become the share of the mass.

    1 lb/1,000 gal = 0.1198264 g/L (NIST SP 811, B.8, by definition of pound and gallon).
    """
    assert parse("content", typed).value == pytest.approx(percent, rel=1e-4)
