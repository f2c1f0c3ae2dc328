"""After a finding fell with a mistake: what must be done again, and when a slip put right at once asks for nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from tests.acceptance.bench import Bench, day, good, reason, reasons

from straycell.acceptance import Fall, Outcome, Status
from straycell.acceptance.findings import FALL_FIRST
from straycell.acceptance.permission import charge_refusal
from straycell.cells import Chemistry

FELL = day(20.0)


def fallen(bench: Bench, **more: object) -> Bench:
    """A deep discharge was on record since day 10; it was of another cell."""
    fall = replace(Fall("voltage-floor", FELL, day(10.0)), **more)  # type: ignore[arg-type]
    bench.more["falls"] = (fall,)
    return bench


def again(bench: Bench, at: float = 21.0) -> Bench:
    """Look, rest voltage and resistance."""
    return bench.look(at=at).rest(4.165, at + 0.1).resistance(0.05, at + 0.2)


def test_a_good_cell_whose_finding_fell_is_held_and_told_what_to_do() -> None:
    """All that was measured before the fall was measured of a cell nobody is sure of."""
    verdict = fallen(good()).verdict(21.0)
    held = reason(verdict, FALL_FIRST)
    assert verdict.outcome is Outcome.HOLD and held.status is Status.UNMEASURED and held.safety
    for word in ("look", "rest voltage", "resistance", "self-discharge check"):
        assert word in held.todo.words


@pytest.mark.parametrize("without", ["look", "rest", "resistance"])
def test_it_is_not_charged_before_it_was_measured_again(without: str) -> None:
    """Each of the three; with all of them the check may begin with its charge."""
    bench = fallen(good())
    parts: dict[str, Callable[[Bench], Bench]] = {
        "look": lambda b: b.look(at=21.0),
        "rest": lambda b: b.rest(4.16, 21.1),
        "resistance": lambda b: b.resistance(0.05, 21.2),
    }
    for name, do in parts.items():
        if name != without:
            do(bench)
    refused = charge_refusal(bench.verdict(22.0), Chemistry.NMC)
    assert refused is not None and "fell" in refused.why
    parts[without](bench)
    assert charge_refusal(bench.verdict(22.0), Chemistry.NMC) is None
    assert reasons(bench.verdict(22.0), "finding-fell") and bench.outcome(22.0) is Outcome.HOLD


def test_a_new_check_begun_after_the_fall_clears_it() -> None:
    """Charged full, rested twice; the check that ran before the fall does not count."""
    bench = again(fallen(good())).charge(22.0).rest(4.180, 23.2)
    assert bench.outcome(24.0) is Outcome.HOLD
    bench.rest(4.170, 38.2)
    assert bench.outcome(39.0) is Outcome.PACK
    assert reason(bench.verdict(39.0), "finding-fell").status is Status.MET


MINUTES = timedelta(minutes=59)


def slip(**more: object) -> Bench:
    """0.4169 V typed for 4.169 V, and put right within the hour."""
    bench = good().rest(4.169, 19.9)
    key = bench.readings[-1].key
    given = {"found_at": FELL - MINUTES, "same_bench": True, "instead": frozenset({key}), **more}
    return fallen(bench, **given)


def test_a_slip_put_right_within_the_hour_asks_for_nothing() -> None:
    """Same bench, a value in its place that clears the limit by U: the check that ran goes on."""
    assert slip().outcome(21.0) is Outcome.PACK


@pytest.mark.parametrize(
    "more",
    [
        {"found_at": FELL - timedelta(minutes=61)},
        {"same_bench": False},
        {"instead": frozenset()},
    ],
)
def test_later_elsewhere_or_without_a_new_value_it_asks_for_everything(more: dict[str, object]) -> None:
    """An hour and a minute, another bench, nothing measured."""
    assert slip(**more).outcome(21.0) is Outcome.HOLD


def test_a_new_value_within_u_of_the_limit_is_no_clearance() -> None:
    """2.000 V in the place of 0.200 V is too close to call."""
    bench = good().capacity(2.4, 19.0).rest(2.0, 20.0)
    given = {"found_at": FELL - MINUTES, "same_bench": True, "instead": frozenset({bench.readings[-1].key})}
    assert reasons(fallen(bench, **given).verdict(21.0), FALL_FIRST)


def test_where_a_fact_was_the_mistake_the_rule_alone_must_be_clear() -> None:
    """The chemistry was mistyped and put right at once: of the cell nothing can be measured again."""
    given = {"found_at": FELL - MINUTES, "same_bench": True, "measurable": False}
    assert fallen(good(), **given).outcome(21.0) is Outcome.PACK
