"""Rules of resistance: against the rating of the same method, else the table of the size; age."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from straycell.acceptance.case import STEPS, Case, Seen, Tried, default_note, known_chemistry, once_a_case
from straycell.acceptance.checks.capacity import current_run
from straycell.acceptance.checks.retention import Run, runs
from straycell.acceptance.checks.steps import run_work
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind, against_max
from straycell.cells import Chemistry, Form
from straycell.quantities import Dimension, Measured, ohms, show
from straycell.readings import Method, Quantity, Reading

LARGE_FORMS = (Form.F18650, Form.F21700, Form.F26650)
FLAT_FORMS = (Form.POUCH, Form.PRISMATIC)


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What one reading is judged by: `value` and the limits share a unit; `discard` is the safety limit."""

    value: Measured
    limits: dict[Outcome, float]
    discard: float
    step_rule: str
    discard_rule: str
    text: str


@once_a_case
def usable(case: Case) -> tuple[Reading, ...]:
    """Resistances whose pulse, if there was one, was long enough to show anything."""
    # IEC 61960 judges a pulse of 1 s; before 0.5 s the slow part of the resistance has not shown yet.
    shortest = case.figure("pulse-length")
    # A pulse longer than 1 s only shows more of the slow part: it errs to the safe side.
    return tuple(
        r
        for r in case.of(Quantity.RESISTANCE)
        if r.method is not Method.DC_PULSE or r.pulse_s is None or r.pulse_s >= shortest
    )


def current_resistances(case: Case) -> tuple[Reading, ...]:
    """The latest fresh reading of each known method; only without any, the latest of unknown method."""
    fresh = [r for r in usable(case) if case.now < case.age_limit("age-resistance", r.at)]
    latest = {r.method: r for r in fresh}
    # D.c. first: it contains the slow part that a load feels, and a.c. 1 kHz is less (maker's bulletin,
    # 2005).
    known = tuple(latest[m] for m in (Method.DC_PULSE, Method.AC_1KHZ) if m in latest)
    return known or tuple(r for r in latest.values())


def yardstick(case: Case, reading: Reading) -> Yardstick | str:
    """The limits for one reading, or why there are none; a flat cell's size is what it holds today."""
    flat = case.facts.form in FLAT_FORMS
    run = current_run(case) or next(reversed(runs(case)), None) if flat else None
    return _by_rating(case, reading) or _by_table(case, reading, run)


def _by_rating(case: Case, reading: Reading) -> Yardstick | None:
    rated = case.facts.rated_resistance_ohm
    # A.c. 1 kHz is less than the pulse resistance of one cell (maker's bulletin, 2005): a rating judges its
    # own method.
    if not rated or str(reading.method) != case.facts.rated_resistance_method or case.facts.rewrapped:
        return None
    # A rating that no cell of its size has would make any resistance a good one: it counts as none.
    size = _of_size(case, replace(reading, value=rated, u=0.0), None)
    if not isinstance(size, str) and size.value.value > size.limits[Outcome.LIGHT]:
        return None
    value = case.measured(reading)
    limits = {o: case.figure("resistance", o.word) for o in STEPS}
    # The rating is taken as exact: sheets give no uncertainty for it.
    ratio = Measured(value.value / rated, value.u / rated)
    text = f"{ratio.value:.2f} times its rated {ohms(rated)}"
    discard = case.figure("resistance-discard")
    return Yardstick(ratio, limits, discard, "resistance", "resistance-discard", text)


def _by_table(case: Case, reading: Reading, run: Run | None) -> Yardstick | str:
    # Asked by the finding and by the grade: the evidence keeps both records alive, so identity names them.
    key = ("yardstick", id(reading), id(run))
    if key not in case.memo:
        case.memo[key] = _of_size(case, reading, run)
    found: Yardstick | str = case.memo[key]
    return found


def _of_size(case: Case, reading: Reading, run: Run | None) -> Yardstick | str:
    value = case.measured(reading)
    kind, share = _kind(reading), _chemistry_share(case)
    factor = case.figure("unrated-resistance-discard")
    form = case.facts.form
    # Pouches of any area exist: resistance falls as area and capacity grow, so their product is what
    # compares.
    if form in FLAT_FORMS:
        capacity = run.value if run else None
        size_ah = capacity.value if capacity else case.rated_ah
        if size_ah is None:
            return "without a capacity there is no limit for its size"
        if size_ah >= case.figure("pouch-large"):
            # What it holds today and not the print: a worn large pouch must not be granted a large cell's
            # allowance.
            ah = capacity or Measured(size_ah, 0.0)
            u = math.hypot(value.u * ah.value, value.value * ah.u)
            limits = {o: share * case.figure("resistance-capacity", f"{kind}/{o.word}") for o in STEPS}
            text = f"resistance x capacity {value.value * ah.value:.3f} ohm Ah"
            measured_product = Measured(value.value * ah.value, u)
            discard = factor * limits[Outcome.LIGHT]
            return Yardstick(
                measured_product, limits, discard, "resistance-capacity", "unrated-resistance-discard", text
            )
    # No table without a size: a limit for an unknown area would be invented.
    elif form is Form.OTHER:
        return "there is no limit for this form without a rated resistance of the same method"
    # Sheets: 18 to 30 mohm power, 80 to 90 mohm energy 18650, 120 mohm small prismatic: one limit cannot
    # serve all.
    size = "large" if form in LARGE_FORMS else "small"
    limits = {o: share * case.figure(f"unrated-resistance-{kind}", f"{size}/{o.word}") for o in STEPS}
    return Yardstick(
        value,
        limits,
        factor * limits[Outcome.LIGHT],
        f"unrated-resistance-{kind}",
        "unrated-resistance-discard",
        f"against the table for {form}",
    )


def resistance(case: Case) -> Iterator[Reason]:
    """The step it reaches; nothing measured or stale holds."""
    if not known_chemistry(case):
        return
    current = current_resistances(case)
    if not current:
        yield _nothing(case)
        return
    # Both methods are graded: a.c. sees contacts and electrolyte, d.c. the electrodes too, and either may be
    # bad alone.
    for reading in current:
        # A cheap display may show a.c. or d.c.: d.c. limits with 10 % + 30 mohm, and never a pack.
        if reading.method is Method.UNKNOWN or reading.method is None:
            yield case.reason(
                "error-resistance-unknown",
                Status.UNMEASURED,
                Outcome.SOLO,
                "resistance by an unknown method: at best solo",
                Seen("unknown", reading=reading, unit=""),
                rule="resistance-method",
            )
        yield from _grade(case, reading)


def words_of(case: Case, reading: Reading) -> str:
    """A resistance as reasons name it: with U, its method, and where U is a default."""
    value = case.measured(reading)
    method = {Method.DC_PULSE: "d.c.", Method.AC_1KHZ: "a.c. 1 kHz"}.get(reading.method or Method.UNKNOWN, "")
    shown = show(value.value, Dimension.RESISTANCE, u=value.u)
    return f"{shown} {method}".rstrip() + default_note(reading)


@once_a_case
def far_too_high(case: Case) -> tuple[Tried, ...]:
    """Each resistance against its discard limit; over a board it is only an upper bound and never discards.

    A flat cell is judged with its rated capacity and each it ever showed: a later one lifts no discard.
    """
    if not known_chemistry(case):
        return ()
    sizes: Sequence[Run | None] = runs(case) if case.facts.form in FLAT_FORMS else ()
    found = []
    # A pulse too short to judge by shows too little: what is far too high in it is so all the more.
    for reading in case.of(Quantity.RESISTANCE):
        # A board's switches add tens of milliohms, so the value proves nothing above the cell's own share.
        if case.at_board(reading):
            continue
        rated = _by_rating(case, reading)
        # The limit scales with what the pouch holds, so a later capacity would otherwise move the limit under
        # a finding.
        for run in (None,) if rated else (None, *sizes):
            stick = rated or _by_table(case, reading, run)
            if not isinstance(stick, str):
                records = (reading,) if run is None else (reading, run.reading)
                side = against_max(stick.value, stick.discard)
                found.append(
                    Tried(stick.discard_rule, side, records, partial(_too_high, case, reading, stick))
                )
    return tuple(found)


def _too_high(case: Case, reading: Reading, stick: Yardstick) -> Reason:
    return case.reason(
        stick.discard_rule,
        Status.FAILED,
        Outcome.DISCARD,
        f"{words_of(case, reading)}, {stick.text}: far too high",
        Seen(stick.value, stick.discard, reading, unit=case.rules.limit(stick.step_rule).unit),
    )


def _kind(reading: Reading) -> str:
    return "ac" if reading.method is Method.AC_1KHZ else "dc"


def _chemistry_share(case: Case) -> float:
    # Sheets of 26650 lfp cells state 30 mohm at most, half of what the tables allow others.
    return case.figure("lfp-resistance") if case.facts.chemistry is Chemistry.LFP else 1.0


def _grade(case: Case, reading: Reading) -> Iterator[Reason]:
    stick = yardstick(case, reading)
    until = case.age_limit("age-resistance", reading.at)
    if isinstance(stick, str):
        yield case.reason(
            "resistance",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{words_of(case, reading)}: {stick}",
            Seen(reading=reading),
            todo=run_work(case, "measure the capacity first, or record the rated resistance (cell correct)"),
            earliest=case.now,
        )
        return
    words = f"{words_of(case, reading)}, {stick.text}"
    again = Work(
        WorkKind.RESISTANCE, "measure the resistance again: clean ends, four-wire if you can, same method"
    )
    for outcome in STEPS:
        limit = stick.limits[outcome]
        side = against_max(stick.value, limit)
        seen = Seen(stick.value, limit, reading, until=until, figure=words)
        if side is Side.CLEAR:
            yield case.reason(
                stick.step_rule, Status.MET, outcome, f"{words}: {outcome.word}", seen, rule="resistance"
            )
            return
        # Over a board the true value is lower by an unknown amount: too high there is not too high in the
        # cell.
        unsure = side is Side.CLOSE or case.at_board(reading)
        yield case.reason(
            stick.step_rule,
            Status.CLOSE if unsure else Status.FAILED,
            Outcome(outcome - 1),
            f"{words}: {'too close to call for' if unsure else 'too high for'} {outcome.word}",
            seen,
            rule=f"resistance-{outcome.word}",
            todo=again if unsure or outcome is Outcome.LIGHT else None,
            earliest=case.now if unsure or outcome is Outcome.LIGHT else None,
        )


def _nothing(case: Case) -> Reason:
    all_readings = case.of(Quantity.RESISTANCE)
    if not all_readings:
        text = "no resistance measured"
    elif not usable(case):
        text = "the pulse was too short to show the resistance"
    else:
        text = f"resistance of {usable(case)[-1].at:%Y-%m-%d} is too old to count"
    return case.reason(
        "resistance",
        Status.UNMEASURED,
        Outcome.HOLD,
        text,
        todo=Work(WorkKind.RESISTANCE, "measure the resistance, by dc-pulse or ac-1khz"),
        earliest=case.now,
    )
