"""Open-circuit voltage against state of charge, from published sets; the spread between sets is uncertainty.

Each file under curves/ names its set, chemistry, cell and source. No published set for lmo is shipped: the
envelope of all 4.2 V sets stands in for it, which widens every answer and never narrows one.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

from straycell.cells import Chemistry
from straycell.shipped import PACKAGE


def interpolate(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Linear between points of rising xs, held at the ends."""
    # Held at the ends, never extrapolated: a published curve says nothing outside its own window.
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    i = bisect_left(xs, x)
    share = (x - xs[i - 1]) / (xs[i] - xs[i - 1])
    return ys[i - 1] + share * (ys[i] - ys[i - 1])


@dataclass(frozen=True, slots=True)
class OcvCurve:
    """One published set: rising `soc` (0 to 1) and rising `volts` (V) of equal length."""

    name: str
    chemistry: Chemistry
    source: str
    soc: tuple[float, ...]
    volts: tuple[float, ...]
    _steps: list[tuple[float, float, float, float]] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        points = list(zip(self.volts, self.soc, strict=True))
        # Kept with the curve: verdicts look up voltages by the hundred, and these differences never change.
        steps = [(v0, v1 - v0, s0, s1 - s0) for (v0, s0), (v1, s1) in pairwise(points)]
        object.__setattr__(self, "_steps", steps)

    def voltage(self, soc: float) -> float:
        """Open-circuit voltage in V at a state of charge 0 to 1."""
        return interpolate(soc, self.soc, self.volts)

    def state_of_charge(self, voltage_v: float) -> float:
        """State of charge 0 to 1 at an open-circuit voltage in V."""
        return interpolate(voltage_v, self.volts, self.soc)

    def states_of_charge(self, voltages_v: Iterable[float]) -> list[float]:
        """The same for many voltages at once, which verdicts ask for by the hundred."""
        volts, soc, steps = self.volts, self.soc, self._steps
        low, high = volts[0], volts[-1]
        found = []
        for x in voltages_v:
            if x <= low:
                found.append(soc[0])
            elif x >= high:
                found.append(soc[-1])
            else:
                from_v, step_v, from_soc, step_soc = steps[bisect_left(volts, x) - 1]
                found.append(from_soc + (x - from_v) / step_v * step_soc)
        return found


@lru_cache(maxsize=1)
def all_curves() -> tuple[OcvCurve, ...]:
    """Every shipped set, ordered by name."""
    files = sorted((PACKAGE / "physics/curves").glob("ocv_*"))
    return tuple(_read(f.read_text(encoding="utf-8")) for f in files)


def _read(text: str) -> OcvCurve:
    head: dict[str, str] = {}
    rows: list[tuple[float, float]] = []
    for line in text.splitlines():
        if line.startswith("#"):
            key, _, value = line[1:].partition(":")
            head[key.strip()] = value.strip()
        elif line and line[0].isdigit():
            soc, volts = line.split(",")
            rows.append((float(soc), float(volts)))
    return OcvCurve(
        head["set"],
        Chemistry(head["chemistry"]),
        head["source"],
        tuple(soc for soc, _ in rows),
        tuple(volts for _, volts in rows),
    )


@lru_cache(maxsize=16)
def curves_for(chemistry: Chemistry) -> tuple[OcvCurve, ...]:
    """The sets that speak for a chemistry; empty for `unknown` and `primary`."""
    if chemistry in (Chemistry.UNKNOWN, Chemistry.PRIMARY):
        return ()
    own = tuple(c for c in all_curves() if c.chemistry is chemistry)
    # No set of lmo is shipped, so all 4.2 V sets stand in; lfp is left out because its plateau lies far lower.
    return own or tuple(c for c in all_curves() if c.chemistry is not Chemistry.LFP)


def state_of_charge_range(chemistry: Chemistry, voltage_v: float, u_v: float = 0.0) -> tuple[float, float]:
    """Lowest and highest state of charge (0 to 1) that a rest voltage can mean, with U = 2 u_v either side."""
    curves = curves_for(chemistry)
    if not curves:
        # Without a curve any voltage can mean any charge: unknown must widen, never pick a middle.
        return (0.0, 1.0)
    low = min(c.state_of_charge(voltage_v - 2 * u_v) for c in curves)
    high = max(c.state_of_charge(voltage_v + 2 * u_v) for c in curves)
    return (low, high)
