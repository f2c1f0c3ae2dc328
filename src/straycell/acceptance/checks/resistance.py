"""Rules of resistance: against the rating of the same method, else the table of the size; contradictions; age."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from typing import Any

from straycell.acceptance.case import STEPS, Case, Tried, default_note, known_chemistry, once_a_case
from straycell.acceptance.checks.capacity import current_run
from straycell.acceptance.checks.retention import Run, runs
from straycell.acceptance.checks.steps import run_work
from straycell.acceptance.conformance import Side, against_max
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.acceptance.work import Work, WorkKind
from straycell.cells import Chemistry, Form
from straycell.physics.curves import state_of_charge_range
from straycell.physics.polarisation import shape_range
from straycell.physics.temperature import most_rise
from straycell.quantities import Dimension, Measured, show
from straycell.readings import Method, Quantity, Reading

LARGE_FORMS = (Form.F18650, Form.F21700, Form.F26650)
FLAT_FORMS = (Form.POUCH, Form.PRISMATIC)
_SAME_PULSE = 0.1
"""Pulses within a tenth of each other are of one length: an instrument's clock steps."""
_USUAL_PULSE_S = 1.0
"""IEC 61960; the shortest the sets know, so an unknown length is granted the least difference."""


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
    return _by_rating(case, reading) or _by_table(
        case, reading, current_run(case) or next(reversed(runs(case)), None)
    )


def _by_rating(case: Case, reading: Reading) -> Yardstick | None:
    rated = case.facts.rated_resistance_ohm
    # A.c. 1 kHz is less than the pulse resistance of one cell (maker's bulletin, 2005): a rating judges its
    # own method.
    if not rated or str(reading.method) != case.facts.rated_resistance_method or case.facts.rewrapped:
        return None
    value = case.measured(reading)
    limits = {o: case.figure("resistance", o.word) for o in STEPS}
    # The rating is taken as exact: sheets give no uncertainty for it.
    ratio = Measured(value.value / rated, value.u / rated)
    text = f"{ratio.value:.2f} times its rated {show(rated, Dimension.RESISTANCE)}"
    discard = case.figure("resistance-discard")
    return Yardstick(ratio, limits, discard, "resistance", "resistance-discard", text)


def _by_table(case: Case, reading: Reading, run: Run | None) -> Yardstick | str:
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
    """The step it reaches; nothing measured, stale or disputed holds."""
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
                rule="resistance-method",
                observed="unknown",
                reading=reading,
                unit="",
            )
        yield from _contradiction(case, reading)
        yield from _grade(case, reading)


def _words(case: Case, reading: Reading) -> str:
    value = case.measured(reading)
    method = {Method.DC_PULSE: "d.c.", Method.AC_1KHZ: "a.c. 1 kHz"}.get(reading.method or Method.UNKNOWN, "")
    shown = show(value.value, Dimension.RESISTANCE, u=value.u)
    return f"{shown} {method}".rstrip() + default_note(reading)


@once_a_case
def far_too_high(case: Case) -> tuple[Tried, ...]:
    """Each resistance against its discard limit; over a board it is only an upper bound and never discards.

    A flat cell is judged with each capacity it ever showed: a later one lifts no discard.
    """
    if not known_chemistry(case):
        return ()
    sizes: Sequence[Run | None] = runs(case) if case.facts.form in FLAT_FORMS else ()
    found = []
    for reading in usable(case):
        # A board's switches add tens of milliohms, so the value proves nothing above the cell's own share.
        if case.at_board(reading):
            continue
        rated = _by_rating(case, reading)
        # The limit scales with what the pouch holds, so a later capacity would otherwise move the limit under
        # a finding.
        for run in (None,) if rated or not sizes else sizes:
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
        f"{_words(case, reading)}, {stick.text}: far too high",
        value=stick.value,
        limit=stick.discard,
        unit=case.rules.limit(stick.step_rule).unit,
        reading=reading,
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
            f"{_words(case, reading)}: {stick}",
            reading=reading,
            todo=run_work(case, "measure the capacity first, or record the rated resistance (cell correct)"),
            earliest=case.now,
        )
        return
    words = f"{_words(case, reading)}, {stick.text}"
    again = Work(
        WorkKind.RESISTANCE, "measure the resistance again: clean ends, four-wire if you can, same method"
    )
    for outcome in STEPS:
        limit = stick.limits[outcome]
        side = against_max(stick.value, limit)
        common: dict[str, Any] = {
            "figure": words,
            "value": stick.value,
            "limit": limit,
            "reading": reading,
            "until": until,
        }
        if side is Side.CLEAR:
            yield case.reason(
                stick.step_rule, Status.MET, outcome, f"{words}: {outcome.word}", rule="resistance", **common
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
            rule=f"resistance-{outcome.word}",
            todo=again if unsure or outcome is Outcome.LIGHT else None,
            earliest=case.now if unsure or outcome is Outcome.LIGHT else None,
            **common,
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


def _same_kind(a: Reading, b: Reading) -> bool:
    """Same method, pulse and place."""
    return a.method is b.method and _same_pulse(a.pulse_s, b.pulse_s) and a.where is b.where


def _same_pulse(a_s: float | None, b_s: float | None) -> bool:
    # A pulse of unknown length may be any: it compares only with another unknown one.
    if a_s is None or b_s is None:
        return a_s is b_s
    return math.isclose(a_s, b_s, rel_tol=_SAME_PULSE)


def _within(a: float | None, b: float | None, span: float) -> bool:
    return a is None or b is None or abs(a - b) <= span


def _charged(case: Case, reading: Reading) -> tuple[float, float] | None:
    """Least and most state of charge (0 to 1) that a pulse may have been taken at; None where nothing tells."""
    # The published sets are of d.c. pulses: nothing says how far charge moves a value of another method.
    if reading.method is not Method.DC_PULSE:
        return None
    if reading.soc is not None:
        return reading.soc, reading.soc
    span = timedelta(days=case.figure("resistance-charge-days"))
    for rest in reversed(case.rest_voltages):
        first, last = sorted((rest.at, reading.at))
        if last - first <= span and not case.disturbed(first, last) and rest.value is not None:
            return state_of_charge_range(case.facts.chemistry, rest.value, case.measured(rest).u)
    for charge in reversed(case.charges):
        since = reading.at - charge.at
        if (
            timedelta(0) <= since <= span
            and not case.disturbed(charge.at, reading.at)
            and case.is_full(charge)
        ):
            return 1.0, 1.0
    return None


def _same_charge(case: Case, a: Reading, b: Reading) -> bool:
    """True also where the charge of one is unknown: what is not known excuses no difference."""
    one, other = _charged(case, a), _charged(case, b)
    span = case.figure("contradiction-charge")
    return one is None or other is None or max(one[0] - other[1], other[0] - one[1]) <= span


def _same_state(case: Case, a: Reading, b: Reading) -> bool:
    """Within 5 K and the same charge, as far as both are known."""
    span = case.figure("contradiction-temperature")
    return _within(a.temperature_c, b.temperature_c, span) and _same_charge(case, a, b)


def _explained(case: Case, a: Reading, b: Reading) -> tuple[float, float]:
    """Least and most that `b` may be over `a` by their temperatures and charges, as far as published sets differ."""
    least, most = 1.0, 1.0
    if not _within(a.temperature_c, b.temperature_c, case.figure("contradiction-temperature")):
        assert a.temperature_c is not None and b.temperature_c is not None
        cold, warm = sorted((a.temperature_c, b.temperature_c))
        rise = most_rise(cold, warm)
        least, most = (1.0, rise) if b.temperature_c == cold else (1.0 / rise, 1.0)
    if not _same_charge(case, a, b):
        charges = (_charged(case, a) or (0.0, 1.0), _charged(case, b) or (0.0, 1.0))
        one, other = (shape_range(case.facts.chemistry, a.pulse_s or _USUAL_PULSE_S, c) for c in charges)
        # Near empty no set says how far it rises: nothing to compare.
        if one is None or other is None:
            return 0.0, math.inf
        least, most = least * other[0] / one[1], most * other[1] / one[0]
    return least, most


def _agree(case: Case, a: Reading, b: Reading, least: float = 1.0, most: float = 1.0) -> bool:
    """`b` is `least` to `most` times `a`, within the root of the summed squares of both U.

    Readings out of traces also have what they repeat to.
    """
    one, other = case.measured(a), case.measured(b)
    # Some 3 % a kelvin: even within 5 K two good readings of one cell lie a few per cent apart.
    repeat = case.repeat_u("resistance-repeat", a, b)
    low, high = (
        math.hypot(ratio * one.expanded, other.expanded, 2.0 * repeat) if ratio < math.inf else 0.0
        for ratio in (least, most)
    )
    return least * one.value - low <= other.value <= most * one.value + high


def _contradiction(case: Case, latest: Reading) -> Iterator[Reason]:
    """The reading that grades against the others of its kind: a third that agrees in the same state settles it."""
    alike = [r for r in usable(case) if r is not latest and _same_kind(r, latest)]
    span = timedelta(days=case.figure("contradiction-days"))
    others = [r for r in alike if abs(r.at - latest.at) <= span]
    agree = [r for r in others if _agree(case, r, latest)]
    against = [
        r for r in others if r not in agree and not _agree(case, r, latest, *_explained(case, r, latest))
    ]
    # One that agrees only by what another state explains settles nothing: that margin is wide.
    if against and not any(_same_state(case, r, latest) for r in agree):
        yield _disputed(case, latest, against[-1], "contradiction-days", "but")
    elif not against:
        yield from _fall(case, latest, [r for r in alike if r.at <= latest.at])


def _fall(case: Case, latest: Reading, before: Sequence[Reading]) -> Iterator[Reason]:
    """Resistance only grows with age: one that fell by half since last time, however long ago, is contradictory."""
    if not before or any(_agree(case, r, latest) for r in before):
        return
    # Contact resistance of two-wire clips can do this, and either value may be the wrong one: so it holds.
    least, _ = _explained(case, before[-1], latest)
    if (
        case.measured(latest).value
        <= case.figure("resistance-fall") * least * case.measured(before[-1]).value
    ):
        yield _disputed(case, latest, before[-1], "resistance-fall", "after")


def _disputed(case: Case, latest: Reading, other: Reading, limit_id: str, link: str) -> Reason:
    value = case.measured(latest)
    return case.reason(
        limit_id,
        # Close, not failed: one of the two is an error of measuring, and nothing is known against the cell.
        Status.CLOSE,
        Outcome.HOLD,
        f"contradictory: {_words(case, latest)} on {latest.at:%Y-%m-%d} {link} {_words(case, other)} on {other.at:%Y-%m-%d}",
        rule="resistance-contradictory",
        observed=value.value,
        expanded_uncertainty=value.expanded,
        limit=case.measured(other).value,
        unit="ohm",
        reading=latest,
        todo=Work(
            WorkKind.RESISTANCE,
            "measure the resistance a third time, same method; one that agrees settles it",
        ),
        earliest=case.now,
    )
