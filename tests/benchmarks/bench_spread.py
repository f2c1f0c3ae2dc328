"""How far published sets and measured cells lie apart, and what that leaves of the goals for `low`: a table on stdout.

Run: python -m tests.benchmarks spread. No timing; it ends with 1 when a low end is above the truth where it was checked.
"""

from __future__ import annotations

import sys

from tests.physics.run_time.test_measured_cells import COOL, told
from tests.physics.test_at_temperature import BASES, compared, of_all

from straycell.physics.derating import capacity_ratio
from straycell.physics.shipped import median, shipped

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
    kept = shipped("temperature")["capacity"]
    usual_share = kept["sets_share"]
    print("what the cold leaves of the charge, by no pulse told: expected off, with trace and pulses")
    for share in (0.0, usual_share, 1.0):
        _set(kept, share)
        wide = [median([abs(c.expected - 1.0) for c in of_all(BASES[-1], at_c, 0.5)]) for at_c in (10.0, 0.0)]
        real = [told("18650", at_c, True).expected - 1.0 for at_c in (10.0, 0.0)]
        print(
            f"as the sets {share:.0%}: sets {wide[0]:.3f} {wide[1]:.3f}, measured {real[0]:+.3f} {real[1]:+.3f}"
        )
    _set(kept, usual_share)
    print("measured cells, from the curve: low over truth, expected over truth")
    for cell, at_c in COOL:
        for cold in (False, True):
            one = told(cell, at_c, cold)
            print(f"{cell:8}{at_c:6.0f}  {'cold pulse' if cold else '':12}{one.low:7.3f}{one.expected:7.3f}")
            broken += one.low > 1.0
    return int(broken > 0)


def _set(table: dict[str, float], share: float) -> None:
    table["sets_share"] = share
    capacity_ratio.cache_clear()
    compared.cache_clear()


if __name__ == "__main__":
    sys.exit(main())
