"""Rules of self-discharge: pairs of rest voltages after a full charge, or two capacity runs where voltage is flat."""

import math
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from functools import partial

from straycell.acceptance.case import STEPS, Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.first_day import may_miss
from straycell.acceptance.checks.pairs import (
    Pair,
    all_pairs,
    checked_after,
    errors_of,
    estimate,
    falling_pairs,
    least_days,
    make_pair,
    step_of,
    voltage_tells,
    windows,
)
from straycell.acceptance.checks.retention import grade_retention, kept_shortly, retained, start_records
from straycell.acceptance.checks.steps import check_work, open_charge
from straycell.acceptance.checks.voltage import doubtful
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
from straycell.quantities import Measured, amp_hours
from straycell.readings import Charge, Quantity, Reading

USUAL_LOSS = 2.0  # % a month, published as usual (2 to 3 %): only for the date when a longer wait may decide


@once_a_case
def leaks(case: Case) -> tuple[Tried, ...]:
    """Each two rest voltages after a full charge that fell, and each two capacity runs: a leak, or none.

    Any two that show it condemn: what else was measured neither hides nor excuses a stretch that leaks.
    """
    if not known_chemistry(case):
        return ()
    # No curve speaks for an unknown chemistry, so a voltage drop cannot be turned into a share of charge.
    return (*_leaks_by_voltage(case), *_leaks_by_capacity(case))


@once_a_case
def stretches(case: Case) -> tuple[tuple[Pair, Measured], ...]:
    """Each two rest voltages of a check that fell beyond U, with the loss they tell."""
    found = (
        (p, estimate(case, p))
        for charge, inside in windows(case)
        for p in falling_pairs(case, charge, inside)
    )
    return tuple((pair, loss) for pair, loss in found if loss is not None)


def _leaks_by_voltage(case: Case) -> Iterator[Tried]:
    # Under a week a loss of one meter step scales to several per cent a month; seven days is common practice.
    limit, least = case.figure("self-discharge-discard"), case.figure("pair-days", "light")
    for pair, loss in stretches(case):
        # The days come from the pair and not from the clock, so that the finding is the same at any later
        # time.
        if pair.days >= least:
            words = f"loses {loss.value:.1f} ± {loss.expanded:.1f} % a month: an inner leak"
            why = partial(_leak, case, words, loss, pair.second)
            records = (pair.charge, pair.first, pair.second)
            yield Tried("self-discharge-discard", against_max(loss, limit), records, why)


def _leaks_by_capacity(case: Case) -> Iterator[Tried]:
    limit = case.figure("self-discharge-discard")
    for kept in retained(case):
        # The early run's full start is part of the proof: were that charge a mistake, its capacity would be
        # too low.
        start = start_records(case, kept.early.reading)
        records = (kept.charge, *start, kept.late.reading)
        why = partial(_leak, case, kept.words, kept.loss, kept.late.reading)
        yield Tried("self-discharge-discard", against_max(kept.loss, limit), records, why)


def _leak(case: Case, words: str, loss: Measured, reading: Reading) -> Reason:
    return case.reason(
        "self-discharge-discard",
        Status.FAILED,
        Outcome.DISCARD,
        words,
        Seen(loss, case.figure("self-discharge-discard"), reading),
    )


def worst_stretch(case: Case) -> Iterator[Reason]:
    """A stretch of a check that may leak holds until a week more shows whether it does, or a new check does.

    Of several rest voltages the worst stretch counts: a slow start hides no leak that began later.
    """
    if not known_chemistry(case) or any(t.side is Side.BEYOND for t in leaks(case)):
        return
    # A mean over the whole check would dilute a soft short that began in its last week.
    open_ones = [(pair, loss) for pair, loss in stretches(case) if _open(case, pair, loss)]
    if open_ones:
        pair, loss = max(open_ones, key=lambda each: (each[1].value, each[0].second.at))
        # A week more at least doubles the span of a short stretch, and U falls as the span grows.
        later = max(case.now, pair.second.at + timedelta(days=case.figure("pair-days", "light")))
        yield case.reason(
            "self-discharge-discard",
            Status.CLOSE,
            Outcome.HOLD,
            f"loses {loss.value:.1f} ± {loss.expanded:.1f} % a month from {pair.first.at:%Y-%m-%d} "
            f"to {pair.second.at:%Y-%m-%d}: it may leak",
            Seen(loss, case.figure("self-discharge-discard"), pair.second),
            rule="self-discharge-stretch",
            todo=_rest_again(
                case, "measure the rest voltage again, by the same meter, with its temperature", later
            ),
            earliest=later,
        )


def ran_short(case: Case) -> Iterator[Reason]:
    """A run days after a full charge that gave far less than the one soon after it: held until a new check is over.

    As a capacity it is a lower bound and says nothing; of what went missing since the charge it says a lot.
    """
    if not known_chemistry(case) or any(t.side is Side.BEYOND for t in leaks(case)):
        return
    short = [
        each
        for each in kept_shortly(case)
        if each.points_gone > may_miss(case, "first-day", each.days)
        and not checked_after(case, each.late.reading.at)
    ]
    if short:
        worst = max(short, key=lambda each: (each.points_gone, each.late.reading.at))
        gave, days = amp_hours(worst.late.value.value), f"{worst.days:.0f} days after a full charge"
        yield case.reason(
            "first-day",
            Status.CLOSE,  # not failed: the charge that begins the new check must stay allowed
            Outcome.HOLD,
            f"gave {gave} {days}: at least {worst.points_gone:.0f} % of its charge is missing",
            Seen(worst.points_gone, may_miss(case, "first-day", worst.days), worst.late.reading),
            rule="first-day-run",
            todo=check_work(case, "charge it full, attended, and begin a new self-discharge check", case.now),
            earliest=case.now,
        )


def _open(case: Case, pair: Pair, loss: Measured) -> bool:
    """Under a week only a loss surely above the limit speaks; then any above it that can be reported at all."""
    limit, days = case.figure("self-discharge-discard"), case.figure("pair-days", "light")
    short = pair.days < days
    # Short spans speak only with the whole guard band beyond the limit: a coarse meter would else hold sound
    # cells.
    if against_max(loss, limit) is not Side.BEYOND if short else not loss.expanded < limit < loss.value:
        return False
    later = next((inside for charge, inside in windows(case) if charge is pair.charge), [])
    wanted = (pair.first.at if short else pair.second.at) + timedelta(days=days)
    # A reading a week later answers the doubt either way: then the ordinary test of the longer pair speaks.
    settled = any(r.at >= wanted and not make_pair(case, pair.charge, pair.first, r).fault for r in later)
    return not settled and not checked_after(case, pair.second.at)


def self_discharge(case: Case) -> Iterator[Reason]:
    """The outcome its loss allows; not yet, or not tellable, holds."""
    if not known_chemistry(case) or any(t.side is Side.BEYOND for t in leaks(case)):
        return
    pairs = [p for p in all_pairs(case) if not p.fault and p.days >= least_days(case, p, Outcome.LIGHT)]
    # A pair from before a low rest voltage describes the cell as it was, not the one that has sunk since.
    fresh = [p for p in pairs if p.first.at > _last_sinking(case)]
    told = _best_told(case, fresh) if voltage_tells(case) else None
    # A rise spoils the check in both directions: an unseen charge hides a leak, another cell's reading says
    # nothing.
    if fresh and _rose(case, fresh[-1]):
        yield _contradictory(case, fresh[-1], estimate(case, fresh[-1]))
    elif told is not None:
        yield from _grade(case, *told)
    else:
        yield from _by_capacity_or_wait(case, fresh[-1] if fresh else None)


def _best_told(case: Case, fresh: Sequence[Pair]) -> tuple[Pair, Measured] | None:
    """The latest pair; else the best of the same window that agrees with it: a coarse check takes back nothing."""
    latest = estimate(case, fresh[-1]) if fresh else None
    if latest is None:
        return None
    # Pairs of another check do not help: other charge, other relaxation, perhaps other damage in between.
    told = [
        (pair, loss)
        for pair in reversed(fresh)
        if pair.charge is fresh[-1].charge and (loss := estimate(case, pair)) is not None
        # Only a pair that agrees within both U may stand in; one that differs would be picking the nicer
        # answer.
        if abs(loss.value - latest.value) <= math.hypot(loss.expanded, latest.expanded)
        if loss.expanded < case.figure("self-discharge-discard")
    ]
    return max(told, key=lambda each: min(r.ceiling for r in _grade(case, *each)), default=None)


@once_a_case
def _last_sinking(case: Case) -> datetime:
    """When a rest voltage last lay too low: only a check begun after it counts."""
    limit = case.figure("rest-voltage")
    # CLOSE counts as low here: a value within its U of the limit has not cleared it.
    low = [r.at for r in case.rest_voltages if against_min(case.measured(r), limit) is not Side.CLEAR]
    return max(low, default=datetime.min.replace(tzinfo=case.now.tzinfo))


def _rose(case: Case, pair: Pair) -> bool:
    """No cell gains charge by itself: a rise beyond U and the room's swing is an unrecorded charge, or another cell."""
    assert pair.first.value is not None and pair.second.value is not None
    # A cell's voltage drifts up to 0.5 mV a kelvin (`cell-drift`, common practice), which no charge explains.
    swing_v = case.figure("cell-drift") * case.figure("pair-temperature")
    return pair.second.value - pair.first.value > 2.0 * errors_of(case, pair)[1] + swing_v


def _contradictory(case: Case, pair: Pair, loss: Measured | None) -> Reason:
    return case.reason(
        "self-discharge",
        Status.UNMEASURED,
        Outcome.HOLD,
        f"contradictory: the rest voltage rose from {pair.first.value:g} V to {pair.second.value:g} V: "
        "no cell does that by itself",
        Seen(loss, case.figure("self-discharge", "light"), pair.second),
        todo=Work(
            WorkKind.REST,
            "measure the rest voltage again; record a charge in between (charge add --at), or supersede the wrong one",
        ),
        earliest=case.now,
    )


def _grade(case: Case, pair: Pair, loss: Measured) -> Iterator[Reason]:
    words = f"loses {loss.value:.1f} ± {loss.expanded:.1f} % a month over {pair.days:.0f} days"
    for outcome in STEPS:
        limit = case.figure("self-discharge", outcome.word)
        days = least_days(case, pair, outcome)
        side = against_max(loss, limit)
        seen = Seen(loss, limit, pair.second, figure=words)
        # Loss and days are separate demands: in a parallel group a leak discharges its neighbours, so pack is
        # watched longer.
        if side is Side.CLEAR and pair.days >= days:
            yield case.reason(
                "self-discharge",
                Status.MET,
                outcome,
                f"{words}: {outcome.word}",
                seen,
            )
            return
        if side is Side.CLEAR:
            enough = pair.first.at + timedelta(days=days)
            yield case.reason(
                "self-discharge",
                Status.UNMEASURED,
                Outcome(outcome - 1),
                f"{words}; {outcome.word} needs {days:g} days",
                seen,
                rule=f"self-discharge-{outcome.word}",
                todo=_rest_again(case, f"for {outcome.word}: measure the rest voltage again", enough),
                earliest=enough,
            )
            continue
        # A loss beyond the limit has no date: waiting longer narrows U but moves no value across the limit.
        clear_at = _when_clear(case, pair, loss) if side is Side.CLOSE else None
        yield case.reason(
            "self-discharge",
            Status.CLOSE if side is Side.CLOSE else Status.FAILED,
            Outcome(outcome - 1),
            f"{words}: {'too close to call for' if side is Side.CLOSE else 'too much for'} {outcome.word}",
            seen,
            rule=f"self-discharge-{outcome.word}",
            todo=_rest_again(
                case, f"for {outcome.word}: measure the rest voltage again by the same meter", clear_at
            )
            if clear_at
            else None,
            earliest=clear_at,
        )


def _when_clear(case: Case, pair: Pair, loss: Measured) -> datetime:
    """When a longer wait would let a usual loss clear the solo limit: U shrinks with the days."""
    # Aimed at solo: the 3 % of pack leave hardly any room above the usual 2 to 3 % a month.
    room = case.figure("self-discharge", "solo") - USUAL_LOSS
    # The meter's error is fixed in volts, so U in per cent a month falls as one over the days.
    days = max(case.figure("pair-days", "pack"), math.ceil(pair.days * loss.expanded / max(room, 0.5)))
    return max(case.now, pair.first.at + timedelta(days=days))


def _by_capacity_or_wait(case: Case, pair: Pair | None) -> Iterator[Reason]:
    """Voltage does not tell (flat curve, coarse meter) or not yet: a second capacity run may, else wait."""
    told = retained(case)
    if told:
        yield from grade_retention(case, told[0])
        return
    if pair is not None:
        loss_now = estimate(case, pair)
        spread = f" (U is {loss_now.expanded:.0f} % a month)" if loss_now else ""
        # On lfp's plateau a per cent of charge is below a millivolt: no longer wait makes voltage tell it.
        steep = loss_now is not None and str(case.facts.chemistry) != "lfp"
        run_after = pair.charge.at + timedelta(days=case.figure("retention-days"))
        later = _when_clear(case, pair, loss_now) if steep and loss_now else max(case.now, run_after)
        yield case.reason(
            "self-discharge",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"self-discharge cannot be read from these voltages{spread}",
            Seen(limit=case.figure("self-discharge", "light"), reading=pair.second),
            todo=_rest_again(case, "measure again with the same, finer meter, or wait longer", later)
            if steep
            else Work(
                WorkKind.CAPACITY,
                "the curve is flat here: compare a capacity run now with one 28 days after a full charge",
                later,
            ),
            earliest=later,
        )
        return
    yield _not_yet(case)


def _rest_again(case: Case, words: str, not_before: datetime) -> Work:
    """Another rest voltage of the same check; a new check where the cell was used since."""
    # After use or a let-down the old first reading no longer belongs to the same charge.
    if open_charge(case) is None:
        return Work(WorkKind.CHARGE, f"charge it full, attended, to begin a new check; then {words}")
    return Work(WorkKind.REST, words, not_before)


def _first_of_pair(case: Case, charge: Charge, inside: Sequence[Reading]) -> Reading | None:
    """The reading that the next one will be compared with, if it is taken like the latest."""
    known = [r for r in inside if r.temperature_c is not None]
    if not known:
        return None
    return next(r for r in known if r is known[-1] or not make_pair(case, charge, r, known[-1]).fault)


def _not_yet(case: Case) -> Reason:
    """No pair yet: what comes next, and the earliest date on which it could decide."""
    # A cell once low gets the 28 days of a retention test: what a deep discharge left inside may leak slowly.
    days = case.figure("pair-days", "doubtful" if doubtful(case) else "solo")
    wait = timedelta(hours=case.figure("pair-rest"))
    sinking = _last_sinking(case)
    found = [
        (c, inside) for c, inside in windows(case) if not case.disturbed(c.at, case.now) and c.at > sinking
    ]
    faults = [p.fault for p in all_pairs(case) if p.fault]
    if not found:
        text, words = "no full charge to start from", "charge it full, attended, and record it"
        # 24 h first: about 5 % apparent loss right after the charge is relaxation (handbook), not a leak.
        earliest = case.now + wait + timedelta(days=days)
        if any(r.quantity is Quantity.CAPACITY for r in case.readings) or case.charges:
            text = "no undisturbed full charge to start from"
        text += case.not_full_note()
    else:
        charge, inside = found[-1]
        first = _first_of_pair(case, charge, inside)
        start = first.at if first else max(case.now, charge.at + wait)
        if first is not None:
            days = max(days, least_days(case, make_pair(case, charge, first, first), Outcome.LIGHT))
        earliest = max(start + timedelta(days=days), case.now)
        ending = f"the second {days:g} days after the first, by the same meter, with --temperature"
        text = "one rest voltage of two" if first else "no rest voltage since the full charge"
        text = "no rest voltage with its temperature since the full charge" if inside and not first else text
        # 10 mV is about 0.7 % of charge on the steep part of the curves: over a week that alone is 3 % a
        # month.
        if first and step_of(case, first) >= case.figure("pair-step") - DUST:
            text += f" (the meter steps by 10 mV or more here, so {days:g} days)"
        words = (
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
        Seen(limit=case.figure("self-discharge", "light")),
        todo=check_work(case, words, earliest),
        earliest=earliest,
    )
