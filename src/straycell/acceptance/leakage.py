"""Rules of self-discharge: pairs of rest voltages after a full charge, or two capacity runs where voltage is flat."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from straycell.acceptance.case import STEPS, Case, known_chemistry, once_a_case
from straycell.acceptance.conformance import Side, against_max, against_min
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.acceptance.retention import retention_loss
from straycell.acceptance.voltage import doubtful
from straycell.physics.self_discharge import VoltagePair, loss_per_month
from straycell.quantities import Measured
from straycell.readings import Charge, Quantity, Reading, accuracy_of

HOURS_A_MONTH = 720.0
USUAL_LOSS = 2.0  # % a month, published as usual (2 to 3 %): only for the date when a longer wait may decide


@dataclass(frozen=True, slots=True)
class Pair:
    """Two rest voltages after one full charge. `fault` says why they cannot be compared, if so."""

    charge: Charge
    first: Reading
    second: Reading
    low_start: bool
    fault: str = ""

    @property
    def days(self) -> float:
        return (self.second.at - self.first.at).total_seconds() / 86400.0


@once_a_case
def windows(case: Case) -> list[tuple[Charge, list[Reading]]]:
    """Rest voltages that follow each full charge without a charge or discharge in between, oldest first."""
    found = []
    wait = timedelta(hours=case.figure("pair-rest"))
    for charge in case.charges:
        if not case.is_full(charge):
            continue
        inside = [
            r for r in case.rest_voltages if r.at >= charge.at + wait and not case.disturbed(charge.at, r.at)
        ]
        found.append((charge, inside))
    return found


def make_pair(case: Case, charge: Charge, first: Reading, second: Reading) -> Pair:
    """A pair with its fault, if any: temperatures must be known and near each other, the place the same."""
    low = first.value is not None and first.value < case.figure("pair-start")
    fault = ""
    if first.temperature_c is None or second.temperature_c is None:
        fault = "the temperature of both rest voltages must be recorded"
    elif abs(first.temperature_c - second.temperature_c) > case.figure("pair-temperature"):
        fault = (
            f"the two rest voltages were taken at {first.temperature_c:g} C and {second.temperature_c:g} C, "
            f"more than {case.figure('pair-temperature'):g} K apart"
        )
    elif case.at_board(first) != case.at_board(second):
        fault = "one rest voltage was taken at the tabs, the other at the board"
    return Pair(charge, first, second, low, fault)


def least_days(case: Case, pair: Pair, outcome: Outcome) -> float:
    """Days a pair must span to speak for an outcome."""
    days = case.figure("pair-days", outcome.word)
    if pair.low_start:
        days = max(days, case.figure("pair-days", "low-start"))
    if _step(case, pair.first) >= case.figure("pair-step") - 1e-9:
        days = max(days, case.figure("pair-days", "coarse"))
    if doubtful(case):
        days = max(days, case.figure("pair-days", "doubtful"))
    return days


def _step(case: Case, reading: Reading) -> float:
    """The meter's step in V here; where it is not known, the largest its accuracy leaves room for (twice it)."""
    assert reading.value is not None
    known = reading.meter.voltage_resolution.step(reading.value) if reading.meter else 0.0
    return known or 2 * accuracy_of(reading, case.rules.defaults)[0].limit(reading.value)


def estimate(case: Case, pair: Pair) -> Measured | None:
    """Loss in per cent in 30 days from a pair without fault; None when no curve speaks for the chemistry."""
    key = ("estimate", id(pair.first), id(pair.second))
    if key not in case.memo:
        case.memo[key] = _estimate(case, pair)
    found: Measured | None = case.memo[key]
    return found


def _estimate(case: Case, pair: Pair) -> Measured | None:
    assert pair.first.value is not None and pair.second.value is not None
    drain = case.figure("board-drain") * HOURS_A_MONTH if case.facts.protection_board else 0.0
    common, difference = _errors(case, pair)
    common = math.hypot(common, case.figure("curve-error") / math.sqrt(3.0))
    return loss_per_month(
        case.facts.chemistry,
        VoltagePair(pair.first.value, pair.second.value, pair.days, common, difference),
        drain_ah_per_month=drain,
        drain_limit_ah=drain,
        capacity_ah=case.reference_capacity_ah,
    )


def _errors(case: Case, pair: Pair) -> tuple[float, float]:
    """Standard uncertainties in V: (shared by both, of their difference)."""
    first, second = pair.first, pair.second
    assert first.value is not None and second.value is not None
    kelvin = abs((first.temperature_c or 0.0) - (second.temperature_c or 0.0))
    accuracy, is_default = accuracy_of(first, case.rules.defaults)
    drift = accuracy.limit(first.value) * case.figure("meter-drift") * kelvin / math.sqrt(3.0)
    cell = case.figure("cell-drift") * kelvin / math.sqrt(3.0)
    same = not is_default and first.meter is not None and first.meter == second.meter
    if not same:
        u1, u2 = case.measured(first).u, case.measured(second).u
        return max(u1, u2), math.hypot(u1, u2, drift, cell)
    gain = accuracy.gain * abs(first.value - second.value) / math.sqrt(3.0)
    steps = math.hypot(_step(case, first), _step(case, second)) / math.sqrt(12.0)
    difference = math.hypot(gain, steps, drift, cell)
    return accuracy.u(first.value), difference


@once_a_case
def all_pairs(case: Case) -> list[Pair]:
    """Every pair that starts with a window's first reading, oldest window first, longest last."""
    return [
        make_pair(case, charge, inside[0], later) for charge, inside in windows(case) for later in inside[1:]
    ]


def pairs_as_recorded(case: Case) -> list[Pair]:
    """Every pair as it stood when its second voltage was recorded: what is told only later breaks no pair.

    Discards are read from these, so that no charge told afterwards brings a leaking cell back.
    """
    wait = timedelta(hours=case.figure("pair-rest"))
    found = []
    for charge in case.charges:
        if not case.is_full(charge):
            continue
        later = [r for r in case.rest_voltages if r.at >= charge.at + wait]
        inside = [r for r in later if not case.disturbed(charge.at, r.at, known_by=r.id)]
        found += [make_pair(case, charge, inside[0], r) for r in inside[1:]]
    return found


def checks_done(case: Case) -> list[datetime]:
    """When each self-discharge check ended: pairs that do not overlap, each long enough for light."""
    ends: list[datetime] = []
    for charge, inside in windows(case):
        start = inside[0] if inside else None
        for reading in inside[1:]:
            assert start is not None
            pair = make_pair(case, charge, start, reading)
            if not pair.fault and pair.days >= least_days(case, pair, Outcome.LIGHT):
                ends.append(reading.at)
                start = reading
    return ends


def self_discharge(case: Case) -> Iterator[Reason]:
    """Too fast discards; else the outcome its loss allows; not yet, or not tellable, holds."""
    if not known_chemistry(case):
        return

    def long_enough(pairs: list[Pair]) -> list[Pair]:
        return [p for p in pairs if not p.fault and p.days >= least_days(case, p, Outcome.LIGHT)]

    pairs = long_enough(all_pairs(case))
    discard_at = case.figure("self-discharge-discard")
    for pair in long_enough(pairs_as_recorded(case)):
        loss = estimate(case, pair)
        if loss is not None and against_max(loss, discard_at) is Side.BEYOND:
            yield case.reason(
                "self-discharge-discard",
                Status.FAILED,
                Outcome.DISCARD,
                f"loses {loss.value:.1f} ± {loss.expanded:.1f} % a month: an inner leak",
                value=loss,
                limit=discard_at,
                reading=pair.second,
            )
            return
    fresh = [p for p in pairs if p.first.at > _last_sinking(case)]
    loss = estimate(case, fresh[-1]) if fresh else None
    if fresh and loss is not None and loss.expanded < discard_at:
        yield from _grade(case, fresh[-1], loss)
    else:
        yield from _by_capacity_or_wait(case, fresh[-1] if fresh else None)


@once_a_case
def _last_sinking(case: Case) -> datetime:
    """When a rest voltage last lay too low: only a check begun after it counts."""
    limit = case.figure("rest-voltage")
    low = [r.at for r in case.rest_voltages if against_min(case.measured(r), limit) is not Side.CLEAR]
    return max(low, default=datetime.min.replace(tzinfo=case.now.tzinfo))


def _grade(case: Case, pair: Pair, loss: Measured) -> Iterator[Reason]:
    words = f"loses {loss.value:.1f} ± {loss.expanded:.1f} % a month over {pair.days:.0f} days"
    for outcome in STEPS:
        limit = case.figure("self-discharge", outcome.word)
        days = least_days(case, pair, outcome)
        side = against_max(loss, limit)
        if side is Side.CLEAR and pair.days >= days:
            yield case.reason(
                "self-discharge",
                Status.MET,
                outcome,
                f"{words}: {outcome.word}",
                value=loss,
                limit=limit,
                reading=pair.second,
            )
            return
        if side is Side.CLEAR:
            yield case.reason(
                "self-discharge",
                Status.UNMEASURED,
                Outcome(outcome - 1),
                f"{words}; {outcome.word} needs {days:g} days",
                rule=f"self-discharge-{outcome.word}",
                value=loss,
                limit=limit,
                reading=pair.second,
                todo=f"for {outcome.word}: measure the rest voltage again",
                earliest=pair.first.at + timedelta(days=days),
            )
            continue
        yield case.reason(
            "self-discharge",
            Status.CLOSE if side is Side.CLOSE else Status.FAILED,
            Outcome(outcome - 1),
            f"{words}: {'too close to call for' if side is Side.CLOSE else 'too much for'} {outcome.word}",
            rule=f"self-discharge-{outcome.word}",
            value=loss,
            limit=limit,
            reading=pair.second,
            todo=f"measure the rest voltage again with the same meter, for {outcome.word}"
            if side is Side.CLOSE
            else "",
            earliest=_when_clear(case, pair, loss) if side is Side.CLOSE else None,
        )


def _when_clear(case: Case, pair: Pair, loss: Measured) -> datetime:
    """When a longer wait would let a usual loss clear the solo limit: U shrinks with the days."""
    room = case.figure("self-discharge", "solo") - USUAL_LOSS
    days = max(case.figure("pair-days", "pack"), math.ceil(pair.days * loss.expanded / max(room, 0.5)))
    return max(case.now, pair.first.at + timedelta(days=days))


def _by_capacity_or_wait(case: Case, pair: Pair | None) -> Iterator[Reason]:
    """Voltage does not tell (flat curve, coarse meter) or not yet: a second capacity run may, else wait."""
    told = retention_loss(case)
    if told is not None:
        loss, reading, days = told
        yield from _grade_retention(case, loss, reading, days)
        return
    if pair is not None:
        loss_now = estimate(case, pair)
        spread = f" (U is {loss_now.expanded:.0f} % a month)" if loss_now else ""
        steep = loss_now is not None and str(case.facts.chemistry) != "lfp"
        run_after = pair.charge.at + timedelta(days=case.figure("retention-days"))
        yield case.reason(
            "self-discharge",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"self-discharge cannot be told from these voltages{spread}",
            limit=case.figure("self-discharge", "light"),
            reading=pair.second,
            todo="measure again with the same, finer meter, or wait longer"
            if steep
            else "the curve is flat here: compare a capacity run now with one 28 days after a full charge",
            earliest=_when_clear(case, pair, loss_now) if steep and loss_now else max(case.now, run_after),
        )
        return
    yield _not_yet(case)


def _grade_retention(case: Case, loss: Measured, reading: Reading, days: float) -> Iterator[Reason]:
    monthly = f"{loss.value:.1f} ± {loss.expanded:.1f} % a month"
    words = f"kept {100 - loss.value * days / 30:.1f} % of its charge over {days:.0f} days ({monthly})"
    discard_at = case.figure("self-discharge-discard")
    if against_max(loss, discard_at) is Side.BEYOND:
        yield case.reason(
            "self-discharge-discard",
            Status.FAILED,
            Outcome.DISCARD,
            words,
            value=loss,
            limit=discard_at,
            reading=reading,
        )
        return
    for outcome in STEPS:
        limit = case.figure("self-discharge", outcome.word)
        side = against_max(loss, limit)
        clear = side is Side.CLEAR
        yield case.reason(
            "self-discharge",
            Status.MET if clear else Status.CLOSE if side is Side.CLOSE else Status.FAILED,
            outcome if clear else Outcome(outcome - 1),
            f"{words}: {outcome.word}" if clear else f"{words}: not enough for {outcome.word}",
            rule="self-discharge" if clear else f"self-discharge-{outcome.word}",
            value=loss,
            limit=limit,
            reading=reading,
            todo="" if clear else "repeat the 28 days and the capacity run",
            earliest=None if clear else case.now + timedelta(days=case.figure("retention-days")),
        )
        if clear:
            return


def _not_yet(case: Case) -> Reason:
    """No pair yet: what comes next, and the earliest date on which it could decide."""
    days = case.figure("pair-days", "doubtful" if doubtful(case) else "solo")
    wait = timedelta(hours=case.figure("pair-rest"))
    sinking = _last_sinking(case)
    found = [
        (c, inside) for c, inside in windows(case) if not case.disturbed(c.at, case.now) and c.at > sinking
    ]
    faults = [p.fault for p in all_pairs(case) if p.fault]
    if not found:
        text, todo = (
            "no full charge to start from",
            "charge it full, attended, and record it: charge add CODE ...",
        )
        earliest = case.now + wait + timedelta(days=days)
        if any(r.quantity is Quantity.CAPACITY for r in case.readings) or case.charges:
            text = "no undisturbed full charge to start from"
    else:
        charge, inside = found[-1]
        first = inside[0] if inside else None
        start = first.at if first else max(case.now, charge.at + wait)
        if first is not None:
            days = max(days, least_days(case, make_pair(case, charge, first, first), Outcome.LIGHT))
        earliest = max(start + timedelta(days=days), case.now)
        ending = f"the second {days:g} days after the first, by the same meter, with --temperature"
        text = "one rest voltage of two" if first else "no rest voltage since the full charge"
        if first and _step(case, first) >= case.figure("pair-step") - 1e-9:
            text += f" (the meter steps by 10 mV or more here, so {days:g} days)"
        todo = (
            f"measure the rest voltage again: {ending}"
            if first
            else f"first rest voltage {wait.total_seconds() / 3600:g} h or more after the charge, {ending}"
        )
    if faults:
        text = f"{text}; {faults[-1]}"
    return case.reason(
        "self-discharge",
        Status.UNMEASURED,
        Outcome.HOLD,
        f"self-discharge: {text}",
        limit=case.figure("self-discharge", "light"),
        todo=todo,
        earliest=earliest,
    )
