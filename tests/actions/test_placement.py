"""How a product is placed: a band only within a published limit, boron never."""

import pytest
from plan_builders import case_of, finding, material, need

from loambrief.actions.plan import make_plan
from loambrief.findings.model import NeedKind, say

POTASH = material("potash", 600, k2o=60)
BORATE = material("borate", 900, boron=14)
SEED_ROW = say("nutrients.caution_seed_row", crop="corn", limit=8.0, counts="N+K2O", row=30)


def placed(offer, item, amount, **field):
    """Where the one product of a plan goes, and the keys of its cautions."""
    made = make_plan(case_of((offer,), field={"crop": "corn", **field}), (
        finding(need(NeedKind.NUTRIENT, item, amount, cautions=(SEED_ROW,))),))
    action, = [a for a in made.actions if a.rate is not None]
    return action.how[0].params["place"], {c.key for c in action.cautions}


@pytest.mark.parametrize(("amount", "place"), [(90.0, "either"), (200.0, "broadcast")])
def test_a_band_holds_only_what_is_published(amount, place):
    """ensures that 333 lb/ac of potash is no band, and that its seed row is not spoken of.

    Source: msu-band-limits, corn: 100 lb of K2O at most.
    """
    found, cautions = placed(POTASH, "K2O", amount)
    assert found == place
    assert ("nutrients.caution_seed_row" in cautions) is (place == "either")


def test_boron_is_broadcast_only():
    """ensures that borate is never offered for a band.

    Source: nofa-soil-table27 gives a broadcast rate; msu-band-limits: no boron in a band.
    """
    assert placed(BORATE, "B", 0.5)[0] == "broadcast only"


def test_unlisted_crops_are_broadcast():
    """ensures that no band is offered without a published limit."""
    assert placed(POTASH, "K2O", 30.0, crop="sunflower")[0] == "broadcast"


@pytest.mark.parametrize(("low", "bought"), [(70.0, False), (98.0, True)])
def test_a_top_up_inside_the_error_of_the_need_is_dropped(low, bought):
    """ensures that a pass for a few pounds is made only where the test can tell them from none.

    MAP for 52 lb of phosphate brings none of the potash; a blend of both brings 96 of 100 lb.
    """
    blend = material("blend", 300, p2o5=13, k2o=24)
    made = make_plan(case_of((blend, POTASH)), (finding(
        need(NeedKind.NUTRIENT, "P2O5", 52.0, low=52.0, high=52.0, cap=52.0),
        need(NeedKind.NUTRIENT, "K2O", 100.0, low=low, high=130.0)),))
    assert any(a.material_id == "potash" for a in made.actions) is bought
