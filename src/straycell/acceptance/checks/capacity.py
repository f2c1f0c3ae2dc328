"""Rules of capacity: against the rating, the size's table or the best sibling; contradictions; age."""

import math
from collections.abc import Iterator, Sequence
from datetime import timedelta
from functools import partial

from straycell.acceptance.case import STEPS, Case, Seen, Tried, default_note, known_chemistry, once_a_case
from straycell.acceptance.checks.retention import (
    Run,
    Worth,
    comparable,
    conditions,
    runs,
    start_records,
)
from straycell.acceptance.checks.steps import run_work
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind, against_min
from straycell.quantities import Dimension, Measured, amp_hours, show, volts

# Marked cells of 4.35 and 4.40 V lie 0.15 V and more above 4.20 V, sheet tolerances only 0.05 V.
HIGH_VOLTAGE_FROM = 0.1  # V above the chemistry's usual full voltage that makes a marked 4.35 or 4.40 V cell


@once_a_case
def current_run(case: Case) -> Run | None:
    """The run that grades: the latest that counts and is fresh, else the largest fresh lower bound."""
    fresh = [r for r in runs(case) if case.now < case.age_limit("age-capacity", r.reading.at)]
    counting = [r for r in fresh if r.worth is Worth.COUNTS]
    # The latest and not the best: capacity only falls with age, and an old good run must not hide that.
    if counting:
        return counting[-1]
    # Every lower bound is true at once, so the largest tells most.
    bounds = [r for r in fresh if r.worth is Worth.AT_LEAST]
    return max(bounds, key=lambda r: (r.value.value, r.reading.id), default=None)


@once_a_case
def expected_capacity(case: Case) -> tuple[Measured | None, bool, str]:
    """(what 100 % means in Ah, rated or not, where it comes from)."""
    facts = case.facts
    if case.rated_ah:
        rated = Measured(case.rated_ah, 0.0)
        # The usual charger stops at 4.20 V, and the rating was made at 4.35 or 4.40 V: unscaled, a sound cell
        # looks worn.
        if case.full_voltage_v >= case.figure("full-voltage") + HIGH_VOLTAGE_FROM:
            share = case.figure("high-voltage-share")
            u = rated.value * case.figure("high-voltage-share-error") / math.sqrt(3.0)
            return Measured(rated.value * share, u), True, "rated, charged to 4.20 V only"
        return rated, True, "rated"
    # Cells of one pack were bought alike; the best of them shows what this type held, a table only what its
    # size holds.
    table, sibling = case.table_capacity_ah, case.evidence.best_sibling
    why = "re-wrapped" if facts.rewrapped else "rating unknown"
    if table is None:
        return None, False, why
    # Only a larger sibling counts: a worn pack would otherwise set its own low standard.
    if sibling is not None and sibling.capacity_ah > table:
        return Measured(sibling.capacity_ah, 0.0), False, f"{why}: against the best sibling"
    return Measured(table, 0.0), False, f"{why}: against the size's table"


def capacity(case: Case) -> Iterator[Reason]:
    """The step the capacity reaches; nothing measured, stale or disputed holds."""
    if not known_chemistry(case):
        return
    expected, rated, origin = expected_capacity(case)
    run = current_run(case)
    yield from _too_much(case)
    yield from _energy(case)
    disputed = _contradiction(case)
    if run is None:
        yield _nothing(case)
        return
    if expected is None:
        yield case.reason(
            # Without a size even a table is a guess, and an unknown share of an unknown rating is not a pass.
            "unrated-capacity",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{origin}, and the size is not known: nothing to judge the capacity by",
            Seen(run.value, reading=run.reading),
            rule="capacity",
            todo=Work(
                WorkKind.CORRECT,
                "record the size (marking like 603450, or thickness x width x height in mm) or the rated capacity",
                options="--marking ...",
            ),
            earliest=case.now,
        )
        return
    # Cells of a pack must share charge alike, which needs a known share of wear; an estimate suffices for one
    # alone.
    if not rated:
        yield case.reason(
            "unrated-capacity",
            Status.UNMEASURED,
            Outcome.SOLO,
            f"{origin} ({amp_hours(expected.value)}): at best solo",
            Seen(limit=expected.value),
        )
    if disputed is not None:
        yield disputed
    yield from _grade(case, run, expected, origin)


def _share(value: Measured, expected: Measured) -> Measured:
    share = value.value / expected.value
    # Relative uncertainties of a quotient add in quadrature (JCGM 100, 5.1.6).
    return Measured(share, share * math.hypot(value.u / value.value, expected.u / expected.value))


@once_a_case
def worn_out(case: Case) -> tuple[Tried, ...]:
    """Each run that counts and that no other disputes, against the least that light asks for.

    Age does not acquit: a run too old to grade by still shows a worn cell.
    """
    expected, _, origin = expected_capacity(case)
    if not known_chemistry(case) or expected is None:
        return ()
    limit = case.figure("capacity", "light")
    # Runs that lack only their temperature may dispute, but never condemn: cold alone lowers a capacity.
    speaking = [r for r in runs(case) if r.speaks]
    sibling = case.evidence.best_sibling
    known_by = (sibling,) if sibling and expected.value == sibling.capacity_ah else ()
    found = []
    for run in runs(case):
        # A low run may be a loose contact or a wrong cut-off; disputed or outvoted it asks for another run
        # instead.
        if run.worth is not Worth.COUNTS or _against(case, run, speaking) or _outvoted(case, run, speaking):
            continue
        share = _share(run.value, expected)
        why = partial(_worn, case, run, share, origin)
        # A run that did not start full is low for a reason other than wear, so its charge is part of the
        # proof.
        records = (*start_records(case, run.reading), *known_by)
        found.append(Tried("capacity-discard", against_min(share, limit), records, why))
    return tuple(found)


def _worn(case: Case, run: Run, share: Measured, origin: str) -> Reason:
    return case.reason(
        "capacity",
        Status.FAILED,
        Outcome.DISCARD,
        f"{_words(run)} is {share.value:.0%} ({origin}): worn out",
        Seen(share, case.figure("capacity", "light"), run.reading),
        rule="capacity-discard",
    )


def _grade(case: Case, run: Run, expected: Measured, origin: str) -> Iterator[Reason]:
    share = _share(run.value, expected)
    # Capacity fades with time and use; after a year (common practice) the figure describes another cell.
    until = case.age_limit("age-capacity", run.reading.at)
    at_least = run.worth is Worth.AT_LEAST
    words = f"{_words(run)} is {share.value:.0%} of {amp_hours(expected.value)} ({origin})"
    words += f", at least: {run.why}" if at_least else ""
    again = "measure the capacity again: full charge first, 0.2C to the chemistry's cut-off, at 15 to 30 C"
    for outcome in STEPS:
        limit = case.figure("capacity", outcome.word)
        side = against_min(share, limit)
        seen = Seen(share, limit, run.reading, until=until, figure=words)
        if side is Side.CLEAR:
            yield case.reason("capacity", Status.MET, outcome, f"{words}: {outcome.word}", seen)
            return
        # A lower bound below a limit says nothing: only a run that counts can fail it.
        status = Status.CLOSE if side is Side.CLOSE or at_least else Status.FAILED
        yield case.reason(
            "capacity",
            status,
            Outcome(outcome - 1),
            f"{words}: {'does not prove' if status is Status.CLOSE else 'not enough for'} {outcome.word}",
            seen,
            rule=f"capacity-{outcome.word}",
            # A clear failure gets no repeat: fade does not heal, so a second run would cost a day and a cycle
            # for nothing.
            todo=run_work(case, again) if status is Status.CLOSE else None,
            earliest=case.now if status is Status.CLOSE else None,
        )


def _words(run: Run) -> str:
    value = run.value
    return f"{show(value.value, Dimension.CAPACITY, u=value.u)}{default_note(run.reading)}"


def _nothing(case: Case) -> Reason:
    todo = "full charge, then a discharge at 0.1 to 0.5C to the chemistry's cut-off at 15 to 30 C, with both recorded"
    judged = runs(case)
    if not judged:
        text = "no capacity measured"
    elif judged[-1].worth is Worth.NOT_COMPARABLE:
        text = f"capacity does not count: taken {judged[-1].why}"
    else:
        text = f"capacity of {judged[-1].reading.at:%Y-%m-%d} is too old to count"
    return case.reason(
        "capacity",
        Status.UNMEASURED,
        Outcome.HOLD,
        text,
        Seen(limit=case.figure("capacity", "light"), reading=judged[-1].reading if judged else None),
        todo=run_work(case, todo),
        earliest=case.now,
    )


def _agree(case: Case, a: Run, b: Run) -> bool:
    """Within the root of the summed squares of both U; runs out of traces also differ by what runs repeat to."""
    # A trace's own u covers its integration only; two runs of one cell differ by about 0.5 % besides.
    repeat = case.repeat_u("capacity-repeat", a.reading, b.reading)
    return abs(a.value.value - b.value.value) <= math.hypot(a.value.expanded, b.value.expanded, 2.0 * repeat)


def _near(case: Case, run: Run, others: Sequence[Run]) -> list[Run]:
    """Runs that can be compared with one: same conditions, near enough in time."""
    # Three months: within it fade stays below the U of a bench meter, so a difference is an error and not
    # age.
    span = timedelta(days=case.figure("contradiction-days"))
    return [
        o
        for o in others
        if o is not run
        and abs(o.reading.at - run.reading.at) <= span
        and comparable(case, o.reading, run.reading)
    ]


def _against(case: Case, run: Run, others: Sequence[Run]) -> list[Run]:
    """The runs that contradict one, unless another agrees with it and settles it."""
    near = _near(case, run, others)
    if any(_agree(case, o, run) for o in near):
        return []
    return near


def _outvoted(case: Case, run: Run, others: Sequence[Run]) -> bool:
    # Two against one: two runs that agree with each other are unlikely to share one slip.
    against = [o for o in _near(case, run, others) if not _agree(case, o, run)]
    return any(_agree(case, a, b) for i, a in enumerate(against) for b in against[i + 1 :])


def _contradiction(case: Case) -> Reason | None:
    """The latest run against the others: one that disagrees holds unless another agrees with the latest."""
    counting = [r for r in runs(case) if r.worth is Worth.COUNTS]
    speaking = [r for r in runs(case) if r.speaks]
    # First the runs that count; a run without a temperature can still show that one of two figures is wrong.
    for judged in (counting, speaking):
        against = _against(case, judged[-1], judged) if judged else []
        if against:
            return _disputed(case, judged[-1], against[-1])
    return None


def _disputed(case: Case, latest: Run, other: Run) -> Reason:
    return case.reason(
        "contradiction-days",
        # Close, not failed: one of the two is an error of measuring, and which one is open.
        Status.CLOSE,
        Outcome.HOLD,
        f"contradictory: {_words(latest)} on {latest.reading.at:%Y-%m-%d} but {_words(other)} on {other.reading.at:%Y-%m-%d}",
        Seen(latest.value, other.value.value, latest.reading, unit="Ah"),
        rule="capacity-contradictory",
        todo=run_work(
            case, "measure the capacity a third time under the same conditions; one that agrees settles it"
        ),
        earliest=case.now,
    )


def _too_much(case: Case) -> Iterator[Reason]:
    """The latest run, whatever its conditions, against what the volume can hold."""
    volume = case.known_figure("size-volume") or case.volume_cm3
    judged = runs(case)
    if not volume or not judged:
        return
    # Chemistry bounds the Ah in a volume: newest cells reach 0.234 Ah/cm3 (sheets), so more is a wrong meter
    # or size.
    run = judged[-1]
    most = volume * case.figure("capacity-density")
    if run.value.value > most:
        yield case.reason(
            "capacity-density",
            Status.CLOSE,
            Outcome.HOLD,
            f"contradictory: {_words(run)} is more than a cell of this size holds",
            Seen(run.value, most, run.reading, unit="Ah"),
            rule="capacity-contradictory",
            todo=run_work(case, "check the size and measure the capacity again; supersede the wrong one"),
            earliest=case.now,
        )


def _energy(case: Case) -> Iterator[Reason]:
    """The latest run's energy over its capacity is the mean voltage it ran at, which the chemistry bounds.

    Only of a run that was whole and under no harsher conditions than the rule's: those lower it.
    """
    run = next(reversed(runs(case)), None)
    if run is None or run.reading.energy_wh is None or not run.value.value or run.reading.at_least:
        return
    # Cold and high current lower the voltage under load, which the bounds do not allow for.
    if any(conditions(case, run.reading)):
        return
    mean_v = run.reading.energy_wh / run.value.value
    for limit_id in ("mean-voltage-low", "mean-voltage-high"):
        limit = case.figure(limit_id)
        beyond = mean_v < limit if limit_id == "mean-voltage-low" else mean_v > limit
        if beyond:
            yield case.reason(
                limit_id,
                Status.CLOSE,
                Outcome.HOLD,
                f"contradictory: {show(run.reading.energy_wh, Dimension.ENERGY)} and {_words(run)} would be "
                f"{volts(mean_v)} on average, not {case.facts.chemistry}",
                Seen(mean_v, limit, run.reading),
                rule="capacity-energy",
                todo=run_work(
                    case,
                    "check the chemistry and what the meter shows, and measure capacity and energy again",
                    "--energy ...",
                ),
                earliest=case.now,
            )
