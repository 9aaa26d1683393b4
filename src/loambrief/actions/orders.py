"""What to order: the pounds that are spread, up to whole loads, bags and minimum loads."""

from collections.abc import Iterable, Mapping

from loambrief.actions.model import Action, Order
from loambrief.actions.offers import Offer
from loambrief.units import LB_PER_TON


def needed_lb(action: Action) -> float:
    """Product that an action spreads on its area [lb]; 0 without a rate or an area."""
    if action.total is None:
        return 0.0
    return action.total * (action.gallon_lb or (
        LB_PER_TON if action.rate_unit == "ton/ac" else 1.0))


def orders(actions: Iterable[Action], offers: Mapping[str, Offer]) -> tuple[Order, ...]:
    """One order per material and season of what will be done, by season, then material.

    ``extra_cost`` is None without a price.
    """
    needed: dict[tuple[int, str], float] = {}
    for action in actions:
        name = action.material_id
        if name is not None and name in offers and needed_lb(action) > 0:
            # passes of one action in one season are spread from one order
            key = (action.pass_number, name)
            needed[key] = needed.get(key, 0.0) + needed_lb(action)
    made = []
    for (season, name), pounds in sorted(needed.items()):
        offer = offers[name]
        ordered = offer.ordered_lb(pounds)
        extra = None if offer.per_lb is None else (ordered - pounds) * offer.per_lb
        unit, size = offer.spread_in
        made.append(Order(name, offer.material.name, pounds, ordered, offer.package_lb, season,
                          extra, package_of(offer), size if unit == "gal/ac" else None))
    return tuple(made)


def package_of(offer: Offer) -> str:
    """What a material is sold in: whole loads, bags, or loose."""
    if offer.material.load_size is not None:
        return "load"
    return "bag" if offer.material.bag is not None else ""


def leftover_cost(actions: Iterable[Action], offers: Mapping[str, Offer]) -> float:
    """Paid for and not spread, over all orders [currency]."""
    return sum(o.extra_cost or 0.0 for o in orders(actions, offers))
