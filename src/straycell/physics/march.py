"""Follow one cell's voltage under a load from full to a cut-off, over the charge taken out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straycell.physics.loads import ConstantCurrent, Load


@dataclass(frozen=True, slots=True)
class SourceModel:
    """A cell as a source: at each charge taken out `q_ah` (rising), its emf in V and resistance in ohm."""

    q_ah: tuple[float, ...]
    emf_v: tuple[float, ...]
    inner_ohm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class March:
    """How long it lasted (h), what the load got of one cell (Ah, Wh), and whether a cut-off ended it."""

    hours: float
    charge_ah: float
    energy_wh: float
    reached_cutoff: bool


def march(model: SourceModel, load: Load, cutoff_v: float, *, series: int = 1, parallel: int = 1) -> March:
    """Run one cell of a pack of equal cells down to `cutoff_v` per cell under the pack's load."""
    hours = charge = energy = 0.0
    q0 = i0 = v0 = 0.0
    scale = series / parallel
    fixed_a = load.current_a / parallel if isinstance(load, ConstantCurrent) else None
    for index, (q1, emf, ohm) in enumerate(zip(model.q_ah, model.emf_v, model.inner_ohm, strict=True)):
        i1 = fixed_a if fixed_a is not None else load.drawn_from(emf * series, ohm * scale) / parallel
        v1 = emf - i1 * ohm if math.isfinite(i1) else -math.inf
        if v1 <= cutoff_v or i1 <= 0:
            if index and math.isfinite(v1) and i1 > 0:
                share = (v0 - cutoff_v) / (v0 - v1)
                part_h, part_q, part_wh = _step(share * (q1 - q0), i0, i0 + share * (i1 - i0), v0, cutoff_v)
                hours, charge, energy = hours + part_h, charge + part_q, energy + part_wh
            return March(hours if i1 > 0 else math.inf, charge, energy, True)
        if index:
            part_h, part_q, part_wh = _step(q1 - q0, i0, i1, v0, v1)
            hours, charge, energy = hours + part_h, charge + part_q, energy + part_wh
        q0, i0, v0 = q1, i1, v1
    return March(hours, charge, energy, False)


def _step(dq: float, i0: float, i1: float, v0: float, v1: float) -> tuple[float, float, float]:
    """Hours, Ah and Wh of one step, by the trapezoid in 1/I and in V."""
    return dq * 0.5 * (1.0 / i0 + 1.0 / i1), dq, dq * 0.5 * (v0 + v1)
