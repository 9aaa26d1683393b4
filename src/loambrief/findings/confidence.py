"""The written rule for how far a finding may be trusted.

Start at high. Each of these takes one step down, and low is the floor:

* the test is past the interval of its guide, or, where none is in use, older than 3 years
  (common programme limit, from memory, unverified);
* fewer than 15 cores, or cores not stated (Oklahoma State: composites are unstable below 15);
* the method is not the one the guide was calibrated on, or had to be converted;
* replicates or points are fewer than the published number for the wanted precision;
* the other evidence disagrees.
"""

from __future__ import annotations

from loambrief.findings.model import Confidence

MAX_AGE_DAYS = 3 * 365
MIN_CORES = 15


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

    Parameters
    ----------
    age_days : int or None
        Age of the test [days] at the date of the advice.
    past_interval : bool or None
        Past the interval of the guide in use; None: the age in days decides.
    cores : int or None
        Cores in the composite; counts only if ``cores_matter``.
    cores_matter : bool
        True for soil samples.
    method_matches, enough_replicates, agrees : bool
        See the rule.
    """
    steps = 0
    steps += (past_interval if past_interval is not None
              else age_days is not None and age_days > MAX_AGE_DAYS)
    steps += cores_matter and (cores is None or cores < MIN_CORES)
    steps += not method_matches
    steps += not enough_replicates
    steps += not agrees
    return (Confidence.HIGH, Confidence.MEDIUM, Confidence.LOW)[min(steps, 2)]
