"""One cell as a source: an electromotive force over the charge taken out, a resistance, and a lag.

Under a current I the voltage is  emf(x) - I R(x)  with x = q + I lag: the faster a cell is emptied, the further
its surface is ahead of its bulk. A chemistry's curve and a cell's own trace both become such a source.
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from straycell.errors import BadData
from straycell.physics.curves import OcvCurve, interpolate
from straycell.physics.derating import shape

END_SHARE = 0.004
END_DROP_V = 1.5
"""Beyond the last known point the voltage falls off a cliff: 1.5 V within 0.4 % of the charge (cautious)."""
# A day at one row a second has 86,400 rows, and a march visits each for every doubt; 160 keep the shape.
_MOST_POINTS = 160


class StartsEmpty(BadData):
    """A pack charged so little that the load cannot start."""

    def __init__(self) -> None:
        super().__init__(
            "the pack would start empty", "charge it to its chemistry's full voltage", of="charge"
        )


@dataclass(frozen=True, slots=True)
class SourceModel:
    """`emf_v` in V and `inner_ohm` (over hours) at each surface charge `x_ah` in Ah (rising); `lag_h` in h.

    A lamp or a resistor draws less from a cold cell and would so run longer, dimmer: `draw_share` is the share
    of the resistance that its current is computed with, so that the cold never counts as a gain.
    """

    x_ah: tuple[float, ...]
    emf_v: tuple[float, ...]
    inner_ohm: tuple[float, ...]
    lag_h: float = 0.0
    draw_share: float = 1.0


@dataclass(frozen=True, slots=True)
class OwnTrace:
    """A cell's own discharge from full: voltage in V against charge taken out in Ah (rising).

    `current_a` is the discharge current in A, one for all or one a point (a resistive tester).
    """

    ah_out: tuple[float, ...]
    voltage_v: tuple[float, ...]
    current_a: float | tuple[float, ...]
    temperature_c: float = 25.0

    def __post_init__(self) -> None:
        currents = self.currents()
        same_length = len(self.ah_out) == len(self.voltage_v) == len(currents)
        # Fewer points would let interpolation, not the cell, decide the run time.
        if len(self.ah_out) < 10 or not same_length:
            raise BadData(
                "own trace: it needs ten points or more, each with charge, voltage and current",
                "use the whole trace",
            )
        if not all(map(math.isfinite, (*self.ah_out, *self.voltage_v, *currents))):
            raise BadData("own trace: a value is not a number", "leave broken lines out")
        if any(b < a for a, b in zip(self.ah_out, self.ah_out[1:], strict=False)) or self.ah_out[0] < 0:
            raise BadData(
                "own trace: the charge taken out does not rise", "use the discharge rows only, in order"
            )
        if self.ah_out[-1] <= 0 or min(currents) <= 0:
            raise BadData(
                "own trace: a discharge current is zero or less", "discharge counts as positive here"
            )

    def currents(self) -> tuple[float, ...]:
        """The current in A at each point."""
        if isinstance(self.current_a, tuple):
            return self.current_a
        return (self.current_a,) * len(self.ah_out)


def curve_source(
    curve: OcvCurve,
    capacity_ah: float,
    steady_ohm: float,
    lag_h: float,
    *,
    test_a: float,
    test_cutoff_v: float,
) -> SourceModel:
    """A chemistry's curve, scaled so that a discharge at `test_a` to `test_cutoff_v` gives `capacity_ah`."""
    # At the end of the test the current still pulls the voltage down, so charge is left above the cut-off's own
    # point.
    left = curve.state_of_charge(test_cutoff_v + test_a * steady_ohm * shape(0.05))
    # At most half may be left: a cut-off set too high must not blow the capacity up without bound.
    full_ah = (capacity_ah + test_a * lag_h) / (1.0 - min(left, 0.5))
    model = scaled(share_source(curve), full_ah, steady_ohm)
    return replace(model, lag_h=lag_h, draw_share=1.0)


@lru_cache(maxsize=32)
def share_source(curve: OcvCurve) -> SourceModel:
    """A chemistry's curve over the share of its whole charge, its resistance over that at half charge."""
    out = [1.0 - s for s in reversed(curve.soc)]
    return _closed(out, list(reversed(curve.volts)), [shape(s) for s in reversed(curve.soc)], 0.0)


def trace_source(trace: OwnTrace, steady_ohm: float, lag_h: float) -> SourceModel:
    """A cell's own discharge, freed from the drop and the lag that its own current caused."""
    q_out, volts, amps = _thinned(trace.ah_out, trace.voltage_v, trace.currents())
    end_ah = q_out[-1]
    q: list[float] = []
    emf: list[float] = []
    ohm: list[float] = []
    for out, v, i in zip(q_out, volts, amps, strict=True):
        # 0.97: the end of a trace under load is not yet empty, and the resistance table rises steeply at zero.
        here = steady_ohm * shape(1.0 - 0.97 * out / end_ah)
        at = out + i * lag_h
        # The lag can fold rows back when the current falls quickly; interpolation needs rising charge.
        if q and at <= q[-1]:
            continue
        q.append(at)
        emf.append(v + i * here)
        ohm.append(here)
    # A first row is written after the current began: the curve is held to the start, not extrapolated above full.
    if q[0] > 0:
        q.insert(0, 0.0)
        emf.insert(0, emf[0])
        ohm.insert(0, ohm[0])
    return _closed(q, emf, ohm, lag_h)


def _closed(q: list[float], emf: list[float], ohm: list[float], lag_h: float) -> SourceModel:
    end = q[-1] * (1.0 + END_SHARE)
    return SourceModel((*q, end), (*emf, emf[-1] - END_DROP_V), (*ohm, ohm[-1]), lag_h)


def _thinned(*columns: Sequence[float]) -> tuple[tuple[float, ...], ...]:
    """At most _MOST_POINTS rows, spread evenly over the curve's length, first and last kept."""
    q, volts = columns[0], columns[1]
    if len(q) <= _MOST_POINTS:
        return tuple(tuple(c) for c in columns)
    span_q, span_v = q[-1] - q[0] or 1.0, max(volts) - min(volts) or 1.0
    length = [0.0]
    for k in range(1, len(q)):
        # Length over both axes, each scaled to its span: points gather at the knees, where even steps of charge have
        # none.
        length.append(length[-1] + abs(q[k] - q[k - 1]) / span_q + abs(volts[k] - volts[k - 1]) / span_v)
    wanted = (length[-1] * n / (_MOST_POINTS - 1) for n in range(_MOST_POINTS))
    keep = sorted({min(bisect_left(length, w), len(q) - 1) for w in wanted} | {0, len(q) - 1})
    return tuple(tuple(c[k] for k in keep) for c in columns)


def scaled(
    model: SourceModel, capacity_ratio: float, resistance_ratio: float, lag_ratio: float = 1.0
) -> SourceModel:
    """The same cell with another capacity, resistance and lag, as at another temperature."""
    # At 25 degC nothing changes, and a run time asks it of each of its twenty runs.
    if capacity_ratio == resistance_ratio == lag_ratio == 1.0:
        return model
    return SourceModel(
        tuple([x * capacity_ratio for x in model.x_ah]),
        model.emf_v,
        tuple([r * resistance_ratio for r in model.inner_ohm]),
        model.lag_h * lag_ratio,
        model.draw_share / max(1.0, resistance_ratio),
    )


def started_at(model: SourceModel, missing_ah: float) -> SourceModel:
    """The same cell with `missing_ah` already missing from full."""
    if missing_ah <= 0:
        return model
    later = [k for k, x in enumerate(model.x_ah) if x > missing_ah]
    # A pack that starts nearly empty has no curve left to march on; a run time of seconds would look like an answer.
    if missing_ah >= 0.99 * model.x_ah[-1]:
        raise StartsEmpty()
    first = tuple(interpolate(missing_ah, model.x_ah, c) for c in (model.emf_v, model.inner_ohm))
    return SourceModel(
        (0.0, *(model.x_ah[k] - missing_ah for k in later)),
        (first[0], *(model.emf_v[k] for k in later)),
        (first[1], *(model.inner_ohm[k] for k in later)),
        model.lag_h,
        model.draw_share,
    )
