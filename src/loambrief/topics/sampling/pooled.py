"""Error of a composite sample, and what several samples of one zone say of their own."""

from dataclasses import dataclass

from loambrief.agronomy.registry import Result
from loambrief.case.schema import Increment, Sample
from loambrief.topics.sampling.formulas_error import repeat_error, soil_test_error


@dataclass(frozen=True)
class CompositeError:
    """Error of one composite soil test, one standard deviation."""

    pct: float
    """Relative to the test [%]."""
    result: Result


def composite_error(test: str, sample: Sample, increment: Increment,
                    value: float) -> CompositeError | None:
    """Error of a test; None where neither cores nor further samples are stated.

    Of pooled samples the spread counts, unless the typical error is larger: two samples may
    agree by chance.
    """
    typical = typical_error(test, sample.cores, value)
    spread = increment.spread.get(test)
    if spread is None or value <= 0:
        return typical
    result = repeat_error.evaluate(values=list(spread.values))
    pct = 100.0 * float(result.value) / value
    return typical if typical is not None and typical.pct > pct else CompositeError(pct, result)


def typical_error(test: str, cores: int | None, value: float) -> CompositeError | None:
    """Published error of a composite of so many cores; None without their number."""
    if cores is None or value <= 0:
        return None
    result = soil_test_error.evaluate(test=test, value=value, cores=float(cores))
    if result.value is None:
        return None
    return CompositeError(100.0 * float(result.value) / value, result)


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
