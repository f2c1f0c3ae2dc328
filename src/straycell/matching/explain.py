"""The words around a match: what an unserved project is missing, what the maker of a served one must know."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from straycell.acceptance.reasons import Outcome
from straycell.cells import CellFacts, Chemistry, Stage
from straycell.matching.screen import charger
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.cell_tests import SHUNT_FROM_A, ask_sensing, protection_trip
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.screen.screening import Screen, Screened, screen_candidate
from straycell.matching.words import capacity, finite, hours, ohms
from straycell.physics.protection import check_protection
from straycell.projects import Project
from straycell.quantities import Measured
from straycell.readings import Method

NO_PROTECTION = (
    "no protection is fitted: plan with it, but the build cannot be finished before over-charge, "
    "over-discharge and over-current protection is in the device"
)
PACKS_NOT_SEEN = "more cells in series or parallel might do it: only single cells were looked at, no packs"
# From coin cells to the largest prismatic cells: nothing outside is one cell.
SMALLEST_AH, LARGEST_AH = 1e-3, 400.0
"""Where the search for a sufficient capacity looks."""
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


@dataclass(frozen=True, slots=True)
class Lacks:
    """What an unserved project lacks: the cells that would do, what became of the `stock`, and what else there is to
    try; `open_end` where the first already says that nothing is proven.
    """

    wanted: tuple[str, ...]
    stock: tuple[str, ...] = ()
    more: tuple[str, ...] = ()
    open_end: bool = False


def kept(screened: Screened, need_h: float) -> Why:
    """Why a cell that would do was not taken."""
    candidate, runtime = screened.candidate, screened.runtime
    assert runtime is not None and candidate.capacity is not None
    ran, _ = hours(runtime.low_h, need_h)
    held = f"{candidate.outcome.word}, {capacity(candidate.capacity.value)}"
    text = f"would do ({held}, runs {ran} at the low end): kept for a more demanding project"
    return Why(candidate.code, "kept", True, text, finite(runtime.low_h), need_h, "h")


def nearest_of(failing: Sequence[Screened]) -> Why | None:
    """The reason of the cell that came nearest; None when no cell got past stage, outcome and verdict."""
    return failing[0].last if failing and failing[0].steps > 3 else None


def missing_for(screen: Screen, failing: Sequence[Screened]) -> Lacks:
    """What an unserved project lacks, in plain numbers; `failing` with the nearest cell first."""
    pack = screen.demand.project.pack
    wider = (PACKS_NOT_SEEN,) if pack.series is None or pack.parallel is None else ()
    return Lacks((_wanted(screen, failing),), stock_lines(failing), wider)


def stock_lines(failing: Sequence[Screened], fitting: int = 0) -> tuple[str, ...]:
    """What became of the stock: how many cells failed at what, beside the `fitting` ones, and the nearest."""
    lines = []
    if failing:
        counts = Counter(s.last.test for s in failing)
        listed = [f"{number} {PLAIN[test]}" for test, number in counts.most_common()]
        would = [f"{fitting} would do"] if fitting else []
        lines.append(f"of {len(failing) + fitting} cells: {', '.join((*would, *listed))}")
    elif not fitting:
        lines.append("there is no cell to choose from")
    near = nearest_of(failing)
    if near is not None:
        lines.append(f"nearest: {near.code}: {near.text}" + (f"; {near.remedy}" if near.remedy else ""))
    return tuple(lines)


def _wanted(screen: Screen, failing: Sequence[Screened]) -> str:
    """The cell that would do: its least capacity by chemistry, or what rules out every cell."""
    pack = screen.demand.project.pack
    measured = [s.candidate for s in failing if s.candidate.capacity and s.candidate.capacity.low > 0]
    like = measured[0] if measured else None
    needs = {c: required_capacity(screen, c, like) for c in pack.chemistries}
    lower = ""
    # When no capacity would do, resistance is the reason: the question is asked again without it.
    if like is not None and like.resistance is not None and not any(map(math.isfinite, needs.values())):
        needs = {c: required_capacity(screen, c, None) for c in pack.chemistries}
        lower = f" and less resistance than the {ohms(like.resistance.value)} of {like.code}"
    possible = {c: ah for c, ah in needs.items() if math.isfinite(ah)}
    if not possible:
        last = screen_candidate(screen, _ideal(screen, pack.chemistries[0], LARGEST_AH, None)).last
        return f"no single cell can serve it: {last.text}" + (f"; {last.remedy}" if last.remedy else "")
    return f"missing: 1 free cell, solo or pack, of at least {_by_capacity(possible)}{lower}"


def _by_capacity(needs: Mapping[Chemistry, float]) -> str:
    """`1900 mAh (nmc, lco) or 2100 mAh (lfp)`."""
    steps = sorted(set(needs.values()))
    return " or ".join(f"{capacity(ah)} ({', '.join(c for c in needs if needs[c] == ah)})" for ah in steps)


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


def required_capacity(screen: Screen, chemistry: Chemistry, like: Candidate | None) -> float:
    """Least capacity in Ah, to 1 %, that a solo cell of this chemistry needs; infinite when none does it."""

    def enough(capacity_ah: float) -> bool:
        return screen_candidate(screen, _ideal(screen, chemistry, capacity_ah, like)).fits

    drawn_a = screen.demand.steady_a(chemistry, screen.limits)
    # A bracket around what the charge alone asks for keeps the runs of the model few.
    high_ah = min(LARGEST_AH, max(SMALLEST_AH, 1.5 * drawn_a * screen.demand.project.need.runtime_h))
    low_ah = high_ah / 4.0
    while not enough(high_ah):
        if high_ah >= LARGEST_AH:
            return math.inf
        low_ah, high_ah = high_ah, min(LARGEST_AH, 4.0 * high_ah)
    while enough(low_ah) and low_ah > SMALLEST_AH:
        low_ah, high_ah = low_ah / 4.0, low_ah
    while high_ah > 1.01 * low_ah:
        # Halved by ratio: capacities span milliampere-hours to hundreds of ampere-hours.
        middle_ah = math.sqrt(low_ah * high_ah)
        low_ah, high_ah = (low_ah, middle_ah) if enough(middle_ah) else (middle_ah, high_ah)
    # Half a per cent up: three figures must not round to less than what is enough.
    return float(f"{high_ah * 1.005:.3g}")


def warnings_for(project: Project, limits: UseLimits, chosen: Screened | None = None) -> tuple[str, ...]:
    """What must be said aloud: of the project alone, or of the chosen cell in it."""
    if chosen is None:
        lacking = [] if project.protection.fitted else [NO_PROTECTION]
        board = project.protection
        # A figure that only boards with a sense resistor reach: counted as transistors it would trip far too early.
        if board.trip_current_a is not None and board.trip_current_a >= SHUNT_FROM_A:
            lacking += [ask_sensing(board)] if ask_sensing(board) else []
        return tuple(lacking + charger.charge_notes(project, limits) + charger.supply_notes(project))
    notes: list[str] = []
    candidate = chosen.candidate
    if candidate.at_least:
        notes.append(f"{candidate.code} holds at least this capacity: it may run longer")
    if candidate.resistance_method is Method.AC_1KHZ:
        notes.append(f"{candidate.code}: its resistance was taken at a.c. 1 kHz; a d.c. pulse would be surer")
    trip = protection_trip(project.protection)
    if trip is not None and candidate.capacity is not None:
        peak_a = Demand.of(project, limits).peak_a(candidate.facts.chemistry, limits)
        notes += check_protection(candidate.capacity.value, peak_a, fitted=True, trip=trip).advice
    return tuple(notes)
