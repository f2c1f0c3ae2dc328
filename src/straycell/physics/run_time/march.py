"""Follow one cell's voltage under a steady load from full to a cut-off, over the charge taken out.

Its equations hold for figures and for arrays of them: duty.py and many/march.py call the same.
"""

import math
from dataclasses import dataclass

from straycell.physics.loads import Lamps, ResistiveLoad, SteadyLoad
from straycell.physics.run_time.doubts import Figure
from straycell.physics.sources import SourceModel


@dataclass(frozen=True, slots=True)
class March:
    """How long it lasted (h) and what the load got of one cell (Ah, Wh)."""

    hours: float
    charge_ah: float
    energy_wh: float


def terminal_v(emf_v: Figure | float, current_a: Figure, ohm: Figure) -> Figure:
    """Ohm's law behind an emf."""
    return emf_v - current_a * ohm


def taken_ah(surface_ah: Figure, lag_h: Figure | float, current_a: Figure) -> Figure:
    """The charge taken out trails that of the surface by the current times the lag (sources.py)."""
    return surface_ah - lag_h * current_a


def share_until(first_v: Figure, last_v: Figure, cutoff_v: Figure) -> Figure:
    """The part of a step at whose end the cut-off is reached; between two nodes the voltage is close to straight."""
    return (first_v - cutoff_v) / (first_v - last_v)


def along(share: Figure, first: Figure, last: Figure) -> Figure:
    """A figure after a part of a step."""
    return first + share * (last - first)


def step_hours(charge_ah: Figure, first_a: Figure, last_a: Figure) -> Figure:
    """Time is charge over current: a trapezoid over 1/I is exact for a constant current."""
    return charge_ah * 0.5 * (1.0 / first_a + 1.0 / last_a)


def march(
    model: SourceModel, load: SteadyLoad, cutoff_v: float, *, series: int = 1, parallel: int = 1
) -> March:
    """Run one cell of a pack of equal cells down to `cutoff_v` per cell under the pack's load.

    The steps follow the surface charge x, at which emf and resistance are known; the charge taken out is then
    q = x - I lag, and no step needs solving.
    """
    # A cold lamp or resistor load draws less; counting that as longer light would promise more in frost.
    scale = series / parallel * (model.draw_share if isinstance(load, ResistiveLoad | Lamps) else 1.0)
    hours = charge = energy = q0 = v0 = i0 = 0.0
    started = False
    for x, emf, ohm in zip(model.x_ah, model.emf_v, model.inner_ohm, strict=True):
        i1 = load.drawn_from(emf * series, ohm * scale) / parallel
        v1 = terminal_v(emf, i1, ohm) if i1 < math.inf else -math.inf
        q1 = taken_ah(x, model.lag_h, i1) if i1 < math.inf else q0
        # A lamp below its knee draws nothing: it never empties the cell, and the caller must hear that.
        if v1 > cutoff_v and i1 <= 0:
            return March(math.inf, charge, energy)
        if not started and q1 < 0:
            q0, i0, v0 = q1, i1, v1
            if v1 <= cutoff_v:
                return March(0.0, 0.0, 0.0)
            continue
        ends = v1 <= cutoff_v
        if ends and i0 == 0:
            return March(0.0, 0.0, 0.0)
        if ends:
            share = share_until(v0, v1, cutoff_v) if v1 > -math.inf else 0.0
            i1 = along(share, i0, i1) if share else i0
            q1, v1 = along(share, q0, q1), cutoff_v if share else v0
        if ends and not started and q1 <= 0:
            return March(0.0, 0.0, 0.0)
        if not started and q0 < 0 <= q1:
            share = -q0 / (q1 - q0)
            q0, i0, v0 = 0.0, along(share, i0, i1), along(share, v0, v1)
        if i0 > 0 and q1 > q0:
            hours += step_hours(q1 - q0, i0, i1)
            energy += (q1 - q0) * 0.5 * (v0 + v1)
            charge = q1
        if ends:
            return March(hours, charge, energy)
        # A rising current can pull q back between two nodes; charge that left does not return.
        started, q0, i0, v0 = True, max(q0, q1), i1, v1
    return March(hours, charge, energy)
