"""Linear and whole-number programmes, solved by HiGHS through its own binding.

The binding starts in a tenth of a second, a fifth of what the same solver takes inside a
library of everything; programmes here are small, so starting is most of their time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache


@dataclass(frozen=True)
class Solved:
    """Best point of a programme."""

    x: tuple[float, ...]
    """One value a column."""
    marginals: tuple[float, ...]
    """Change of the cost per unit of each row's bound, zero or below; zeros where whole numbers
    were asked for."""


def minimise(cost: Sequence[float], rows: Sequence[Mapping[int, float]],
             bounds: Sequence[float], box: Sequence[tuple[float, float | None]], *,
             whole: Sequence[int] = (), gap: float = 0.0,
             most_nodes: int | None = None) -> Solved | None:
    """Least cost of x with every row at most its bound.

    Parameters
    ----------
    cost : sequence of float
        Cost of each column.
    rows : sequence of mapping of column to coefficient
    bounds : sequence of float
        Upper bound of each row.
    box : sequence of (least, most)
        Range of each column; None: no upper end.
    whole : sequence of int
        1 for each column that takes whole numbers only; empty: none does.
    gap : float
        How far a whole-number answer may be from the proven best, as a share of the cost.
    most_nodes : int or None
        Branches searched; beyond, the best answer found so far stands.

    Returns
    -------
    Solved or None
        None: no point keeps all rows.
    """
    return _minimise(tuple(cost), tuple([tuple(row.items()) for row in rows]), tuple(bounds),
                     tuple(box), tuple(whole), gap, most_nodes)


@lru_cache(maxsize=1024)  # a plan asks for one mix in several places
def _minimise(cost: tuple[float, ...], rows: tuple[tuple[tuple[int, float], ...], ...],
              bounds: tuple[float, ...], box: tuple[tuple[float, float | None], ...],
              whole: tuple[int, ...], gap: float, most_nodes: int | None) -> Solved | None:
    import highspy

    highs = _quiet()()
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", 0)
    programme = highspy.HighsLp()
    programme.num_col_, programme.num_row_ = len(cost), len(rows)
    programme.col_cost_ = list(cost)
    programme.col_lower_ = [low for low, _ in box]
    programme.col_upper_ = [highspy.kHighsInf if high is None else high for _, high in box]
    programme.row_lower_ = [-highspy.kHighsInf] * len(rows)
    programme.row_upper_ = list(bounds)
    starts, columns, values = [0], list[int](), list[float]()
    for row in rows:
        columns += [column for column, _ in row]
        values += [value for _, value in row]
        starts.append(len(columns))
    matrix = programme.a_matrix_
    matrix.format_ = highspy.MatrixFormat.kRowwise
    matrix.num_col_, matrix.num_row_ = len(cost), len(rows)
    matrix.start_, matrix.index_, matrix.value_ = starts, columns, values
    if any(whole):
        highs.setOptionValue("mip_rel_gap", gap)
        highs.setOptionValue("presolve", "off")
        if most_nodes is not None:
            highs.setOptionValue("mip_max_nodes", most_nodes)
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        programme.integrality_ = [kinds[bool(w)] for w in whole]
    highs.passModel(programme)
    highs.run()
    info = highs.getInfo()
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return None
    solution = highs.getSolution()
    duals = tuple(solution.row_dual) or (0.0,) * len(rows)
    return Solved(tuple(solution.col_value), duals)


@cache
def _quiet() -> type:
    """The solver without callbacks; turning those on prints a banner."""
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:
            self.silent()

    return Quiet
