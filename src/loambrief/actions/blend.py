"""Least-cost mix of products for the nutrients one zone needs (linear programme).

minimise   sum(price_i x_i)
subject to sum(a_ij x_i) >= need_j        for every nutrient the zone needs
           sum(a_ij x_i) <= upper_j       for nutrients that must not rise further
           x_i >= 0                       lb of product i per acre

solved with the HiGHS solver of scipy. The dual values say what one pound of each need
costs, and which upper limit binds.
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
    from scipy.optimize import linprog  # slow import, needed only here

    wanted, limited = tuple(needs), tuple(sorted(upper))
    rows = [[-o.fraction(n) for o in usable] for n in wanted]
    rows += [[o.fraction(n) for o in usable] for n in limited]
    bounds = [-needs[n] for n in wanted] + [upper[n] for n in limited]
    answer = linprog(
        [o.per_lb for o in usable], A_ub=rows, b_ub=bounds, bounds=[(0, None)] * len(usable),
        method="highs",
    )
    if not answer.success:
        return NoBlend((), limited)
    marginal = {n: -float(m) for n, m in zip(wanted, answer.ineqlin.marginals, strict=False)}
    binding = tuple(
        n
        for n, m in zip(limited, answer.ineqlin.marginals[len(wanted):], strict=True)
        if m < -TINY
    )
    amounts = {o.id: float(x) for o, x in zip(usable, answer.x, strict=True) if x > TINY}
    return Blend(amounts, float(answer.fun), marginal, binding)
