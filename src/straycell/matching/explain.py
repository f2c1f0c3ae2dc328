"""The words around a match: what an unserved project is missing, what the maker of a served one must know."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import partial

from straycell.acceptance import Outcome
from straycell.cells import CellFacts, Chemistry, Stage
from straycell.matching.pack.kinds import MOST_AH, least_fitting
from straycell.matching.screen import (
    SHUNT_FROM_A,
    Candidate,
    Screen,
    Screened,
    UseLimits,
    Why,
    ask_sensing,
    charger,
    screen_candidate,
)
from straycell.matching.words import finite, hours
from straycell.projects import Project
from straycell.quantities import Measured, amp_hours, ohms

NO_PROTECTION = (
    "no protection is fitted: plan with it, but the build cannot be finished before over-charge, "
    "over-discharge and over-current protection is in the device"
)
PLAIN = {
    "stage": "not free",
    "outcome": "on hold or discarded",
    "verdict": "verdict run out",
    "chemistry": "of another chemistry",
    "form": "of another form",
    "temperature": "not for this temperature",
    "voltage": "too low in voltage",
    "capacity": "without a measured capacity",
    "current": "too small for the current",
    "peak-current": "too small for the peak",
    "protection-trip": "stopped by the protection's trip current",
    "charger-voltage": "endangered by the charger's voltage",
    "charger-supply": "endangered by the charger's supply",
    "charger-current": "charged too hard",
    "charge-temperature": "charged too cold or too hot",
    "protection": "without protection cell by cell",
    "runtime": "running too short",
    "voltage-drop": "dropping too far at the peak",
}


def kept(screened: Screened, need_h: float) -> Why:
    """Why a cell that would do was not taken."""
    candidate, runtime = screened.candidate, screened.runtime
    assert runtime is not None and candidate.capacity is not None
    ran, _ = hours(runtime.low_h, need_h)
    held = f"{candidate.outcome.word}, {amp_hours(candidate.capacity.value)}"
    text = f"would do ({held}, runs {ran} at the low end): kept for a more demanding project"
    return Why(candidate.code, "kept", True, text, finite(runtime.low_h), need_h, "h")


def nearest_of(failing: Sequence[Screened]) -> Why | None:
    """The reason of the cell that came nearest; None when no cell got past stage, outcome and verdict."""
    return failing[0].last if failing and failing[0].steps > 3 else None


def nearest_first(screened: Screened) -> tuple[int, float, str]:
    """In which order refused cells are listed: who came furthest, then who lacks least."""
    return -screened.steps, screened.last.relative_shortfall, screened.candidate.code


def seen_of(fitting: Sequence[Screened], failing: Sequence[Screened], *, joined: bool) -> tuple[str, ...]:
    """What there is on the shelf: how many cells fail where, and the nearest of them (`failing` begins with it)."""
    if not failing:
        return () if fitting else ("there is no cell to choose from",)
    counts = Counter(s.last.test for s in failing)
    listed = ", ".join(f"{number} {PLAIN[test]}" for test, number in counts.most_common())
    would = f"{len(fitting)} would do, " if joined else ""
    near = nearest_of(failing)
    lines = [f"of {len(failing) + len(fitting)} cells: {would}{listed}"]
    if near is not None:
        lines.append(f"nearest: {near.code}: {near.text}" + (f"; {near.remedy}" if near.remedy else ""))
    return tuple(lines)


def wanted_cell(screen: Screen, failing: Sequence[Screened]) -> str:
    """The one cell that would do: its least capacity by chemistry, or what rules out every cell."""
    pack = screen.demand.project.pack
    measured = [s.candidate for s in failing if s.candidate.capacity and s.candidate.capacity.low > 0]
    like = measured[0] if measured else None
    needs = {c: least_fitting(screen, c, partial(_ideal, screen, c, like=like)) for c in pack.chemistries}
    lower = ""
    # When no capacity would do, resistance is the reason: the question is asked again without it.
    if like is not None and like.resistance is not None and not any(map(math.isfinite, needs.values())):
        needs = {c: least_fitting(screen, c, partial(_ideal, screen, c, like=None)) for c in pack.chemistries}
        lower = f" and less resistance than the {ohms(like.resistance.value)} of {like.code}"
    possible = {c: ah for c, ah in needs.items() if math.isfinite(ah)}
    if not possible:
        last = screen_candidate(screen, _ideal(screen, pack.chemistries[0], MOST_AH, None)).last
        return f"no single cell can serve it: {last.text}" + (f"; {last.remedy}" if last.remedy else "")
    return f"missing: 1 free cell, solo or pack, of at least {_by_capacity(possible)}{lower}"


def _by_capacity(needs: Mapping[Chemistry, float]) -> str:
    """`1900 mAh (nmc, lco) or 2100 mAh (lfp)`."""
    steps = sorted(set(needs.values()))
    return " or ".join(f"{amp_hours(ah)} ({', '.join(c for c in needs if needs[c] == ah)})" for ah in steps)


def _ideal(screen: Screen, chemistry: Chemistry, capacity_ah: float, like: Candidate | None) -> Candidate:
    """A solo cell that fits in all but capacity, measured as well as `like` and with its resistance."""
    # The same share of uncertainty as the best cell at hand: an ideal meter would promise too small a cell.
    share = like.capacity.u / like.capacity.value if like and like.capacity else 0.0
    facts = CellFacts(chemistry=chemistry, form=screen.demand.project.pack.forms[0])
    resistance = like.resistance if like else None
    method = like.resistance_method if like else None
    figure = Measured(capacity_ah, share * capacity_ah)
    return Candidate(
        "", facts, Stage.SHELVED, Outcome.SOLO, figure, False, resistance or Measured(0.0, 0.0), method
    )


def warnings_for(project: Project, limits: UseLimits) -> tuple[str, ...]:
    """What must be said aloud of a project, whatever cells it gets."""
    board = project.protection
    lacking = [] if board.fitted else [NO_PROTECTION]
    # A figure that only boards with a sense resistor reach: counted as transistors it would trip far too early.
    if board.trip_current_a is not None and board.trip_current_a >= SHUNT_FROM_A:
        lacking += [ask_sensing(board)] if ask_sensing(board) else []
    return tuple(lacking + charger.charge_notes(project, limits) + charger.supply_notes(project))
