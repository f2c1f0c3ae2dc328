"""One project against 10,000 cells, beside the same discharges as one bare numpy loop over time.

Run: python -m tests.benchmarks.bench_match. It prints ratios, and ends with 1 above 4 times the loop.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from tests.matching.single_bench import LIMITS, NOW, cell, project

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry
from straycell.matching import Candidate, match_project
from straycell.physics.curves import curves_for

COUNT, STEP_H, POWER_W, CUTOFF_V, MOST = 10_000, 1 / 60, 0.4, 3.0, 4.0


def shelf(count: int) -> list[Candidate]:
    """Cells of every use with figures all different."""
    chance = random.Random(2)
    made = cell(0)
    return [
        replace(
            cell(
                0, chance.uniform(1.5, 3.2), u_ah=0.02, resistance_ohm=chance.uniform(0.03, 0.09), u_ohm=0.002
            ),
            code=f"K{n:05d}X",
            outcome=chance.choice([Outcome.PACK, Outcome.SOLO, Outcome.LIGHT]),
            facts=made.facts,
        )
        for n in range(count)
    ]


def bare_loop(cells: list[Candidate]) -> float:
    """Every cell discharged minute by minute on one curve, and nothing else: no doubts, no tests, no words."""
    ah = np.array([c.capacity.value for c in cells if c.capacity])
    ohm = np.array([c.resistance.value for c in cells if c.resistance])
    curve = curves_for(Chemistry.NMC)[0]
    soc, volts = np.array(curve.soc), np.array(curve.volts)
    out, hours, alive = np.zeros_like(ah), np.zeros_like(ah), np.ones(len(ah), dtype=bool)
    current = np.full_like(ah, 0.1)
    while alive.any():
        emf = np.interp(1 - out / ah, soc, volts)
        current = POWER_W / (emf - current * ohm)
        alive &= emf - current * ohm > CUTOFF_V
        out += current * STEP_H * alive
        hours += STEP_H * alive
    return float(hours.sum())


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """The quickest of some runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main() -> int:
    """Print the ratio; 0 when it is kept."""
    cells = shelf(COUNT)
    asked = project(
        f'power = "{POWER_W}W"',
        runtime="14h",
        cutoff=f"{CUTOFF_V}V",
        need='peak_current = "0.5A"',
        charge='current = "250mA"\nvoltage = "4.2V"\ntolerance = "1%"',
    )
    loop_s = seconds(lambda: bare_loop(cells))
    match_s = seconds(lambda: match_project(asked, cells, LIMITS, now=NOW))
    ratio = match_s / loop_s
    print(f"bare loop {loop_s:.2f} s, match with peaks and every reason {match_s:.2f} s: {ratio:.1f} times")
    return 0 if ratio <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
