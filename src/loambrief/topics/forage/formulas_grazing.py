"""Grazing, hay and stands: what stock eat, the land and the hay that takes, heights and rest.

Forage is counted as dry matter, hay as it lies in the bale. All of it is planning arithmetic: the
stand and the condition of the animals decide.
"""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Percent, Positive, PositivePercent, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, load
from loambrief.units import LB_PER_TON

AU_LB = 1000.0
"""Live weight of one animal unit [lb]."""
AU_DAILY_LB = 26.0
"""Dry matter that one animal unit takes in a day [lb] (manitoba-aum; others 25 or, air-dry, 30)."""


@formula(unit="animal units", source="manitoba-aum", locator="animal unit equivalents", how="seen",
         valid={"weight_lb": (100.0, 2500.0)})
def animal_units(head: NotNegative, weight_lb: Positive) -> Answer:
    """Animal units of a group, by live weight.

    Parameters
    ----------
    head : float
        Animals.
    weight_lb : float
        Mean live weight [lb].

    Returns
    -------
    float
        Animal units, one for each 1,000 lb; ``details`` hold ``daily_lb`` at 26 lb of dry matter
        each.

    Notes
    -----
    In proportion to weight, as the source allows; its own table gives young stock and horses a
    little more or less (700 lb heifer 0.80, 1,300 lb horse 1.20). A unit is taken to eat 25 lb of
    dry matter in Pennsylvania and Alberta, 26 in Manitoba, and 30 lb air-dry by others.
    """
    units = head * weight_lb / AU_LB
    return Answer(units, details={"daily_lb": units * AU_DAILY_LB})


@formula(unit="lb/d", source="unl-stocking-creep", locator="how much does a cow eat", how="seen",
         valid={"intake_pct": (1.0, 6.0)})
def daily_forage_lb(head: NotNegative, weight_lb: Positive, intake_pct: PositivePercent) -> float:
    """Dry matter that a group eats in a day.

    Parameters
    ----------
    head : float
        Animals.
    weight_lb : float
        Mean live weight [lb].
    intake_pct : float
        Dry matter eaten in a day, of live weight [%].

    Notes
    -----
    Head x weight x intake.
    """
    return head * weight_lb * intake_pct / 100.0


@formula(unit="% of body weight", source="tamu-hay-need", locator="text; each row its own",
         how="seen")
def intake_guidance_pct(stock: str, state: str | None = None) -> Answer[float | None]:
    """Dry matter that a kind of stock is published to eat in a day, of its weight.

    Parameters
    ----------
    stock : str
        ``"cattle"``, ``"sheep"``, ``"goats"`` or ``"horses"``.
    state : str or None
        ``"dry"`` or ``"in milk"``; None where it is not told.

    Returns
    -------
    float or None
        Middle of what is published [% of body weight]; ``details`` hold ``low`` and ``high``. None
        where no figure is held (dairy cows in milk are fed by ration).

    Notes
    -----
    Of hay of middling quality; coarse forage is eaten less, and a fiber test says more
    (``dry_matter_intake_pct``).
    """
    rows = load("forage/intake").where(stock=stock)
    row = next((r for r in rows if r["state"] == (state or "any")),
               next((r for r in rows if r["state"] == "any"), None))
    if row is None:
        return Answer(None, notes=("no published intake for these stock is held here",))
    return by_row(row, (row["low"] + row["high"]) / 2.0,
                  details={"low": row["low"], "high": row["high"]})


@formula(unit="%", source="psu-agguide-paddocks", locator="table 1.8-9", how="seen")
def pasture_use_pct(stay_d: Positive | None = None) -> Answer[float]:
    """Share of the forage that grazing stock take.

    Parameters
    ----------
    stay_d : float or None
        Days the stock stay on one piece; None for continuous grazing.

    Returns
    -------
    float
        Middle of what is published [%]; ``details`` hold ``low`` and ``high``.

    Notes
    -----
    Of forage above the height at which grazing ends. A stay of more than a week counts as
    continuous. Sources: msstate-grazing-use; umaine-carrying-capacity.
    """
    rows = load("forage/pasture_use").rows
    row = next((r for r in rows if stay_d is not None and r["days_to"] is not None
                and stay_d <= r["days_to"]), rows[-1])
    return by_row(row, (row["low"] + row["high"]) / 2.0,
                  details={"low": row["low"], "high": row["high"]})


@formula(unit="ac", source="psu-agguide-paddocks", locator="table 1.8-9, as worked out", how="seen")
def acres_to_graze(daily_lb: Positive, days: Positive, forage_lb_ac: Positive,
                   use_pct: PositivePercent, area_ac: Positive | None = None) -> Answer:
    """Land that feeds stock for some days.

    Parameters
    ----------
    daily_lb : float
        Dry matter the stock eat in a day [lb].
    days : float
        Days of grazing.
    forage_lb_ac : float
        Dry matter to be grazed in those days, standing and regrown [lb/ac].
    use_pct : float
        Share of it that the stock take [%].
    area_ac : float or None
        Land there is [ac].

    Returns
    -------
    float
        Land needed [ac]. With ``area_ac`` the ``details`` hold ``lasts_d``, the days it feeds
        these stock, and ``herd_pct``, the share of them that it feeds for all the days.

    Notes
    -----
    Demand over what an acre yields to the animal. Sources: extension-acres-cow.
    """
    taken = forage_lb_ac * use_pct / 100.0
    acres = daily_lb * days / taken
    if area_ac is None:
        return Answer(acres)
    return Answer(acres, details={"lasts_d": area_ac * taken / daily_lb,
                                  "herd_pct": min(100.0 * area_ac / acres, 100.0)})


@formula(unit="%", source="ky-hay-supply", locator="storage, loss; feeders by their own trial",
         how="seen", evidence="measured")
def hay_loss_pct(loss: str, method: str, stock: str = "any") -> Answer[float | None]:
    """Hay lost in a store or at a feeder.

    Parameters
    ----------
    loss : str
        ``"feeding"`` or ``"storage"``.
    method : str
        Feeder (``"cone"``, ``"ring"``, ``"sheeted ring"``, ``"trailer"``, ``"cradle"``, ``"net"``,
        ``"no feeder"``) or store (``"inside"``, ``"outside covered on stone"``, ...).
    stock : str
        ``"cattle"`` or ``"horses"`` for a feeder.

    Returns
    -------
    float or None
        Middle of what is published [%]; ``details`` hold ``low`` and ``high``. None where nothing
        is held for that method and stock.

    Raises
    ------
    UnknownName
        No such kind of loss.

    Notes
    -----
    Of round bales. Two trials with cattle differ threefold for rings (6.1 and 20.5 %); the range
    spans both. Sources: buskirk-2003; lalman-feeders; bell-martz-1973; martinson-2012-feeders.
    """
    one_of("kind of hay loss", loss, ("feeding", "storage"))
    rows = load("forage/hay_losses").where(loss=loss, method=method)
    row = next((r for r in rows if r["stock"] in (stock, "any")), None)
    if row is None:
        return Answer(None, notes=("no published loss for this method is held here",))
    return by_row(row, (row["low"] + row["high"]) / 2.0,
                  details={"low": row["low"], "high": row["high"]})


@formula(unit="ton", source="iowa-winter-hay", locator="example of 150 cows", how="seen",
         valid={"dry_matter_pct": (70.0, 95.0)})
def hay_needed_ton(daily_lb: NotNegative, days: NotNegative, dry_matter_pct: PositivePercent,
                   feeding_loss_pct: Percent = 0.0, storage_loss_pct: Percent = 0.0,
                   on_hand_ton: NotNegative | None = None) -> Answer:
    """Hay to have in store so that stock get what they eat.

    Parameters
    ----------
    daily_lb : float
        Dry matter the stock eat in a day [lb].
    days : float
        Days on hay.
    dry_matter_pct : float
        Dry matter of the hay as it lies in the bale [%].
    feeding_loss_pct, storage_loss_pct : float
        Part of what is put out, and of what is put up, that is lost [%].
    on_hand_ton : float or None
        Hay there is [ton].

    Returns
    -------
    float
        Hay [ton]; with ``on_hand_ton`` the ``details`` hold ``short_ton``, 0 where there is
        enough.

    Raises
    ------
    ImpossibleInput
        All of it lost.

    Notes
    -----
    Demand / dry matter / (1 - each loss). Grain and other feed fed beside it come off.
    """
    kept = (1.0 - feeding_loss_pct / 100.0) * (1.0 - storage_loss_pct / 100.0)
    if kept <= 0:
        raise ImpossibleInput("with all hay lost no amount is enough")
    tons = daily_lb * days / (dry_matter_pct / 100.0) / kept / LB_PER_TON
    if on_hand_ton is None:
        return Answer(tons)
    return Answer(tons, details={"short_ton": max(tons - on_hand_ton, 0.0)})


@formula(unit="ton", source="pyles-winter-hay", locator="example of 200 bales", how="seen")
def hay_on_hand_ton(bales: NotNegative, bale_lb: Positive, loss_pct: Percent = 0.0) -> float:
    """Hay in so many bales.

    Parameters
    ----------
    bales : float
        Bales on hand.
    bale_lb : float
        Mean mass of one, weighed [lb].
    loss_pct : float
        Part that will be lost [%]; 0 where the need counts the losses.

    Notes
    -----
    Bales of one size differ by 200 to 300 lb with how tight they are (tamu-hay-need).
    """
    return bales * bale_lb * (1.0 - loss_pct / 100.0) / LB_PER_TON


@formula(unit="in", source="uga-grazing-heights", locator="table 1; cutting: key points",
         how="seen")
def stand_height_in(crop: str, use: str) -> Answer[float | None]:
    """Least height that a forage stand keeps, grazed or cut.

    Parameters
    ----------
    crop : str
        Forage crop.
    use : str
        ``"grazed"`` or ``"cut"``.

    Returns
    -------
    float or None
        Height at which grazing ends, or stubble of a cut [in]. ``details`` hold ``low`` and
        ``high``, and for grazing ``start_low``, ``start_high`` [in], ``rest_low`` and
        ``rest_high`` [d]. None where no height is held for the crop.

    Raises
    ------
    UnknownName
        No such crop or use.

    Notes
    -----
    Sources: umd-cutting-height. Rest is that of the growing season; slow growth takes longer.
    """
    one_of("use of a stand", use, ("grazed", "cut"))
    row = _stand(crop, "stop_low" if use == "grazed" else "cut_low")
    if row is None:
        return Answer(None, notes=("no published height for this crop is held here",))
    if use == "cut":
        return Answer(float(row["cut_low"]), source="umd-cutting-height", locator="key points",
                      how=row["how"], details={"low": row["cut_low"], "high": row["cut_high"]})
    return Answer(float(row["stop_low"]), how=row["how"], details={
        "low": row["stop_low"], "high": row["stop_high"], "start_low": row["start_low"],
        "start_high": row["start_high"], "rest_low": row["rest_low"],
        "rest_high": row["rest_high"]})


@formula(unit="d", source="ksu-alfalfa-last-cut", locator="text", how="seen")
def autumn_rest_d(crop: str) -> Answer[float | None]:
    """Days without a cut that a stand needs before a killing frost.

    Parameters
    ----------
    crop : str
        Forage crop.

    Returns
    -------
    float or None
        The longest that is published [d]; ``details`` hold ``low``. None where none is held.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    Alfalfa: four to six weeks, so that it regrows 8 to 12 in and refills its roots. An old stand,
    wet soil, frequent cuts and a tender kind make a cut in that time riskier, a tall stubble and a
    hardy kind less so. Bermudagrass: six weeks. Sources: hall-fall-alfalfa;
    manitoba-fall-alfalfa; hancock-hay-timing.
    """
    row = _stand(crop, "fall_high")
    if row is None:
        return Answer(None, notes=("no published rest in autumn for this crop is held here",))
    return Answer(float(row["fall_high"]), source=row["fall_source"], how=row["how"],
                  details={"low": row["fall_low"]})


def hay_stage(crop: str) -> DataRow | None:
    """The row that says when a crop is cut for hay; None where no stage is published."""
    return _stand(crop, "stage")


def _stand(crop: str, column: str) -> DataRow | None:
    """The nearest row in the crop's line of descent that holds a column."""
    rows = {r["crop"]: r for r in load("forage/stand_care")}
    return next((rows[name] for name in find_crop(crop).lineage
                 if name in rows and rows[name][column] is not None), None)
