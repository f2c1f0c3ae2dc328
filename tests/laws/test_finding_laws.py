"""Laws of findings: what was seen once rests on its own records, and nothing that comes later takes it away."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import fields, replace

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.acceptance.bench import FINE, LFP, NMC, Bench, day, good
from tests.acceptance.test_verdict_laws import benches

from straycell.acceptance import (
    BestSibling,
    Evidence,
    Finding,
    Outcome,
    Upset,
    find,
    judge,
    shipped_rules,
    stands,
)
from straycell.acceptance.evidence import SHELF_LOSS
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.keys import RecordKey
from straycell.physics.curves import curves_for
from straycell.readings import Quantity

LATER = 500.0


def leaking(percent: float, days: float = 15.0, start: float = 4.18) -> float:
    """The rest voltage of an nmc cell that lost so many per cent a month since it stood at `start`."""
    curve = curves_for(Chemistry.NMC)[0]
    return float(curve.voltage(curve.state_of_charge(start) - percent / 100.0 * days / 30.0))


def slow_run(late: float) -> Bench:
    """An lfp cell: a run soon after a full charge, one 30 days after the next."""
    bench = Bench(LFP).found(3.3).look().charge(1.0, until=3.65).capacity(2.8, 1.2, cutoff_v=2.0)
    return bench.charge(2.0, until=3.65).capacity(late, 32.0, cutoff_v=2.0)


def pouch(ohm: float) -> Bench:
    """A flat cell, judged by resistance x capacity."""
    bench = Bench(CellFacts(Chemistry.LCO, Form.POUCH, "603450")).found(3.6).look().charge(1.0)
    return bench.capacity(1.2, 1.2).resistance(ohm)


CONDEMNED: dict[str, Callable[[], Bench]] = {
    "chemistry": lambda: Bench(replace(NMC, chemistry=Chemistry.PRIMARY)),
    "upset": lambda: with_more(good(), upsets=(Upset("water", day(5), True, key="incident A-3"),)),
    "look-damage": lambda: good().look(Look.SWOLLEN, at=30),
    "look-deformed": lambda: good().look(Look.DENTED, at=30),
    "look-returned": lambda: good().look(Look.STAINED, at=30).look(at=31).look(Look.STAINED, at=32),
    "look-rust-stain": lambda: good().look(Look.RUST_SPECKS, Look.STAINED, at=30),
    "voltage-floor": lambda: good(found=1.2),
    "voltage-over-full": lambda: good().charge(30.0, until=4.35),
    "charge-temperature": lambda: good().charge(30.0, peak=60.0),
    "warming-discard": lambda: good(peak=42.0),
    "capacity-discard": lambda: good(capacity=0.9),
    "unrated-resistance-discard": lambda: good(resistance=0.9),
    "resistance-discard": lambda: good(
        facts=replace(NMC, rated_resistance_ohm=0.02, rated_resistance_method="dc-pulse"), resistance=0.2
    ),
    "self-discharge-discard": lambda: good(second=leaking(12.0)),
    SHELF_LOSS: lambda: good().charge(20.0, until=3.85).rest(3.85, 21.5).rest(leaking(12.0, 40, 3.85), 61.5),
    "by two runs": lambda: slow_run(2.3),
    "of a flat cell": lambda: pouch(2.5),
}


def with_more(bench: Bench, **more: object) -> Bench:
    bench.more.update(more)
    return bench


def digests(found: tuple[Finding, ...]) -> set[str]:
    return {finding.digest for finding in found}


def alone(evidence: Evidence, finding: Finding) -> Evidence:
    """Only what the finding rests on: its records, and of the facts those it names; all else is not known."""
    blank = CellFacts()
    known = {
        f.name: getattr(evidence.facts, f.name)
        for f in fields(CellFacts)
        if not finding.basis.isdisjoint(evidence.fact_keys(f.name))
    }
    best = evidence.best_sibling
    return Evidence(
        evidence.code,
        replace(blank, **known),
        tuple(r for r in evidence.readings if r.key in finding.basis),
        tuple(c for c in evidence.charges if c.key in finding.basis),
        upsets=tuple(u for u in evidence.upsets if u.key in finding.basis),
        best_sibling=best if best is not None and best.key in finding.basis else None,
        floats=tuple(c for c in evidence.floats if c.key in finding.basis),
    )


def assert_rests_on_its_basis(evidence: Evidence) -> int:
    found = find(evidence, day(LATER))
    for finding in found:
        again = find(alone(evidence, finding), day(LATER + 1000))
        assert finding.digest in digests(again), (finding.rule, finding.words, sorted(finding.basis))
    return len(found)


def test_every_condemning_rule_yields_its_finding_and_from_its_basis_alone() -> None:
    """At, beyond and long after: one cell for each way to be condemned."""
    for name, make in CONDEMNED.items():
        evidence = make().evidence()
        rules = {finding.rule for finding in find(evidence, day(70))}
        expected = {"by two runs": "self-discharge-discard", "of a flat cell": "unrated-resistance-discard"}
        assert expected.get(name, name) in rules, (name, rules)
        assert assert_rests_on_its_basis(evidence)


@settings(max_examples=200, deadline=None)
@given(benches())
def test_a_basis_alone_yields_its_rule(bench: Bench) -> None:
    """Any cell, any records in any order."""
    assert_rests_on_its_basis(bench.evidence())


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(CONDEMNED)), benches(), st.booleans(), st.floats(0, 3000))
def test_no_record_and_no_time_takes_a_finding_away(name: str, more: Bench, rated: bool, wait: float) -> None:
    """Readings, charges, let-downs dated into the past, other facts: all are added, and it stays."""
    bench = CONDEMNED[name]()
    evidence = bench.evidence()
    found = judge(evidence, shipped_rules(), day(70)).found
    shift = len(evidence.readings) + len(evidence.charges)
    grown = replace(
        evidence,
        facts=replace(evidence.facts, rated_capacity_ah=1.0 if rated else None, maker="another"),
        readings=in_order(
            (*evidence.readings, *(replace(r, id=RecordKey("A", r.id.number + shift)) for r in more.readings))
        ),
        charges=in_order(
            (*evidence.charges, *(replace(c, id=RecordKey("A", c.id.number + shift)) for c in more.charges))
        ),
        findings=found,
    )
    verdict = judge(grown, shipped_rules(), day(70 + wait)).verdict
    assert {f.rule for f in found} - {SHELF_LOSS} <= {r.rule for r in verdict.reasons if r.finding}
    assert verdict.outcome is Outcome.DISCARD or {f.rule for f in found} == {SHELF_LOSS}


def in_order(items: tuple) -> tuple:  # type: ignore[type-arg]
    return tuple(sorted(items, key=lambda item: (item.at, item.id)))


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(sorted(CONDEMNED)), st.integers(1, 12), st.sampled_from(["maker", "date_code", "mass_g"])
)
def test_it_falls_with_what_it_rests_on_and_with_nothing_else(name: str, number: int, field: str) -> None:
    """A withdrawn record voids the findings that name it; a corrected maker or date voids none."""
    evidence = CONDEMNED[name]().evidence()
    for finding in find(evidence, day(70)):
        key = f"A-{number}"
        assert stands(finding, {key}) is (key not in finding.basis)
        assert stands(finding, evidence.fact_keys(field))


def test_all_that_condemns_is_recorded_and_not_only_the_first() -> None:
    """Two stretches that leak and a swollen end: correcting one of them frees nothing."""
    bench = (
        good(second=leaking(12.0, 30), days=30.0)
        .rest(leaking(12.0, 60), 63.2)
        .look(Look.SWOLLEN, Look.RUST, at=64)
    )
    found = find(bench.evidence(), day(70))
    leaks = [f for f in found if f.rule == "self-discharge-discard"]
    assert len(leaks) == 3
    assert {f.rule for f in found} >= {"look-damage", "look-deformed"}
    second = next(r.key for r in bench.readings if r.quantity is Quantity.VOLTAGE and r.at == day(33.2))
    assert [stands(f, {second}) for f in leaks].count(True) == 1


def test_a_corrected_chemistry_voids_what_rests_on_it_and_not_what_a_look_saw() -> None:
    """Facts are evidence field by field."""
    evidence = good(found=1.8).look(Look.SWOLLEN, at=30).evidence()
    falls = {f.rule for f in find(evidence, day(40)) if not stands(f, evidence.fact_keys("chemistry"))}
    assert falls == {"voltage-floor"}


def test_the_size_of_a_sibling_that_condemns_is_part_of_the_basis() -> None:
    """An unrated cell is worn out beside a sibling of 3 Ah; that reading a slip, the finding falls."""
    bench = with_more(
        good(facts=replace(NMC, rated_capacity_ah=None), capacity=1.3), best_sibling=BestSibling("H-9", 3.0)
    )
    (finding,) = find(bench.evidence(), day(40))
    assert finding.rule == "capacity-discard" and not finding.safety and "H-9" in finding.basis


def test_a_persons_stricter_rules_make_no_finding() -> None:
    """They condemn while they are in force, and nothing is left when they are put away."""
    from straycell.acceptance.rules import merge_rules

    strict, faults = merge_rules(
        shipped_rules(), {"name": "mine", "limit": [{"id": "capacity", "value": 0.99}]}
    )
    assert strict is not None, faults
    verdict, found = good().judged(20.0, strict)
    assert verdict.outcome is Outcome.DISCARD and found == ()
    assert not any(r.finding for r in verdict.reasons) and good().outcome() is Outcome.PACK


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(CONDEMNED)), st.sampled_from(sorted(CONDEMNED)), st.randoms())
def test_the_verdict_does_not_depend_on_which_side_of_a_merge_brought_a_finding(
    one: str, other: str, dice: random.Random
) -> None:
    """Findings of two benches in any order: the same verdict to the last word."""
    evidence = CONDEMNED[one]().evidence()
    found = [*find(evidence, day(70)), *find(CONDEMNED[other]().evidence(), day(69))]
    once = {finding.digest: finding for finding in found}
    mixed = list(once.values())
    dice.shuffle(mixed)
    straight, shuffled = (
        judge(replace(evidence, findings=tuple(each)), shipped_rules(), day(71))
        for each in (once.values(), mixed)
    )
    assert straight == shuffled and straight.found == ()


def test_the_meter_of_these_laws_is_fine_enough_to_condemn() -> None:
    """A law about cells that nothing condemns would be an empty one."""
    assert FINE.voltage is not None
    assert {Outcome.DISCARD, Outcome.HOLD} == {make().outcome(70.0) for make in CONDEMNED.values()}
