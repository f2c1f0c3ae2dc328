"""Curves from the store: how a cell keeps its charge, and what came out of it, each beside its siblings."""

from datetime import datetime

from straycell.acceptance import Case, Evidence, RuleSet
from straycell.acceptance.checks.pairs import windows
from straycell.bench.context import Bench, Reader
from straycell.bench.file_trace import again
from straycell.bench.wording.sheet_words import kind_words
from straycell.cells import Cell
from straycell.physics.self_discharge import voltages_after
from straycell.pictures.curves import Cone, Curve, Curves, Role
from straycell.pictures.runs import run_curves
from straycell.quantities import count_of
from straycell.readings import Reading
from straycell.typed import day

MOST_RUNS = 12
"""Siblings whose runs are drawn: each file is read again, and more curves than these hide each other."""
LEAST_DAYS = 30.0
_STEPS = 30


def siblings_of(reader: Reader, cell: Cell) -> list[str]:
    """The other cells of its pack, by code; none for a cell that came out of no recorded object."""
    # Without a recorded origin, equal markings alone make no siblings.
    if cell.teardown is None:
        return []
    alike = (each for each in reader.cells() if (each.teardown, each.pack) == (cell.teardown, cell.pack))
    return [each.code for each in alike if each.code != cell.code]


def rest_curves_of(bench: Bench, code: str) -> Curves:
    """Rest voltages since the last full charge within what the limits of self-discharge leave open, siblings faint.

    Raises BadData for a code that is not there.
    """
    with bench.reading() as reader:
        cell = reader.cell(reader.find_code(code))
        evidences = reader.evidences([cell.code, *siblings_of(reader, cell)])
    return rest_curves(cell.code, evidences, bench.rules, bench.now)


def rest_curves(code: str, evidences: dict[str, Evidence], rules: RuleSet, now: datetime) -> Curves:
    """The same from the evidence of a cell and its siblings."""
    cases = {each: Case(found, found.facts, rules, now) for each, found in evidences.items()}
    title = f"{code}: rest voltage since its last full charge"
    unit = "days after the full charge"
    charged, kept = _last_window(cases[code])
    if charged is None or not kept:
        empty = "no rest voltage after a full charge is on record; next: charge it full, and a day later reading add"
        return Curves(title, unit, "V", (), empty=empty)
    points = _points(charged, kept)
    faint = [
        Curve("", _points(at, found), Role.FAINT, marked=True)
        for other, case in cases.items()
        if other != code and (window := _last_window(case))[1] and (at := window[0]) and (found := window[1])
    ]
    label = count_of(len(faint), "sibling")
    curves = [Curve(label, each.points, Role.FAINT, marked=True) for each in faint]
    curves.append(Curve(code, points, marked=True))
    until = max(points[0][0] + LEAST_DAYS, points[-1][0], *(x for each in curves for x, _ in each.points))
    return Curves(title, unit, "V", tuple(curves), tuple(_cones(cases[code], points[0], until)))


def _last_window(case: Case) -> tuple[datetime | None, list[Reading]]:
    """The last full charge with rest voltages after it, and these."""
    # The last one with readings: a charge of this morning has nothing to show yet.
    for charge, found in reversed(windows(case)):
        if kept := [reading for reading in found if reading.value is not None]:
            return charge.at, kept
    return None, []


def _points(charged: datetime, kept: list[Reading]) -> tuple[tuple[float, float], ...]:
    return tuple(((r.at - charged).total_seconds() / 86400.0, r.value) for r in kept if r.value is not None)


def _cones(case: Case, first: tuple[float, float], until: float) -> list[Cone]:
    """From the first rest voltage on: what `pack` allows by every published curve, then all that is not out of use."""
    pack, most = case.rules.figure("self-discharge", "pack"), case.figure("self-discharge-discard")
    inner: list[tuple[float, float, float]] = []
    outer: list[tuple[float, float, float]] = []
    for step in range(_STEPS + 1):
        days = (until - first[0]) * step / _STEPS
        kept = voltages_after(case.facts.chemistry, first[1], pack * days / 30.0)
        left = voltages_after(case.facts.chemistry, first[1], most * days / 30.0)
        if kept is None or left is None:
            return []
        # The strictest set bounds what is surely within, the mildest what is not surely beyond.
        inner.append((first[0] + days, kept[1], first[1]))
        outer.append((first[0] + days, min(left[0], kept[1]), kept[1]))
    return [
        Cone(f"loses at most {pack:g} % a month, as for a pack", tuple(inner)),
        Cone(f"may lose up to {most:g} % a month; below, more by every published curve", tuple(outer)),
    ]


def run_curves_of(bench: Bench, number: str) -> Curves:
    """The run of a trace over its mAh, its siblings' latest runs faint, what its rating promises dashed. Raises BadData."""
    with bench.reading() as reader:
        entry = reader.trace(reader.trace_number(number))
        cell = reader.cell(entry.cell)
        others = []
        for code in siblings_of(reader, cell):
            runs = [each for each in reader.traces(code) if each.result["capacity_ah"] is not None]
            others += runs[-1:]
        files = {each.id: reader.trace_file(each.id) for each in (entry, *others[:MOST_RUNS])}
    title = f"{cell.code}  {kind_words(cell.facts)}  {day(entry.at)}"
    siblings = [again(each, files[each.id]) for each in others[:MOST_RUNS]]
    return run_curves(title, again(entry, files[entry.id]), siblings, cell.facts)
