"""A person's own rules never hide a danger that the shipped ones see."""

from __future__ import annotations

import gc
from dataclasses import replace

import pytest
from tests.acceptance.bench import Bench, day, good
from tests.acceptance.test_charger_end import charged, measured

from straycell.acceptance.judge import assess
from straycell.acceptance.reasons import Outcome
from straycell.acceptance.rules import RuleSet, merge_rules, shipped_rules


def own(limit_id: str, **figures: object) -> RuleSet:
    """The shipped rules with one limit of a person's own; it must be taken."""
    rules, faults = merge_rules(shipped_rules(), {"name": "my bench", "limit": [{"id": limit_id, **figures}]})
    assert rules is not None, faults
    return rules


def test_a_wider_error_makes_no_hot_charge_harmless() -> None:
    """A peak of 70 C is a discard; with an error of 30 K it would be too vague to be one."""
    bench = Bench().capacity(2.0, 1.2).charge(2.0, ambient=40.0, peak=70.0)
    blind = own("error-temperature", values={"offset": 30.0})
    verdict = assess(bench.evidence(), blind, day(20.0))
    assert verdict.outcome is Outcome.DISCARD and all(r.finding for r in verdict.deciding)
    assert verdict.rules == "my bench"


def test_a_gentler_rate_hides_no_warming() -> None:
    """A rise of 20 K at 0.45C is a discard, whatever counts as gentle on this bench."""
    bench = Bench().capacity(2.0, 1.2).charge(2.0, amps=0.9, ambient=22.0, peak=42.0)
    for rules in (shipped_rules(), own("warming-rate", value=0.01)):
        assert assess(bench.evidence(), rules, day(20.0)).outcome is Outcome.DISCARD


@pytest.mark.parametrize("factor", [1.0, 2.0, 10.0])
def test_a_wider_error_hides_no_doubt(factor: float) -> None:
    """127 % that went in holds until a repeat; with three times the error it would be too vague to."""
    bench = good()
    bench.charges[-1] = replace(bench.charges[-1], put_in_ah=3.5)
    shipped = assess(bench.evidence(), shipped_rules(), day(20.0))
    wide = own("error-capacity", values={"gain": 0.05 * factor})
    mine = assess(bench.evidence(), wide, day(20.0))
    assert [r.rule for r in shipped.deciding] == [r.rule for r in mine.deciding] == ["charge-in"]
    assert mine.outcome is Outcome.HOLD and mine.rules == "my bench"


def test_what_a_person_s_own_file_may_loosen_is_not_held_against_it() -> None:
    """A bench that is content with less is: 70 % of the rating is `pack` where its file says so."""
    bench = good(capacity=1.9)
    shipped = assess(bench.evidence(), shipped_rules(), day(20.0))
    loose = own("capacity", values={"pack": 0.6, "solo": 0.6})
    assert shipped.outcome is Outcome.SOLO
    assert assess(bench.evidence(), loose, day(20.0)).outcome is Outcome.PACK


@pytest.mark.parametrize("limit_id", [i for i, limit in shipped_rules().limits.items() if limit.values])
def test_a_charger_s_doubt_is_written_whatever_limit_is_one_s_own(limit_id: str) -> None:
    """The doubt comes of limits that the file left alone; the same reasons, with work that asks for any other limit."""
    bench = charged(measured(4.35, 31))
    rules = own(limit_id, values=shipped_rules().limits[limit_id].values, source="my own")
    for at in (31.5, 40.0):
        mine, shipped = (assess(bench.evidence(), each, day(at)) for each in (rules, shipped_rules()))
        assert [(r.rule, r.text, r.todo) for r in mine.reasons] == [
            (r.rule, r.text, r.todo) for r in shipped.reasons
        ]
        assert "charger-end" in {r.rule for r in mine.reasons}


@pytest.mark.parametrize(
    ("limit_id", "figures"),
    [
        ("self-discharge", {"value": 1e4}),
        ("self-discharge", {"values": {"pack": 5.1}}),
        ("resistance", {"values": {"light": 2.6}}),
        ("unrated-resistance-dc", {"value": 1e4}),
        ("unrated-capacity", {"value": 50.0}),
        ("board-drain", {"value": 2e-4}),
        ("pair-temperature", {"value": 100.0}),
        ("full-charge-from", {"value": 2.0}),
        ("rest-time", {"value": 0.0}),
        ("age-capacity", {"value": 366.0}),
        ("age-resistance", {"value": 3650.0}),
        ("age-rest-voltage", {"value": 91.0}),
        ("age-rest-voltage-grace", {"value": 365.0}),
        ("mass", {"values": {"18650": 30.0}}),
        ("contradiction-days", {"value": 1.0}),
        ("contradiction-temperature", {"value": 0.1}),
        ("contradiction-current", {"value": 0.0}),
        ("resistance-repeat", {"value": 10.0}),
        ("resistance-fall", {"value": 0.0}),
        ("capacity-repeat", {"value": 1.0}),
        ("capacity-density", {"value": 1.0}),
        ("capacity-over-rating", {"value": 5.0}),
        ("mean-voltage-low", {"value": 0.0}),
        ("rest-voltage", {"values": {"4.2V": 2.0}}),
    ],
)
def test_a_step_that_a_safety_rule_leans_on_goes_no_further(
    limit_id: str, figures: dict[str, object]
) -> None:
    """The fault names the limit and how far it may go."""
    rules, faults = merge_rules(shipped_rules(), {"name": "my bench", "limit": [{"id": limit_id, **figures}]})
    assert rules is None and any(limit_id in fault and "cannot be loosened" in fault for fault in faults)


@pytest.mark.parametrize(
    ("limit_id", "figures"),
    [("self-discharge", {"values": {"pack": 4.5}}), ("unrated-capacity", {"values": {"18650": 1.5}})],
)
def test_what_no_safety_rule_leans_on_may_still_be_loosened(
    limit_id: str, figures: dict[str, object]
) -> None:
    """A bench of its own mind about what is good enough."""
    assert own(limit_id, **figures).name == "my bench"


@pytest.mark.parametrize(
    ("limit_id", "value"), [("first-days", 0.5), ("warm-rest-time", 100.0), ("charger-end-days", 30.0)]
)
def test_what_a_safety_rule_looks_at_is_not_narrowed(limit_id: str, value: float) -> None:
    """Fewer days that are looked at, or a longer rest before heat counts, would let a hold pass unseen."""
    rules, faults = merge_rules(shipped_rules(), {"name": "own", "limit": [{"id": limit_id, "value": value}]})
    assert rules is None and "cannot be loosened" in faults[0]


@pytest.mark.parametrize("figure", [10**400, 1e300, 100_001, float("inf"), float("nan"), True, "2.5 V"])
def test_a_figure_that_no_limit_can_have_is_a_fault_of_the_file(figure: object) -> None:
    """So many days lead out of the calendar, and so many digits out of what a computer reckons with."""
    for limit_id in ("pair-days", "rest-time", "voltage-floor"):
        rules, faults = merge_rules(
            shipped_rules(), {"name": "own", "limit": [{"id": limit_id, "value": figure}]}
        )
        assert rules is None and all("expected a number" in fault for fault in faults)


@pytest.mark.parametrize("figure", [100_000, -100_000, 0])
def test_whatever_figure_is_taken_every_cell_is_judged(figure: float) -> None:
    """As far as each limit may be moved."""
    evidence = good().evidence()
    for limit_id, limit in shipped_rules().limits.items():
        rules, _ = merge_rules(shipped_rules(), {"name": "own", "limit": [{"id": limit_id, "value": figure}]})
        for at in (3.0, 20.0, 120.0) if rules is not None and limit.values else ():
            assert rules is not None and assess(evidence, rules, day(at)).reasons


@pytest.mark.parametrize("rules", [shipped_rules(), own("capacity", values={"light": 0.61})])
def test_judging_leaves_no_garbage(rules: RuleSet) -> None:
    """A store of 100,000 cells is judged without a search for what refers to itself."""
    evidence = good().evidence()
    assess(evidence, rules, day(20.0))
    gc.collect()
    assess(evidence, rules, day(20.0))
    assert gc.collect() == 0
