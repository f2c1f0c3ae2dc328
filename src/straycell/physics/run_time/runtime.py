"""How long a cell or a pack of equal cells runs a device: expected, with a low end that is a promise.

Basis, best first: the cell's own discharge trace, corrected for the difference in current by its resistance over
hours; else its chemistry's published curves, scaled by its capacity and resistance. The low end takes the
worst published set, less the root of the summed squares of what the uncertainties of capacity, resistance, lag
and temperature cost one by one, and of the share the model itself may be wrong by (data/margin.toml).

`low` is wide on purpose, since a broken promise costs a night in the dark and a cautious one some minutes. With an own trace
and pulses of 1 s and 30 s it is 95 % of the truth at the median to 0.5C and 25 degC, 90 at 10, 84 at 0 degC, 86 at 1C; with
the trace alone 90, 87, 75 and 49 %, since nothing else tells a cell whose diffusion ends its run. It was checked up to 0.5C
at 0 to 40 degC and up to 1C at 15 to 40 degC on published sets by the full model, some kept blind, and on two measured
cells; beyond that a note says so. Expected is within 4 % at 10 and 8 % at 0 degC at the median. `high` holds every one of
these runs, isothermal and warmed by its own loss, of which `low` counts nothing. No real device was timed.

The expected time never grows with more load, a higher cut-off or the cold. `low` and `high` are such a root about it:
where it changes faster than its neighbours do, just below the voltage at which the cell starts, they turn by up to
about one percent of a full run, and under a profile, which ends at a moment of a round, by about a round. A band
that never turns would need runs at every cut-off in between; the picture draws it by taking the largest so far.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from straycell.physics.derating import (
    COLDEST_KNOWN_C,
    REFERENCE_C,
    lag_ratio,
)
from straycell.physics.loads import Profile
from straycell.physics.own_pulses import Resisting, is_quick
from straycell.physics.run_time.asked import (
    DrawsNothing,
    RunCell,
    RunDevice,
    Runtime,
    known_curves,
    margin_of,
    notes_of,
)
from straycell.physics.run_time.doubts import DOUBTS, Assumed, cases_of, known_resistance, slow_share, warmest
from straycell.physics.run_time.duty import march_profile
from straycell.physics.run_time.march import March, march
from straycell.physics.sources import (
    OwnTrace,
    SourceModel,
    curve_source,
    scaled,
    started_at,
    trace_source,
)

__all__ = ["OwnTrace", "RunCell", "RunDevice", "Runtime", "estimate"]

TEST_RATE_C = 0.2
"""A capacity is taken at 0.2C where nothing else is said (cell sheets)."""


Build = Callable[[Assumed[float]], tuple[SourceModel, ...]]
Pair = tuple[list[March], list[March]]


@dataclass(frozen=True, slots=True)
class _Pack:
    """One question, ready to be marched for any choice of what is not known exactly."""

    build: Build
    device: RunDevice
    stop_v: float
    slow_share: float

    def runs(self, case: Assumed[float], higher_v: float = 0.0) -> list[March]:
        """One run a curve, down to a cut-off `higher_v` above the first one."""
        return [self._run(model, self.stop_v + higher_v) for model in self.build(case)]

    def _run(self, model: SourceModel, end_v: float) -> March:
        load, series, parallel = self.device.load, self.device.series, self.device.parallel
        # However its curve runs, a full cell below the cut-off starts nothing.
        end_v = max(end_v, self.stop_v) if model.emf_v[0] <= self.stop_v else end_v
        if isinstance(load, Profile):
            return march_profile(
                model, load, end_v, slow_share=self.slow_share, series=series, parallel=parallel
            )
        return march(model, load, end_v, series=series, parallel=parallel)


def estimate(cell: RunCell, device: RunDevice) -> Runtime:
    """Run time of a pack of equal cells, from full.

    What a run of more than a week loses beside its load is not in it: `losses.with_losses`. Raises BadData.
    """
    return _estimate(cell, device)


# One match asks for the same run several times, a page or a list of projects again for each cell: twenty marches.
@lru_cache(maxsize=2048)
def _estimate(cell: RunCell, device: RunDevice) -> Runtime:
    cell.check()
    device.check()
    stop, stop_v = device.first_stop(cell)
    chemistry, ah, trace = cell.chemistry, cell.capacity.value, cell.own_trace
    resistance, notes = known_resistance(cell.capacity, cell.resistance)
    resisting = cell.taken.resisting(resistance)
    asked = (
        chemistry,
        cell.capacity,
        resisting,
        device.temperature_c,
        trace.temperature_c if trace else None,
    )
    cases = cases_of(*asked)
    if trace is not None:
        basis, build = "own trace", _from_trace(trace, cell, resisting)
    else:
        basis, build = "chemistry curve", _from_curves(cell)
    # Fast and slow parts matter only to a profile, whose peaks are too short for the slow one.
    usual = cases["expected"]
    pack = _Pack(build, device, stop_v, slow_share(chemistry, ah, usual.steady_ohm))
    found = pack.runs(usual)
    expected, rate_c = _mean(found, ah)
    cases["stiff+"] = warmest(usual, asked, rate_c * ah, expected, device.series * device.parallel)
    gathered = device.load.gathered if isinstance(device.load, Profile) else 1.0
    quick = is_quick(ah, cell.taken.pulses)
    shares, (early_v, late_v) = margin_of(basis, cell, gathered * rate_c, device.temperature_c, quick)
    moved = {doubt: pair for doubt in DOUBTS if (pair := _moved(doubt, cases, pack, found))}
    # The cut-off may lie off either way because published curves of one chemistry do (data/margin.toml).
    moved["cut-off"] = (pack.runs(usual, early_v), pack.runs(usual, -late_v))
    low, margin_h = _low_end(expected, found, moved, shares[0])
    up = [_squares(k, run, moved, 1.0, shares[1]) for k, run in enumerate(found)]
    high = max(run.hours + _root(squares) for run, squares in zip(found, up, strict=True))
    if device.temperature_c < COLDEST_KNOWN_C:
        margin_h, low = (*margin_h, ("deep cold", low)), 0.0
    notes += notes_of(cell, device, (stop, stop_v), expected, gathered * rate_c)
    return Runtime(expected, low, max(high, expected), basis, stop, tuple(notes), rate_c * ah, margin_h)


def _mean(found: list[March], capacity_ah: float) -> tuple[float, float]:
    """(expected h, mean rate in multiples of the capacity per hour) over the curves."""
    expected = sum(r.hours for r in found) / len(found)
    if not math.isfinite(expected):
        raise DrawsNothing
    # Charge over time, not the load's nominal: lamps and converters change their current as the voltage falls.
    charge_ah = sum(r.charge_ah for r in found) / len(found)
    return expected, charge_ah / max(expected, 1e-9) / capacity_ah


def _from_curves(cell: RunCell) -> Build:
    curves, full_v = known_curves(cell.chemistry), cell.full_voltage_v
    test_a = cell.capacity_current_a or TEST_RATE_C * cell.capacity.value

    def build(case: Assumed[float]) -> tuple[SourceModel, ...]:
        models = []
        for curve in curves:
            # A capacity without a stated cut-off is taken as the whole window of its chemistry.
            window_v = curve.volts[0] if cell.capacity_cutoff_v is None else cell.capacity_cutoff_v
            model = curve_source(
                curve, case.capacity_ah, case.steady_ohm, case.lag_h, test_a=test_a, test_cutoff_v=window_v
            )
            missing = 0.0 if full_v is None else 1.0 - curve.state_of_charge(full_v)
            models.append(_prepared(model, case, missing))
        return tuple(models)

    return build


def _from_trace(trace: OwnTrace, cell: RunCell, resisting: Resisting) -> Build:
    full_v = cell.full_voltage_v
    curves = () if full_v is None else known_curves(cell.chemistry)
    # The trace may have been taken in the cold: it is freed of the resistance that the cell had there.
    resistance_then = resisting.ratio(trace.temperature_c).expected / resisting.ratio(REFERENCE_C).expected
    lag_then = lag_ratio(trace.temperature_c).expected

    def build(case: Assumed[float]) -> tuple[SourceModel, ...]:
        model = trace_source(trace, case.steady_ohm * resistance_then, case.lag_h * lag_then)
        model = replace(model, draw_share=1.0 / max(1.0, resistance_then))
        warm = scaled(model, case.capacity_ah / cell.capacity.value, 1.0)
        # No set is known to be the cell's own, so the one that leaves most charge missing speaks: the cautious side.
        missing = max((1.0 - c.state_of_charge(full_v or c.volts[-1]) for c in curves), default=0.0)
        return (_prepared(warm, case, missing),)

    return build


def _prepared(model: SourceModel, case: Assumed[float], missing: float) -> SourceModel:
    ready = scaled(model, case.capacity_ratio, case.resistance_ratio, case.lag_ratio)
    # Missing charge is a share of what the cell holds now, after cold and wear have shrunk it.
    return started_at(ready, missing * ready.x_ah[-1])


def _moved(doubt: str, cases: dict[str, Assumed[float]], pack: _Pack, expected: list[March]) -> Pair | None:
    """The runs with one doubt to either side; None when it does not matter here."""
    sides = [cases[doubt + sign] for sign in "-+"]
    if all(side == cases["expected"] for side in sides):
        return None
    worse, better = (expected if side == cases["expected"] else pack.runs(side) for side in sides)
    return worse, better


def _squares(k: int, run: March, moved: Mapping[str, Pair], way: float, share: float) -> dict[str, float]:
    """What each doubt moves the run of curve `k` down (-1) or up (1), in h, squared.

    Either side of a doubt may be the shorter one: on an own trace at more current than the load's, a lower
    resistance is. `share` of the run time is the model's own.
    """
    # A doubt whose two runs are both longer adds nothing to the low end, and never takes from it.
    found = {
        doubt: max(0.0, *(way * (side[k].hours - run.hours) for side in pair)) ** 2
        for doubt, pair in moved.items()
    }
    return {**found, "model": (share * run.hours) ** 2}


def _root(squares: Mapping[str, float]) -> float:
    return math.sqrt(math.fsum(squares.values()))


def _low_end(
    expected_h: float, found: list[March], moved: Mapping[str, Pair], share: float
) -> tuple[float, tuple[tuple[str, float], ...]]:
    """(the low end in h, the parts of what lies between it and the expected)."""
    down = [_squares(k, run, moved, -1.0, share) for k, run in enumerate(found)]
    # The low end takes the worst published set, because nobody knows which one this cell is like.
    lows = [run.hours - _root(squares) for run, squares in zip(found, down, strict=True)]
    worst = lows.index(min(lows))
    low_h = min(expected_h, max(0.0, lows[worst]))
    return low_h, _parts(expected_h - low_h, expected_h - found[worst].hours, down[worst])


def _parts(whole_h: float, curves_h: float, squares: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """The margin between expected and low in parts that add up to it, in h: the worst curve set, then each doubt.

    Doubts add as squares; each has the share of its square.
    """
    first_h = min(whole_h, max(0.0, curves_h))
    total = math.fsum(squares.values()) or 1.0
    rest_h = whole_h - first_h
    return (("curves", first_h), *((doubt, rest_h * square / total) for doubt, square in squares.items()))
