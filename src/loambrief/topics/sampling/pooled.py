"""What several samples of one zone say of their own error."""

from __future__ import annotations

from loambrief.agronomy.registry import Result
from loambrief.case.schema import Increment
from loambrief.topics.sampling.formulas_error import repeat_error


def pooled_error(increment: Increment | None, *fields: str) -> Result | None:
    """Standard error of the mean of pooled samples [unit of the field].

    Of several fields that hold one property the largest error; None where nothing was pooled.
    Two samples may agree by chance, so a typical error that is larger goes before it.
    """
    found = [repeat_error.evaluate(values=list(spread.values)) for field in fields
             if increment is not None and (spread := increment.spread.get(field)) is not None]
    return max(found, key=lambda r: r.number, default=None)


def relative_error(increment: Increment | None, *fields: str) -> float:
    """The same as a share of the mean; 0 where nothing was pooled."""
    shares = [e.number / abs(mean) for field in fields
              if (e := pooled_error(increment, field)) is not None
              and isinstance(mean := e.details["mean"], float) and mean]
    return max(shares, default=0.0)
