"""Follow one cell's voltage under a steady load from full to a cut-off, over the charge taken out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straycell.physics.loads import ConstantCurrent, Load
from straycell.physics.sources import SourceModel


@dataclass(frozen=True, slots=True)
class March:
    """How long it lasted (h), what the load got of one cell (Ah, Wh), and whether a cut-off ended it.

    `points` holds (hours, charge in Ah, terminal voltage in V of one cell) on the way, for a picture.
    """

    hours: float
    charge_ah: float
    energy_wh: float
    reached_cutoff: bool
    points: tuple[tuple[float, float, float], ...] = ()


class _Ahead:
    """emf at q + lag, for rising arguments: linear, without searching from the start each time."""

    __slots__ = ("_emf", "_k", "_last", "_q")

    def __init__(self, model: SourceModel) -> None:
        self._q, self._emf, self._k, self._last = model.q_ah, model.emf_v, 1, len(model.q_ah) - 1

    def at(self, q_ah: float) -> float:
        q, k = self._q, self._k
        while k < self._last and q[k] < q_ah:
            k += 1
        while k > 1 and q[k - 1] > q_ah:
            k -= 1
        self._k = k
        q0, e0 = q[k - 1], self._emf[k - 1]
        # Past the last point the cliff goes on, so that a large lag ends the run.
        return e0 + (self._emf[k] - e0) * (q_ah - q0) / (q[k] - q0)


def march(
    model: SourceModel, load: Load, cutoff_v: float, *, series: int = 1, parallel: int = 1, keep: bool = False
) -> March:
    """Run one cell of a pack of equal cells down to `cutoff_v` per cell under the pack's load."""
    fixed_a = load.current_a / parallel if isinstance(load, ConstantCurrent) else None
    scale, lag, ahead = series / parallel, model.lag_h, _Ahead(model)
    hours = charge = energy = q0 = v0 = 0.0
    i0 = _first_current(model, load, series, parallel)
    points: list[tuple[float, float, float]] = []
    for index, (q1, ohm) in enumerate(zip(model.q_ah, model.inner_ohm, strict=True)):
        emf = ahead.at(q1 + lag * i0) if lag and math.isfinite(i0) else model.emf_v[index]
        i1 = fixed_a if fixed_a is not None else load.drawn_from(emf * series, ohm * scale) / parallel
        v1 = emf - i1 * ohm if i1 < math.inf else -math.inf
        ends = v1 <= cutoff_v
        if ends:
            if index == 0:
                return March(0.0, 0.0, 0.0, True)
            share = (v0 - cutoff_v) / (v0 - v1) if v1 > -math.inf else 0.0
            i1 = i0 + share * (i1 - i0) if share else i0
            q1, v1 = q0 + share * (q1 - q0), cutoff_v if share else v0
        if i1 <= 0:
            return March(math.inf, charge, energy, False)
        if index:
            hours += (q1 - q0) * 0.5 * (1.0 / i0 + 1.0 / i1)
            energy += (q1 - q0) * 0.5 * (v0 + v1)
            charge = q1
        if keep:
            points.append((hours, q1, v1))
        if ends:
            return March(hours, charge, energy, True, tuple(points))
        q0, i0, v0 = q1, i1, v1
    return March(hours, charge, energy, False, tuple(points))


def _first_current(model: SourceModel, load: Load, series: int, parallel: int) -> float:
    """The current in A of one cell at the start, with its own lag already in place."""
    current_a, ahead = 0.0, _Ahead(model)
    for _ in range(4):
        emf = ahead.at(model.lag_h * current_a)
        current_a = load.drawn_from(emf * series, model.inner_ohm[0] * series / parallel) / parallel
        if not math.isfinite(current_a):
            return current_a
    return current_a
