"""How old a soil sample may be before its answer weakens, and before it gives no rate."""

from __future__ import annotations

from loambrief.agronomy.guides import find_guide
from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, formula
from loambrief.tables import load
from loambrief.topics.sampling.formulas_error import constant

TOPIC = "sampling"
AGES = "sampling/sample_age"
GENERAL = "general"
CURRENT, PAST, TOO_OLD = "current", "past the interval", "too old for a rate"


@formula(unit="class", source="isu-soil-sampling-2023", locator="when to sample", how="seen",
         valid={"age_years": (0.0, 30.0)})
def sample_age_class(age_years: NotNegative, test: str = GENERAL,
                     guide: str | None = None) -> Answer[str]:
    """Whether a soil sample is still current.

    Parameters
    ----------
    age_years : float
        Time between sampling and the advice [years].
    test : str
        ``"general"``, ``"nitrogen"`` or ``"sulfur"``; any other test counts as general.
    guide : str or None
        Name of the fertilizer guide; its own interval goes before the general one.

    Returns
    -------
    str
        ``"current"``, ``"past the interval"`` (lower rank and confidence) or ``"too old for a
        rate"`` [class]; the interval itself is still current. ``details`` hold
        ``interval_years``, ``too_old_years`` and ``own_guide``.

    Raises
    ------
    ImpossibleInput
        A negative age.
    UnknownName
        No such guide.

    Notes
    -----
    Samples are taken every 2 to 4 years or once in a rotation; nitrate and sulfate each year, and
    what is a year old says nothing of them. From one and a half times the interval on no rate is
    given: that factor is our choice, no publication states one. Sources: osu-agbmps-sampling;
    fall-soil-sampling.
    """
    rows = {row["test"]: row for row in load(AGES)}
    row = rows.get(test, rows[GENERAL])
    interval, source, how, own = row["interval_years"], row["source"], row["how"], False
    if guide is not None and row["test"] == GENERAL:
        held = find_guide(guide)
        if held.interval_years is not None:
            interval, source, how, own = (held.interval_years, held.interval_reference,
                                          held.interval_how, True)
    oldest = interval if row["test"] != GENERAL else interval * constant("too_old_factor")
    value = CURRENT if age_years <= interval else PAST if age_years <= oldest else TOO_OLD
    return Answer(value, source=source, locator="" if own else row["locator"], how=how,
                  details={"interval_years": interval, "too_old_years": oldest,
                           "own_guide": own})
