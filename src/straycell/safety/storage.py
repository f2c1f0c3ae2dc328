"""How full a cell is, since when, and whether that is where a stored cell should be.

The figures are in storage.toml, each with its source.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from straycell.acceptance.case import Case, known_chemistry
from straycell.acceptance.checks.pairs import least_days, make_pair, windows
from straycell.acceptance.evidence import DISMANTLED
from straycell.acceptance.reasons import (
    Outcome,
    Reason,
    Side,
    Status,
    Verdict,
    WorkKind,
    against_max,
    against_min,
)
from straycell.acceptance.rules import hold_of
from straycell.cells import Chemistry
from straycell.keys import NEW, RecordKey
from straycell.physics.curves import state_of_charge_range
from straycell.readings import Charge, Quantity, Reading
from straycell.safety.due.trends import falls
from straycell.shipped import shipped_table

Level = StrEnum("Level", "FULL HIGH STORED LOW EMPTY UNKNOWN")
"""How full a cell is, as far as its records tell."""


@dataclass(frozen=True, slots=True)
class Window:
    """Rest voltages in V at which a cell keeps."""

    low_v: float
    high_v: float


@dataclass(frozen=True, slots=True)
class Standing:
    """Level and since when; the latest charge, discharge, let-down or dismantling (`acted_at`), the latest rest voltage
    after it, and when it first lay at storage voltage. Times are UTC, None when not known.
    """

    level: Level
    since: datetime | None = None
    acted_at: datetime | None = None
    rest: Reading | None = None
    stored_at: datetime | None = None


def figures() -> dict[str, Any]:
    """storage.toml."""
    return shipped_table("safety/storage.toml")


def window(chemistry: Chemistry) -> Window | None:
    """The storage window of a chemistry; None where none can be named."""
    # A primary cell is never charged or let down; without a chemistry 3.8 V may be over-charge or half full.
    if chemistry in (Chemistry.UNKNOWN, Chemistry.PRIMARY):
        return None
    low_v, high_v = figures()["window_v"]["lfp" if chemistry is Chemistry.LFP else "4.2V"]
    return Window(low_v, high_v)


def target(case: Case) -> str:
    """What to bring the cell to, in words."""
    kept = window(case.facts.chemistry)
    if kept is None:
        return "its storage voltage"
    if case.facts.chemistry is not Chemistry.LFP:
        return f"{kept.low_v:.1f} to {kept.high_v:.1f} V"
    # lfp's plateau is flat: only counted charge tells where on it a cell is.
    low, high = figures()["share"]["lfp"]
    holds = case.reference_capacity_ah
    if not holds:
        return f"{low:.0%} to {high:.0%} of its charge (voltage does not tell on lfp: count the charge)"
    return (
        f"{low:.0%} to {high:.0%} of its charge: from empty put in {holds * low * 1000:.0f} to "
        f"{holds * high * 1000:.0f} mAh, from full take out the rest (voltage does not tell on lfp)"
    )


def storage_voltage(case: Case) -> float | None:
    """The middle of the storage window in V; None where none can be named."""
    kept = window(case.facts.chemistry)
    return None if kept is None else (kept.low_v + kept.high_v) / 2.0


def standing(case: Case) -> Standing:
    """Where the cell is now."""
    kept = window(case.facts.chemistry)
    act = _last_act(case)
    since = act[0] if act else None
    # Whatever was measured before the last charge or discharge speaks of another state.
    rests = [r for r in _rests(case, act is None) if since is None or r.at > since]
    if kept is None:
        return Standing(Level.UNKNOWN, acted_at=since, rest=rests[-1] if rests else None)
    level, at = _level(case, kept, act, rests)
    stored = next((r.at for r in rests if _by_voltage(case, kept, r) is Level.STORED), None)
    if act is not None and _by_act(case, kept, act[1]) is Level.STORED:
        stored = since
    return Standing(level, at, since, rests[-1] if rests else None, stored)


def _rests(case: Case, with_found: bool) -> list[Reading]:
    """Rest voltages, oldest first; what lay untouched before any charge had rested when it was found."""
    # A cell from a drawer has lain there for months: its first voltage is a rest voltage without anybody's
    # wait.
    found = case.of(Quantity.AS_FOUND_VOLTAGE) if with_found else ()
    own = {r.id for r in case.own_voltages}
    rests = [*case.rest_voltages, *(r for r in found if r.id in own)]
    return sorted(rests, key=lambda r: (r.at, r.id))


def _last_act(case: Case) -> tuple[datetime, Charge | Reading | None] | None:
    """The latest charge, capacity run or let-down, or None beside the time of coming back from a build."""
    acts: list[tuple[datetime, RecordKey, Charge | Reading | None]] = [(c.at, c.id, c) for c in case.charges]
    acts += [(r.at, r.id, r) for r in case.of(Quantity.CAPACITY, Quantity.LET_DOWN)]
    acts += [(u.at, NEW, None) for u in case.evidence.upsets if u.kind == DISMANTLED]
    if not acts:
        return None
    at, _, act = max(acts, key=lambda entry: entry[:2])
    return at, act


def _level(
    case: Case, kept: Window, act: tuple[datetime, Charge | Reading | None] | None, rests: list[Reading]
) -> tuple[Level, datetime | None]:
    """(level, since when): by the latest rest voltage; where there is none, or it is flat, by what was done."""
    done = _by_act(case, kept, act[1]) if act else Level.UNKNOWN
    at = act[0] if act else None
    # On the plateau the voltage of a full lfp cell soon looks like half: what was done tells more.
    if case.facts.chemistry is Chemistry.LFP and done in (Level.FULL, Level.EMPTY, Level.HIGH):
        return done, at
    if not rests:
        return done, at
    level = _by_voltage(case, kept, rests[-1])
    # A full cell sinks below full by itself, and is still too full for the shelf.
    if level is Level.HIGH and done is Level.FULL:
        return Level.FULL, at
    if level is Level.LOW and done is Level.EMPTY:
        return Level.EMPTY, at
    since = rests[-1].at
    for reading in reversed(rests):
        if _by_voltage(case, kept, reading) is not level:
            break
        since = reading.at
    return level, since


def _by_act(case: Case, kept: Window, act: Charge | Reading | None) -> Level:
    if act is None:
        return Level.UNKNOWN
    if isinstance(act, Reading):
        return Level.EMPTY if act.quantity is Quantity.CAPACITY else _let_down_to(case, kept, act)
    if case.is_full(act):
        return Level.FULL
    if case.facts.chemistry is Chemistry.LFP:
        return Level.STORED  # a charge that was ended on purpose before it was full
    # Handbook: where 90 min of rest are not practical, aim 50 mV beyond, as the voltage goes back after.
    if act.until_v > kept.high_v + figures()["charge"]["over_window_v"]:
        return Level.HIGH
    return Level.STORED if act.until_v >= kept.low_v else Level.LOW


def _let_down_to(case: Case, kept: Window, act: Reading) -> Level:
    """A cell rises again when the load is off: above the window stays above, a little below is in it."""
    assert act.value is not None
    if case.facts.chemistry is Chemistry.LFP:
        return Level.STORED  # its charge was counted: voltage does not tell
    if act.value > kept.high_v:
        return Level.HIGH
    return Level.STORED if act.value >= kept.low_v - figures()["charge"]["over_window_v"] else Level.LOW


def _by_voltage(case: Case, kept: Window, reading: Reading) -> Level:
    """Out of the window only when beyond it by U: advice must not flutter."""
    # Within U of the edge the advice would turn with every reading, and each turn costs a cell a partial
    # cycle.
    value = case.measured(reading)
    if against_max(value, kept.high_v) is Side.BEYOND:
        return Level.HIGH
    if against_min(value, kept.low_v) is Side.BEYOND:
        return Level.LOW
    return Level.STORED


def check_ends(case: Case, verdict: Verdict, state: Standing) -> datetime | None:
    """When the self-discharge check that keeps a cell full can end; None when none is running or worth it.

    The days are those of the best outcome the cell can still reach; a check that cannot decide ends some day.
    """
    if state.level is not Level.FULL or state.acted_at is None:
        return None
    open_ones = [r for r in verdict.reasons if r.status is not Status.MET and r.ceiling < Outcome.PACK]
    waits = [r for r in open_ones if _waits_for_check(r)]
    least = max((case.figure(hold_of(r.rule).check or "pair-days", "light") for r in waits), default=0.0)
    # Where something without remedy caps the cell, waiting at full for a better grade is in vain.
    cap = min((r.ceiling for r in open_ones if not r.todo), default=Outcome.PACK)
    if not waits or (cap <= verdict.outcome and verdict.outcome is not Outcome.HOLD):
        return None
    # High voltage ages a cell: a check that decides nothing must not keep it full for ever (60 days, common
    # practice).
    latest = state.acted_at + timedelta(days=figures()["check"]["longest_days"])
    begun, planned = _planned(case, state.acted_at, max(cap, Outcome.LIGHT), least)
    ends = [r.earliest for r in waits if r.earliest is not None]
    # "The earliest from now on" moves with the clock where no reading has begun the check.
    later = [at for at in ends if at > case.now] if begun and planned <= case.now else []
    return min(latest, max(later, default=planned))


def _planned(case: Case, charged_at: datetime, best: Outcome, least: float) -> tuple[bool, datetime]:
    """(its first rest voltage is taken, when the check since a charge spans the days an outcome asks for, or `least`).

    On lfp it ends with a capacity run: voltage seldom tells there.
    """
    if case.facts.chemistry is Chemistry.LFP:
        # A national standard keeps the cell 28 days before the second run (rules, retention-days).
        return False, charged_at + timedelta(days=case.figure("retention-days"))
    inside = next((found for charge, found in windows(case) if charge.at == charged_at), [])
    if not inside:
        wait = timedelta(hours=case.figure("pair-rest"))
        return False, charged_at + wait + timedelta(days=max(least, case.figure("pair-days", best.word)))
    pair = make_pair(case, Charge(NEW, case.evidence.code, charged_at, 0.0, 0.0), inside[0], inside[0])
    return True, inside[0].at + timedelta(days=max(least, least_days(case, pair, best)))


def _waits_for_check(reason: Reason) -> bool:
    if reason.status not in (Status.UNMEASURED, Status.CLOSE):
        return False
    # Of several tests after an incident the check may be the one that is done.
    steps = {WorkKind.CHARGE, WorkKind.REST, WorkKind.CAPACITY} & set(
        reason.todo.kinds if reason.todo else ()
    )
    return reason.rule.startswith("self-discharge") or bool(hold_of(reason.rule).check and steps)


def loss_percent_month(verdict: Verdict, case: Case | None = None) -> float:
    """The most a cell is reckoned to lose in 30 days, in per cent: its own figure with U, else the usual one.

    With `case` the latest stretch on the shelf counts where it was faster.
    """
    own = verdict.monthly_loss
    # Unmeasured counts as the discard limit of 5 %: the next check comes early rather than late.
    usual = float(figures()["loss_percent_month"]["usual"])
    latest = falls(case)[-1:] if case is not None else []
    shelf = [fall.rate.high for fall in latest if fall.unit == "%/month"]
    return max([own[0] + (own[1] or 0.0) if own else usual, *shelf, 0.0])


def sinks_at(case: Case, verdict: Verdict, state: Standing) -> datetime | None:
    """When a cell may have sunk to its shelf limit, reckoned from its latest rest voltage; None when unknown."""
    if state.rest is None or not known_chemistry(case):
        return None
    value = case.measured(state.rest)
    chemistry = case.facts.chemistry
    # On lfp the low end of the range is all the flat part leaves: a cell charged by count ends higher.
    if chemistry is Chemistry.LFP and state.level is Level.STORED:
        return None
    # From the lowest charge that its voltage allows: a date that is too early costs a look, one too late a
    # cell.
    low, _ = state_of_charge_range(chemistry, value.value, value.u)
    _, floor = state_of_charge_range(chemistry, case.figure("rest-voltage"))
    months = max(0.0, low - floor) * 100.0 / max(loss_percent_month(verdict, case), 0.1)
    return state.rest.at + timedelta(days=30.0 * months)
