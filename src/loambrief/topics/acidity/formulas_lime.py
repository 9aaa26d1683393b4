"""Lime requirement by published tables and formulas, each left as its source has it."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from operator import itemgetter

from loambrief.agronomy.possible import NotNegative, Positive, SoilPh
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, DataTable, load, parts
from loambrief.topics.acidity.formulas import constant
from loambrief.units import KFT2_PER_ACRE, LB_PER_TON, T_PER_HA_PER_TON_PER_ACRE

INDEX = "acidity/lime_tables"
TO_TON_AC = {"ton/ac": 1.0, "lb/ac": 1 / LB_PER_TON, "lb/1000ft2": KFT2_PER_ACRE / LB_PER_TON}
PURE_TABLE = "smp"
OUR_STEP = "between printed targets or rows the value is taken linearly, which is our own step"


def lime_tables() -> tuple[str, ...]:
    return load(INDEX).column("name")


def lime_table(name: str) -> DataRow:
    """Index row of a lime table; UnknownName without one."""
    return load(INDEX).find("lime table", name=name)


def fits_buffer(name: str, buffer_method: str) -> bool:
    """True if a lime table was calibrated on readings of this buffer (or of its equal)."""
    return buffer_method in parts(lime_table(name)["buffers"])


def tables_for(buffer_method: str) -> tuple[str, ...]:
    """Lime tables that hold for a buffer method, in table order."""
    return tuple(name for name in lime_tables() if fits_buffer(name, buffer_method))


def regions_of(name: str) -> tuple[str, ...]:
    """Regions a lime table's source gives advice in."""
    return parts(lime_table(name)["regions"])


def targets_of(name: str) -> tuple[float, ...]:
    """Target pH printed in a lime table, ascending; empty where a formula takes any target."""
    return tuple(sorted(float(p.split("=")[0]) for p in parts(lime_table(name)["targets"])))


@formula(unit="ton/ac", source="mclean-1982-smp", locator="by the named table", how="memory",
         valid={"depth_in": (1.0, 12.0)})
def lime_requirement(
    table: str,
    buffer_ph: SoilPh | None = None,
    target_ph: SoilPh | None = None,
    depth_in: Positive | None = None,
    acidity: NotNegative | None = None,
    soil_ph: SoilPh | None = None,
    buffer_method: str | None = None,
) -> Answer:
    """Lime to bring soil to a target pH by one published table, in that table's own lime.

    Parameters
    ----------
    table : str
        ``smp``, ``smp_organic``, ``tri_state_1995``, ``sikora_oregon_2025``,
        ``iowa_pm1688_2002``, ``kansas_mf2586``, ``woodruff``, ``nebraska_rule``,
        ``mehlich_north_carolina``, ``mehlich_penn_state``, ``mehlich_penn_state_turf`` or
        ``adams_evans``.
    buffer_ph : float or None
        Buffer pH [pH]; needed by all but the Mehlich tables, which can take ``acidity``.
    target_ph : float
        pH to lime to [pH].
    depth_in : float or None
        Depth to be limed [in]; None for the table's own depth.
    acidity : float or None
        Exchangeable acidity by the Mehlich buffer [meq/100cm3 in North Carolina, meq/100g in
        Pennsylvania].
    soil_ph : float or None
        pH of the soil in water [pH]; needed by the North Carolina and Adams-Evans formulas.
    buffer_method : str or None
        Buffer the reading was made with; if given, a table of another buffer is refused.

    Returns
    -------
    float
        Lime [ton/ac] of the table's own kind, see ``details["basis"]``. ``details`` also hold
        ``effective_caco3_ton_ac`` (the same as pure, fine CaCO3), ``base_depth_in`` and, at a
        step or span of the source, ``low`` and ``high``.

    Raises
    ------
    UnknownName
        No such table.
    ImpossibleInput
        A needed input is missing, not a pH, negative, or the buffer is not the table's.

    Notes
    -----
    Depth is scaled in proportion from each table's own base depth (8 in SMP, Tri-State and North
    Carolina; 7 in Penn State and Nebraska; 6.67 in Adams-Evans and Woodruff; 6 in Oregon and Iowa;
    Kansas per inch). Between rows of a grid: linear inside one fitted segment; across the step of
    the 2025 Oregon table the nearer row stands and both sides are given; the turf table uses the
    nearest row. Between printed targets: linear. Beyond the rows or targets: the last one, flagged.
    If ``soil_ph`` is at the target already the answer is zero. North Carolina: acidity (target -
    pH) / (6.6 - pH). Penn State: 1000 or 840 lb per meq, and a flat 2000 lb below 4 meq.
    Adams-Evans: 0.5 x 1.5 x CEC (H1 - H2), CEC = 8 (8 - B) / H1, H from pH = 7.79 - 5.55 H + 2.27
    H^2. Effective CaCO3: see the lime_tables notes. Sources: shoemaker-1961-smp; vitosh-1995-e2567;
    moore-2025-em9585; laboski-liming-terms; leikam-2003-mf2586; woodruff-1948; unl-lime-turf-2008;
    ncdacs-lime-factor; psu-agguide-lime; psu-turf-lime; huluka-2007-adams-evans; adams-evans-1962.
    """
    row = lime_table(table)
    if target_ph is None:
        raise ImpossibleInput("lime_requirement needs target_ph")
    if buffer_method is not None and not fits_buffer(table, buffer_method):
        raise ImpossibleInput(
            f"{table} is for readings of {str(row['buffers']).replace('|', ' or ')}, not of "
            f"{buffer_method}; buffers are not interchangeable"
        )
    base = row["base_depth_in"] if row["kind"] != "equation" or row["base_depth_in"] > 1 else None
    depth = depth_in if depth_in is not None else base
    if depth is None:
        raise ImpossibleInput(f"{table} is per inch and needs depth_in")
    scale = depth / row["base_depth_in"]
    basis = {"basis": row["basis"], "base_depth_in": row["base_depth_in"], "depth_in": depth,
             "region": row["regions"] or "", "table_title": row["title"]}
    if soil_ph is not None and soil_ph >= target_ph:
        return by_row(row, 0.0, details={**basis, "effective_caco3_ton_ac": 0.0},
                      notes=("the soil is at the target already; no lime is needed",))
    # what the source says at its own depth and in its own lime [ton/ac]
    found = _KINDS[row["kind"]](row, buffer_ph, target_ph, acidity, soil_ph)
    share = _effective_share(row, buffer_ph)
    value = found.value * scale
    details = {**basis, **{k: v * scale if k in ("low", "high") else v
                           for k, v in found.details.items()},
               "effective_caco3_ton_ac": value * share}
    notes = (f"in {row['basis']}, {depth:.3g} in deep", *found.notes)
    if depth != row["base_depth_in"] and row["base_depth_in"] > 1:
        notes += (f"scaled from the table's own {row['base_depth_in']:.3g} in",)
    if buffer_method == "sikora" and fits_buffer(table, "smp"):
        notes += ("an SMP calibration used with a Sikora reading, as its author allows",)
    return by_row(row, value, notes=notes, details=details, within_range=found.within_range)


def _effective_share(row: DataRow, buffer_ph: float | None) -> float:
    """Pure, fine CaCO3 per unit of the table's lime."""
    if row["effective_share"] != "pure column":
        return float(row["effective_share"])
    grid, at = load(f"acidity/{PURE_TABLE}"), _need_buffer(row, buffer_ph)
    pure = _between_rows(grid, "buffer_ph", "pure_7_0", at)
    ground = _between_rows(grid, "buffer_ph", "to_7_0", at)
    return pure.value / ground.value


def _need_buffer(row: DataRow, buffer_ph: float | None) -> float:
    if buffer_ph is None:
        raise ImpossibleInput(f"{row['name']} needs buffer_ph")
    return buffer_ph


def _grid(row, buffer_ph, target_ph, acidity, soil_ph) -> Answer[float]:
    """A printed grid: rows of buffer pH or acidity, columns of target pH."""
    grid = load(f"acidity/{row['file']}")
    if row["key"] == "acidity":
        key, at = "acidity_meq", _acidity(row, buffer_ph, acidity)
    else:
        key, at = "buffer_ph", _need_buffer(row, buffer_ph)
    look = _nearest_row if row["rule"] == "nearest" else _between_rows
    columns = dict(part.split("=") for part in parts(row["targets"]))
    by_target = {float(t): c for t, c in columns.items()}
    lower, upper, weight, notes, within = _target_span(by_target, target_ph)
    one = look(grid, key, by_target[lower], at)
    two = one if upper == lower else look(grid, key, by_target[upper], at)
    factor = TO_TON_AC[row["unit"]]

    def mix(a: float, b: float) -> float:
        return (a + (b - a) * weight) * factor

    details = {
        name: mix(one.details[name], two.details[name])
        for name in ("low", "high") if name in one.details
    }
    value = mix(one.value, two.value)
    if row["unit"] != "ton/ac":
        details["printed_unit"] = row["unit"]
        details["printed"] = value / factor
    return Answer(value, notes=(*notes, *one.notes), details=details,
                  within_range=within and one.within_range is not False)


def _target_span(by_target, target_ph):
    """Neighbouring printed targets and the weight of the upper one."""
    listed = sorted(by_target)
    if target_ph < listed[0] or target_ph > listed[-1]:
        edge = listed[0] if target_ph < listed[0] else listed[-1]
        return edge, edge, 0.0, (f"no column for pH {target_ph:g}; pH {edge:g} shown",), False
    lower = max(t for t in listed if t <= target_ph)
    upper = min(t for t in listed if t >= target_ph)
    if lower == upper:
        return lower, upper, 0.0, (), True
    return lower, upper, (target_ph - lower) / (upper - lower), (OUR_STEP,), True


def _between_rows(grid: DataTable, key: str, column: str, at: float) -> Answer[float]:
    """Linear between two rows of one segment; the nearer row where the source steps."""
    of = itemgetter(key)
    rows = sorted(grid.rows, key=of)
    if at <= rows[0][key] or at >= rows[-1][key]:
        edge = rows[0] if at <= rows[0][key] else rows[-1]
        inside = at == edge[key]
        note = () if inside else (f"no row for {at:g}; the row {edge[key]:g} is shown",)
        return Answer(edge[column], notes=note, within_range=inside)
    lower = rows[bisect_right(rows, at + 1e-9, key=of) - 1]
    upper = rows[bisect_left(rows, at - 1e-9, key=of)]
    if lower is upper:
        return Answer(lower[column])
    weight = (at - lower[key]) / (upper[key] - lower[key])
    if lower["segment"] == upper["segment"]:
        return Answer(lower[column] + weight * (upper[column] - lower[column]))
    pair = sorted((lower[column], upper[column]))
    nearer = lower if weight < 0.5 - 1e-9 else upper
    told = f"the source steps between {upper[key]:g} and {lower[key]:g}; the nearer row stands"
    return Answer(nearer[column], notes=(told,), details={"low": pair[0], "high": pair[1]})


def _nearest_row(grid: DataTable, key: str, column: str, at: float) -> Answer[float]:
    rows = sorted(grid.rows, key=lambda r: r[key])
    row = min(rows, key=lambda r: (abs(r[key] - at), r[key]))
    return Answer(row[column], notes=(f"row {row[key]:g} of the table",),
                  within_range=rows[0][key] <= at <= rows[-1][key])


def _equation(row, buffer_ph, target_ph, acidity, soil_ph) -> Answer[float]:
    """Polynomials of buffer pH, one per printed target."""
    at = _need_buffer(row, buffer_ph)
    lines = load("acidity/lime_equations").where(name=row["name"])
    by_target = {r["target_ph"]: r["target_ph"] for r in lines}
    lower, upper, weight, notes, within = _target_span(by_target, target_ph)
    factor = TO_TON_AC[row["unit"]]

    def at_target(target: float, edge: str) -> float:
        line = next(r for r in lines if r["target_ph"] == target and r["edge"] == edge)
        return max(line["c0"] + line["c1"] * at + line["c2"] * at * at, 0.0) * factor

    def mixed(edge: str) -> float:
        one = at_target(lower, edge)
        return one + (at_target(upper, edge) - one) * weight

    edges = {r["edge"] for r in lines}
    details = {} if "mid" in edges else {e: mixed(e) for e in ("low", "high")}
    value = mixed("mid") if "mid" in edges else (details["low"] + details["high"]) / 2.0
    return Answer(value, notes=notes, details=details, within_range=within and 4.5 <= at <= 7.0)


def _acidity(row, buffer_ph, acidity) -> float:
    if acidity is not None:
        return acidity
    if row["name"] == "mehlich_north_carolina" and buffer_ph is not None:
        line = load("acidity/buffer_acidity").find(method="mehlich")
        return max(line["slope"] * (line["start_ph"] - buffer_ph), 0.0)
    raise ImpossibleInput(f"{row['name']} needs acidity")


def _mehlich_nc(row, buffer_ph, target_ph, acidity, soil_ph) -> Answer[float]:
    ceiling = constant("nc_ceiling_ph")
    if soil_ph is None:
        raise ImpossibleInput(f"{row['name']} needs soil_ph")
    if target_ph > ceiling or soil_ph >= ceiling:
        raise ImpossibleInput(
            f"the North Carolina factor has no meaning from pH {ceiling:g}: target {target_ph:g}, "
            f"soil {soil_ph:g}"
        )
    share = (target_ph - soil_ph) / (ceiling - soil_ph)
    found = _acidity(row, buffer_ph, acidity)
    return Answer(found * share, details={"factor": share, "acidity": found})


def _mehlich_psu(row, buffer_ph, target_ph, acidity, soil_ph) -> Answer[float]:
    found = _acidity(row, buffer_ph, acidity)
    targets = (6.5, 7.0)
    within = target_ph in targets
    notes: tuple[str, ...] = ()
    if not within:
        nearest = min(targets, key=lambda t: (abs(t - target_ph), t))
        notes = (f"only pH 6.5 and 7.0 are given; pH {nearest:g} shown",)
    else:
        nearest = target_ph
    if nearest == 7.0:
        pounds = found * constant("psu_per_meq_7_0")
    elif found >= constant("psu_low_acidity"):
        pounds = found * constant("psu_per_meq_6_5")
    elif soil_ph is None:
        raise ImpossibleInput(f"{row['name']} needs soil_ph where acidity is below 4 meq")
    else:
        pounds = constant("psu_flat_rate") if soil_ph < nearest else 0.0
    return Answer(pounds / LB_PER_TON, notes=notes, within_range=within,
                  details={"printed": pounds, "printed_unit": "lb/ac"})


def acid_saturation_at(ph: float) -> float:
    """Acid saturation (fraction) at a pH by the Adams-Evans curve, between 0 and 1."""
    a, b, c = constant("ae_curve_2"), constant("ae_curve_1"), constant("ae_curve_0") - ph
    inside = b * b - 4.0 * a * c
    if inside <= 0:
        return 1.0
    return min(max((-b - inside**0.5) / (2.0 * a), 0.0), 1.0)


def _adams_evans(row, buffer_ph, target_ph, acidity, soil_ph) -> Answer[float]:
    at = _need_buffer(row, buffer_ph)
    if soil_ph is None:
        raise ImpossibleInput(f"{row['name']} needs soil_ph")
    now, then = acid_saturation_at(soil_ph), acid_saturation_at(target_ph)
    acid = max(constant("ae_meq_per_unit") * (constant("ae_buffer_start") - at), 0.0)
    if now <= 0:
        raise ImpossibleInput(f"the Adams-Evans curve has no acid saturation at pH {soil_ph:g}")
    cec = acid / now
    lime = cec * (now - then) * constant("ton_per_meq") * constant("ae_field_factor")
    return Answer(
        lime, details={"acidity": acid, "acid_saturation_now": now,
                       "acid_saturation_target": then, "cec_meq": cec},
        within_range=7.0 <= at <= 8.0 and 4.5 <= soil_ph < 7.0 and cec <= 13.0 and lime <= 5.0,
        notes=("for soils of CEC below 13 and low-activity clay",),
    )


_KINDS = {"grid": _grid, "equation": _equation, "mehlich_nc": _mehlich_nc,
          "mehlich_psu": _mehlich_psu, "adams_evans": _adams_evans}


@formula(unit="t/ha", source="ahdb-rb209-ph", locator="lime factor by soil class", how="memory",
         valid={"soil_ph": (4.0, 6.7), "target_ph": (5.0, 7.0)})
def lime_requirement_uk(texture: str, soil_ph: SoilPh, target_ph: SoilPh) -> Answer:
    """Lime by soil pH and texture alone, the British arable factor.

    Parameters
    ----------
    texture : str
        Texture as in a case, e.g. ``"loam"``.
    soil_ph, target_ph : float
        pH now and wanted [pH].

    Returns
    -------
    float
        Ground limestone or chalk, 20 cm deep [t/ha]; zero at or above the target.
        ``details`` hold ``ton_ac``.

    Raises
    ------
    UnknownName
        Not a texture.

    Notes
    -----
    (target - pH) x factor: 6 on sands (agrees with a printed table), 7 on light and medium soils, 8
    on clay, 16 on peat (from memory). No buffer test is used. Sources: uk-lime-table-copy.
    """
    soil_class = load("acidity/textures").find("texture", texture=texture)["uk_class"]
    row = load("acidity/uk_lime_factors").find(uk_class=soil_class)
    value = max(target_ph - soil_ph, 0.0) * row["factor"]
    return by_row(row, value,
                  details={"soil_class": soil_class, "ton_ac": value / T_PER_HA_PER_TON_PER_ACRE})
