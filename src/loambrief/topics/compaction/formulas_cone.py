"""The cone itself, the soil it is pushed into, and how deep to loosen."""

from __future__ import annotations

from loambrief.agronomy.possible import Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.compaction.formulas import constant

USABLE, NO_EVIDENCE, CANNOT_BE_JUDGED = ("usable", "not evidence for loosening", "cannot be judged")


@formula(unit="in", source="reeder-dejonghughes-csd", locator="page 8", how="seen",
         valid={"bottom_in": (2.0, 24.0)})
def loosening_depth(bottom_in: Positive, margin_in: float | None = None) -> Answer:
    """Working depth of a subsoiler below the bottom of a dense layer.

    Parameters
    ----------
    bottom_in : float
        Depth at which resistance falls below 300 psi again [in].
    margin_in : float or None
        How far below it the point runs [in]; None takes the published 1 in.

    Returns
    -------
    float
        Working depth [in].

    Raises
    ------
    ImpossibleInput
        A bottom at or above the surface, or a negative margin.

    Notes
    -----
    Deeper costs fuel and brings up subsoil for nothing. Only in soil dry enough to shatter, and
    only after buried lines and drain tile have been marked. The valid range is ours: it is what
    common subsoilers reach. Sources: reeder-dejonghughes-csd, page 8; duiker-2002-af63 says the
    same (from memory).
    """
    margin = constant("subsoiler_margin") if margin_in is None else margin_in
    if margin < 0:
        raise ImpossibleInput(f"margin_in cannot be negative (found {margin:g})")
    return Answer(bottom_in + margin, details={"margin_in": margin})


@formula(unit="class", source="duiker-sefp", locator="page 1", how="seen")
def penetrometer_moisture_check(moisture: str) -> Answer[str]:
    """Whether readings taken at this soil moisture may decide about loosening.

    Parameters
    ----------
    moisture : str
        ``dry``, ``slightly moist``, ``moist``, ``field capacity`` or ``wet``.

    Returns
    -------
    str
        ``usable``, ``not evidence for loosening`` or, from dry soil, ``cannot be judged``
        [class]: neither a high nor a low reading then says anything. ``details`` hold
        ``shows_dense`` and ``shows_loose`` (what a high or a low reading still shows) and
        ``effect``.

    Raises
    ------
    UnknownName
        Not one of the five words.

    Notes
    -----
    Dry soil is strong soil: the same Norfolk soil read 36 bar at 17.4 % water and 18 bar at 20.6 %.
    High readings from soil drier than field capacity are refused as evidence, not corrected.
    Sources: cornell-nrcca-ca0435; usfs-cone-notes; florida-norfolk-strength; busscher-1997.
    """
    row = load("compaction/moisture").find("moisture", moisture=moisture)
    return Answer(
        USABLE if row["right"] else NO_EVIDENCE if row["shows_dense"] or row["shows_loose"]
        else CANNOT_BE_JUDGED,
        details={"shows_dense": bool(row["shows_dense"]), "shows_loose": bool(row["shows_loose"]),
                 "effect": row["effect"]},
    )
