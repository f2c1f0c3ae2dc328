"""The same run times as `runtime.estimate`, for many cells under one load at once (numpy), cell beside cell.

Cells with an own trace, and loads with a profile, are answered one by one by `estimate`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from straycell.physics.curves import OcvCurve
from straycell.physics.derating import (
    COLDEST_KNOWN_C,
    REFERENCE_C,
    Spread,
    assumed_resistance,
    capacity_ratio,
    lag_ratio,
    own_heat_k,
    resistance_ratio,
    shape,
)
from straycell.physics.loads import Profile
from straycell.physics.many.draw import Floats, drawn
from straycell.physics.many.march import march_many
from straycell.physics.own_pulses import counted_c, is_quick
from straycell.physics.run_time.asked import (
    DrawsNothing,
    Runtime,
    known_curves,
    margin_share,
    notes_of,
)
from straycell.physics.run_time.doubts import (
    ASSUMED_NOTE,
    Assumed,
    Known,
    Sets,
    known_resistance,
    set_out,
    stiffened,
)
from straycell.physics.run_time.runtime import TEST_RATE_C, RunCell, RunDevice, estimate
from straycell.physics.shipped import shipped
from straycell.physics.sources import share_source, started_at
from straycell.quantities import Measured

BESIDE = 4096
"""Figures in one array: numpy's calls cost more than few figures, and many leave the processor's cache."""


@dataclass(frozen=True, slots=True)
class _Question:
    """What cells of one kind are asked; `stop_v` is the cut-off that comes first for each, in V a cell."""

    device: RunDevice
    stop_v: Floats


def estimate_many(cells: Sequence[RunCell], device: RunDevice) -> list[Runtime]:
    """One Runtime a cell, in order, as if the whole pack were of cells like it. Raises BadData like `estimate`."""
    device.check()
    answers: list[Runtime | None] = [None] * len(cells)
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, cell in enumerate(cells):
        cell.check()
        if isinstance(device.load, Profile) or _alone(cell, device.temperature_c):
            answers[index] = estimate(cell, device)
        else:
            # Numpy works only across cells that share curve, cut-off and start.
            kind = (cell.chemistry, cell.taken.seconds, cell.capacity_cutoff_v)
            key = (*kind, cell.cell_cutoff_v, cell.full_voltage_v, cell.resistance is None)
            groups.setdefault(key, []).append(index)
    for members in groups.values():
        for index, answer in zip(members, _group([cells[i] for i in members], device), strict=True):
            answers[index] = answer
    return [answer for answer in answers if answer is not None]


def _alone(cell: RunCell, temperature_c: float) -> bool:
    """Whether the cell's own trace or pulses say what no group shares."""
    if cell.own_trace is not None or counted_c(cell.taken.temperature_c) != REFERENCE_C:
        return True
    if cell.resistance is None or len(cell.taken.pulses) < 2:
        return False
    seen = cell.taken.resisting(cell.resistance).seen(temperature_c)
    return seen is not None or is_quick(cell.capacity.value, cell.taken.pulses)


def _group(cells: Sequence[RunCell], device: RunDevice) -> list[Runtime]:
    """Cells of one chemistry, whose readings were taken in the same way."""
    first = cells[0]
    curves = known_curves(first.chemistry)
    stops = [device.first_stop(cell) for cell in cells]
    question = _Question(device, np.array([volts for _, volts in stops]))
    ah = np.array([c.capacity.value for c in cells])
    test_a = np.array([c.capacity_current_a or TEST_RATE_C * c.capacity.value for c in cells])
    known = known_of([c.capacity for c in cells], [c.resistance for c in cells])
    sets = Sets.of(first.chemistry, first.taken.seconds, device.temperature_c, REFERENCE_C)
    cases = cases_of(known, sets, device.temperature_c)
    usual = cases.pop("expected")

    def ran(choices: Mapping[str, tuple[Assumed[Floats], float]]) -> dict[tuple[str, str], Any]:
        return {
            (curve.name, name): run
            for curve in curves
            for name, run in _runs(curve, choices, test_a, first, question).items()
        }

    runs = ran({"expected": (usual, 0.0)})
    found = [runs[c.name, "expected"] for c in curves]
    expected = sum((hours for hours, _ in found), np.zeros_like(ah)) / len(curves)
    if not np.isfinite(expected).all():
        raise DrawsNothing
    charge = sum((q for _, q in found), np.zeros_like(ah)) / len(curves)
    mean_a = charge / np.maximum(expected, 1e-9)
    cases["stiff+"] = warmest_of(
        known, sets, usual, device.temperature_c, (mean_a, expected), device.series * device.parallel
    )
    margin = shipped("margin")["chemistry_curve"]
    # Flat curves turn a small offset of voltage into much time (data/margin.toml).
    moved = {"volts-": (usual, margin["off_v"]), "volts+": (usual, -margin["off_up_v"])}
    runs |= ran({name: (case, 0.0) for name, case in cases.items()} | moved)
    rate_c = mean_a / ah
    shares = np.array([margin_share("chemistry curve", c, device.temperature_c) for c in rate_c.tolist()]).T
    lows, highs = zip(*(_ends(curve.name, runs, shares) for curve in curves), strict=True)
    low = np.clip(np.minimum.reduce(lows), 0.0, expected)
    high = np.maximum(np.maximum.reduce(highs), expected)
    if device.temperature_c < COLDEST_KNOWN_C:
        low = np.zeros_like(low)
    figures = zip(*(f.tolist() for f in (expected, low, high, rate_c)), strict=True)
    return [
        _worded(cell, device, stop, *four) for cell, stop, four in zip(cells, stops, figures, strict=True)
    ]


def _ends(curve: str, runs: Mapping[tuple[str, str], Any], shares: Floats) -> tuple[Floats, Floats]:
    """The low and the high end in h on one curve; `shares` of the run time, shorter and longer, are the model's own."""
    hours = runs[curve, "expected"][0]
    down, up = (shares * hours) ** 2
    for doubt in sorted({name[:-1] for _, name in runs if name != "expected"}):
        sides = [runs[curve, doubt + sign][0] - hours for sign in "-+" if (curve, doubt + sign) in runs]
        # A doubt may shorten the run to either side, so the worse of its two runs counts.
        down += np.maximum(0.0, -np.minimum.reduce(sides)) ** 2
        up += np.maximum(0.0, np.maximum.reduce(sides)) ** 2
    return hours - np.sqrt(down), hours + np.sqrt(up)


def _worded(
    cell: RunCell,
    device: RunDevice,
    stop: tuple[str, float],
    expected_h: float,
    low_h: float,
    high_h: float,
    rate_c: float,
) -> Runtime:
    lead = [ASSUMED_NOTE] if cell.resistance is None else []
    notes = (*lead, *notes_of(cell, device, stop, expected_h, rate_c))
    return Runtime(expected_h, low_h, high_h, "chemistry curve", stop[0], notes, rate_c * cell.capacity.value)


def _runs(
    curve: OcvCurve,
    choices: Mapping[str, tuple[Assumed[Floats], float]],
    test_a: Floats,
    first: RunCell,
    question: _Question,
) -> dict[str, tuple[Floats, Floats]]:
    """`_run` of each choice and the V by which it moves the cut-off; of few cells several choices beside each other."""
    names = list(choices)
    found: dict[str, tuple[Floats, Floats]] = {}
    at_once = max(1, BESIDE // len(test_a))
    for k in range(0, len(names), at_once):
        some = [choices[name] for name in names[k : k + at_once]]
        cases = _stacked([case for case, _ in some], len(test_a))
        stop_v = np.concatenate([question.stop_v + off_v for _, off_v in some])
        hours, charge = _run(curve, cases, np.tile(test_a, len(some)), first, question, stop_v)
        parts = zip(np.split(hours, len(some)), np.split(charge, len(some)), strict=True)
        found.update(zip(names[k : k + at_once], parts, strict=True))
    return found


def _stacked(cases: Sequence[Assumed[Floats]], count: int) -> Assumed[Floats]:
    """Cases of `count` cells as one of many more."""
    columns = ([np.broadcast_to(getattr(c, f.name), count) for c in cases] for f in fields(Assumed))
    return Assumed(*(np.concatenate(column) for column in columns))


def _run(
    curve: OcvCurve,
    case: Assumed[Floats],
    test_a: Floats,
    first: RunCell,
    question: _Question,
    stop_v: Floats,
) -> tuple[Floats, Floats]:
    """Hours and Ah of every cell on one curve: sources.curve_source and march.march, cell beside cell."""
    test_v = curve.volts[0] if first.capacity_cutoff_v is None else first.capacity_cutoff_v
    left = np.interp(test_v + test_a * case.steady_ohm * shape(0.05), curve.volts, curve.soc)
    full_ah = (case.capacity_ah + test_a * case.lag_h) / (1.0 - np.minimum(left, 0.5)) * case.capacity_ratio
    steady_ohm = case.steady_ohm * case.resistance_ratio
    model, device = share_source(curve), question.device
    if first.full_voltage_v is not None:
        missing = 1.0 - curve.state_of_charge(first.full_voltage_v)
        model = started_at(model, missing * model.x_ah[-1])
    # A cold cell behind a lamp draws less and would seem to last longer: the cold must never count as a gain.
    share = 1.0 / np.maximum(1.0, case.resistance_ratio)
    draw = drawn(device.load, device.series, device.parallel, share)
    nodes = list(zip(model.x_ah, model.emf_v, model.inner_ohm, strict=True))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        # As for one cell: below the cut-off a full cell starts nothing.
        least_v = np.tile(question.stop_v, len(stop_v) // len(question.stop_v))
        end_v = np.where(least_v >= model.emf_v[0], np.maximum(stop_v, least_v), stop_v)
        return march_many(nodes, full_ah, steady_ohm, case.lag_h * case.lag_ratio, draw, end_v)


def known_of(capacities: Sequence[Measured], resistances: Sequence[Measured | None]) -> Known[Floats]:
    """What was measured of each cell, in Ah and ohm."""
    figures = [known_resistance(*pair)[0] for pair in zip(capacities, resistances, strict=True)]
    ohm, u_ohm = (np.array([getattr(f, part) for f in figures]) for part in ("value", "u"))
    sound = np.minimum(ohm, np.array([assumed_resistance(c.value)[0] for c in capacities]))
    ah, u_ah = (np.array([getattr(c, part) for c in capacities]) for part in ("value", "u"))
    return Known(ah, u_ah, ohm, u_ohm, sound)


def _stiff(
    known: Known[Floats], sets: Sets, temperatures_c: Sequence[float]
) -> tuple[Floats, Floats, Floats]:
    """The ratio of the whole resistance of each cell at its own temperature: expected, low, high."""
    cold = _spread(resistance_ratio, temperatures_c)
    return stiffened(cold, known.sound_ohm, known.pulse_ohm, known.steady_ohm(sets.steady))


def cases_of(known: Known[Floats], sets: Sets, temperature_c: float) -> dict[str, Assumed[Floats]]:
    """The cases of doubts.py; one that equals the expected case is left out."""
    cases = set_out(known, sets, _stiff(known, sets, [temperature_c]), np.maximum)
    expected = cases.pop("expected")
    return {"expected": expected} | {name: c for name, c in cases.items() if not _alike(c, expected)}


def warmest_of(
    known: Known[Floats],
    sets: Sets,
    case: Assumed[Floats],
    temperature_c: float,
    runs: tuple[Floats, Floats],
    pack: int,
) -> Assumed[Floats]:
    """doubts.warmest, cell beside cell; `runs` hold mean current in A and hours, `pack` is the number of its cells."""
    loss_w = runs[0] ** 2 * case.steady_ohm * case.resistance_ratio
    each = zip(loss_w.tolist(), runs[1].tolist(), known.capacity_ah.tolist(), strict=True)
    hot_c = [temperature_c + own_heat_k(*figures, pack) for figures in each]
    return replace(
        case,
        capacity_ratio=_spread(capacity_ratio, hot_c).high,
        resistance_ratio=_stiff(known, sets, hot_c)[1],
        lag_ratio=_spread(lag_ratio, hot_c).low,
    )


def _spread(ratio: Callable[[float], Spread], temperatures_c: Sequence[float]) -> Any:
    """A Spread of arrays: one figure a temperature."""
    ends: list[Any] = [np.array(end) for end in zip(*map(ratio, temperatures_c), strict=True)]
    return Spread(*ends)


def _alike(one: Assumed[Floats], other: Assumed[Floats]) -> bool:
    return all(np.array_equal(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
