"""How long a cell or a pack of equal cells runs a device: expected, with a low end that is a promise.

Basis, best first: the cell's own discharge trace, corrected for the difference in current by its resistance over
hours; else its chemistry's published curves, scaled by its capacity and resistance. The low end takes the
worst published set, less the root of the summed squares of what the uncertainties of capacity, resistance, lag
and temperature cost one by one, and of the share the model itself may be wrong by (data/margin.toml).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import OcvCurve, all_curves, curves_for
from straycell.physics.doubts import DOUBTS, Assumed, cases_of, known_resistance, slow_share
from straycell.physics.duty import march_profile
from straycell.physics.loads import Load, Profile
from straycell.physics.march import March, march
from straycell.physics.shipped import shipped
from straycell.physics.sources import (
    OwnTrace,
    SourceModel,
    curve_source,
    scaled,
    started_at,
    trace_source,
)
from straycell.physics.temperature import COLDEST_KNOWN_C, capacity_ratio, check_temperature, resistance_ratio
from straycell.quantities import Measured

__all__ = ["OwnTrace", "Runtime", "estimate"]

TEST_RATE_C = 0.2
"""A capacity is taken at 0.2C where nothing else is said (IEC 61960, from memory; cell sheets agree)."""


@dataclass(frozen=True, slots=True)
class Runtime:
    """Hours: `expected`, and `low` to `high`; `low` is meant to hold nineteen times out of twenty.

    `basis` says what it was computed from, `stop` which cut-off ends the run, `notes` what to know besides.
    """

    expected_h: float
    low_h: float
    high_h: float
    basis: str
    stop: str
    notes: tuple[str, ...] = ()


_MOST_MARGIN_UP = 0.1
_YEAR_H = 8766.0

Build = Callable[[Assumed], tuple[SourceModel, ...]]
Runs = Callable[..., list[March]]
Pair = tuple[list[March], list[March]]


def estimate(
    chemistry: Chemistry,
    capacity: Measured,
    resistance: Measured | None,
    load: Load,
    *,
    cutoff_v: float,
    cell_cutoff_v: float | None = None,
    protection_cutoff_v: float | None = None,
    temperature_c: float = 25.0,
    full_voltage_v: float | None = None,
    series: int = 1,
    parallel: int = 1,
    own_trace: OwnTrace | None = None,
    capacity_current_a: float | None = None,
    capacity_cutoff_v: float | None = None,
    resistance_pulse_s: float = 1.0,
) -> Runtime:
    """Run time of a pack of equal cells, from full. Capacity (Ah) and resistance (ohm) are those of one cell.

    `load` is what the device draws at the pack's terminals; `cutoff_v` is the device's, for the whole string; the
    cell's and the protection's cut-offs are per cell. `capacity_current_a` and `capacity_cutoff_v` say how the
    capacity was taken (default 0.2C, to the end of the chemistry's window), `resistance_pulse_s` how the
    resistance was (0 for 1 kHz). `full_voltage_v` is the voltage per cell that the charger ends at, when it is
    below the chemistry's full voltage. Raises BadData for what cannot be.
    """
    _check(capacity, resistance, cutoff_v, series, parallel)
    check_temperature(temperature_c)
    stop, stop_v = _first_stop(cutoff_v / series, cell_cutoff_v, protection_cutoff_v)
    ohm, ohm_u, notes = known_resistance(capacity, resistance)
    cases = cases_of(chemistry, capacity, ohm, ohm_u, resistance_pulse_s, temperature_c)
    if own_trace is not None:
        build = _from_trace(own_trace, chemistry, capacity.value, full_voltage_v)
        basis = "own trace"
    else:
        test = (capacity_current_a or TEST_RATE_C * capacity.value, capacity_cutoff_v)
        build = _from_curves(chemistry, test, full_voltage_v)
        basis = "chemistry curve"

    slow = slow_share(chemistry, capacity.value, cases["expected"].steady_ohm)

    def runs(case: Assumed, higher_v: float = 0.0) -> list[March]:
        end_v = stop_v + higher_v
        if isinstance(load, Profile):
            return [
                march_profile(m, load, end_v, slow_share=slow, series=series, parallel=parallel)
                for m in build(case)
            ]
        return [march(m, load, end_v, series=series, parallel=parallel) for m in build(case)]

    expected_runs = runs(cases["expected"])
    expected = sum(r.hours for r in expected_runs) / len(expected_runs)
    if not math.isfinite(expected):
        raise BadData(
            "load: it draws nothing at this pack's voltage", "look at the load's supply voltage once more"
        )
    rate_c = (
        sum(r.charge_ah for r in expected_runs) / len(expected_runs) / max(expected, 1e-9) / capacity.value
    )
    margin, off_v = _margin(basis, rate_c, own_trace, capacity.value)
    moved = [pair for doubt in DOUBTS if (pair := _moved(doubt, cases, runs, expected_runs))]
    moved.append((runs(cases["expected"], off_v), runs(cases["expected"], -off_v)))
    down = _reach(expected_runs, moved, -1.0, margin)
    up = _reach(expected_runs, moved, 1.0, min(margin, _MOST_MARGIN_UP))
    low = max(0.0, min(r.hours - less for r, less in zip(expected_runs, down, strict=True)))
    high = max(r.hours + more for r, more in zip(expected_runs, up, strict=True))
    if temperature_c < COLDEST_KNOWN_C:
        low = 0.0
    ended = any(r.reached_cutoff for r in expected_runs)
    stop = f"{stop} cut-off" if ended else "end of the known discharge"
    notes += _notes(chemistry, expected, rate_c, temperature_c, stop_v, own_trace)
    return Runtime(expected, min(low, expected), max(high, expected), basis, stop, tuple(notes))


def _known_curves(chemistry: Chemistry) -> tuple[OcvCurve, ...]:
    """The sets that speak for a chemistry; for an unknown one all of them, which makes the low end very low."""
    curves = all_curves() if chemistry is Chemistry.UNKNOWN else curves_for(chemistry)
    if not curves:
        raise BadData(
            f"chemistry is {chemistry}: no published curve speaks for it", "only its own trace could answer"
        )
    return curves


def _check(
    capacity: Measured,
    resistance: Measured | None,
    cutoff_v: float,
    series: int,
    parallel: int,
) -> None:
    if not (math.isfinite(capacity.value) and capacity.value > 0 and capacity.u >= 0):
        raise BadData(
            f"capacity is {capacity.value:g} Ah, and must be above zero", "measure the capacity first"
        )
    if resistance is not None and not (math.isfinite(resistance.value) and resistance.value >= 0):
        raise BadData(
            f"resistance is {resistance.value:g} ohm, and must be zero or more", "measure it once more"
        )
    if not (math.isfinite(cutoff_v) and cutoff_v >= 0):
        raise BadData(f"cut-off is {cutoff_v:g} V, and must be zero or more", "write it for the whole string")
    if series < 1 or parallel < 1:
        raise BadData(f"a pack of {series}S{parallel}P", "series and parallel are one or more")


def _first_stop(device_v: float, cell_v: float | None, protection_v: float | None) -> tuple[str, float]:
    """The cut-off that comes first when the voltage falls, per cell; the device on a tie."""
    stops = [("device", device_v), ("cell", cell_v), ("protection", protection_v)]
    known = [(name, volts) for name, volts in stops if volts is not None]
    return max(known, key=lambda item: item[1])


def _from_curves(
    chemistry: Chemistry, test: tuple[float, float | None], full_voltage_v: float | None
) -> Build:
    curves = _known_curves(chemistry)
    test_a, cutoff_v = test

    def build(case: Assumed) -> tuple[SourceModel, ...]:
        models = []
        for curve in curves:
            window_v = curve.volts[0] if cutoff_v is None else cutoff_v
            model = curve_source(
                curve, case.capacity_ah, case.steady_ohm, case.lag_h, test_a=test_a, test_cutoff_v=window_v
            )
            missing = 0.0 if full_voltage_v is None else 1.0 - curve.state_of_charge(full_voltage_v)
            models.append(_prepared(model, case, missing))
        return tuple(models)

    return build


def _from_trace(
    trace: OwnTrace, chemistry: Chemistry, measured_ah: float, full_voltage_v: float | None
) -> Build:
    curves = () if full_voltage_v is None else _known_curves(chemistry)
    taken_at = capacity_ratio(trace.temperature_c).expected
    resistance_then = resistance_ratio(trace.temperature_c).expected

    def build(case: Assumed) -> tuple[SourceModel, ...]:
        model = trace_source(trace, case.steady_ohm * resistance_then, case.lag_h)
        warm = scaled(model, case.capacity_ah / measured_ah / taken_at, 1.0 / resistance_then)
        missing = max((1.0 - c.state_of_charge(full_voltage_v or c.volts[-1]) for c in curves), default=0.0)
        return (_prepared(warm, case, missing),)

    return build


def _prepared(model: SourceModel, case: Assumed, missing: float) -> SourceModel:
    ready = scaled(model, case.capacity_ratio, case.resistance_ratio)
    return started_at(ready, missing * ready.x_ah[-1])


def _moved(doubt: str, cases: dict[str, Assumed], runs: Runs, expected: list[March]) -> Pair | None:
    """The runs with one doubt to either side; None when it does not matter here."""
    sides = [cases[doubt + sign] for sign in "-+"]
    if all(side == cases["expected"] for side in sides):
        return None
    worse, better = (expected if side == cases["expected"] else runs(side) for side in sides)
    return worse, better


def _reach(expected: list[March], moved: list[Pair], way: float, share: float) -> list[float]:
    """For each curve, in h: the root of the summed squares of what each doubt moves down (-1) or up (1).

    Either side of a doubt may be the shorter one: on an own trace at more current than the load's, a lower
    resistance is. `share` of the run time is the model's own.
    """
    reach = []
    for k, run in enumerate(expected):
        squares = (share * run.hours) ** 2
        for pair in moved:
            squares += max(0.0, *(way * (side[k].hours - run.hours) for side in pair)) ** 2
        reach.append(math.sqrt(squares))
    return reach


def _margin(basis: str, rate_c: float, trace: OwnTrace | None, capacity_ah: float) -> tuple[float, float]:
    """What the model itself may be wrong by at this rate, from data/margin.toml: a share of the time, and volts."""
    table = shipped("margin")[basis.replace(" ", "_")]
    known_c = 0.0
    if trace is not None:
        currents = trace.currents()
        known_c = sum(currents) / len(currents) / capacity_ah
    beyond = max(0.0, rate_c**2 - known_c**2)
    share = min(table["most"], table["base"] + table["per_c_squared"] * beyond)
    return float(share), float(table["off_v"])


def _notes(
    chemistry: Chemistry,
    expected_h: float,
    rate_c: float,
    temperature_c: float,
    stop_v: float,
    trace: OwnTrace | None,
) -> list[str]:
    notes = []
    if chemistry is Chemistry.UNKNOWN:
        notes.append("chemistry unknown: the low end takes the worst of all published curves")
    if expected_h == 0.0:
        notes.append("the voltage falls below the cut-off as soon as the load is switched on")
    if rate_c > 1.0:
        notes.append("more than 1C: beyond the rates this was checked at")
    if temperature_c < COLDEST_KNOWN_C:
        notes.append("below -20 C no cell sheet gives a figure: the low end is nothing")
    if expected_h > _YEAR_H:
        notes.append("longer than a year: the cell's self-discharge is not counted here")
    if trace is not None and trace.voltage_v[-1] > stop_v + 0.05:
        notes.append(
            f"the trace ends at {trace.voltage_v[-1]:.2f} V, above the cut-off: what is left is not counted"
        )
    return notes
