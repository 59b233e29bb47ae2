"""Checks least-cost assignments against scipy.optimize.linear_sum_assignment.

Reads cases from standard input, one JSON object a line: {"cost": [[...], ...], "total": ...}. A row is a pull, a column
a trap or a pull's own "none"; null is a pair that is not allowed. "total" is what the program under test paid for all
rows. Prints how many cases agree. Exits with 1 and a message at the first difference beyond 1e-9 (relative, or
absolute below 1), at a line that is no case, and when there is no case at all.
"""

import json
import math
import sys

import numpy
from scipy.optimize import linear_sum_assignment

TOLERANCE = 1e-9


def least_total(cost):
    """The least total cost of giving every row a column of its own."""
    if not cost:
        return 0.0
    matrix = numpy.array([[math.inf if c is None else c for c in row] for row in cost], dtype=float)
    if matrix.ndim != 2 or matrix.shape[0] > matrix.shape[1]:
        raise ValueError(f"shape {matrix.shape}: give every row the same columns, and at least as many columns as rows")
    rows, columns = linear_sum_assignment(matrix)
    return float(matrix[rows, columns].sum())


def main():
    cases = 0
    for number, line in enumerate(sys.stdin, 1):
        if not line.strip():
            continue
        try:
            case = json.loads(line)
            total = float(case["total"])
            least = least_total(case["cost"])
        except (ValueError, KeyError, TypeError) as error:
            sys.exit(f"line {number}: no case: {error}")
        if not abs(total - least) <= TOLERANCE * max(1.0, abs(least)):
            sys.exit(f"line {number}: total {total!r}, but scipy finds {least!r}")
        cases += 1
    if cases == 0:
        sys.exit("no cases on standard input")
    print(f"{cases} assignments agree")


if __name__ == "__main__":
    main()
