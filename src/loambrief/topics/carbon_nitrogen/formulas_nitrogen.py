"""Nitrogen rates by published methods: yield goal, best return, and the British manual."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.intervals import combined, log_ends, within_limits
from loambrief.agronomy.possible import NotNegative, Percent, Positive, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load, parts

METHODS = "carbon_nitrogen/nitrogen_methods"
ECONOMIC = "carbon_nitrogen/nitrogen_economic"
UK_CEREALS = "carbon_nitrogen/nitrogen_uk_cereals"
UK_POTATO = "carbon_nitrogen/nitrogen_uk_potato"
HALF_STEP = 0.025
"""Rates are printed at ratios of prices 0.05 apart; the nearest holds half that far."""
UK_SOILS = ("light sand", "shallow", "medium", "deep clay", "deep silty", "organic", "peat")


def method_row(method: str, crop: str) -> DataRow:
    """Row of a yield-goal method for a crop or the kind of crop it belongs to.

    Raises ``UnknownName`` without such a method, or if it is not for that crop.
    """
    rows = load(METHODS).named("nitrogen method", method=method)
    lineage = find_crop(crop).lineage
    row = next((r for r in rows if r["crop"] in lineage), None)
    if row is None:
        raise UnknownName(f"crop of {method}", crop, tuple(r["crop"] for r in rows))
    return row


def debit_lb_ac(row: DataRow, previous: str | None) -> float:
    """Nitrogen that residue of the crop before takes [lb/ac], below zero if it leaves some."""
    if not row["debits"] or previous is None:
        return 0.0
    named = dict(pair.split("=") for pair in parts(row["debits"]))
    return next((float(named[n]) for n in find_crop(previous).lineage if n in named), 0.0)


Span = tuple[float, float, float]
"""Low end, the figure itself, high end [lb/ac]."""


def balance(need: Span, matter: Span, rest: float, cap: float | None = None) -> Span:
    """What is still to apply: the need, less organic matter, plus all else; none below zero."""
    most = float("inf") if cap is None else cap
    low, middle, high = (min(max(n - m + rest, 0.0), most)
                         for n, m in zip(need, reversed(matter), strict=True))
    return low, middle, high


def by_reading(at: Callable[[float], Span], reading: float, error_pct: float | None) -> Span:
    """The balance at a reading; with the error of the reading in its range where that is known."""
    low, middle, high = at(reading)
    if not error_pct:
        return low, middle, high
    by_test = [at(end)[1] for end in log_ends(reading, error_pct)]
    ends = combined(middle, by_test, within_limits(middle, low, high))
    return max(ends[0], 0.0), middle, ends[1]


def ends_of(span: Span) -> dict[str, object]:
    """``low`` and ``high`` where they differ."""
    return {"low": span[0], "high": span[2]} if span[2] > span[0] else {}


@formula(unit="lb/ac", source="unl-corn-n-equation", locator="equation and its terms", how="seen",
         valid={"organic_matter_pct": (0.0, 6.0), "nitrate_n_ppm": (0.0, 60.0),
                "nitrate_n_lb_ac": (0.0, 400.0)})
def nitrogen_rate_yield_goal(
    method: str, crop: str, yield_goal: Positive, organic_matter_pct: Percent | None = None,
    nitrate_n_ppm: NotNegative | None = None, nitrate_n_lb_ac: NotNegative | None = None,
    other_credits_lb_ac: NotNegative = 0.0, previous_crop: str | None = None,
    test_error_pct: NotNegative | None = None,
) -> Answer[float | None]:
    """Nitrogen to apply, by what a yield takes less what the soil and other sources bring.

    Parameters
    ----------
    method : str
        Name in the table of methods, such as ``"nebraska_corn"``.
    crop : str
        By any name of the crop table.
    yield_goal : float
        In the unit the crop is traded in [bu/ac, ton/ac].
    organic_matter_pct : float or None
        Needed where the method counts it [%].
    nitrate_n_ppm : float or None
        Mean of the depth the method names, weighted by thickness [ppm]; for Nebraska.
    nitrate_n_lb_ac : float or None
        Nitrate nitrogen down to that depth, with ammonium of the first foot in Washington
        [lb/ac]; for the others.
    other_credits_lb_ac : float
        Legume, manure and irrigation water [lb/ac].
    previous_crop : str or None
        For the nitrogen that its residue takes, where the method counts that.
    test_error_pct : float or None
        Relative error of the nitrate test, one standard deviation [%].

    Returns
    -------
    float or None
        Nitrogen [lb/ac], never below zero; None where the source prints none for that yield.
        Details: ``crop_lb_ac``, ``matter_lb_ac``,
        ``nitrate_lb_ac``, ``debit_lb_ac``, and ``low`` and ``high`` where the source prints a
        range or the error of the test is given.

    Raises
    ------
    UnknownName
        No such method, or not for that crop.
    ImpossibleInput
        The method needs a result that is not given.

    Notes
    -----
    A yield goal is not a forecast: North Dakota found that the best rate does not follow the
    yield from field to field, and gave such equations up.
    Sources: sdsu-2023-corn-n; leikam-2003-mf2586; zhang-2011-wheat-n; agpro-winter-canola;
    wgc-dryland-hard-wheat; ksu-cool-grass-n; uf-hs1429; ndsu-sf722; umn-wheat-n; umn-sugar-beet-n;
    sugarbeet-notes-404; clemson-cotton; clemson-small-grain; uga-aesl-crop-041; uga-aesl-crop-147;
    ndsu-flax-2017; ndsu-2022-high-costs; clemson-fescue-hay; uga-aesl-crop-037;
    montana-canola-n; okstate-soil-test-interpretations.
    """
    row = method_row(method, crop)
    if not (row["yield_least"] or 0.0) <= yield_goal <= (row["yield_most"] or float("inf")):
        return by_row(row, None, notes=("no rate is printed for this yield goal",))
    need = row["base_lb_ac"] + row["per_yield_lb"] * yield_goal
    most = need if row["per_yield_high_lb"] is None else (
        row["base_lb_ac"] + row["per_yield_high_lb"] * yield_goal)
    if row["base_high_lb_ac"] is not None:
        most += row["base_high_lb_ac"] - row["base_lb_ac"]
    matter = low_matter = high_matter = 0.0
    if row["om_lb_pct"] is not None or row["om_yield_lb"] is not None:
        if organic_matter_pct is None:
            raise ImpossibleInput(f"{method} needs organic_matter_pct")
        share = organic_matter_pct
        if row["om_least_pct"] is not None:
            share = min(max(share, row["om_least_pct"]), row["om_most_pct"])
        by_yield = (row["om_yield_lb"] or 0.0) * yield_goal * share
        matter = (row["om_lb_pct"] or 0.0) * share + by_yield
        low_matter = (row["om_low_lb_pct"] or 0.0) * share + by_yield
        high_matter = (row["om_high_lb_pct"] or 0.0) * share + by_yield
    reading, factor = 0.0, 0.0
    if row["nitrate_lb_ppm"] is not None:
        if nitrate_n_ppm is None:
            raise ImpossibleInput(f"{method} needs nitrate_n_ppm, the mean down to "
                                  f"{row['depth_in']:g} in")
        reading, factor = nitrate_n_ppm, row["nitrate_lb_ppm"]
    elif row["nitrate_share"] is not None:
        if nitrate_n_lb_ac is None:
            raise ImpossibleInput(f"{method} needs nitrate_n_lb_ac down to {row['depth_in']:g} in")
        reading, factor = nitrate_n_lb_ac, row["nitrate_share"]
    debit = debit_lb_ac(row, previous_crop)

    def at(found: float) -> Span:
        return balance((need, need, most), (low_matter, matter, high_matter),
                       debit - factor * found - other_credits_lb_ac)

    span = by_reading(at, reading, test_error_pct)
    return by_row(row, span[1], details={
        "crop_lb_ac": need, "matter_lb_ac": matter, "nitrate_lb_ac": factor * reading,
        "debit_lb_ac": debit, **ends_of(span)})


@formula(unit="lb/ac", source="osu-2021-mrtn", locator="table", how="seen",
         valid={"price_ratio": (0.0722, 0.1667)})
def nitrogen_rate_economic(method: str, price_ratio: Positive) -> Answer[float | None]:
    """Nitrogen rate with the best return over the trials of a state, at a ratio of prices.

    Parameters
    ----------
    method : str
        ``"ohio_corn"``: corn after soybean in Ohio; ``"minnesota_corn"``: corn after corn;
        ``"iowa_corn_after_soybean"``, ``"iowa_corn_after_corn"``.
    price_ratio : float
        Price of a pound of nitrogen over that of a bushel [bu/lb].

    Returns
    -------
    float or None
        Nitrogen [lb/ac], on a straight line between printed rates; the end one beyond them.
        None further than ``HALF_STEP`` beyond where single ratios are held. Details ``low`` and
        ``high``: about the same return.

    Raises
    ------
    UnknownName
        No such method.

    Notes
    -----
    What the soybean leaves is in the rate. No yield and no soil test enter; a sidedress nitrate
    test may lower it (``sidedress_nitrogen_ohio``). Minnesota asks to choose the nearest printed
    ratio; one rate is held for it, and one for each rotation of Iowa.
    Sources: osu-2020-mrtn; osu-2022-psnt; osu-2023-two-rates; umn-nitrogen-smart; umn-2022-corn-n;
    isu-double-dip.
    """
    rows = load(ECONOMIC).named("nitrogen method", method=method)
    ratios = [float(r["price_ratio"]) for r in rows]
    held = min(max(price_ratio, ratios[0]), ratios[-1])
    if len(rows) < 3 and abs(price_ratio - held) > HALF_STEP:
        return by_row(rows[0], None, notes=("no rate is held for this ratio of prices",))
    if len(rows) == 1:
        return by_row(rows[0], float(rows[0]["rate_lb_ac"]), details={
            "low": float(rows[0]["low_lb_ac"]), "high": float(rows[0]["high_lb_ac"])})
    at = min(max(bisect_right(ratios, held) - 1, 0), len(rows) - 2)
    share = (held - ratios[at]) / (ratios[at + 1] - ratios[at])

    def between(column: str) -> float:
        return float(rows[at][column] + share * (rows[at + 1][column] - rows[at][column]))

    nearest = rows[at + (share > 0.5)]
    return by_row(nearest, between("rate_lb_ac"),
                  details={"low": between("low_lb_ac"), "high": between("high_lb_ac")})


def _range(row: DataRow) -> Answer[float | None]:
    low, high = float(row["low_kg_ha"]), float(row["high_kg_ha"])
    return by_row(row, (low + high) / 2, details={"low": low, "high": high},
                  notes=() if low == high else ("the middle of the printed range was taken",))


@formula(unit="kg/ha", source="rb209-2010", locator="tables of cereals and sugar beet", how="seen",
         valid={"sns_index": (0, 6)})
def nitrogen_rate_uk_cereal(crop: str, soil: str, sns_index: int) -> Answer[float | None]:
    """Nitrogen for a cereal or sugar beet by the British manual.

    Parameters
    ----------
    crop : str
        Winter or spring wheat, rye, triticale or sugar beet, by any name of the crop table.
    soil : str
        Class of soil of the manual: one of ``UK_SOILS``.
    sns_index : int
        Soil nitrogen supply index, 0 to 6.

    Returns
    -------
    float or None
        Nitrogen [kg/ha]; None where the manual prints none for that soil and index, or prints
        what cannot be meant. Details ``low`` and ``high``.

    Raises
    ------
    UnknownName
        No such class of soil.

    Notes
    -----
    What manure brings is still to be taken off.
    """
    one_of("class of soil", soil, UK_SOILS)
    lineage = find_crop(crop).lineage
    row = next((r for r in load(UK_CEREALS) if r["crop"] in lineage and r["soil"] == soil
                and r["sns_index"] == sns_index), None)
    if row is None:
        return Answer(None, notes=("the manual holds no rate for this crop, soil and index",))
    return _range(row)


@formula(unit="kg/ha", source="rb209-2010", locator="potatoes, nitrogen", how="seen",
         valid={"sns_index": (0, 6), "season_days": (30, 200)})
def nitrogen_rate_uk_potato(variety_group: int, season_days: Positive,
                            sns_index: int) -> Answer[float | None]:
    """Nitrogen for potatoes by the British manual.

    Parameters
    ----------
    variety_group : int
        1 (tops die early) to 4 (tops last very long).
    season_days : float
        From half emergence to the death of the tops [day].
    sns_index : int
        Soil nitrogen supply index, 0 to 6.

    Returns
    -------
    float or None
        Middle of the printed range [kg/ha]; None where the manual prints none, or prints what
        cannot be meant. Details ``low`` and ``high``.

    Notes
    -----
    What manure brings is still to be taken off.
    """
    row = next((r for r in load(UK_POTATO) if r["group"] == variety_group
                and r["days_from"] <= season_days < r["days_to"]
                and r["index_from"] <= sns_index <= r["index_to"]), None)
    if row is None:
        return Answer(None, notes=("the manual holds no rate for this variety, season and index",))
    return _range(row)
