"""The one place that says whether a cell may be charged, used, offered."""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.acceptance.bench import NMC, Bench, day, good

from straycell.acceptance import Outcome
from straycell.acceptance.permission import charge_refusal, permission
from straycell.cells import Chemistry, Look, Stage

NOW = day(20.0)


@pytest.mark.parametrize(
    ("outcome", "alone", "joined"),
    [
        (Outcome.DISCARD, False, False),
        (Outcome.HOLD, False, False),
        (Outcome.LIGHT, True, False),
        (Outcome.SOLO, True, False),
        (Outcome.PACK, True, True),
    ],
)
def test_only_a_usable_outcome_is_used_and_only_pack_cells_are_joined(
    outcome: Outcome, alone: bool, joined: bool
) -> None:
    """The table of outcomes."""
    may = permission(outcome, Stage.SHELVED, None, NOW)
    assert (may.may_use(), may.may_use(joined=True)) == (alone, joined)
    assert (not may.against_offer(), not may.against_offer(joined=True)) == (alone, joined)


@pytest.mark.parametrize("stage", list(Stage))
def test_only_what_nobody_holds_is_offered(stage: Stage) -> None:
    """Reserved, built in, condemned and handed over are not."""
    free = stage in (Stage.RECEIVED, Stage.SHELVED)
    assert permission(Outcome.PACK, stage, None, NOW).against_offer() == ([] if free else [f"is {stage}"])


@pytest.mark.parametrize(("minutes", "may"), [(1, True), (0, False), (-1, False)])
def test_a_verdict_holds_up_to_its_date_and_not_at_it(minutes: int, may: bool) -> None:
    """Until means before."""
    until = NOW + timedelta(minutes=minutes)
    assert permission(Outcome.SOLO, Stage.SHELVED, until, NOW).may_use() is may


@pytest.mark.parametrize(
    ("bench", "chemistry"),
    [
        (good().look(Look.SWOLLEN, at=30), Chemistry.NMC),
        (good(found=2.001), Chemistry.NMC),
        (good(), Chemistry.PRIMARY),
        (good(), Chemistry.UNKNOWN),
    ],
)
def test_a_condemned_doubtful_or_unknown_cell_has_no_charge(bench: Bench, chemistry: Chemistry) -> None:
    """Each refusal says why, and what to do first."""
    refused = charge_refusal(bench.verdict(31.0), chemistry)
    assert refused is not None and refused.why and refused.first


def test_a_cell_on_hold_for_what_a_charge_shows_may_have_its_test_charge() -> None:
    """Nothing was charged yet."""
    assert charge_refusal(Bench(NMC).found(3.6).look().verdict(1.0), Chemistry.NMC) is None
