"""How far published sets and measured cells lie apart, and what that leaves of the goals for `low`: a table on stdout.

Run: python -m tests.benchmarks spread. No timing; it ends with 1 when a low end is above the truth where it was checked.
"""

from __future__ import annotations

import sys

from tests.physics.run_time.test_measured_cells import COOL, told
from tests.physics.test_at_temperature import BASES, of_all

from straycell.physics.shipped import median

GOALS = {(25.0, 0.5): 0.96, (10.0, 0.5): 0.90, (0.0, 0.5): 0.84, (25.0, 1.0): 0.85}


def main() -> int:
    """One line a basis, temperature and rate; then the measured cells."""
    broken = 0
    print("low over truth, published sets by the full model")
    print(
        f"{'known':18}{'degC':>6}{'C':>6}{'goal':>7}{'median':>8}{'nearest set':>20}{'highest':>9}{'expected off':>14}"
    )
    for basis in BASES:
        for (at_c, most_c), goal in GOALS.items():
            found = of_all(basis, at_c, most_c)
            worst = max(found, key=lambda c: c.low)
            off = median([abs(c.expected - 1.0) for c in found])
            figures = (
                f"{goal:7.2f}{median([c.low for c in found]):8.3f}{worst.name:>20}{worst.low:9.3f}{off:14.3f}"
            )
            print(f"{basis:18}{at_c:6.0f}{most_c:6.1f}{figures}")
            broken += worst.low > 1.0
    print("measured cells, from the curve: low over truth, expected over truth")
    for cell, at_c in COOL:
        for cold in (False, True):
            one = told(cell, at_c, cold)
            print(f"{cell:8}{at_c:6.0f}  {'cold pulse' if cold else '':12}{one.low:7.3f}{one.expected:7.3f}")
            broken += one.low > 1.0
    return int(broken > 0)


if __name__ == "__main__":
    sys.exit(main())
