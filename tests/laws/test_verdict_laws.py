"""Laws of a verdict that hold for any cell: more doubt, more damage, more time never make it better."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import FINE, LFP, NMC, Bench, day, good
from tests.acceptance.test_verdict_laws import benches
from tests.drawing import examples

from straycell.acceptance import Outcome, assess, judge, shipped_rules
from straycell.acceptance.case import Case
from straycell.acceptance.permission import charge_refusal, usable
from straycell.acceptance.rules import merge_rules
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.meters import Accuracy, Meter

DISCARDED_BY_LOOK = [
    Look(word) for name in ("look-damage", "look-deformed") for word in shipped_rules().limit(name).words
]

figures = st.fixed_dictionaries(
    {
        "found": st.floats(1.5, 4.24),
        "capacity": st.floats(0.9, 2.7),
        "resistance": st.floats(0.02, 0.4),
        "first": st.floats(4.12, 4.2),
        "peak": st.floats(23, 44),
        "days": st.floats(5, 40),
    }
)
drops = st.floats(0.0, 0.06)


def cell(values: dict[str, float], drop: float, **more: object) -> Bench:
    """A whole set of readings of one nmc cell."""
    return good(**{**values, "second": values["first"] - drop, **more})  # type: ignore[arg-type]


def coarser(factor: float) -> Meter:
    """The bench's meter with every limit of error so many times as wide."""

    def wide(accuracy: Accuracy | None) -> Accuracy | None:
        return None if accuracy is None else Accuracy(accuracy.gain * factor, accuracy.offset * factor)

    return replace(
        FINE,
        voltage=wide(FINE.voltage),
        capacity=wide(FINE.capacity),
        resistance=wide(FINE.resistance),
        temperature=wide(FINE.temperature),
    )


@given(figures, drops, st.floats(1, 30))
def test_more_uncertainty_never_makes_a_usable_verdict_better(
    values: dict[str, float], drop: float, factor: float
) -> None:
    """What a poor meter can prove, a good one proves too. (A poor one may turn a discard into a hold.)"""
    poor = cell(values, drop, meter=coarser(factor)).outcome(60)
    fine = cell(values, drop).outcome(60)
    if poor >= Outcome.LIGHT:
        assert fine >= poor
    if fine is Outcome.HOLD:
        assert poor <= Outcome.HOLD


@given(figures, drops)
def test_without_a_meter_no_verdict_is_better_than_with_a_fine_one(
    values: dict[str, float], drop: float
) -> None:
    """The cautious default is wider than the fine meter in everything."""
    unknown = cell(values, drop, meter=None).outcome(60)
    if unknown >= Outcome.LIGHT:
        assert cell(values, drop).outcome(60) >= unknown


worse = st.fixed_dictionaries(
    {
        "capacity": st.floats(-0.6, 0),
        "resistance": st.floats(0, 0.2),
        "peak": st.floats(0, 25),
        "drop": st.floats(0, 0.05),
    }
)


@given(figures, drops, worse)
def test_a_worse_cell_never_gets_a_better_verdict(
    values: dict[str, float], drop: float, change: dict[str, float]
) -> None:
    """Less capacity, more resistance, more warmth, more loss: by the same meter, the same or less use."""
    weaker = {name: value + change.get(name, 0.0) for name, value in values.items()}
    assert cell(weaker, drop + change["drop"]).outcome(60) <= cell(values, drop).outcome(60)


@given(figures, drops, st.sampled_from(["found", "look", "capacity", "resistance", "first", "second"]))
def test_leaving_something_out_never_makes_it_better(
    values: dict[str, float], drop: float, without: str
) -> None:
    """Unknown is never a pass: at best a hold, or light where the as-found voltage is not known."""
    whole = cell(values, drop).outcome(60)
    less = cell(values, drop, **{without: None}).outcome(60)
    assert less <= (Outcome.LIGHT if without == "found" else Outcome.HOLD)
    if whole is not Outcome.DISCARD:
        assert less <= whole


@given(figures, drops, st.sampled_from(DISCARDED_BY_LOOK), st.floats(0, 50))
def test_a_look_that_condemns_is_never_outweighed(
    values: dict[str, float], drop: float, word: Look, at: float
) -> None:
    """Before, between or after the best of figures, and not by a later clean look."""
    bench = cell(values, drop).look(word, at=at).look(Look.CLEAN, at=55)
    assert bench.outcome(60) is Outcome.DISCARD


@given(figures, drops, st.floats(0.0, 1.9))
def test_no_later_reading_brings_a_deep_discharged_cell_back(
    values: dict[str, float], drop: float, volts: float
) -> None:
    """Found below 2.0 V by more than U, then everything measured well, twice."""
    bench = cell({**values, "found": volts}, drop)
    bench.found(3.7, at=50).rest(3.9, at=51).capacity(2.4, 52)
    assert bench.outcome(60) is Outcome.DISCARD


@given(figures, drops, st.floats(0, 400), st.floats(0, 400))
def test_time_alone_never_makes_a_verdict_better(
    values: dict[str, float], drop: float, wait: float, more: float
) -> None:
    """Readings grow old; nothing becomes known by waiting."""
    bench = cell(values, drop)
    start = 4.0 + values["days"]
    assert bench.outcome(start + wait + more) <= bench.outcome(start + wait)


@given(figures, drops, st.floats(0, 300), st.floats(0, 1))
def test_a_verdict_holds_until_the_moment_it_names(
    values: dict[str, float], drop: float, wait: float, share: float
) -> None:
    """Up to `valid_until` nothing changes without a write: a label may carry that date."""
    bench = cell(values, drop)
    now = day(4.0 + values["days"] + wait)
    verdict = assess(bench.evidence(), shipped_rules(), now)
    if verdict.valid_until is None:
        later = now + timedelta(days=3650 * share)
    else:
        assert verdict.valid_until > now
        later = now + (verdict.valid_until - now) * share * 0.999
    assert assess(bench.evidence(), shipped_rules(), later).outcome is verdict.outcome


@given(st.floats(0.5, 1.1), st.floats(0, 2000))
def test_a_worn_out_cell_stays_discarded_when_its_figure_grows_old(capacity: float, wait: float) -> None:
    """Discard rules look at every reading, also one too old to grade by: age must not acquit."""
    assert good(capacity=capacity).outcome(20 + wait) is Outcome.DISCARD


@given(figures, drops)
def test_the_same_evidence_gives_the_same_verdict(values: dict[str, float], drop: float) -> None:
    """Pure: same arguments, same reasons, same words."""
    evidence = cell(values, drop).evidence()
    assert assess(evidence, shipped_rules(), day(60)) == assess(evidence, shipped_rules(), day(60))


@given(figures, drops, st.sampled_from([Chemistry.UNKNOWN, Chemistry.PRIMARY]), st.sampled_from(list(Form)))
def test_an_unknown_chemistry_is_never_used_and_a_primary_always_discarded(
    values: dict[str, float], drop: float, chemistry: Chemistry, form: Form
) -> None:
    """Whatever was measured."""
    facts = CellFacts(chemistry, form, rated_capacity_ah=2.5, confirmed_rechargeable=True)
    outcome = cell(values, drop, facts=facts).outcome(60)
    assert outcome <= Outcome.HOLD
    if chemistry is Chemistry.PRIMARY:
        assert outcome is Outcome.DISCARD


@given(figures, drops, st.sampled_from([NMC, LFP]))
def test_the_outcome_follows_from_the_reasons_alone(
    values: dict[str, float], drop: float, facts: CellFacts
) -> None:
    """The least of what the reasons leave; what may not be charged is never used."""
    verdict = cell(values, drop, facts=facts).verdict(60)
    assert verdict.outcome == min(r.ceiling for r in verdict.reasons)
    assert all(r.source for r in verdict.reasons if r.safety)
    if charge_refusal(verdict, facts.chemistry) is not None:
        assert not usable(verdict.outcome)
    if verdict.outcome is Outcome.HOLD:
        assert verdict.missing and all(m.todo for m in verdict.missing)


def test_the_bench_of_these_laws_does_reach_every_outcome() -> None:
    """A law about cells that are all discarded would be an empty one."""
    good_values = {
        "found": 3.6,
        "capacity": 2.4,
        "resistance": 0.05,
        "first": 4.18,
        "peak": 26.0,
        "days": 15.0,
    }
    seen = {
        cell(good_values, 0.002).outcome(20),
        cell({**good_values, "capacity": 1.9}, 0.002).outcome(20),
        cell({**good_values, "capacity": 1.5}, 0.002).outcome(20),
        cell({**good_values, "peak": 36.0}, 0.002).outcome(20),
        cell({**good_values, "capacity": 0.9}, 0.002).outcome(20),
    }
    assert seen == set(Outcome)
    assert Case(cell(good_values, 0.002).evidence(), NMC, shipped_rules(), day(20)).volume_cm3 is not None


TIGHTER = [
    {"id": limit.id, "values": {key: value * (1.03 if limit.bound == "min" else 0.97)}}
    for limit in shipped_rules().limits.values()
    for key, value in (limit.values or {}).items()
]


@given(
    benches(), st.lists(st.sampled_from(TIGHTER), min_size=1, max_size=3, unique_by=lambda e: str(e["id"]))
)
@examples(300)
def test_what_a_persons_rules_leave_alone_is_worked_out_once_and_changes_no_answer(
    bench: Bench, entries: list[dict[str, object]]
) -> None:
    """Each limit of the rules in turn; judged by both rule sets from the beginning it is the same, findings too."""
    own, _ = merge_rules(shipped_rules(), {"name": "own", "limit": entries})
    if own is not None:  # some limits cannot be made tighter by this
        assert own.alike is not None or any(str(e["id"]).startswith("error-") for e in entries)
        whole = judge(bench.evidence(), replace(own, alike=None), day(60))
        assert judge(bench.evidence(), own, day(60)) == whole
