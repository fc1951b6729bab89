"""A week of planning every half-hour, once more in Python, and how long it takes.

    python tests/peers/rolling_reference.py target/peers/rolling.json

Reads the problems of each step with the objective and the time of ours, which
formulates, changes the program in the solver, solves hot and extracts. The same
programs, formulated by dispatch_reference.py, are then solved in two ways that
are usual in Python, with the same version of HiGHS:

- built anew for each step with a modelling library (PuLP) and solved;
- kept in highspy, its costs, bounds and right-hand sides changed as whole vectors,
  and solved from the basis that is there.

Both are judged kindly: working out the numbers of the equations is left out of
their time, while all of ours counts. Times are those of the processor. Every objective
must agree; the ratios are printed and not judged.
"""

import json
import statistics
import sys
import time

import highspy
import numpy as np
import pulp

from dispatch_reference import ABSOLUTE, RELATIVE, Dispatch


def anew(matrix):
    """Least cost and seconds, with a modelling library."""
    begun = time.process_time()
    model = pulp.LpProblem("dispatch", pulp.LpMinimize)
    columns = [
        pulp.LpVariable(f"x{n}", low, None if high == highspy.kHighsInf else high)
        for n, (low, high) in enumerate(zip(matrix.low, matrix.high))
    ]
    model += pulp.LpAffineExpression(zip(columns, matrix.cost))
    for row, (low, high) in enumerate(zip(matrix.row_low, matrix.row_high)):
        span = slice(matrix.start[row], matrix.start[row + 1])
        terms = zip((columns[i] for i in matrix.index[span]), matrix.value[span])
        total = pulp.LpAffineExpression(terms)
        if low == high:
            model += total == low
        elif low == -highspy.kHighsInf:
            model += total <= high
        else:
            assert high == highspy.kHighsInf, "no row of a dispatch is a range"
            model += total >= low
    model.solve(pulp.HiGHS(msg=False, threads=1))
    assert model.status == pulp.LpStatusOptimal, pulp.LpStatus[model.status]
    return pulp.value(model.objective), time.process_time() - begun


class InPlace:
    """A program that stays in the solver."""

    def __init__(self):
        self.solver, self.shape, self.restarts = None, None, 0

    def solve(self, matrix):
        """Least cost and seconds."""
        cost, low, high = map(np.array, (matrix.cost, matrix.low, matrix.high))
        row_low, row_high = np.array(matrix.row_low), np.array(matrix.row_high)
        shape = [np.array(part) for part in (matrix.start, matrix.index, matrix.value)]
        if self.solver is None:
            matrix.integer = [False] * len(matrix.cost)
            self.shape = shape
            begun = time.process_time()
            self.solver = matrix.loaded()
            # HiGHS counts all solves of a program together.
            self.solver.setOptionValue("time_limit", highspy.kHighsInf)
        else:
            for own, other in zip(self.shape, shape):
                assert np.array_equal(own, other), "only costs and bounds change"
            columns = np.arange(len(cost), dtype=np.int32)
            rows = np.arange(len(row_low), dtype=np.int32)
            begun = time.process_time()
            self.solver.changeColsCost(len(cost), columns, cost)
            self.solver.changeColsBounds(len(cost), columns, low, high)
            self.solver.changeRowsBounds(len(rows), rows, row_low, row_high)
        self.solver.run()
        if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            # The basis of the half-hour before has been seen to lead nowhere.
            self.solver.clearSolver()
            self.solver.run()
            self.restarts += 1
        self.solver.getSolution()
        took = time.process_time() - begun
        status = self.solver.getModelStatus()
        assert status == highspy.HighsModelStatus.kOptimal, status
        return self.solver.getInfo().objective_function_value, took


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    ours, rebuilt, kept, worst = [], [], [], 0.0
    in_place = InPlace()
    for case in cases:
        matrix = Dispatch(case["problem"], [], in_turn=False).m
        found = case["objective"]
        ours.append(case["milliseconds"])
        for least, seconds, times in (
            (*anew(matrix), rebuilt), (*in_place.solve(matrix), kept)
        ):
            times.append(1e3 * seconds)
            worst = max(worst, abs(found - least) / max(abs(least), ABSOLUTE / RELATIVE))
    # The first step of each is cold.
    ours, rebuilt, kept = (statistics.median(times[1:]) for times in (ours, rebuilt, kept))
    print(
        f"rolling: {len(cases)} steps, worst difference {worst:.1e}; medians {ours:.1f} ms "
        f"here, {rebuilt:.0f} ms built anew in Python ({rebuilt / ours:.0f} times), "
        f"{kept:.1f} ms changed in place ({kept / ours:.1f} times, "
        f"{in_place.restarts} restarts)"
    )
    return 0 if worst <= RELATIVE else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
