"""Least-cost mix of products for the nutrients one zone needs (mixed-integer programme).

minimise   sum(price_i x_i) + sum(pass_i y_i)
subject to sum(a_ij x_i) >= need_j        for every nutrient the zone needs
           sum(a_ij x_i) <= upper_j       for nutrients that must not rise further
           x_i <= most_i y_i              a product is spread only if its pass is paid
           x_i >= 0, y_i in {0, 1}        lb of product i per acre; one spreading pass each

solved with the HiGHS solver of scipy. Price is product and freight, pass the spreading
charge per acre, so that a few pounds of a second product do not cost a trip unseen. The
dual values come from the linear programme of the chosen products: what one more pound of
each need costs, and which upper limit binds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loambrief.actions.offers import Offer

TINY = 1e-6


@dataclass(frozen=True)
class Blend:
    """One least-cost mix.

    Attributes
    ----------
    amounts : mapping of offer id to lb of product per acre
    cost_per_ac : float
        Product, freight and spreading [currency/ac].
    marginal : mapping of nutrient to cost of its last lb [currency/lb]
    binding : tuple of nutrients whose upper limit stops a cheaper mix
    """

    amounts: Mapping[str, float]
    cost_per_ac: float
    marginal: Mapping[str, float]
    binding: tuple[str, ...]


@dataclass(frozen=True)
class NoBlend:
    """Why no mix can be made."""

    uncovered: tuple[str, ...]
    """Nutrients that no priced product on the list supplies."""
    conflicting: tuple[str, ...] = ()
    """Nutrients whose upper limit cannot be kept while the needs are met."""


def least_cost(
    needs: Mapping[str, float],
    offers: tuple[Offer, ...],
    upper: Mapping[str, float] | None = None,
) -> Blend | NoBlend:
    """Cheapest mix that meets every need within the limits.

    Parameters
    ----------
    needs : mapping
        Nutrient -> lb/ac wanted; non-positive entries are ignored.
    offers : tuple of Offer
        Priced products (those without a price per mass are ignored).
    upper : mapping or None
        Nutrient -> most lb/ac the mix may bring.

    Returns
    -------
    Blend or NoBlend
    """
    upper = dict(upper or {})
    needs = {name: amount for name, amount in sorted(needs.items()) if amount > TINY}
    usable = sorted((o for o in offers if o.per_lb is not None), key=lambda o: o.id)
    uncovered = tuple(n for n in needs if not any(o.fraction(n) > 0 for o in usable))
    if uncovered:
        return NoBlend(uncovered)
    if not needs:
        return Blend({}, 0.0, {}, ())
    chosen = _products(needs, usable, upper)
    if chosen is None:
        return NoBlend((), tuple(sorted(upper)))
    return _amounts(needs, chosen, upper)


def _rows(needs: Mapping[str, float], usable: list[Offer], upper: Mapping[str, float]):
    """Constraint rows and bounds: needs first, then upper limits, both as "at most"."""
    rows = [[-o.fraction(n) for o in usable] for n in needs]
    rows += [[o.fraction(n) for o in usable] for n in sorted(upper)]
    bounds = [-needs[n] for n in needs] + [upper[n] for n in sorted(upper)]
    return rows, bounds


def _products(needs: Mapping[str, float], usable: list[Offer],
              upper: Mapping[str, float]) -> list[Offer] | None:
    """Products that a paid pass is worth; None if the limits cannot be kept."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow import, needed only here

    rows, bounds = _rows(needs, usable, upper)
    count = len(usable)
    most = [
        max(needs[n] / o.fraction(n) for n in needs if o.fraction(n) > 0)
        if any(o.fraction(n) > 0 for n in needs) else 0.0
        for o in usable
    ]
    table = [[*row, *([0.0] * count)] for row in rows]
    for i in range(count):
        link = [0.0] * (2 * count)
        link[i], link[count + i] = 1.0, -most[i]
        table.append(link)
    answer = milp(
        [o.per_lb for o in usable] + [o.per_ac or 0.0 for o in usable],
        constraints=LinearConstraint(table, ub=[*bounds, *([0.0] * count)]),
        integrality=[0] * count + [1] * count,
        bounds=Bounds([0.0] * (2 * count), [*most, *([1.0] * count)]),
    )
    if not answer.success:
        return None
    return [o for o, pounds in zip(usable, answer.x, strict=False) if pounds > TINY]


def _amounts(needs: Mapping[str, float], usable: list[Offer],
             upper: Mapping[str, float]) -> Blend | NoBlend:
    """Amounts of the chosen products, with what each need's last pound costs."""
    from scipy.optimize import linprog

    rows, bounds = _rows(needs, usable, upper)
    answer = linprog([o.per_lb for o in usable], A_ub=rows, b_ub=bounds,
                     bounds=[(0, None)] * len(usable), method="highs")
    if not answer.success:
        return NoBlend((), tuple(sorted(upper)))
    prices = answer.ineqlin.marginals
    marginal = {n: -float(m) for n, m in zip(needs, prices, strict=False)}
    binding = tuple(
        n for n, m in zip(sorted(upper), prices[len(needs):], strict=True) if m < -TINY
    )
    amounts = {o.id: float(x) for o, x in zip(usable, answer.x, strict=True) if x > TINY}
    passes = sum(o.per_ac or 0.0 for o in usable if o.id in amounts)
    return Blend(amounts, float(answer.fun) + passes, marginal, binding)
