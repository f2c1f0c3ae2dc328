"""Where a charger really ended: what was typed is what it is set to, what was measured at its terminals is what it did.

A measurement speaks of the charges before it as of those after it: of each charge the last one before and the first one
after count. Too high in one of them holds the cell, in both condemns it.
"""

from collections.abc import Iterator
from datetime import timedelta
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried, once_a_case
from straycell.acceptance.checks.steps import rest_work
from straycell.acceptance.reasons import DUST, Outcome, Reason, Side, Status, Work, WorkKind, against_max
from straycell.cells import Chemistry
from straycell.keys import named_here
from straycell.quantities import Dimension, Measured, show
from straycell.readings import Charge, Charger


@once_a_case
def ended_above(case: Case) -> tuple[Tried, ...]:
    """Each full charge against its charger as measured before and after it. A rest voltage soon after clears a doubt only."""
    if not case.evidence.floats or case.facts.chemistry is Chemistry.PRIMARY:
        return ()
    limit = _limit(case)
    doubtful_v = case.full_voltage_v + case.figure("voltage-over-full-doubt")
    found = []
    for charge in case.charges:
        if charge.until_v < case.full_from_v(charge) - DUST:
            continue
        sides = [(each, _side(case, charge, each, limit, doubtful_v)) for each in _nearest(case, charge)]
        open_ones = [(each, side) for each, side in sides if side is not Side.CLEAR]
        for each, side in open_ones if not _shown_below(case, charge, doubtful_v) else ():
            if not _measured_again(case, each, side, limit):
                why = partial(_maybe, case, charge, each, limit)
                found.append(Tried("charger-end", Side.CLOSE, (charge, each), why))
        ends = _around(charge, sides)
        if [side for _, side in ends] == [Side.BEYOND] * 2:
            records = (charge, ends[0][0], ends[1][0])
            why = partial(_surely, case, charge, ends[-1][0], limit)
            found.append(Tried("voltage-over-full", Side.BEYOND, records, why))
    return tuple(found)


def doubt(case: Case) -> Iterator[Reason]:
    """The latest charge that its charger may have ended too high."""
    tries = ended_above(case)
    close = [t for t in tries if t.side is Side.CLOSE]
    if close and not any(t.side is Side.BEYOND for t in tries):
        charge, measured = close[-1].records
        assert isinstance(charge, Charge) and isinstance(measured, Charger)
        # Not `reason()`: with a person's own file the limits it left alone gave it, and they lack what the words need.
        yield _maybe(case, charge, measured, _limit(case))


def _limit(case: Case) -> float:
    return case.full_voltage_v + case.figure("voltage-over-full")


def _around(charge: Charge, sides: list[tuple[Charger, Side]]) -> list[tuple[Charger, Side]]:
    """Of what surely speaks of its slot: the last measurement before it and the first after it, with their sides."""
    # Too high before and after, it ended there in between, too, whatever it is set to. No rest voltage excuses that:
    # recorded before the second measurement it would, recorded after it not.
    surely = [(each, side) for each, side in sides if each.slot in (None, charge.slot)]
    before = [(each, side) for each, side in surely if each.at <= charge.at]
    return before[-1:] + surely[len(before) :][:1]


def _nearest(case: Case, charge: Charge) -> list[Charger]:
    """Of each slot that it may have been in: the last measurement before it and the first after it, oldest first."""
    found: dict[tuple[int | None, bool], Charger] = {}
    for each in case.evidence.floats:
        if each.speaks_of(charge) and each.at <= charge.at:
            found[each.slot, True] = each
        elif each.speaks_of(charge):
            found.setdefault((each.slot, False), each)
    return sorted(found.values(), key=lambda each: each.at)


def _float(measured: Charger) -> Measured:
    assert measured.float_v is not None
    return measured.float_v


def _side(case: Case, charge: Charge, measured: Charger, limit: float, doubtful_v: float) -> Side:
    value_v = _float(measured).value
    # In another mode it ends elsewhere (`charger-end`); full as a coarse meter shows it is not an over-charge.
    same_mode = value_v <= charge.until_v + case.figure("charger-end") + DUST
    return against_max(_float(measured), limit) if same_mode and value_v > doubtful_v + DUST else Side.CLEAR


def _shown_below(case: Case, charge: Charge, most_v: float) -> bool:
    """True where this charge, or a later one before the charger was measured again, is shown not to have ended too high."""
    # Between two measurements a charger drifts one way: where it was right later on, it was so before.
    end = next(
        (each.at for each in case.evidence.floats if each.speaks_of(charge) and each.at > charge.at), case.now
    )
    return any(
        charge.at <= later.at <= end
        and (later.charger, later.slot) == (charge.charger, charge.slot)
        and _rested_below(case, later, most_v)
        for later in case.charges
        if later.until_v >= case.full_from_v(later) - DUST
    )


def _rested_below(case: Case, charge: Charge, most_v: float) -> bool:
    """True where a rest voltage in the days after a charge shows that it did not end too high."""
    # A cell that was charged too far relaxes by some 30 mV in these days, and not by more (common practice).
    end = charge.at + timedelta(days=case.figure("charger-end-days"))
    return any(
        charge.at < r.at <= end
        and case.measured(r).high <= most_v + DUST
        and not case.disturbed(charge.at, r.at)
        for r in case.rest_voltages
    )


def _measured_again(case: Case, measured: Charger, side: Side, limit: float) -> bool:
    """True where a too coarse measurement was followed by a finer one that clears the limit."""
    # One that was surely too high is not taken back by a later one: the charger may have been mended.
    return side is Side.CLOSE and any(
        measured.at < c.at and measured.counts(c.at) and _float(c).high <= limit
        for c in case.evidence.floats
        if (c.name, c.slot) == (measured.name, measured.slot)
    )


def _maybe(case: Case, charge: Charge, measured: Charger, limit: float) -> Reason:
    value, end = _float(measured), charge.at + timedelta(days=case.figure("charger-end-days"))
    soon = case.now < end and not case.disturbed(charge.at, case.now)
    return case.reason(
        "charger-end",
        Status.CLOSE,
        Outcome.HOLD,
        f"charged {charge.at:%Y-%m-%d} by '{named_here(measured.name)}', which on {measured.at:%Y-%m-%d} ended at "
        f"{show(value.value, Dimension.VOLTAGE, u=value.u)}: it may be over-charged",
        Seen(value, limit, charge),
        todo=rest_work(
            case, f"measure its rest voltage before {end:%Y-%m-%d %H:%M} UTC: it shows where the charge ended"
        )
        if soon
        else Work(
            WorkKind.DISCARD,
            "no rest voltage of the three days after that charge shows where it ended: discard it (a float that was "
            "mistyped is taken back with straycell charger withdraw)",
        ),
        earliest=case.now if soon else None,
    )


def _surely(case: Case, charge: Charge, measured: Charger, limit: float) -> Reason:
    value = _float(measured)
    return case.reason(
        "voltage-over-full",
        Status.FAILED,
        Outcome.DISCARD,
        f"charged {charge.at:%Y-%m-%d} by '{named_here(measured.name)}', which before and after that ended at "
        f"{show(value.value, Dimension.VOLTAGE, u=value.u)}: over-charged",
        Seen(value, limit, charge),
    )
