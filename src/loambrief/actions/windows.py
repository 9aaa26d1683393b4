"""When each kind of work is done, from the dates in the case.

Waiting times are the usual ones and are printed with the action: lime wants 6 to 12 months
before a legume is seeded (Penn State Forages, liming) and reacts from its finest part
within weeks; a cover crop is sown after harvest, where no stand or autumn-sown crop takes the
ground; gypsum for pods goes on at early bloom; broadcast phosphorus
and potassium go on any time before planting that is not frozen or saturated; loosening wants
the soil dry enough to shatter, so after harvest.
"""

import datetime as dt

from loambrief.actions.model import Window
from loambrief.case.schema import CaseFile
from loambrief.findings.crop_kinds import cover_fits, many_picks, standing
from loambrief.findings.model import NeedKind, say
from loambrief.topics.judge import DECIDES

DAY = dt.timedelta(days=1)


def _dates(case: CaseFile) -> dict[str, dt.date]:
    """Dates of the case; a stand that is there was planted long ago."""
    found = case.field.dates
    if found is None:
        return {}
    return {
        name: value
        for name in ("planting", "harvest", "next_cut", "dormancy")
        if (value := getattr(found, name)) is not None
        and not (name == "planting" and standing(case))
    }


HABITS = {  # item of a need to the words for its time
    "leaching share": "when_irrigation",
    "irrigation interval": "when_irrigation",
    "ash": "when_each_cut",
    "weedy-hay": "when_each_cut",
    "poisonous-hay": "when_before_feeding",
    "nitrate": "when_before_feeding",
    "horse-sugar": "when_before_feeding",
    "forage-minerals": "when_before_feeding",
    "stock-hazards": "when_before_feeding",
    "hay-supply": "when_at_once",
    "rest-stand": "when_at_once",
    "autumn-rest": "when_each_cut",
    "stop-manure": "when_at_once",
    "stop-metal-cu": "when_at_once",
    "stop-metal-zn": "when_at_once",
    "tissue": "when_growing",
    "sap-again": "when_sap",
    "water test": "when_water_test",
    "infiltration": "when_water",
    "weeds": "when_weeds",
    "weeds-throws-sap": "when_at_once",
    "weeds-carry-off": "when_weeds",
}
COVER = "cover crop"
"""Item of the cover crop that a case plans."""
SHALLOW_CALCIUM = "shallow calcium"
"""Item of the gypsum that feeds pods."""
EVERY_SEASON = "irrigation water"
"""Item of the gypsum that treats the water of each season."""
BLOOM_DAYS = (30, 45)
"""Days from planting to early bloom of peanut (Seminole Crop E News, University of Georgia
Extension, 8 August 2013); past 60 days is late."""
SIDEDRESS_DAYS = (28, 45)
"""Days from planting until corn is 6 to 12 in tall (common practice)."""
COVER_DAYS = 21
"""A cover crop sown more than three weeks after the harvest of a summer crop rarely pays
before winter (our own cut)."""


def window(case: CaseFile, kind: NeedKind, pass_number: int = 1, item: str = "",
           when: str = "", splits: int = 1) -> Window:
    """Window of one kind of work; without dates in the case it is said in words only.

    ``when`` is the time that a nitrogen method names, ``splits`` its passes from planting on.
    """
    dates, today = _dates(case), case.case.date
    planting, harvest = dates.get("planting"), dates.get("harvest")
    if harvest and case.case.valid_until and harvest > case.case.valid_until:
        harvest = None  # a season for the next advice
    if pass_number > 1:
        year = dt.timedelta(days=365 * (pass_number - 1))
        return Window(today + year, None, say("actions.when_later_pass", start=today + year))
    if kind is NeedKind.LOOSEN:
        after = harvest if harvest and harvest > today else None
        if after:
            return Window(after, after + 45 * DAY, say("actions.when_after_harvest", start=after,
                                                       end=after + 45 * DAY))
        return Window(None, None, say("actions.when_dry"))
    if kind in (NeedKind.LIME, NeedKind.ACIDIFY):
        if planting and planting - 60 * DAY > today:
            return Window(today, planting - 60 * DAY,
                          say("actions.when_early", start=today, end=planting - 60 * DAY))
        return _before(planting, today) or Window(today, None, say("actions.when_next_chance"))
    if kind is NeedKind.DRAIN:
        return Window(today, None, say("actions.when_first"))
    if item == SHALLOW_CALCIUM:
        if planting is None:
            return Window(None, None, say("actions.when_bloom_undated"))
        start, end = (max(planting + days * DAY, today) for days in BLOOM_DAYS)
        return Window(start, end, say("actions.when_bloom", start=start, end=end))
    if item == EVERY_SEASON:
        return Window(None, None, say("actions.when_every_season"))
    if kind is NeedKind.GYPSUM:
        return Window(today, None, say("actions.when_after_drain"))
    if kind is NeedKind.LEACH:
        latest = dates.get("next_cut") or planting
        return Window(today, latest if latest and latest >= today else None,
                      say("actions.when_leach", gypsum=False))
    if when == "sidedress":
        if planting is None:
            return Window(None, None, say("actions.when_sidedress", start=None))
        start, end = (max(planting + days * DAY, today) for days in SIDEDRESS_DAYS)
        return Window(start, end, say("actions.when_sidedress", start=start, end=end))
    if when == "before" and splits > 1:
        ahead = planting if planting is not None and planting > today else None
        return Window(ahead or today, None, say("actions.when_split", start=ahead,
                                                passes=splits))
    if when == "cuttings":
        return Window(None, None, say("actions.when_cuttings", passes=splits))
    if when in ("topdress", "early spring", "stem extension"):
        return Window(None, None, say("actions.when_green_up"))
    if kind is NeedKind.NUTRIENT:
        if case.field.tillage == "perennial":
            cut = dates.get("next_cut")
            if cut and cut > today:
                return Window(cut, cut + 14 * DAY,
                              say("actions.when_after_cut", start=cut, end=cut + 14 * DAY))
        return _before(planting, today) or Window(today, None, say("actions.when_next_chance"))
    if item == "cone-again":
        return Window(None, None, say("actions.when_field_capacity"))
    if item == DECIDES:
        ahead = planting if planting and planting > today else None
        return Window(today, ahead, say("actions.when_decision", end=ahead))
    if item in HABITS:
        return Window(today, None, say(f"actions.{HABITS[item]}"))
    if kind is NeedKind.MANAGE and item != COVER:
        return Window(today, None, say("actions.when_habit"))
    if kind is NeedKind.ORGANIC_MATTER or item == COVER:
        if not cover_fits(case):
            return Window(None, None, say("actions.when_habit"))
        if harvest and harvest > today and not many_picks(case):
            end = harvest + COVER_DAYS * DAY
            return Window(harvest, end, say("actions.when_cover", start=harvest, end=end))
        return Window(None, None, say("actions.when_cover_undated", last=many_picks(case)))
    if kind is NeedKind.MEASURE:
        return Window(today, planting if planting and planting > today else None,
                      say("actions.when_measure"))
    return _before(planting, today) or Window(today, None, say("actions.when_next_chance"))


def _before(planting: dt.date | None, today: dt.date) -> Window | None:
    if planting is None or planting <= today:
        return None
    start = max(today, planting - 45 * DAY)
    return Window(start, planting, say("actions.when_before_planting", start=start, end=planting))
