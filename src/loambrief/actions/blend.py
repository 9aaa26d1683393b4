"""Least-cost mix of products for the nutrients of a field (mixed-integer programme).

minimise   sum_i price_i order_i + sum_zi pass_i area_z y_zi
subject to sum_i a_ij x_zi >= need_zj         for every nutrient a zone needs
           sum_i a_ij x_zi <= upper_zj        for nutrients that must not rise further
           x_zi <= most_zi y_zi               a product is spread only if its pass is paid
           sum_z area_z x_zi + own_i <= order_i   over all zones; own_i is spread in any case
           order_i = package_i n_i            where only whole loads or bags are sold
           order_i >= minimum_i               where a minimum load is paid for
           x, order >= 0; y in {0, 1}; n whole

x is lb of product i per acre of zone z. Solved with HiGHS to a gap of one millionth; zones
that share no load are solved one by one. Price is product and freight, pass the spreading
charge per acre. Amounts and dual values come from the linear programme
with all whole numbers held at their best values. The amounts are exact; a spreader's step
comes after.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from loambrief.actions.offers import Offer
from loambrief.actions.solver import Solved, minimise
from loambrief.findings.model import Place

TINY = 1e-6
WHOLE = 1e-7
"""Farther from a whole number is not one."""
GAP = 1e-6
"""How far the answer may be from the proven optimum, as a share of the cost."""
MOST_NODES = 5_000
"""Branches searched where many zones share loads; beyond, the best mix found stands."""


@dataclass(frozen=True)
class BlendZone:
    """An area with its needs and limits."""

    place: Place
    area_ac: float
    needs: Mapping[str, float]
    upper: Mapping[str, float] = field(default_factory=dict)
    """``needs``, ``upper``: wanted, and the most that may come, by nutrient [lb/ac]."""
    barred: frozenset[str] = frozenset()
    """Offers that may not be spread here, such as manure all inside a setback."""

    def wanted(self) -> dict[str, float]:
        """Needs above zero, in a fixed order."""
        return {name: amount for name, amount in sorted(self.needs.items()) if amount > TINY}


@dataclass(frozen=True)
class Blend:
    """The mix of one zone."""

    amounts: Mapping[str, float]
    """Mapping of offer id to lb of product per acre."""
    cost_per_ac: float
    """Product, freight and spreading, without what a whole load leaves over [currency/ac]."""
    marginal: Mapping[str, float]
    """Mapping of nutrient to cost of its last lb [currency/lb]."""


@dataclass(frozen=True)
class NoBlend:
    """Why no mix can be made."""

    uncovered: tuple[str, ...]
    """Nutrients that no priced product on the list supplies."""
    conflicting: tuple[str, ...] = ()
    """Nutrients whose upper limit cannot be kept while the needs are met."""


@dataclass(frozen=True)
class FieldMix:
    """Mixes of all zones with what has to be ordered."""

    blends: Mapping[str, Blend]
    """Mapping of zone id to Blend."""
    orders: Mapping[str, float]
    """Mapping of offer id to lb to order for the field, beyond what own actions order."""
    cost: float
    """Orders and passes [currency]."""


def price_lb(offer: Offer) -> float:
    """Price with freight of a product that is in a mix [currency/lb]; only priced ones are."""
    assert offer.per_lb is not None
    return offer.per_lb


def field_mix(zones: tuple[BlendZone, ...], offers: tuple[Offer, ...]) -> FieldMix | NoBlend:
    """Cheapest mix for all zones of a field together, each of a place of its own.

    The same whatever the order of zones and offers.
    """
    zones = tuple(sorted(zones, key=lambda z: z.place.id))
    usable = priced(offers)
    uncovered = tuple(sorted({n for z in zones for n in z.wanted()
                              if not any(o.fraction(n) > 0 and o.id not in z.barred
                                         for o in usable)}))
    if uncovered:
        return NoBlend(uncovered)
    if not any(z.wanted() for z in zones):
        return FieldMix({z.place.id: Blend({}, 0.0, {}) for z in zones}, {}, 0.0)
    if any(o.package_lb is not None or o.minimum_lb for o in usable):
        return _Programme(zones, usable).solve()
    parts = [_Programme((zone,), usable).solve() for zone in zones]  # nothing ties the zones
    return _together(parts)


def _together(parts: list[FieldMix | NoBlend]) -> FieldMix | NoBlend:
    """Mixes of single zones as one; none if one of them cannot be made."""
    failed = [p for p in parts if isinstance(p, NoBlend)]
    if failed:
        return NoBlend((), tuple(sorted({n for p in failed for n in p.conflicting})))
    made = [p for p in parts if isinstance(p, FieldMix)]
    orders = {name: sum(p.orders.get(name, 0.0) for p in made)
              for name in sorted({i for p in made for i in p.orders})}
    return FieldMix({w: b for p in made for w, b in p.blends.items()}, orders,
                    sum(p.cost for p in made))


def priced(offers: tuple[Offer, ...]) -> list[Offer]:
    """Products that may be used and have a price per mass, by id."""
    return sorted((o for o in offers if o.per_lb is not None and o.most_lb_ac != 0
                   and o.days_to_harvest is None),
                  key=lambda o: o.id)


class _Programme:
    """Columns: share of ``most`` and pass of each zone and product; then orders.

    x is held as a share of the most that could be useful, so that all numbers are near one.
    """

    def __init__(self, zones: tuple[BlendZone, ...], offers: list[Offer]):
        self.zones, self.offers = zones, offers
        self.columns: dict[tuple, int] = {}
        self.cost: list[float] = []
        self.whole: list[int] = []
        self.top: list[float] = []
        self.rows: list[dict[int, float]] = []
        self.bounds: list[float] = []
        self.names: list[tuple | None] = []
        self.most = {(z.place.id, o.id): _most(z, o) for z in zones for o in offers}
        for zone in zones:
            self._zone(zone)
        for offer in offers:
            self._order(offer)

    def _column(self, name: tuple, cost: float, whole: bool, top: float) -> int:
        self.columns[name] = len(self.cost)
        self.cost.append(cost)
        self.whole.append(int(whole))
        self.top.append(top)
        return self.columns[name]

    def _at_most(self, row: dict[int, float], bound: float, name: tuple | None = None) -> None:
        self.rows.append(row)
        self.bounds.append(bound)
        self.names.append(name)

    def _zone(self, zone: BlendZone) -> None:
        for offer in self.offers:
            most = self.most[zone.place.id, offer.id]
            loose = offer.package_lb is None and not offer.minimum_lb
            price = price_lb(offer) * most * zone.area_ac if loose else 0.0
            share = self._column(("x", zone.place.id, offer.id), price, False,
                                 1.0 if most else 0.0)
            paid = self._column(("y", zone.place.id, offer.id),
                                (offer.per_ac or 0.0) * zone.area_ac, True, 1.0)
            self._at_most({share: 1.0, paid: -1.0}, 0.0)
        for nutrient, amount in zone.wanted().items():
            row = {self.columns["x", zone.place.id, o.id]:
                   -o.fraction(nutrient) * self.most[zone.place.id, o.id] / amount
                   for o in self.offers}
            self._at_most(row, -1.0, (zone.place.id, nutrient))
        for nutrient, limit in sorted(zone.upper.items()):
            size = max(limit, 1.0)
            row = {self.columns["x", zone.place.id, o.id]:
                   o.fraction(nutrient) * self.most[zone.place.id, o.id] / size
                   for o in self.offers}
            self._at_most(row, limit / size)

    def _order(self, offer: Offer) -> None:
        package, least = offer.package_lb, offer.minimum_lb
        if package is None and not least:
            return
        unit = package or least
        most = sum(z.area_ac * self.most[z.place.id, offer.id] for z in self.zones)
        top = max(most + offer.committed_lb, least) / unit + 1
        order = self._column(("order", offer.id), price_lb(offer) * unit, package is not None, top)
        spread = {self.columns["x", z.place.id, offer.id]:
                  z.area_ac * self.most[z.place.id, offer.id] / unit for z in self.zones}
        self._at_most({**spread, order: -1.0}, -offer.committed_lb / unit)
        for zone in self.zones:
            if least:
                self._at_most({self.columns["y", zone.place.id, offer.id]: least / unit,
                               order: -1.0}, 0.0)

    def solve(self) -> FieldMix | NoBlend:
        conflict = NoBlend((), tuple(sorted({n for z in self.zones for n in z.upper})))
        free = [(0.0, top) for top in self.top]
        if not self._choices():
            return self._exact(free) or conflict
        best = minimise(self.cost, self.rows, self.bounds, free)
        # cheap to try, and often enough: nothing is better where all is whole that must be
        if best is not None and any(abs(value - round(value)) >= WHOLE for value, whole
                                    in zip(best.x, self.whole, strict=True) if whole):
            best = minimise(self.cost, self.rows, self.bounds, free, whole=self.whole, gap=GAP,
                            most_nodes=MOST_NODES)
        if best is None:
            return conflict
        held = [(float(round(v)), float(round(v))) if whole else (0.0, top)
                for v, whole, top in zip(best.x, self.whole, self.top, strict=True)]
        return self._exact(held) or conflict

    def _choices(self) -> bool:
        """Whole numbers matter: something is paid for a pass, or ordered in loads."""
        return any(whole and cost for whole, cost in zip(self.whole, self.cost, strict=True)) or (
            any(name[0] == "order" for name in self.columns))

    def _exact(self, held: list[tuple[float, float]]) -> FieldMix | None:
        """The mix with the whole numbers held; None if there is none."""
        answer = minimise(self.cost, self.rows, self.bounds, held)
        return None if answer is None else self._read(answer)

    def _read(self, answer: Solved) -> FieldMix:
        prices = {name: m for name, m in zip(self.names, answer.marginals, strict=True)
                  if name is not None}
        blends, spread = {}, {o.id: 0.0 for o in self.offers}
        passes = 0.0
        for zone in self.zones:
            amounts, cost = {}, 0.0
            for offer in self.offers:
                pounds = (self.most[zone.place.id, offer.id]
                          * answer.x[self.columns["x", zone.place.id, offer.id]])
                if pounds > TINY:
                    amounts[offer.id] = pounds
                    spread[offer.id] += pounds * zone.area_ac
                    passes += (offer.per_ac or 0.0) * zone.area_ac
                    cost += price_lb(offer) * pounds + (offer.per_ac or 0.0)
            blends[zone.place.id] = Blend(
                amounts, cost,
                {n: -prices[zone.place.id, n] / (amount * zone.area_ac)
                 for n, amount in zone.wanted().items()})
        orders = {o.id: o.ordered_lb(spread[o.id] + o.committed_lb) - o.ordered_lb(o.committed_lb)
                  for o in self.offers if spread[o.id] > TINY}
        cost = passes + sum(price_lb(o) * orders.get(o.id, 0.0) for o in self.offers)
        return FieldMix(blends, orders, cost)


def _most(zone: BlendZone, offer: Offer) -> float:
    """Pounds per acre beyond which a product can serve no need of the zone."""
    if offer.id in zone.barred:
        return 0.0
    useful = [amount / offer.fraction(n) for n, amount in zone.wanted().items()
              if offer.fraction(n) > 0]
    most = max(useful, default=0.0)
    return most if offer.most_lb_ac is None else min(most, offer.most_lb_ac)
