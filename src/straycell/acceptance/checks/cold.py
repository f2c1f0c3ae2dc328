"""Rules of charging too fast: lithium plates where a cell is charged below freezing, or too fast for its warmth.

Judged by the temperature of the air around it: a cell at rest takes it on within hours.
"""

from collections.abc import Iterator
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.identity import tested_by, tested_since
from straycell.acceptance.checks.pairs import checked_after
from straycell.acceptance.checks.warming import rates_of
from straycell.acceptance.reasons import DUST, Outcome, Reason, Side, Status, Work, WorkKind, together
from straycell.quantities import Measured
from straycell.readings import Charge


def _air(case: Case, charge: Charge) -> Measured | None:
    """The air around it, or the highest that the cell reached where that is lower or the air is not on record."""
    # A cell out of the frost stays cold in a warm room for an hour: its own peak is what its lithium saw at most.
    known = [c for c in (charge.temperature_c, charge.peak_temperature_c) if c is not None]
    return Measured(min(known), case.rules.defaults.temperature.u(min(known))) if known else None


def _at(case: Case, charge: Charge) -> str:
    air = _air(case, charge)
    assert air is not None
    return (
        f"in air of {air.value:g} C"
        if air.value == charge.temperature_c
        else f"while it had {air.value:g} C at most"
    )


def _in_frost(case: Case, charge: Charge) -> bool:
    """Surely below the coldest that any sheet allows."""
    # The whole of U lies below 0 °C: a charge at 1 °C on a coarse thermometer must not brand a cell for ever.
    air = _air(case, charge)
    return air is not None and air.high < case.figure("charge-frost")


@once_a_case
def frozen_charges(case: Case) -> tuple[Tried, ...]:
    """Each charge surely in frost against the rate that plates for sure."""
    if not known_chemistry(case):
        return ()
    # The faster and colder, the more lithium plates instead of entering the graphite; plated metal does not
    # go back.
    limit, found = case.figure("charge-frost-rate"), []
    for charge in case.charges:
        for rate, known_by in rates_of(case, charge) if _in_frost(case, charge) else ():
            # A run that was cut short makes the rate look higher than it was.
            surely = rate > limit + DUST and not any(run.at_least for run in known_by)
            why = partial(_plated, case, charge, rate)
            side = Side.BEYOND if surely else Side.CLEAR
            found.append(Tried("charge-frost-rate", side, (charge, *known_by), why))
    return tuple(found)


def _plated(case: Case, charge: Charge, rate: float) -> Reason:
    return case.reason(
        "charge-frost-rate",
        Status.FAILED,
        Outcome.DISCARD,
        f"was charged at {rate:.2f}C {_at(case, charge)}: lithium plates",
        Seen(rate, case.figure("charge-frost-rate"), charge),
    )


def cold(case: Case) -> Iterator[Reason]:
    """Charged in frost, or too fast when cool: tested again first; after frost light at best, for ever."""
    if not known_chemistry(case) or any(t.side is Side.BEYOND for t in frozen_charges(case)):
        return
    # Plating in frost cannot be undone, nor measured outright: light at best, whatever the check shows.
    frost = [charge for charge in case.charges if _in_frost(case, charge)]
    if frost:
        yield _after_frost(case, frost[-1])
    hurried = [charge for charge in case.charges if _too_fast(case, charge)]
    if hurried and not checked_after(case, hurried[-1].at):
        yield _too_fast_reason(case, hurried[-1])


def _after_frost(case: Case, charge: Charge) -> Reason:
    done = tested_since(case, charge.at)
    # Plated lithium grows into a soft short, which shows slowly: 28 days and not seven (`charge-frost-
    # check`).
    days = case.figure("charge-frost-check")
    done = {"look": done["look"], "resistance": done["resistance"]}
    done[f"self-discharge check over {days:g} days"] = checked_after(case, charge.at, least=days)
    lacking = [name for name, there in done.items() if not there]
    words = f"was charged {_at(case, charge)}"
    return case.reason(
        "charge-frost",
        Status.UNMEASURED if lacking else Status.CLOSE,
        Outcome.HOLD if lacking else Outcome.LIGHT,
        f"{words}; still to do: {', '.join(lacking)}" if lacking else f"{words}: light at best, for ever",
        Seen(air.value if (air := _air(case, charge)) else None, case.figure("charge-frost"), charge),
        todo=together(f"record {', '.join(lacking)}, taken after that charge", tested_by(case, lacking)),
        earliest=case.now if lacking else None,
    )


def _rate(case: Case, charge: Charge) -> float:
    """Against the largest capacity known of it, 0 where none is."""
    return min((rate for rate, _ in rates_of(case, charge)), default=0.0)


def _too_fast(case: Case, charge: Charge) -> bool:
    """Surely colder than a step of the table and faster than it allows there."""
    return bool(_broken_step(case, charge))


def _broken_step(case: Case, charge: Charge) -> str:
    """The limit on its rate that a charge surely exceeded at the air it had; empty where none."""
    air, rate = _air(case, charge), _rate(case, charge)
    # A cell sheet allows 0.1C at 0 to 5 °C, 0.2C at 5 to 15 °C and others 1C in a room; the limits lie at twice that.
    for below, most in (("cold-below", "cold-rate"), ("cool-below", "cool-rate")):
        if air is not None and air.high < case.figure(below) and rate > case.figure(most) + DUST:
            return most
    by_maker = (case.facts.maker_charge_current_a or 0.0) >= charge.current_a and not case.facts.rewrapped
    return "charge-rate" if rate > case.figure("charge-rate") + DUST and not by_maker else ""


def _too_fast_reason(case: Case, charge: Charge) -> Reason:
    rate, limit_id = _rate(case, charge), _broken_step(case, charge)
    fast = limit_id == "charge-rate"
    return case.reason(
        limit_id,
        Status.CLOSE,  # not failed: the charge that the check starts with must stay allowed
        Outcome.HOLD,
        f"was charged at {rate:.2f}C"
        + (", too fast" if fast else f" {_at(case, charge)}, too fast for the cold"),
        Seen(rate, case.figure(limit_id), charge),
        rule=limit_id if fast else "cold-rate",
        todo=Work(
            WorkKind.CHARGE, "charge it full at 15 C or more, attended, then the self-discharge check again"
        ),
        earliest=case.now,
    )
