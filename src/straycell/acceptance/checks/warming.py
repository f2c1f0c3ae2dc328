"""Rules of charging: a full charge on record, and how warm the cell got."""

import math
from collections.abc import Iterator
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.reasons import DUST, Outcome, Reason, Side, Status, Work, WorkKind, against_max
from straycell.quantities import Measured
from straycell.readings import Charge, Quantity, Reading


def _peak(case: Case, charge: Charge) -> Measured | None:
    """The highest it got, by the air around it where its own peak is not on record: a charge cools no cell."""
    known = charge.temperature_c if charge.peak_temperature_c is None else charge.peak_temperature_c
    return None if known is None else Measured(known, case.rules.defaults.temperature.u(known))


def _rise(case: Case, charge: Charge) -> Measured | None:
    peak = _peak(case, charge)
    if peak is None or charge.temperature_c is None or charge.peak_temperature_c is None:
        return None
    # Two readings, two errors: they are taken at different places, so nothing cancels.
    ambient_u = case.rules.defaults.temperature.u(charge.temperature_c)
    return Measured(peak.value - charge.temperature_c, math.hypot(peak.u, ambient_u))


def rates_of(case: Case, charge: Charge) -> list[tuple[float, tuple[Reading, ...]]]:
    """(its current over the capacity, the run that capacity is known by), one for each run where none is stated."""
    if case.stated_ah:
        return [(charge.current_a / case.stated_ah, ())]
    # Each by itself: a finding must not hang on which runs are known by then.
    return [(charge.current_a / r.value, (r,)) for r in case.of(Quantity.CAPACITY) if r.value]


def _repeats(case: Case, charge: Charge, warm: Charge) -> bool:
    """True when a charge is strong enough to clear a warming: a trickle into a full cell warms nothing."""
    # Heat grows with the square of the current (I2R): only a comparable current can show the warming again.
    base = case.rate_base_ah
    least_a = warm.current_a if base is None else case.figure("test-charge", "low") * base
    return charge.at > warm.at and charge.current_a >= min(warm.current_a, least_a) - DUST


@once_a_case
def hot_charges(case: Case) -> tuple[Tried, ...]:
    """The peak temperature of each charge, at any current."""
    # Cell sheets end the charge window at 45 C, whatever the current and the room.
    limit = case.figure("charge-temperature")

    def reason(charge: Charge, peak: Measured) -> Reason:
        return case.reason(
            "charge-temperature",
            Status.FAILED,
            Outcome.DISCARD,
            f"reached {peak.value:g} ± {peak.expanded:.1f} C while charging",
            Seen(peak, limit, charge),
        )

    return tuple(
        Tried("charge-temperature", against_max(peak, limit), (charge,), partial(reason, charge, peak))
        for charge in case.charges
        if (peak := _peak(case, charge)) is not None
    )


def hot(case: Case) -> Iterator[Reason]:
    """Too close to too hot while charging holds until a repeat."""
    limit = case.figure("charge-temperature")
    close: Charge | None = None
    for tried in hot_charges(case):
        charge = tried.records[0]
        assert isinstance(charge, Charge)
        if tried.side is Side.BEYOND:
            return
        if tried.side is Side.CLOSE:
            close = charge
        elif close is not None and _repeats(case, charge, close):
            close = None
    peak = _peak(case, close) if close is not None else None
    if close is not None and peak is not None:
        yield case.reason(
            "charge-temperature",
            Status.CLOSE,
            Outcome.HOLD,
            f"reached {peak.value:g} C while charging: too close to {limit:g} C to call",
            Seen(peak, limit, close),
            todo=Work(WorkKind.CHARGE, "charge it again at 0.2C, attended, and note the peak temperature"),
            earliest=case.now,
        )


@once_a_case
def warm_charges(case: Case) -> tuple[Tried, ...]:
    """The rise of each gentle charge: one that warms a cell is wrong with the cell, not with the charger."""
    if not known_chemistry(case):
        return ()
    # Above 0.5C I2R alone may warm a sound cell; below it heat means a reaction or a short inside.
    limit, gentle = case.figure("warming-discard"), case.figure("warming-rate") + DUST
    found = []
    for charge in case.charges:
        rise = _rise(case, charge)
        for rate, known_by in rates_of(case, charge) if rise is not None else ():
            if rise is not None and rate <= gentle:
                why = partial(_warmed, case, charge, rise, rate)
                found.append(Tried("warming-discard", against_max(rise, limit), (charge, *known_by), why))
    return tuple(found)


def _warmed(case: Case, charge: Charge, rise: Measured, rate: float) -> Reason:
    return case.reason(
        "warming-discard",
        Status.FAILED,
        Outcome.DISCARD,
        f"warmed by {rise.value:g} ± {rise.expanded:.1f} K at {rate:.2f}C",
        Seen(rise, case.figure("warming-discard"), charge),
    )


def proven_charge_a(case: Case) -> float | None:
    """The most charge current in A at which a cell that once warmed has stayed cool since; None if it never warmed."""
    limit = case.figure("warming")
    judged = [(c, rise) for c in case.charges if (rise := _rise(case, c)) is not None]
    warm = [c for c, rise in judged if against_max(rise, limit) is not Side.CLEAR]
    # Only measured coolness lifts the cap: a cell that warmed once may warm again above the current tried
    # since.
    if not warm:
        return None
    since = [
        c.current_a for c, rise in judged if c.at > warm[-1].at and against_max(rise, limit) is Side.CLEAR
    ]
    return max(since, default=0.0)


def warming(case: Case) -> Iterator[Reason]:
    """A full charge with its peak and ambient temperature; the rise decides."""
    if not known_chemistry(case) or any(t.side is Side.BEYOND for t in warm_charges(case)):
        return
    judged = [(c, rise) for c in case.charges if (rise := _rise(case, c)) is not None]
    pass_at = case.figure("warming")
    # A partial charge leaves out the end, where the voltage, and with it the stress on a bad cell, is
    # highest.
    full = [(c, rise) for c, rise in judged if case.is_full(c)]
    if not full:
        yield case.reason(
            "warming",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"no full charge with its peak and ambient temperature on record{case.not_full_note()}",
            Seen(limit=pass_at),
            todo=Work(WorkKind.CHARGE, "charge it full, attended, and record it"),
            earliest=case.now,
        )
        return
    charge, rise = full[-1]
    # The last doubt counts until a repeat: a later trickle stays cool in any cell.
    unclear = [(c, r) for c, r in judged if against_max(r, pass_at) is not Side.CLEAR]
    if unclear:
        warm = unclear[-1]
        charge, rise = next(((c, r) for c, r in reversed(full) if _repeats(case, c, warm[0])), warm)
    side = against_max(rise, pass_at)
    if side is Side.CLEAR:
        yield case.reason(
            "warming",
            Status.MET,
            Outcome.PACK,
            f"warmed by {rise.value:g} ± {rise.expanded:.1f} K while charging",
            Seen(rise, pass_at, charge),
        )
        return
    yield case.reason(
        "warming",
        Status.CLOSE,  # not failed: the repeat at 0.2C must stay allowed
        Outcome.HOLD,
        f"warmed by {rise.value:g} ± {rise.expanded:.1f} K while charging: neither clearly fine nor clearly too much",
        Seen(rise, pass_at, charge),
        todo=Work(
            WorkKind.CHARGE,
            "let it rest, then charge it once more at 0.2C, attended, and note both temperatures; "
            "use will be allowed up to the current at which it stays cool",
        ),
        earliest=case.now,
    )
