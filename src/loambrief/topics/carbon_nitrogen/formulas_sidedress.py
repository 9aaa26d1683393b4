"""Nitrate tests of the first foot when corn is about a foot tall, and what they ask for."""

from __future__ import annotations

from functools import partial

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.tables import named_number

FORAGE_LEGUMES = ("alfalfa", "red clover", "alfalfa-grass")
_number = partial(named_number, "carbon_nitrogen/nitrogen_sidedress")


@formula(unit="lb/ac", source="isu-late-spring-nitrate", locator="worked example", how="seen",
         valid={"nitrate_n_ppm": (0.0, 60.0)})
def sidedress_nitrogen_iowa(nitrate_n_ppm: NotNegative, wet_spring: bool = False,
                            manured: bool = False) -> Answer:
    """Sidedress nitrogen for corn by the late spring nitrate test of Iowa.

    Parameters
    ----------
    nitrate_n_ppm : float
        Nitrate nitrogen of the first foot, corn 6 to 12 in tall [ppm].
    wet_spring : bool
        Rain since April more than a fifth above normal.
    manured : bool
        Manure was spread since the last harvest; it lowers the line after a wet spring only.

    Returns
    -------
    Answer
        Nitrogen [lb/ac]: 8 for each ppm below the line; detail ``critical_ppm``.

    Notes
    -----
    Trials of 2023 to 2025 in the same state show how wide the answer is: at 7 ppm the best rate lay
    between 13 and 193 lb/ac. Sources: isu-2026-nitrate-tool.
    """
    name = "iowa_critical"
    if wet_spring:
        name = "iowa_critical_wet_manure" if manured else "iowa_critical_wet"
    critical = _number(name)
    return Answer(max(critical - nitrate_n_ppm, 0.0) * _number("iowa_lb_per_ppm"),
                  details={"critical_ppm": critical})


@formula(unit="lb/ac", source="psu-agguide-psnt", locator="table 1.4-4", how="seen",
         valid={"nitrate_n_ppm": (0.0, 60.0), "yield_goal": (60.0, 250.0)})
def sidedress_nitrogen_pennsylvania(
    nitrate_n_ppm: NotNegative, yield_goal: Positive, manured: bool = False,
    manured_before: bool = False, previous_crop: str | None = None,
) -> Answer:
    """Sidedress nitrogen for corn by the pre-sidedress nitrate test of Pennsylvania.

    Parameters
    ----------
    nitrate_n_ppm : float
        Nitrate nitrogen of the first foot, corn about 12 in tall [ppm].
    yield_goal : float
        Expected yield [bu/ac].
    manured : bool
        Manure since the last harvest.
    manured_before : bool
        Manure in the three years before that.
    previous_crop : str or None

    Returns
    -------
    Answer
        Nitrogen [lb/ac], zero from 21 ppm on. Details ``yield_factor`` and ``history_factor``.

    Notes
    -----
    A newer calibration lowers the part by yield by 29 % and reads the test only on ground with
    a long history of manure; it is not used here, because its table was not seen.
    Sources: white-psnt-recalibrated.
    """
    history = _number("pennsylvania_manure" if manured else "pennsylvania_no_manure")
    history += _number("pennsylvania_manure_before") if manured_before else 0.0
    before = () if previous_crop is None else find_crop(previous_crop).lineage
    if "soybean" in before:
        history += _number("pennsylvania_soybean")
    elif any(name in FORAGE_LEGUMES for name in before):
        history += _number("pennsylvania_forage_legume")
    wanted = _number("pennsylvania_per_yield") * yield_goal
    enough = nitrate_n_ppm >= _number("pennsylvania_critical")
    rate = 0.0 if enough else max(wanted - history * nitrate_n_ppm, 0.0)
    return Answer(rate, details={"yield_factor": wanted, "history_factor": history})


OHIO = ((25.0, None), (20.0, "ohio_21_25"), (15.0, "ohio_16_20"), (10.0, "ohio_11_15"))
"""Upper ends of the printed classes [ppm] and what is taken off above them."""


@formula(unit="lb/ac", source="osu-2022-psnt", locator="table 1", how="seen",
         valid={"nitrate_n_ppm": (0.0, 60.0), "full_rate_lb_ac": (0.0, 220.0)})
def sidedress_nitrogen_ohio(nitrate_n_ppm: NotNegative, full_rate_lb_ac: NotNegative) -> Answer:
    """Sidedress nitrogen for corn in Ohio: the rate with the best return, less what a test shows.

    Parameters
    ----------
    nitrate_n_ppm : float
        Nitrate nitrogen of the first foot at sidedress time [ppm].
    full_rate_lb_ac : float
        Rate with the best return [lb/ac] (``nitrogen_rate_economic``).

    Returns
    -------
    Answer
        Nitrogen [lb/ac]; none above 25 ppm. Detail ``less_lb_ac``.

    Notes
    -----
    The classes are printed for whole ppm; a value between two falls into the upper one. A trial
    of 2021 found the cuts cautious.
    """
    found = next(((most, name) for most, name in OHIO if nitrate_n_ppm > most), None)
    if found is None:
        return Answer(full_rate_lb_ac, details={"less_lb_ac": 0.0})
    less = full_rate_lb_ac if found[1] is None else min(_number(found[1]), full_rate_lb_ac)
    return Answer(full_rate_lb_ac - less, details={"less_lb_ac": less})
