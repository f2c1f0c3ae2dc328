"""The same run times as `runtime.estimate`, for many cells under one load at once (numpy).

Cells with an own trace, and loads with a profile, are answered one by one by `estimate`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import OcvCurve
from straycell.physics.loads import Load, Profile
from straycell.physics.many.cases import cases_of, known_of, warmest_of
from straycell.physics.many.draw import Floats, drawn
from straycell.physics.many.march import march_many
from straycell.physics.own_pulses import ONE_PULSE, Taken, counted_c, is_quick
from straycell.physics.polarisation import shape
from straycell.physics.run_time.answers import (
    Runtime,
    dark_voltage,
    first_stop,
    known_curves,
    margin_share,
    notes_of,
)
from straycell.physics.run_time.doubts import (
    ASSUMED_NOTE,
    Assumed,
    Sets,
)
from straycell.physics.run_time.runtime import TEST_RATE_C, OwnTrace, estimate
from straycell.physics.shipped import shipped
from straycell.physics.sources import share_source, started_at
from straycell.physics.temperature import (
    COLDEST_KNOWN_C,
    REFERENCE_C,
    check_temperature,
)
from straycell.quantities import Measured

BESIDE = 4096
"""Figures in one array: numpy's calls cost more than few figures, and many leave the processor's cache."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One cell as `estimate` takes it: capacity in Ah, resistance in ohm, how they were taken, its own cut-off.

    `dip_v` (V) lifts the device's and the protection's cut-off for this cell: how far a peak pulls it down.
    """

    chemistry: Chemistry
    capacity: Measured
    resistance: Measured | None = None
    own_trace: OwnTrace | None = None
    cell_cutoff_v: float | None = None
    full_voltage_v: float | None = None
    capacity_current_a: float | None = None
    capacity_cutoff_v: float | None = None
    taken: Taken = ONE_PULSE
    dip_v: float = 0.0


@dataclass(frozen=True, slots=True)
class _Question:
    """What all cells are asked; for each cell which cut-off comes first, and `stop_v`, its voltage in V a cell."""

    load: Load
    stops: tuple[str, ...]
    stop_v: Floats
    temperature_c: float
    series: int
    parallel: int


def estimate_many(
    cells: Sequence[Candidate],
    load: Load,
    *,
    cutoff_v: float,
    protection_cutoff_v: float | None = None,
    temperature_c: float = 25.0,
    series: int = 1,
    parallel: int = 1,
) -> list[Runtime]:
    """One Runtime a cell, in order, as if the whole pack were of cells like it. Raises BadData like `estimate`."""
    check_temperature(temperature_c)
    answers: list[Runtime | None] = [None] * len(cells)
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, cell in enumerate(cells):
        if isinstance(load, Profile) or not _plain(cell) or _alone(cell, temperature_c):
            answers[index] = _single(
                cell, load, cutoff_v, protection_cutoff_v, temperature_c, (series, parallel)
            )
        else:
            # Numpy works only across cells that share curve, cut-off and start.
            kind = (cell.chemistry, cell.taken.seconds, cell.capacity_cutoff_v)
            key = (*kind, cell.cell_cutoff_v, cell.full_voltage_v, cell.resistance is None)
            groups.setdefault(key, []).append(index)
    for members in groups.values():
        alike = [cells[i] for i in members]
        dark_v = dark_voltage(load, series)
        stops, stops_v = _first_stops(alike, cutoff_v / series, protection_cutoff_v, dark_v)
        question = _Question(load, stops, stops_v, temperature_c, series, parallel)
        for index, answer in zip(members, _group(alike, question), strict=True):
            answers[index] = answer
    return [answer for answer in answers if answer is not None]


def _first_stops(
    cells: Sequence[Candidate], cutoff_v: float, protection_v: float | None, dark_v: float | None
) -> tuple[tuple[str, ...], Floats]:
    """Cells of one cut-off: which comes first for each, and its voltage in V."""
    found: dict[float, tuple[str, float]] = {}
    for cell in cells:
        if cell.dip_v not in found:
            lifted_v = None if protection_v is None else protection_v + cell.dip_v
            found[cell.dip_v] = first_stop(cutoff_v + cell.dip_v, cell.cell_cutoff_v, lifted_v, dark_v)
    pairs = [found[cell.dip_v] for cell in cells]
    return tuple(stop for stop, _ in pairs), np.array([volts for _, volts in pairs])


def _alone(cell: Candidate, temperature_c: float) -> bool:
    """Whether the cell's own trace or pulses say what no group shares."""
    if cell.own_trace is not None or counted_c(cell.taken.temperature_c) != REFERENCE_C:
        return True
    if cell.resistance is None or len(cell.taken.pulses) < 2:
        return False
    seen = cell.taken.resisting(cell.resistance).seen(temperature_c)
    return seen is not None or is_quick(cell.capacity.value, cell.taken.pulses)


def _plain(cell: Candidate) -> bool:
    """Whether the figures are sound enough for arrays; `estimate` words the fault of one that is not."""
    ohm = cell.resistance
    good = np.isfinite(cell.capacity.value) and cell.capacity.value > 0 and cell.capacity.u >= 0
    return bool(good and (ohm is None or (np.isfinite(ohm.value) and ohm.value >= 0)))


def _single(
    cell: Candidate,
    load: Load,
    cutoff_v: float,
    protection_v: float | None,
    temperature_c: float,
    pack: tuple[int, int],
) -> Runtime:
    return estimate(
        cell.chemistry,
        cell.capacity,
        cell.resistance,
        load,
        cutoff_v=cutoff_v + cell.dip_v * pack[0],
        cell_cutoff_v=cell.cell_cutoff_v,
        protection_cutoff_v=None if protection_v is None else protection_v + cell.dip_v,
        temperature_c=temperature_c,
        full_voltage_v=cell.full_voltage_v,
        series=pack[0],
        parallel=pack[1],
        own_trace=cell.own_trace,
        capacity_current_a=cell.capacity_current_a,
        capacity_cutoff_v=cell.capacity_cutoff_v,
        taken=cell.taken,
    )


def _group(cells: Sequence[Candidate], question: _Question) -> list[Runtime]:
    """Cells of one chemistry, whose readings were taken in the same way."""
    first = cells[0]
    curves = known_curves(first.chemistry)
    ah = np.array([c.capacity.value for c in cells])
    test_a = np.array([c.capacity_current_a or TEST_RATE_C * c.capacity.value for c in cells])
    known = known_of([c.capacity for c in cells], [c.resistance for c in cells])
    sets = Sets.of(first.chemistry, first.taken.seconds, question.temperature_c, REFERENCE_C)
    cases = cases_of(known, sets, question.temperature_c)
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
        raise BadData(
            "it draws nothing at this pack's voltage",
            "look at the load's supply voltage once more",
            of="load",
        )
    charge = sum((q for _, q in found), np.zeros_like(ah)) / len(curves)
    mean_a = charge / np.maximum(expected, 1e-9)
    cases["stiff+"] = warmest_of(
        known, sets, usual, question.temperature_c, (mean_a, expected), question.series * question.parallel
    )
    margin = shipped("margin")["chemistry_curve"]
    # Flat curves turn a small offset of voltage into much time (data/margin.toml).
    moved = {"volts-": (usual, margin["off_v"]), "volts+": (usual, -margin["off_up_v"])}
    runs |= ran({name: (case, 0.0) for name, case in cases.items()} | moved)
    rate_c = mean_a / ah
    shares = [margin_share("chemistry curve", c, question.temperature_c) for c in rate_c.tolist()]
    shorter, longer = np.array(shares).T
    doubts = sorted({name[:-1] for _, name in runs if name != "expected"})
    lows, highs = [], []
    for curve in curves:
        hours = runs[curve.name, "expected"][0]
        down, up = (shorter * hours) ** 2, (longer * hours) ** 2
        for doubt in doubts:
            sides = [
                runs[curve.name, doubt + sign][0] - hours
                for sign in "-+"
                if (curve.name, doubt + sign) in runs
            ]
            # A doubt may shorten the run to either side, so the worse of its two runs counts.
            down += np.maximum(0.0, -np.minimum.reduce(sides)) ** 2
            up += np.maximum(0.0, np.maximum.reduce(sides)) ** 2
        lows.append(hours - np.sqrt(down))
        highs.append(hours + np.sqrt(up))
    low = np.clip(np.minimum.reduce(lows), 0.0, expected)
    high = np.maximum(np.maximum.reduce(highs), expected)
    if question.temperature_c < COLDEST_KNOWN_C:
        low = np.zeros_like(low)
    return _worded(cells, question, expected, low, high, rate_c)


def _worded(
    cells: Sequence[Candidate],
    question: _Question,
    expected: Floats,
    low: Floats,
    high: Floats,
    rate_c: Floats,
) -> list[Runtime]:
    lead = [ASSUMED_NOTE] if cells[0].resistance is None else []
    chemistry, at_c = cells[0].chemistry, question.temperature_c
    figures = (expected.tolist(), low.tolist(), high.tolist(), rate_c.tolist(), question.stop_v.tolist())
    answers = []
    for cell, e, lo, hi, rate, stop_v, stop in zip(cells, *figures, question.stops, strict=True):
        notes = notes_of(chemistry, e, rate, at_c, (stop, stop_v), None)
        mean_a = rate * cell.capacity.value
        answers.append(Runtime(e, lo, hi, "chemistry curve", stop, (*lead, *notes), mean_a))
    return answers


def _runs(
    curve: OcvCurve,
    choices: Mapping[str, tuple[Assumed[Floats], float]],
    test_a: Floats,
    first: Candidate,
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
    first: Candidate,
    question: _Question,
    stop_v: Floats,
) -> tuple[Floats, Floats]:
    """Hours and Ah of every cell on one curve: sources.curve_source and march.march, cell beside cell."""
    test_v = curve.volts[0] if first.capacity_cutoff_v is None else first.capacity_cutoff_v
    left = np.interp(test_v + test_a * case.steady_ohm * shape(0.05), curve.volts, curve.soc)
    full_ah = (case.capacity_ah + test_a * case.lag_h) / (1.0 - np.minimum(left, 0.5)) * case.capacity_ratio
    steady_ohm = case.steady_ohm * case.resistance_ratio
    model = share_source(curve)
    if first.full_voltage_v is not None:
        missing = 1.0 - curve.state_of_charge(first.full_voltage_v)
        model = started_at(model, missing * model.x_ah[-1])
    # A cold cell behind a lamp draws less and would seem to last longer: the cold must never count as a gain.
    share = 1.0 / np.maximum(1.0, case.resistance_ratio)
    draw = drawn(question.load, question.series, question.parallel, share)
    nodes = list(zip(model.x_ah, model.emf_v, model.inner_ohm, strict=True))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        # As for one cell: below the cut-off a full cell starts nothing.
        least_v = np.tile(question.stop_v, len(stop_v) // len(question.stop_v))
        end_v = np.where(least_v >= model.emf_v[0], np.maximum(stop_v, least_v), stop_v)
        return march_many(nodes, full_ah, steady_ohm, case.lag_h * case.lag_ratio, draw, end_v)
