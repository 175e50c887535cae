"""The linear relaxation of a small problem, by HiGHS, solved again and again as groups are decided."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy import sparse

from rehab.solvers.choice.problem import Floats, Ints


class Answer(NamedTuple):
    """Value of the relaxation, prices ``[r]``, and by how much each budget is exceeded ``[r]``."""

    value: float
    prices: Floats
    over: Floats


class Relaxation:
    """One alternative of each group in shares, under budgets that may be exceeded at a steep price.

    Thanks to the steep price there is always an answer, and a budget may even be negative: what is left
    after others have overspent.  ``of`` numbers the groups 0, 1, ... in sorted order.
    """

    def __init__(self, value: Floats, cost: sparse.csr_array, of: Ints, budget: Floats, *,
                 feasibility: bool = False):
        import highspy

        n, r = cost.shape
        groups = int(of[-1]) + 1 if n else 0
        self.first = np.searchsorted(of, np.arange(groups + 1)).astype(np.int32)
        self.level = 0
        largest = float(np.abs(budget).max(initial=0.0)) or 1.0
        self.scale = np.maximum(np.abs(budget), 1e-6 * largest)
        steep = 1.0 if feasibility else 10.0 * float(np.ptp(value) if n else 0.0) * groups + 1.0
        end = cost.indptr[1:]
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = n + r, r + groups
        model.col_cost_ = np.concatenate([np.zeros(n) if feasibility else -value, np.full(r, steep)])
        model.col_lower_, model.col_upper_ = np.zeros(n + r), np.full(n + r, np.inf)
        model.row_lower_ = np.concatenate([np.full(r, -np.inf), np.ones(groups)])
        model.row_upper_ = np.concatenate([budget / self.scale, np.ones(groups)])
        model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        tail = len(cost.data) + n + np.arange(1, r + 1)
        model.a_matrix_.start_ = np.concatenate([cost.indptr + np.arange(n + 1), tail]).astype(np.int32)
        index = np.insert(cost.indices.astype(np.int64), end, r + of)
        model.a_matrix_.index_ = np.concatenate([index, np.arange(r)]).astype(np.int32)
        data = np.insert(cost.data / self.scale[cost.indices], end, 1.0)
        model.a_matrix_.value_ = np.concatenate([data, np.full(r, -1.0)])
        self.solver: Any = highspy._Highs()  # type: ignore[attr-defined]  # not Highs: that one writes a banner to the standard output
        for option, setting in (("output_flag", False), ("threads", 1), ("presolve", "choose" if n > 2000 else "off")):
            self.solver.setOptionValue(option, setting)
        self.solver.passModel(model)
        self.columns, self.resources = n, r

    def solve(self) -> Answer:
        """The relaxation as it stands."""
        self.solver.run()
        solution = self.solver.getSolution()
        duals = np.array(solution.row_dual)[: self.resources]
        over = np.array(solution.col_value)[self.columns :] * self.scale
        return Answer(-float(self.solver.getInfo().objective_function_value),
                      np.maximum(-duals, 0.0) / self.scale, over)

    def shares(self) -> Floats:
        """The shares of the alternatives in the relaxation as it stands, ``[n]``."""
        self.solver.run()
        return np.array(self.solver.getSolution().col_value)[: self.columns]

    def add(self, cost: Floats, budget: float) -> None:
        """One more budget, which may not be exceeded at any price: cost ``[n]`` of the alternatives."""
        scale = max(abs(budget), 1e-6)
        rows = np.flatnonzero(cost).astype(np.int32)
        self.solver.addRow(-np.inf, budget / scale, len(rows), rows, cost[rows] / scale)

    def fix(self, rows: Ints, of: Ints) -> None:
        """Leave these alternatives alone in their groups."""
        out = np.isin(of, of[rows])
        out[rows] = False
        columns = np.flatnonzero(out).astype(np.int32)
        self.solver.changeColsBounds(len(columns), columns, np.zeros(len(columns)), np.zeros(len(columns)))

    def rest(self, level: int, budget: Floats) -> Answer:
        """The relaxation over the groups from ``level`` on, with what is left of the budgets."""
        low, high = sorted((level, self.level))
        if low < high:
            on = 1.0 if level < self.level else 0.0
            columns = np.arange(self.first[low], self.first[high], dtype=np.int32)
            rows = np.arange(self.resources + low, self.resources + high, dtype=np.int32)
            self.solver.changeColsBounds(len(columns), columns, np.zeros(len(columns)),
                                         np.full(len(columns), np.inf if on else 0.0))
            self.solver.changeRowsBounds(len(rows), rows, np.full(len(rows), on), np.full(len(rows), on))
            self.level = level
        every = np.arange(self.resources, dtype=np.int32)
        self.solver.changeRowsBounds(self.resources, every, np.full(self.resources, -np.inf), budget / self.scale)
        return self.solve()
