"""A pack as a circuit, solved step by step: sources, resistances and slow branches in parallel and in series.

Nothing of the product is used. Each cell is an open-circuit curve over the charge at its surface, a resistance as a pulse
of one second shows it (growing towards empty as published), a slower branch, and a surface that runs ahead of the bulk.
The curves are those of one published set (Ai2020, lco): files under src and tests that a script made.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ROOT = Path(__file__).parents[2]
STEP_S = 5.0
SLOW_S, SLOW_SHARE = 60.0, 0.51
"""The slow branch: with it a discharge over hours meets 1.51 times what a pulse of 1 s does (Ai2020)."""
AHEAD_S, AHEAD_H = 900.0, 0.0254
"""How far the surface runs ahead, in Ah per A, and how long that takes to build up (solid diffusion, Ai2020)."""
TEST_C, EMPTY_V = 0.2, 2.75


def _rows(path: Path) -> list[list[str]]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.reader(lines))


def _columns(path: Path, *names: str) -> list[Floats]:
    head, *rows = _rows(path)
    return [np.array([float(row[head.index(name)]) for row in rows]) for name in names]


SOC, OCV_V = _columns(ROOT / "src/straycell/physics/curves/ocv_Ai2020.csv", "soc", "volts")


@dataclass
class Circuit:
    """Cells in rows (groups in series) and columns (in parallel): charge in Ah when full, 1 s resistance in ohm."""

    full_ah: Floats
    pulse_ohm: Floats
    growth: Callable[[Floats], Floats]

    def run(self, amps: Callable[[float, float], float], stop_v: float, group_stop_v: float = 0.0) -> float:
        """Hours until the pack is below `stop_v` or a group below `group_stop_v`; `amps(seconds, volts)` is the load."""
        used, slow_v, ahead = (np.zeros_like(self.full_ah) for _ in range(3))
        volts, seconds = 4.2 * len(self.full_ah), 0.0
        while True:
            current = amps(seconds, volts)
            soc = 1.0 - (used + ahead) / self.full_ah
            # Beyond empty the voltage falls off a cliff.
            emf = np.interp(soc, SOC, OCV_V) + np.minimum(0.0, soc) * 400.0
            ohm = self.pulse_ohm * self.growth(soc)
            # One voltage over each group: the sum of (source - voltage) / resistance is the load.
            source = emf - slow_v
            group_v = ((source / ohm).sum(axis=1) - current) / (1.0 / ohm).sum(axis=1)
            each = (source - group_v[:, None]) / ohm
            volts = float(group_v.sum())
            if volts < stop_v or float(group_v.min()) < group_stop_v:
                return seconds / 3600.0
            used += each * STEP_S / 3600.0
            slow_v += (each * ohm * SLOW_SHARE - slow_v) * (1.0 - np.exp(-STEP_S / SLOW_S))
            ahead += (each * AHEAD_H - ahead) * (1.0 - np.exp(-STEP_S / AHEAD_S))
            seconds += STEP_S


def published_growth() -> Callable[[Floats], Floats]:
    """The 1 s resistance over that at half charge, by state of charge, as the published set's pulses have it."""
    soc, seconds, ohm = _columns(ROOT / "tests/reference/physics/pulse_Ai2020.csv", "soc", "pulse_s", "ohm")
    one = seconds == 1.0
    order = np.argsort(soc[one])
    at, value = soc[one][order], ohm[one][order]
    value = value / np.interp(0.5, at, value)
    return lambda x: np.interp(x, at, value)


def measured(circuit: Circuit, row: int, column: int, rated_ah: float) -> float:
    """What a tester would show for one cell alone: Ah from full to empty at 0.2C."""
    one = Circuit(
        circuit.full_ah[row : row + 1, column : column + 1],
        circuit.pulse_ohm[row : row + 1, column : column + 1],
        circuit.growth,
    )
    current = TEST_C * rated_ah
    return one.run(lambda seconds, volts: current, EMPTY_V) * current


def steps(durations_s: Sequence[float], amps: Sequence[float]) -> Callable[[float, float], float]:
    """A repeated profile of currents."""
    ends = np.cumsum(durations_s)

    def at(seconds: float, volts: float) -> float:
        return amps[int(np.searchsorted(ends, seconds % ends[-1], side="right"))]

    return at
