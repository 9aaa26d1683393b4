"""Sodium on the exchange sites: SAR, ESP and the classes of salt-affected soil."""

from __future__ import annotations

from functools import partial

from loambrief.agronomy.possible import NotNegative, Percent, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import named_number

constant = partial(named_number, "sodicity/constants")


@formula(unit="%", source="richards-1954-hb60", locator="definition", how="convention")
def exchangeable_sodium_pct(na_meq: NotNegative, cec_meq: Positive) -> Answer:
    """Exchangeable sodium percentage (ESP) from exchangeable sodium and CEC.

    Parameters
    ----------
    na_meq : float
        Exchangeable sodium, dissolved sodium taken off [meq/100 g].
    cec_meq : float
        Cation exchange capacity by displacement [meq/100 g].

    Raises
    ------
    ImpossibleInput
        Negative sodium, CEC at or below zero, or more sodium than CEC.

    Notes
    -----
    ESP = 100 Na / CEC. In salty soil extractable sodium holds dissolved sodium too; take it
    off first, or the ESP comes out too high. A CEC summed from extracted bases is too high
    where there is free lime, and the ESP then too low.
    """
    if na_meq > cec_meq:
        raise ImpossibleInput(f"more exchangeable sodium ({na_meq:g}) than CEC ({cec_meq:g})")
    return Answer(100.0 * na_meq / cec_meq)


@formula(unit="meq/100g", source="richards-1954-hb60", locator="method 18", how="memory",
         valid={"saturation_pct": (15.0, 150.0)})
def exchangeable_sodium_meq(
    extractable_na_meq: NotNegative, extract_na_meq_l: NotNegative, saturation_pct: Positive
) -> Answer:
    """Exchangeable sodium: extractable sodium less the sodium dissolved in the soil water.

    Parameters
    ----------
    extractable_na_meq : float
        Sodium taken out by ammonium acetate [meq/100 g].
    extract_na_meq_l : float
        Sodium in the saturation extract [meq/L].
    saturation_pct : float
        Water in the saturated paste [% of dry soil mass].

    Returns
    -------
    float
        Exchangeable sodium [meq/100 g], zero at the least.

    Notes
    -----
    Na(exchangeable) = Na(extractable) - Na(extract, meq/L) x saturation % / 1000. From memory,
    unverified.
    """
    dissolved = extract_na_meq_l * saturation_pct / 1000.0
    left = extractable_na_meq - dissolved
    return Answer(max(left, 0.0), details={"dissolved_meq": dissolved}, within_range=left >= 0,
                  notes=() if left >= 0 else ("more dissolved than extractable sodium: the two "
                                              "tests disagree",))


@formula(unit="(meq/L)^0.5", source="nrcs-soil-report", locator="sodium adsorption ratio",
         how="seen")
def sodium_adsorption_ratio(na_meq_l: NotNegative, ca_meq_l: NotNegative,
                            mg_meq_l: NotNegative) -> float:
    """Sodium adsorption ratio (SAR) of a saturation extract or of water.

    Parameters
    ----------
    na_meq_l, ca_meq_l, mg_meq_l : float
        Sodium, calcium and magnesium [meq/L]. Not mg/L: divide those by 22.99, 20.04, 12.15.

    Raises
    ------
    ImpossibleInput
        A negative concentration, or neither calcium nor magnesium.

    Notes
    -----
    SAR = Na / sqrt((Ca + Mg) / 2). Leaving out the root or the half gives another number. Sources:
    nrcs-soil-report (in words); richards-1954-hb60.
    """
    if ca_meq_l + mg_meq_l <= 0:
        raise ImpossibleInput("calcium and magnesium are both zero; no ratio can be formed")
    return na_meq_l / ((ca_meq_l + mg_meq_l) / 2.0) ** 0.5


@formula(unit="%", source="oklahoma-oac-165-10", locator="definition of ESP; the regression of "
         "Handbook 60, p. 26", how="seen", valid={"sar": (0.86, 20.0)})
def esp_from_sar(sar: NotNegative) -> Answer:
    """ESP estimated from the SAR of the saturation extract.

    Parameters
    ----------
    sar : float
        SAR of the saturation extract [(meq/L)^0.5].

    Notes
    -----
    ESR = -0.0126 + 0.01475 SAR; ESP = 100 ESR / (1 + ESR). A regression of the U.S. Salinity
    Laboratory on western soils. Below SAR 0.86 it gives a negative ESP, which is returned as zero
    and flagged. Later work trusts it up to a SAR of about 20; the error grows with SAR and with
    salt. Other soils gave other lines (Khuzestan: ESR = 0.0564 + 0.0171 SAR). An estimate, not a
    measurement. Sources: oklahoma-oac-165-10 (equation as seen); richards-1954-hb60, p. 26
    (origin); esr-cation-concentration (SAR 20); siosemarde-2010 (Khuzestan).
    """
    ratio = constant("esp_intercept") + constant("esp_slope") * sar
    return Answer(max(100.0 * ratio / (1.0 + ratio), 0.0))


@formula(unit="class", source="richards-1954-hb60", locator="classes of salt-affected soils",
         how="seen")
def sodicity_class(
    ece_ds_m: NotNegative, esp_pct: Percent | None = None, sar: NotNegative | None = None,
    ph: float | None = None,
) -> Answer:
    """Class of a salt-affected soil: saline, sodic, saline-sodic or neither.

    Parameters
    ----------
    ece_ds_m : float
        ECe [dS/m].
    esp_pct : float or None
        ESP [%]; decides where it is given.
    sar : float or None
        SAR of the saturation extract [(meq/L)^0.5]; decides where ESP is not given.
    ph : float or None
        Soil pH; only for the note (sodic soils are mostly above 8.5).

    Returns
    -------
    str
        ``"saline"``, ``"sodic"``, ``"saline-sodic"`` or ``"neither"`` [class].

    Raises
    ------
    ImpossibleInput
        A negative number, or neither ESP nor SAR.

    Notes
    -----
    Saline from ECe 4 dS/m; sodic from ESP 15 or SAR 13. The limits are conventions: salt hurts
    sensitive crops below 4 dS/m, and clay may disperse well below ESP 15 where the water is low in
    salt. Australia calls soil sodic from ESP 6. Sources: richards-1954-hb60 (seen in later
    summaries); nrcs-soil-report (SAR 13); northcote-skene-1972 (ESP 6).
    """
    if esp_pct is not None:
        sodic = esp_pct >= constant("sodic_esp")
    elif sar is not None:
        sodic = sar >= constant("sodic_sar")
    else:
        raise ImpossibleInput("sodicity_class needs esp_pct or sar")
    salty = ece_ds_m >= constant("saline_ece")
    name = {(True, True): "saline-sodic", (True, False): "saline", (False, True): "sodic",
            (False, False): "neither"}[salty, sodic]
    notes = []
    if sodic and ph is not None and ph < 8.5 and not salty:
        notes.append("pH below 8.5 is unusual for a sodic soil low in salt; check the sodium test")
    return Answer(name, notes=tuple(notes),
                  details={"by": "ESP" if esp_pct is not None else "SAR"})
