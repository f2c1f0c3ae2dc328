"""One door to HiGHS: rows in, values and a bound out, never a word on stdout."""

import time
from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np

from straycell.matching.balance.pool import Floats, Ints

INFINITE = float(highspy.kHighsInf)
# Weights are whole numbers: less than half a step of slack is rounding of the solver, never a better plan.
STEP_SHARE = 0.4
MOST_NODES = 20_000
# With less time left than this HiGHS is not started at all.
SHORTEST_RUN_S = 0.01


class SilentHighs(highspy.Highs):
    """HiGHS without its banner (the ordinary constructor prints on stdout, which carries data), set to repeat itself."""

    def __init__(self, seed: int) -> None:
        super(highspy.Highs, self).__init__()
        self.setOptionValue("output_flag", False)
        # One thread and a seed: parallel branch and bound finds another of several equal plans each time.
        self.setOptionValue("threads", 1)
        self.setOptionValue("random_seed", seed % 2**31)
        # No relative gap: it would be a share of a total whose steps matter to the last.
        self.setOptionValue("mip_rel_gap", 0.0)


@dataclass(frozen=True, slots=True)
class Row:
    """low <= sum of values * columns <= high, each column once."""

    columns: Ints
    values: Floats
    low: float
    high: float


def at_least(values: Floats, weight: float) -> list[Row]:
    """From now on the columns give at least this whole weight; no row where none of them has a weight."""
    columns = np.flatnonzero(values)
    return [Row(columns, values[columns], weight - STEP_SHARE, INFINITE)] if len(columns) else []


@dataclass(frozen=True, slots=True)
class Question:
    """Minimise cost over columns within bounds and rows; the first `whole` columns take whole numbers.

    The search ends at a cost of `enough`, and after `nodes` nodes. `presolve` "off" where nothing is to be tightened.
    """

    cost: Floats
    lower: Floats
    upper: Floats
    rows: Sequence[Row]
    whole: int
    gap: float
    nodes: int = MOST_NODES
    enough: float = -INFINITE
    presolve: str = "choose"


@dataclass(frozen=True, slots=True)
class Answer:
    """Column values (None where none were found), a lower bound on the goal (infinite where nothing satisfies the
    rows), and whether time ran out."""

    x: Floats | None
    bound: float
    stopped_early: bool


def ask(question: Question, deadline: float, seed: int) -> Answer:
    """Solve on one thread, so that the same question has the same answer; nodes bound the work."""
    left = deadline - time.monotonic()
    if left < SHORTEST_RUN_S:
        return Answer(None, -INFINITE, True)
    solver = SilentHighs(seed)
    solver.setOptionValue("mip_max_nodes", question.nodes)
    for name, limit in (
        ("mip_abs_gap", question.gap),
        ("time_limit", left),
        ("objective_target", question.enough),
        ("presolve", question.presolve),
    ):
        solver.setOptionValue(name, limit)
    solver.passModel(as_lp(question))
    solver.run()
    status, info = solver.getModelStatus(), solver.getInfo()
    out_of_time = status == highspy.HighsModelStatus.kTimeLimit
    found = info.primal_solution_status == int(highspy.SolutionStatus.kSolutionStatusFeasible)
    # A limit may end the run with a plan that is feasible but not proven; it still serves.
    values = np.array(solver.getSolution().col_value) if found else None
    if question.whole:
        impossible = status == highspy.HighsModelStatus.kInfeasible
        return Answer(values, INFINITE if impossible else float(info.mip_dual_bound), out_of_time)
    # Without whole columns only an optimum is a bound: a run that was cut short has proven nothing.
    done = status == highspy.HighsModelStatus.kOptimal
    return Answer(values, float(info.objective_function_value) if done else -INFINITE, out_of_time)


def as_lp(question: Question) -> highspy.HighsLp:
    """The question in the form HiGHS takes, row by row."""
    lp = highspy.HighsLp()
    rows, columns = question.rows, len(question.cost)
    lp.num_col_, lp.num_row_ = columns, len(rows)
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = question.cost, question.lower, question.upper
    lp.row_lower_ = np.array([row.low for row in rows])
    lp.row_upper_ = np.array([row.high for row in rows])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(row.columns) for row in rows)]).astype(np.int32)
    lp.a_matrix_.index_ = np.concatenate([np.zeros(0), *(row.columns for row in rows)]).astype(np.int32)
    lp.a_matrix_.value_ = np.concatenate([np.zeros(0), *(row.values for row in rows)])
    if question.whole:
        kinds = highspy.HighsVarType
        lp.integrality_ = [kinds.kInteger] * question.whole + [kinds.kContinuous] * (columns - question.whole)
    return lp
