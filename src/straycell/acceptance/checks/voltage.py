"""Rules of voltage: deep discharge, over-charge, what was found, what rests on the shelf."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from straycell.acceptance.case import Case, default_note, once_a_case
from straycell.acceptance.conformance import Side, against_max, against_min
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.cells import Chemistry
from straycell.quantities import Dimension, show
from straycell.readings import Quantity, Reading


def _volts(case: Case, reading: Reading) -> str:
    value = case.measured(reading)
    kind = "as found" if reading.quantity is Quantity.AS_FOUND_VOLTAGE else "measured"
    return f"{kind} {show(value.value, Dimension.VOLTAGE, u=value.u)}{default_note(reading)}"


def _once_only(reading: Reading) -> bool:
    """An as-found voltage can never be measured again: too close takes the worse side."""
    return reading.quantity is Quantity.AS_FOUND_VOLTAGE


def floor(case: Case) -> Iterator[Reason]:
    """Any own voltage below the floor discards; one too close to it holds until measured again."""
    if case.facts.chemistry is Chemistry.PRIMARY or not case.own_voltages:
        return
    limit = case.figure("voltage-floor")
    lowest = min(case.own_voltages, key=lambda r: (case.measured(r).value, r.id))
    close: Reading | None = None
    for reading in case.own_voltages:
        side = against_min(case.measured(reading), limit)
        if side is Side.BEYOND or (side is Side.CLOSE and _once_only(reading)):
            yield case.reason(
                "voltage-floor",
                Status.FAILED,
                Outcome.DISCARD,
                f"{_volts(case, reading)}: deeply discharged, copper may have dissolved",
                value=case.measured(reading),
                limit=limit,
                reading=reading,
            )
            return
        if side is Side.CLOSE and not _settled_low(case, reading, limit):
            close = reading
    if close is not None:
        yield _too_close(case, close, "voltage-floor", limit)
        return
    yield case.reason(
        "voltage-floor",
        Status.MET,
        Outcome.PACK,
        f"lowest voltage {_volts(case, lowest)}",
        value=case.measured(lowest),
        limit=limit,
        reading=lowest,
    )


def _settled_low(case: Case, close: Reading, limit: float) -> bool:
    """True when a later voltage, with no charge in between, cleared the floor."""
    return any(
        r.at > close.at
        and against_min(case.measured(r), limit) is Side.CLEAR
        and not any(close.at < c.at <= r.at for c in case.charges)
        for r in case.own_voltages
    )


def _settled_high(case: Case, close: Reading, limit: float) -> bool:
    """True when a later voltage, with no discharge in between, cleared the ceiling."""
    runs = case.of(Quantity.CAPACITY)
    return any(
        r.at > close.at
        and against_max(case.measured(r), limit) is Side.CLEAR
        and not any(close.at < d.at <= r.at for d in runs)
        for r in case.own_voltages
    )


def _too_close(case: Case, reading: Reading, limit_id: str, limit: float) -> Reason:
    charged = limit_id == "voltage-floor" and any(c.at > reading.at for c in case.charges)
    todo = (
        "the cell was charged since, so this cannot be settled: supersede the reading if it was a mistake, else discard it"
        if charged
        else "measure it again with a better meter, before any charge"
    )
    return case.reason(
        limit_id,
        Status.CLOSE,
        Outcome.HOLD,
        f"{_volts(case, reading)}: too close to {show(limit, Dimension.VOLTAGE)} to call",
        value=case.measured(reading),
        limit=limit,
        reading=reading,
        todo=todo,
        earliest=None if charged else case.now,
        unit="V" if limit_id == "voltage-over-full" else None,
    )


def ceiling(case: Case) -> Iterator[Reason]:
    """Any voltage, or the end voltage of any charge, above full plus the margin discards."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    limit = case.full_voltage_v + case.figure("voltage-over-full")
    for charge in case.charges:
        if charge.until_v > limit + 1e-9:
            yield case.reason(
                "voltage-over-full",
                Status.FAILED,
                Outcome.DISCARD,
                f"was charged to {show(charge.until_v, Dimension.VOLTAGE)}: over-charged",
                observed=charge.until_v,
                limit=limit,
                reading=charge,
            )
            return
    close: Reading | None = None
    for reading in case.voltages:
        side = against_max(case.measured(reading), limit)
        if side is Side.BEYOND or (side is Side.CLOSE and _once_only(reading)):
            yield case.reason(
                "voltage-over-full",
                Status.FAILED,
                Outcome.DISCARD,
                f"{_volts(case, reading)}: over-charged",
                value=case.measured(reading),
                limit=limit,
                reading=reading,
            )
            return
        if side is Side.CLOSE and not _settled_high(case, reading, limit):
            close = reading
    if close is not None:
        yield _too_close(case, close, "voltage-over-full", limit)
    elif case.voltages:
        highest = min(case.voltages, key=lambda r: (-case.measured(r).value, r.id))
        yield case.reason(
            "voltage-over-full",
            Status.MET,
            Outcome.PACK,
            f"highest voltage {_volts(case, highest)}",
            value=case.measured(highest),
            limit=limit,
            reading=highest,
        )


def found_voltage(case: Case) -> Reading | None:
    """What is known of the voltage when found: at the cell itself, or at its tabs before any charge."""
    found = [r for r in case.voltages if r.quantity is Quantity.AS_FOUND_VOLTAGE]
    own = [r for r in found if r in case.own_voltages]
    if own:
        return own[-1]
    first_charge = case.charges[0].at if case.charges else case.now
    tabs = [r for r in case.own_voltages if found and found[0].at <= r.at <= first_charge]
    return next((r for r in tabs if not case.at_board(r)), None)


def never_found(case: Case) -> bool:
    """Bought new, so nobody found it; a voltage as found on record says that somebody did, and counts before it."""
    return case.facts.bought_new and not case.of(Quantity.AS_FOUND_VOLTAGE)


@once_a_case
def doubtful(case: Case) -> bool:
    """True for a cell that was once low, or whose as-found voltage is not known: 28 days of self-discharge."""
    found = never_found(case) or found_voltage(case) is not None
    limit = case.figure("voltage-light-only")
    return not found or any(against_min(case.measured(r), limit) is not Side.CLEAR for r in case.own_voltages)


def light_only(case: Case) -> Iterator[Reason]:
    """Once low, for ever light at best; a value too close to the limit takes the worse side."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    limit = case.figure("voltage-light-only")
    low = [r for r in case.own_voltages if against_min(case.measured(r), limit) is not Side.CLEAR]
    if not low:
        return
    worst = min(low, key=lambda r: (case.measured(r).value, r.id))
    beyond = against_min(case.measured(worst), limit) is Side.BEYOND
    yield case.reason(
        "voltage-light-only",
        Status.FAILED if beyond else Status.CLOSE,
        Outcome.LIGHT,
        f"{_volts(case, worst)}: light at best, for ever",
        value=case.measured(worst),
        limit=limit,
        reading=worst,
    )


def as_found(case: Case) -> Iterator[Reason]:
    """Never recorded: light at best. Below a board's trip voltage: unmeasured until taken at the tabs."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    yield from _tripped_board(case)
    found = found_voltage(case)
    if found is not None:
        yield case.reason(
            "as-found-voltage",
            Status.MET,
            Outcome.PACK,
            _volts(case, found),
            value=case.measured(found),
            reading=found,
        )
        return
    if never_found(case):
        yield case.reason("as-found-voltage", Status.MET, Outcome.PACK, "bought new", observed="bought new")
        return
    yield case.reason(
        "as-found-voltage",
        Status.UNMEASURED,
        Outcome.LIGHT,
        "its voltage when found is not known: light at best, self-discharge over 28 days",
    )


def _tripped_board(case: Case) -> Iterator[Reason]:
    floor_v = case.figure("board-voltage")
    low = [r for r in case.voltages if r not in case.own_voltages]
    if not low:
        return
    latest = low[-1]
    if any(r.at >= latest.at and not case.at_board(r) for r in case.own_voltages):
        return
    yield case.reason(
        "board-voltage",
        Status.UNMEASURED,
        Outcome.HOLD,
        f"{_volts(case, latest)} at the protection board: the board may have tripped, this tells nothing of the cell",
        value=case.measured(latest),
        limit=floor_v,
        reading=latest,
        todo="measure at the cell's own tabs (--where tabs); do not wake the board with a charger",
        earliest=case.now,
    )


def rest(case: Case) -> Iterator[Reason]:
    """The latest rest voltage: there, fresh, and not sinking below the shelf limit."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    limit = case.figure("rest-voltage")
    if not case.rest_voltages:
        yield case.reason(
            "rest-voltage",
            Status.UNMEASURED,
            Outcome.HOLD,
            "no rest voltage yet",
            limit=limit,
            todo="after a rest of 90 min or more: reading add CODE --voltage ... --rested ...",
            earliest=_rested(case),
        )
        return
    latest = case.rest_voltages[-1]
    until = latest.at + timedelta(
        days=case.figure("age-rest-voltage") + case.figure("age-rest-voltage-grace")
    )
    value = case.measured(latest)
    if case.now >= until:
        yield case.reason(
            "rest-voltage",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"rest voltage of {latest.at:%Y-%m-%d} is too old to count",
            limit=limit,
            reading=latest,
            todo="measure the rest voltage again",
            earliest=case.now,
        )
        return
    if value.low > case.full_voltage_v:
        yield case.reason(
            "rest-voltage",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"contradictory: {_volts(case, latest)} at rest, above the {show(case.full_voltage_v, Dimension.VOLTAGE)} "
            "that full means",
            value=value,
            limit=case.full_voltage_v,
            reading=latest,
            todo="check the meter, the chemistry and the charger's end voltage, then measure the rest voltage again",
            earliest=case.now,
        )
        return
    side = against_min(value, limit)
    since = _low_since(case, latest, limit) if side is Side.CLEAR else None
    if since is not None:
        yield case.reason(
            "rest-voltage",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{_volts(case, since)} since, not known to have rested: it may be sinking",
            value=case.measured(since),
            limit=limit,
            reading=since,
            until=until,
            todo="let it rest 90 min or more and measure again: reading add CODE --voltage ... --rested ...",
            earliest=case.now,
        )
    elif side is Side.CLEAR:
        yield case.reason(
            "rest-voltage",
            Status.MET,
            Outcome.PACK,
            _volts(case, latest),
            value=value,
            limit=limit,
            reading=latest,
            until=until,
        )
    else:
        yield case.reason(
            "rest-voltage",
            Status.FAILED if side is Side.BEYOND else Status.CLOSE,
            Outcome.HOLD,
            f"{_volts(case, latest)} on the shelf: sinking",
            value=value,
            limit=limit,
            reading=latest,
            until=until,
            todo="give it its test charge to full, attended, then the self-discharge check again",
            earliest=case.now,
        )


def _low_since(case: Case, rested: Reading, limit: float) -> Reading | None:
    """The latest voltage after the last rest voltage that was low, though nobody said how long it had rested."""
    later = [
        r
        for r in case.own_voltages
        if r.quantity is Quantity.VOLTAGE
        and r not in case.rest_voltages
        and (r.at, r.id) > (rested.at, rested.id)
    ]
    low = bool(later) and against_min(case.measured(later[-1]), limit) is not Side.CLEAR
    return later[-1] if low else None


def _rested(case: Case) -> datetime:
    last = case.charges[-1].at if case.charges else None
    wait = timedelta(hours=case.figure("rest-time"))
    return max(case.now, last + wait) if last is not None else case.now
