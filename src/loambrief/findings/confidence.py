"""The written rule for how far a finding may be trusted.

Start at high. Each of these takes one step down, and low is the floor:

* the test is past the interval of its guide, or, where none is in use, older than 3 years
  (common programme limit, from memory, unverified);
* fewer than 15 cores, or cores not stated (Oklahoma State: composites are unstable below 15);
* the method is not the one the guide was calibrated on, or had to be converted;
* replicates or points are fewer than the published number for the wanted precision;
* the other evidence disagrees.

What a finding advises can be less sure than what it read (:func:`of_advice`). One more step each:

* a rate or a level that it rests on is from memory, not checked against the print;
* the effect is known from one trial or survey alone;
* within one standard error of the test nothing may be needed.

Work without a published amount (a cover crop, traffic) is never more than medium, however well the
soil was sampled.
"""

from collections.abc import Iterable
from dataclasses import replace

from loambrief.agronomy.registry import Result
from loambrief.findings.model import Confidence, Finding, Need, NeedKind
from loambrief.tables import reference

MAX_AGE_DAYS = 3 * 365
MIN_CORES = 15
STEPS = (Confidence.HIGH, Confidence.MEDIUM, Confidence.LOW)
TREATS = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.GYPSUM, NeedKind.NUTRIENT, NeedKind.LEACH)
WORK = (NeedKind.ORGANIC_MATTER, NeedKind.LOOSEN)
TRAFFIC = "traffic"
SINGLE = ("trial", "survey")
ERRORS = ("soil_test_error", "range_of_errors", "material_error_pct", "buffer_ph_error",
          "lime_passes")
"""How far a reading may be off is counted in its range; in how many passes lime goes on is no
rate."""


def grade_confidence(
    *,
    age_days: int | None = None,
    past_interval: bool | None = None,
    cores: int | None = None,
    cores_matter: bool = False,
    method_matches: bool = True,
    enough_replicates: bool = True,
    agrees: bool = True,
) -> Confidence:
    """Confidence by the written rule of this module.

    ``age_days`` is the age of the test at the date of the advice, ``past_interval`` whether it is
    past the interval of the guide in use (None: the age in days decides); ``cores`` of the
    composite count only if ``cores_matter``, as they do for soil samples.
    """
    steps = 0
    steps += (past_interval if past_interval is not None
              else age_days is not None and age_days > MAX_AGE_DAYS)
    steps += cores_matter and (cores is None or cores < MIN_CORES)
    steps += not method_matches
    steps += not enough_replicates
    steps += not agrees
    return STEPS[min(steps, 2)]


def of_advice(finding: Finding) -> Finding:
    """A finding with the confidence of what it advises, by the written rule of this module."""
    treats = [n for n in finding.needs if n.kind in TREATS]
    steps = STEPS.index(finding.confidence)
    steps += any(_from_memory(n) for n in treats)
    steps += any(_single(n) for n in treats)
    steps += any(_none_near(n) for n in treats)
    if any((n.kind in WORK and n.amount is None) or n.item == TRAFFIC for n in finding.needs):
        steps = max(steps, STEPS.index(Confidence.MEDIUM))
    return replace(finding, confidence=STEPS[min(steps, 2)])


def _from_memory(need: Need) -> bool:
    return bool(_unread(need.results))


def remembered(finding: Finding) -> tuple[str, ...]:
    """Sources of its conclusion whose values were not checked against the print."""
    return _unread(finding.results)


def _unread(results: Iterable[Result]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(r.source for r in results if r.how == "memory"
                               and r.formula not in ERRORS and r.source is not None))


def _single(need: Need) -> bool:
    known = [reference(key).kind for key in dict.fromkeys(need.sources)]
    return len(known) == 1 and known[0] in SINGLE


def _none_near(need: Need) -> bool:
    if need.may_be_none is not None:
        return need.may_be_none
    return not need.printed_span and need.low is not None and need.low <= 0.0
