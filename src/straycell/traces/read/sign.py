"""Which sign of the current means discharge: asked of the voltage, never of the file's maker."""

from dataclasses import dataclass

import numpy as np

from straycell.traces.read.noise import roughness, shown_step
from straycell.traces.read.trace import Floats, Ints

REST_SHARE = 0.005
"""Below this share of the largest current nothing flows (common practice, no published source)."""
_MOST_SHARE = 0.25
"""However noisy its zero, a current above this share of the largest one flows."""
_SIGMAS = 5.0
_SHOWN_STEPS = 1.5
_SAMPLE = 20_000


def rest_limit_a(current_a: Floats) -> float:
    """The current in A up to which a row counts as rest; 0 when no current flows at all.

    A share of the largest current, or more where the instrument's zero scatters or flickers by a shown step.
    """
    most = float(np.max(np.abs(current_a), initial=0.0))
    rows = current_a[:_SAMPLE]
    # A zero is judged only by rows that may be zero: the current's own ripple is larger.
    small = np.abs(rows) <= _MOST_SHARE * most
    noise = max(_SIGMAS * roughness(rows, small), _SHOWN_STEPS * shown_step(rows))
    return max(REST_SHARE * most, min(noise, _MOST_SHARE * most))


@dataclass(frozen=True, slots=True, eq=False)
class Signed:
    """The current, negative on discharge, with how that was found; `doubt` when it could not be found."""

    current_a: Floats
    note: str
    doubt: str = ""


def states(current_a: Floats) -> Ints:
    """-1, 0 or 1 a row: current below, within or above the rest limit."""
    limit = rest_limit_a(current_a)
    state: Ints = (current_a > limit).astype(np.int64) - (current_a < -limit)
    return state


def blocks(*keys: Ints) -> Ints:
    """First row of each block in which every key stays the same."""
    moved = np.logical_or.reduce([np.diff(key) != 0 for key in keys])
    return np.append(0, np.flatnonzero(moved) + 1)


def find_sign(voltage_v: Floats, current_a: Floats, step: Ints | None) -> Signed:
    """Turn the current round if the voltage falls while it is positive; sort out a current without signs."""
    state = states(current_a)
    if not state.any():
        return Signed(current_a, "no current flows in this trace")
    keys = (state,) if step is None else (state, step)
    starts = blocks(*keys)
    ends = np.append(starts[1:], len(state)) - 1
    flowing = state[starts] != 0
    # Voltage rises with charge and falls with discharge, whatever the sign convention of the file.
    slope = (voltage_v[ends] - voltage_v[starts])[flowing] * state[starts][flowing]
    jump = np.diff(voltage_v) * np.sign(np.diff(current_a))
    # Jumps far above the rest limit only: a change of load moves the voltage by I R at once, and noise is no such
    # change.
    big = np.abs(np.diff(current_a)) > 20 * rest_limit_a(current_a)
    score = float(slope.sum() + jump[big].sum())
    # Blocks that rise and blocks that fall under one sign: the instrument writes amounts.
    if not (state < 0).any() and slope.min(initial=0.0) < -0.1 and slope.max(initial=0.0) > 0.1:
        return _unsigned(voltage_v, current_a, starts, ends)
    lowest = "negative" if (state < 0).any() else "positive"
    if abs(score) < 1e-9:
        turned = -current_a if lowest == "positive" else current_a
        return Signed(
            turned, f"{lowest} current taken as discharge", "the voltage does not tell charge from discharge"
        )
    if score > 0:
        return Signed(current_a, "negative current is discharge (the voltage falls with it)")
    return Signed(-current_a, "positive current was discharge (the voltage falls with it): turned round")


def _unsigned(voltage_v: Floats, current_a: Floats, starts: Ints, ends: Ints) -> Signed:
    """Charge and discharge both positive: each block's voltage tells its direction."""
    direction = np.where(voltage_v[ends] < voltage_v[starts], -1.0, 1.0)
    signed = np.abs(current_a) * np.repeat(direction, ends - starts + 1)
    return Signed(signed, "the current has no sign: rising voltage taken as charge, falling as discharge")
