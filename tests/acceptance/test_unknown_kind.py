"""Lithium ion of 4.2 V whose kind nobody knows: judged as the worst of its kinds, alone, and only on a print."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import NMC, Bench, day, good, reasons

from straycell.acceptance import Outcome, Status, assess, shipped_rules
from straycell.acceptance.judge import judge
from straycell.acceptance.permission import charge_refusal
from straycell.cells import FOUR_VOLT, CellFacts, Chemistry, Form, Look
from straycell.physics.charging import float_limit
from straycell.safety.energy import nominal_v

LIION = replace(NMC, chemistry=Chemistry.LIION, marking="2500mAh 3.7V")
cells = st.fixed_dictionaries(
    {
        "found": st.floats(0.5, 4.3),
        "capacity": st.floats(0.3, 2.9),
        "resistance": st.floats(0.01, 0.8),
        "first": st.floats(3.9, 4.2),
        "peak": st.floats(22.0, 50.0),
        "days": st.floats(1.0, 40.0),
        "look": st.sampled_from([(Look.CLEAN,), (Look.RUST_SPECKS,), (Look.SWOLLEN,), None]),
    }
)


@given(
    cells, st.floats(0.0, 0.3), st.sampled_from([Form.F18650, Form.POUCH, Form.F21700]), st.floats(16.0, 90.0)
)
def test_it_is_never_better_than_any_kind_that_it_may_be(
    values: dict[str, object], drop: float, form: Form, at: float
) -> None:
    """Outcome, findings and the time until which it holds; solo at best."""
    facts = replace(LIION, form=form)
    bench = good(facts=facts, second=values["first"] - drop, **values)  # type: ignore[arg-type, operator]
    evidence, now = bench.evidence(), day(at)
    ours = judge(evidence, shipped_rules(), now)
    for kind in FOUR_VOLT:
        theirs = judge(evidence.under(kind), shipped_rules(), now)
        assert ours.verdict.outcome <= min(theirs.verdict.outcome, Outcome.SOLO), kind
        assert {found.digest for found in theirs.found} <= {found.digest for found in ours.found}
        if ours.verdict.valid_until is not None and theirs.verdict.valid_until is not None:
            assert ours.verdict.valid_until <= theirs.verdict.valid_until


def test_a_good_cell_with_a_print_serves_alone() -> None:
    """What would be a pack cell of a known kind; the way to more is its maker's sheet."""
    assert good().outcome() is Outcome.PACK
    verdict = good(facts=LIION).verdict()
    assert verdict.outcome is Outcome.SOLO and charge_refusal(verdict, Chemistry.LIION) is None
    (reason,) = reasons(verdict, "chemistry")
    assert "never joined" in reason.text and reason.todo is not None and "--chemistry" in reason.todo.options


@pytest.mark.parametrize(
    ("marking", "charged_v", "held"),
    [
        ("2500mAh 3.7V", None, False),
        ("Li-ion 3.6V 2500mAh", None, False),
        ("2500mAh", 4.2, False),
        ("2500mAh", None, True),
        ("", None, True),
        ("2500mAh 3.6V", None, True),
        ("2500mAh", 3.65, True),
        ("2500mAh 3.8V", 4.35, True),
    ],
)
def test_without_a_print_that_allows_it_the_word_alone_is_held(
    marking: str, charged_v: float | None, held: bool
) -> None:
    """3.6 V alone stands on primary cells, too; a colour or a guess is no print."""
    facts = replace(LIION, marking=marking, full_voltage_v=charged_v)
    assert (good(facts=facts).outcome() <= Outcome.HOLD) is held


@pytest.mark.parametrize("form", [Form.F14500, Form.F16340, Form.F10440])
def test_sizes_of_primary_cells_are_held_until_somebody_confirms(form: Form) -> None:
    """Also with a print."""
    bench = Bench(CellFacts(Chemistry.LIION, form, "3.7V"))
    assert any(r.rule == "rechargeable" and r.status is Status.UNMEASURED for r in bench.verdict().reasons)
    sure = Bench(CellFacts(Chemistry.LIION, form, "3.7V", confirmed_rechargeable=True))
    assert not reasons(sure.verdict(), "rechargeable")


def test_its_limits_are_the_strictest_of_its_kinds() -> None:
    """The lowest end voltage of any charger, the highest energy in a box: read from the kinds' own entries."""
    assert float_limit(Chemistry.LIION) == min(float_limit(kind) for kind in FOUR_VOLT)
    assert nominal_v(Chemistry.LIION) == max(nominal_v(kind) for kind in FOUR_VOLT)


def test_the_same_evidence_gives_the_same_verdict_twice() -> None:
    """Its reasons are those of one kind and no mixture, in a set order."""
    evidence = good(facts=LIION, capacity=1.4).evidence()
    assert assess(evidence, shipped_rules(), day(20)) == assess(evidence, shipped_rules(), day(20))
