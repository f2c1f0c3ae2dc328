"""Follow one cell's voltage under a steady load from full to a cut-off, over the charge taken out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straycell.physics.loads import Lamps, ResistiveLoad, SteadyLoad
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


def march(
    model: SourceModel,
    load: SteadyLoad,
    cutoff_v: float,
    *,
    series: int = 1,
    parallel: int = 1,
    keep: bool = False,
) -> March:
    """Run one cell of a pack of equal cells down to `cutoff_v` per cell under the pack's load.

    The steps follow the surface charge x, at which emf and resistance are known; the charge taken out is then
    q = x - I lag, and no step needs solving.
    """
    # A cold lamp or resistor load draws less; counting that as longer light would promise more in frost.
    scale = series / parallel * (model.draw_share if isinstance(load, ResistiveLoad | Lamps) else 1.0)
    hours = charge = energy = q0 = v0 = i0 = 0.0
    started = False
    points: list[tuple[float, float, float]] = []
    for x, emf, ohm in zip(model.x_ah, model.emf_v, model.inner_ohm, strict=True):
        i1 = load.drawn_from(emf * series, ohm * scale) / parallel
        v1 = emf - i1 * ohm if i1 < math.inf else -math.inf
        q1 = x - model.lag_h * i1 if i1 < math.inf else q0
        # A lamp below its knee draws nothing: it never empties the cell, and the caller must hear that.
        if v1 > cutoff_v and i1 <= 0:
            return March(math.inf, charge, energy, False)
        if not started and q1 < 0:
            q0, i0, v0 = q1, i1, v1
            if v1 <= cutoff_v:
                return March(0.0, 0.0, 0.0, True)
            continue
        ends = v1 <= cutoff_v
        if ends and i0 == 0:
            return March(0.0, 0.0, 0.0, True)
        if ends:
            # The cut-off rarely is a node; between two nodes the voltage is close to straight over the charge.
            share = (v0 - cutoff_v) / (v0 - v1) if v1 > -math.inf else 0.0
            i1 = i0 + share * (i1 - i0) if share else i0
            q1, v1 = q0 + share * (q1 - q0), cutoff_v if share else v0
        if ends and not started and q1 <= 0:
            return March(0.0, 0.0, 0.0, True)
        if not started and q0 < 0 <= q1:
            share = -q0 / (q1 - q0)
            q0, i0, v0 = 0.0, i0 + share * (i1 - i0), v0 + share * (v1 - v0)
        if i0 > 0 and q1 > q0:
            # Time is charge over current: a trapezoid over 1/I stays exact for constant current.
            hours += (q1 - q0) * 0.5 * (1.0 / i0 + 1.0 / i1)
            energy += (q1 - q0) * 0.5 * (v0 + v1)
            charge = q1
        if keep:
            points += [(0.0, 0.0, v0)] if not started and i0 > 0 else []
            points.append((hours, charge, v1))
        if ends:
            return March(hours, charge, energy, True, tuple(points))
        # A rising current can pull q back between two nodes; charge that left does not return.
        started, q0, i0, v0 = True, max(q0, q1), i1, v1
    return March(hours, charge, energy, False, tuple(points))
