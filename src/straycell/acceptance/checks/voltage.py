"""Rules of voltage: deep discharge, over-charge, what was found, what rests on the shelf."""

import shlex
from collections.abc import Iterator, Sequence
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried, default_note, once_a_case
from straycell.acceptance.checks.steps import rest_work
from straycell.acceptance.reasons import (
    DUST,
    Outcome,
    Reason,
    Side,
    Status,
    Work,
    WorkKind,
    against_max,
    against_min,
)
from straycell.cells import Chemistry
from straycell.quantities import Dimension, show, volts
from straycell.readings import Charge, Quantity, Reading


def volts_of(case: Case, reading: Reading) -> str:
    """A voltage as reasons name it, with U and where U is a default."""
    value = case.measured(reading)
    kinds = {Quantity.AS_FOUND_VOLTAGE: "as found", Quantity.LET_DOWN: "let down to"}
    return f"{kinds.get(reading.quantity, 'measured')} {show(value.value, Dimension.VOLTAGE, u=value.u)}{default_note(reading)}"


def _worse_side(side: Side, reading: Reading) -> Side:
    """An as-found voltage can never be measured again: too close takes the worse side."""
    # Charging, or only the wake-up of a board, changes what was found: there is no second chance to narrow U.
    once_only = reading.quantity is Quantity.AS_FOUND_VOLTAGE
    return Side.BEYOND if once_only and side is Side.CLOSE else side


@once_a_case
def _lows(case: Case) -> tuple[Reading, ...]:
    """Every voltage that was at its own terminals, under a load too, oldest first."""
    # A lamp that was left on takes a cell down whether or not a meter is held to it.
    down = tuple(case.own(case.of(Quantity.LET_DOWN)))
    return (
        tuple(sorted((*case.own_voltages, *down), key=lambda r: (r.at, r.id))) if down else case.own_voltages
    )


@once_a_case
def deep_discharges(case: Case) -> tuple[Tried, ...]:
    """Each own voltage against the floor; below it copper may have dissolved."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return ()
    # Handbook: discard below 2.00 V for more than a week. How long it lay there is unknown, so the week is
    # assumed.
    limit = case.figure("voltage-floor")

    def tried(reading: Reading) -> Tried:
        side = _worse_side(against_min(case.measured(reading), limit), reading)
        why = partial(
            _beyond, case, "voltage-floor", reading, limit, "deeply discharged, copper may have dissolved"
        )
        return Tried("voltage-floor", side, (reading,), why)

    def run_to(run: Reading, cutoff_v: float) -> Tried:
        # A set cut-off has no meter's u, so it has no close zone.
        side = Side.BEYOND if cutoff_v < limit - DUST else Side.CLEAR
        return Tried("voltage-floor", side, (run,), partial(_run_below, case, run, cutoff_v, limit))

    # Every voltage and not the lowest alone: one that proves a mistake must not free a cell another one
    # condemns.
    runs = (run_to(r, r.cutoff_v) for r in case.of(Quantity.CAPACITY) if r.cutoff_v is not None)
    return (*map(tried, _lows(case)), *runs)


def _run_below(case: Case, run: Reading, cutoff_v: float, limit: float) -> Reason:
    return case.reason(
        "voltage-floor",
        Status.FAILED,
        Outcome.DISCARD,
        f"was discharged to {volts(cutoff_v)}: deeply discharged, copper may have dissolved",
        Seen(cutoff_v, limit, run),
    )


def _beyond(case: Case, limit_id: str, reading: Reading, limit: float, words: str) -> Reason:
    return case.reason(
        limit_id,
        Status.FAILED,
        Outcome.DISCARD,
        f"{volts_of(case, reading)}: {words}",
        Seen(case.measured(reading), limit, reading),
    )


def floor(case: Case) -> Iterator[Reason]:
    """A voltage too close to the floor holds until measured again."""
    tries = deep_discharges(case)
    if not _lows(case) or any(t.side is Side.BEYOND for t in tries):
        return
    limit = case.figure("voltage-floor")
    close = [r for r in _close(tries) if not _settled_low(case, r, limit)]
    if close:
        yield _too_close(case, close[-1], "voltage-floor", limit)
        return
    # Each voltage ever seen counts: copper that dissolved once plates out as shunts and does not go back.
    lowest = min(_lows(case), key=lambda r: (case.measured(r).value, r.id))
    yield case.reason(
        "voltage-floor",
        Status.MET,
        Outcome.PACK,
        f"lowest voltage {volts_of(case, lowest)}",
        Seen(case.measured(lowest), limit, lowest),
    )


def _close(tries: Sequence[Tried]) -> list[Reading]:
    return [t.records[0] for t in tries if t.side is Side.CLOSE and isinstance(t.records[0], Reading)]


def _settled_low(case: Case, close: Reading, limit: float) -> bool:
    """True when a later voltage, with no charge in between, cleared the floor."""
    # At rest no cell gains charge by itself, so a later value that clears the floor settles the close one.
    return any(
        r.at > close.at
        and against_min(case.measured(r), limit) is Side.CLEAR
        and not any(close.at < c.at <= r.at for c in case.charges)
        for r in case.own_voltages
    )


def _cleared_by_float(case: Case, reading: Reading, limit: float) -> bool:
    """True when the float of the charger it was on, as measured, cannot have over-charged it.

    A later lower voltage clears nothing: a cell relaxes, and a let-down washes out whatever it was charged to.
    """
    before = [c for c in case.charges if c.at <= reading.at]
    # Without a named charger there is no float to measure: nothing ties the reading to a source.
    if not before or not before[-1].charger:
        return False
    name, slot = before[-1].charger, before[-1].slot
    same = [c for c in case.charges if (c.charger, c.slot) == (name, slot) and c.u is not None]
    # The reading's own meter is what is in doubt; a float measured with U against the limit is independent of
    # it.
    return any(c.until_v + 2.0 * (c.u or 0.0) <= limit for c in same) or any(
        f.at >= before[-1].at and f.float_v is not None and f.float_v.high <= limit
        for f in case.evidence.floats
        if f.speaks_of(before[-1])
    )


def _float_work(reading: Reading, charges: Sequence[Charge]) -> Work:
    """What can still settle a voltage near over-charge; without a named charger only its mistake."""
    before = [c for c in charges if c.at <= reading.at]
    if not before or not before[-1].charger:
        words = "no charger is named for a charge before it, so this cannot be settled: supersede the reading if it was a "
        words += "mistake, else discard it"
        return Work(WorkKind.SUPERSEDE, words, also=(WorkKind.DISCARD,), reading=str(reading.id))
    slot = "" if before[-1].slot is None else f" --slot {before[-1].slot}"
    options = f"{shlex.quote(before[-1].charger)}{slot} --measured-float ... --meter ..."
    return Work(WorkKind.CHARGER, "measure the float of the charger it was on", options=options)


def _too_close(case: Case, reading: Reading, limit_id: str, limit: float) -> Reason:
    charged = limit_id == "voltage-floor" and any(c.at > reading.at for c in case.charges)
    todo = (
        Work(
            WorkKind.SUPERSEDE,
            "the cell was charged since, so this cannot be settled: supersede the reading if it was a mistake, else "
            "discard it",
            also=(WorkKind.DISCARD,),
            reading=str(reading.id),
        )
        # After a charge the terminal voltage says nothing of how low the cell once lay.
        if charged
        else rest_work(case, "measure it again with a better meter, before any charge")
    )
    if limit_id == "voltage-over-full":
        todo = _float_work(reading, case.charges)
    return case.reason(
        limit_id,
        Status.CLOSE,
        Outcome.HOLD,
        f"{volts_of(case, reading)}: too close to {volts(limit)} to call",
        Seen(case.measured(reading), limit, reading, unit="V" if limit_id == "voltage-over-full" else None),
        todo=todo,
        earliest=None if todo.kind is WorkKind.SUPERSEDE else case.now,
    )


@once_a_case
def over_charges(case: Case) -> tuple[Tried, ...]:
    """The end voltage of each charge, and each voltage, against full plus the margin."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return ()
    # Over-charge plates lithium and strips the cathode's oxygen; sheets state 4.20 ± 0.05 V, hence the
    # margin.
    limit = case.full_voltage_v + case.figure("voltage-over-full")

    def charged(charge: Charge) -> Tried:
        # A stated end voltage is a setting without a meter's u, so it has no close zone.
        side = Side.BEYOND if charge.until_v > limit + DUST else Side.CLEAR
        return Tried("voltage-over-full", side, (charge,), partial(_charged_over, case, charge, limit))

    doubtful_v = case.full_voltage_v + case.figure("voltage-over-full-doubt")

    def tried(reading: Reading) -> Tried:
        side = against_max(case.measured(reading), limit)
        # Full as a coarse meter shows it is not an over-charge, however wide its error.
        if (reading.value or 0.0) > doubtful_v + DUST:
            side = _worse_side(side, reading)
        why = partial(_beyond, case, "voltage-over-full", reading, limit, "over-charged")
        return Tried("voltage-over-full", side, (reading,), why)

    # What a load is said to have brought it down to, it had at least.
    return (*map(charged, case.charges), *map(tried, (*case.voltages, *case.of(Quantity.LET_DOWN))))


def _charged_over(case: Case, charge: Charge, limit: float) -> Reason:
    return case.reason(
        "voltage-over-full",
        Status.FAILED,
        Outcome.DISCARD,
        f"was charged to {volts(charge.until_v)}: over-charged",
        Seen(charge.until_v, limit, charge),
    )


def ceiling(case: Case) -> Iterator[Reason]:
    """A voltage too close to over-charge holds until a later one clears it."""
    tries = over_charges(case)
    if any(t.side is Side.BEYOND for t in tries) or not case.voltages or not tries:
        return
    limit = case.full_voltage_v + case.figure("voltage-over-full")
    # A charger within 0.5 % of 4.20 V ends at 4.22 V at most: up to there nothing suggests an over-charge.
    doubtful_v = case.full_voltage_v + case.figure("voltage-over-full-doubt")
    close = [r for r in _close(tries) if (r.value or 0.0) > doubtful_v + DUST]
    close = [r for r in close if not _cleared_by_float(case, r, limit)]
    if close:
        yield _too_close(case, close[-1], "voltage-over-full", limit)
        return
    highest = min(case.voltages, key=lambda r: (-case.measured(r).value, r.id))
    yield case.reason(
        "voltage-over-full",
        Status.MET,
        Outcome.PACK,
        f"highest voltage {volts_of(case, highest)}",
        Seen(case.measured(highest), limit, highest),
    )


def found_voltage(case: Case) -> Reading | None:
    """What is known of the voltage when found: at the cell itself, or at its tabs, before any charge or run."""
    # A charge erases what the voltage said of the months in the drawer; a run shows that there was one.
    moved = [charge.at for charge in case.charges[:1]] + [run.at for run in case.of(Quantity.CAPACITY)[:1]]
    found = [r for r in case.of(Quantity.AS_FOUND_VOLTAGE) if r.at <= min(moved, default=case.now)]
    own = [r for r in found if r in case.own_voltages]
    if own:
        return own[-1]
    tabs = [r for r in case.own_voltages if found and found[0].at <= r.at <= min(moved, default=case.now)]
    return next((r for r in tabs if not case.at_board(r)), None)


def never_found(case: Case) -> bool:
    """Bought new, so nobody found it; a voltage as found on record says that somebody did, and counts before it."""
    return case.facts.bought_new and not case.of(Quantity.AS_FOUND_VOLTAGE)


def _low_runs(case: Case, limit: float) -> list[Reading]:
    """Runs that were set to go on below a voltage, the lowest last."""
    # What a tester takes it down to it had, as with a lamp that lets it down.
    runs = [r for r in case.of(Quantity.CAPACITY) if r.cutoff_v is not None and r.cutoff_v < limit - DUST]
    return sorted(runs, key=lambda r: -(r.cutoff_v or 0.0))


@once_a_case
def doubtful(case: Case) -> bool:
    """True for a cell that was once low, or whose as-found voltage is not known: 28 days of self-discharge."""
    found = never_found(case) or found_voltage(case) is not None
    limit = case.figure("voltage-light-only")
    # Not knowing counts like low: shunts from a deep discharge show only as slow self-discharge.
    low = any(against_min(case.measured(r), limit) is not Side.CLEAR for r in _lows(case))
    return not found or low or bool(_low_runs(case, limit))


def light_only(case: Case) -> Iterator[Reason]:
    """Once low, for ever light at best; a value too close to the limit takes the worse side."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    limit = case.figure("voltage-light-only")
    low = [r for r in _lows(case) if against_min(case.measured(r), limit) is not Side.CLEAR]
    if not low:
        for run in _low_runs(case, limit)[-1:]:
            text = f"was discharged to {volts(run.cutoff_v or 0.0)}: light at best, for ever"
            seen = Seen(run.cutoff_v, limit, run)
            yield case.reason("voltage-light-only", Status.FAILED, Outcome.LIGHT, text, seen)
        return
    # Once is for ever: a later charge hides the low voltage and does not undo the copper.
    worst = min(low, key=lambda r: (case.measured(r).value, r.id))
    beyond = against_min(case.measured(worst), limit) is Side.BEYOND
    yield case.reason(
        "voltage-light-only",
        # Either status caps at light; only the clear one may say that it surely happened.
        Status.FAILED if beyond else Status.CLOSE,
        Outcome.LIGHT,
        f"{volts_of(case, worst)}: light at best, for ever",
        Seen(case.measured(worst), limit, worst),
    )


def as_found(case: Case) -> Iterator[Reason]:
    """Never recorded: light at best. Below a board's trip voltage: unmeasured until taken at the tabs."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    yield from _tripped_board(case)
    found = found_voltage(case)
    if found is not None:
        yield case.reason(
            # A charged cell looks healthy whatever it went through: only the first voltage tells of a deep
            # discharge.
            "as-found-voltage",
            Status.MET,
            Outcome.PACK,
            volts_of(case, found),
            Seen(case.measured(found), reading=found),
        )
        return
    if never_found(case):
        yield case.reason("as-found-voltage", Status.MET, Outcome.PACK, "bought new", Seen("bought new"))
        return
    late = [r for r in case.of(Quantity.AS_FOUND_VOLTAGE) if r in case.own_voltages]
    why = (
        f"was recorded as found on {late[-1].at:%Y-%m-%d}, after a charge or run" if late else "is not known"
    )
    yield case.reason(
        "as-found-voltage",
        Status.UNMEASURED,
        Outcome.LIGHT,
        f"its voltage when found {why}: light at best, self-discharge over 28 days",
    )


def _tripped_board(case: Case) -> Iterator[Reason]:
    floor_v = case.figure("board-voltage")
    low = [r for r in case.voltages if r not in case.own_voltages]
    if not low:
        return
    latest = low[-1]
    # The tabs bypass the board's switches, so a value from there answers what the board hid.
    if any(r.at >= latest.at and not case.at_board(r) for r in case.own_voltages):
        return
    yield case.reason(
        "board-voltage",
        Status.UNMEASURED,
        Outcome.HOLD,
        f"{volts_of(case, latest)} at the protection board: the board may have tripped, this tells nothing of the cell",
        Seen(case.measured(latest), floor_v, latest),
        todo=Work(
            WorkKind.REST,
            # A board that trips at 2.40 V (sheets) reads near 0 V; a charger would wake it and charge an
            # unknown cell.
            "measure at the cell's own tabs; do not wake the board with a charger",
            at_tabs=True,
        ),
        earliest=case.now,
    )
