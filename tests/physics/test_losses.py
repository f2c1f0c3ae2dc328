"""Run times of weeks and years, against a circuit that is stepped hour by hour: load, leak, ageing, board."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.physics.loads import ConstantCurrent
from straycell.physics.many.run_time import estimate_many
from straycell.physics.run_time.losses import with_losses
from straycell.physics.run_time.runtime import RunCell, RunDevice, Runtime, estimate
from straycell.quantities import Measured

MONTH_H, YEAR_H = 730.5, 8766.0


def stepped_h(
    charge_ah: float, capacity_ah: float, load_a: float, month: float, year: float, board_a: float
) -> float:
    """A store of charge emptied in steps of an hour: the load and the board draw, a leak takes its share of the capacity
    each month, and what is still in the cell shrinks by its share each year."""
    left, hours = charge_ah, 0.0
    while left > 0:
        taken = load_a + board_a + capacity_ah * month / MONTH_H + left * year / YEAR_H
        if left < taken:
            return hours + left / taken
        left -= taken
        hours += 1.0
    return hours


def bare(hours: float, mean_a: float) -> Runtime:
    """A run time as a load alone gives it."""
    return Runtime(hours, 0.9 * hours, 1.05 * hours, "chemistry curve", "device", mean_a=mean_a)


def test_years_of_calendar_ageing_are_counted_whole() -> None:
    """A cell that leaks next to nothing, 2.3 years: 4 % a year within 0.3 %, and low holds for the published 8 %."""
    load_a, leak = 100e-6, 0.0001
    run = with_losses(bare(2.0 / load_a, load_a), 2.0, Measured(leak, 0.0))
    usual, worst = (
        stepped_h(2.0, 2.0, load_a, leak, 0.04, 3e-6),
        stepped_h(1.8, 2.0, load_a, leak, 0.08, 6e-6),
    )
    assert 0.99 * usual <= run.expected_h <= 1.003 * usual
    assert 0.98 * worst <= run.low_h <= worst


def test_a_fortnight_bears_its_losses_whole_and_nine_days_some_of_them() -> None:
    """2.5 % a month, as published, from two weeks on against the stepped circuit; none is left out after eight days."""
    whole = with_losses(bare(345.0, 2.0 / 345.0), 2.0)
    assert whole.expected_h <= 1.001 * stepped_h(2.0, 2.0, 2.0 / 345.0, 0.025, 0.04, 3e-6)
    assert with_losses(bare(195.0, 2.0 / 195.0), 2.0).expected_h < 195.0


@pytest.mark.parametrize("load_a", [20e-6, 50e-6, 250e-6, 1e-3, 3e-3])
@pytest.mark.parametrize("own", [None, Measured(0.0257, 0.001), Measured(0.004, 0.001)])
def test_long_runs_end_when_load_and_losses_have_taken_the_charge(
    load_a: float, own: Measured | None
) -> None:
    """Within 4 % of the stepped circuit, from weeks to decades; the losses as published (2.5 %, 4 %, 3 uA)."""
    capacity_ah = 2.0
    bare_h = capacity_ah / load_a
    run = with_losses(bare(bare_h, load_a), capacity_ah, own)
    month = own.value if own is not None else 0.025
    true_h = stepped_h(capacity_ah, capacity_ah, load_a, month, 0.04, 3e-6)
    assert run.expected_h == pytest.approx(true_h, rel=0.04)
    worst = stepped_h(0.9 * capacity_ah, capacity_ah, load_a, own.high if own else 0.05, 0.08, 6e-6)
    assert run.low_h == pytest.approx(min(worst, 2 * YEAR_H), rel=0.05)
    assert run.low_h <= run.expected_h <= run.high_h and "self-discharge" in run.notes[-1]


def test_a_clock_of_250_microampere_is_not_promised_ten_months_of_charge_that_leaks_away() -> None:
    """2 Ah, 2.57 % a month of its own: 8,000 h at the load alone, some 6,300 h in truth."""
    own, capacity = Measured(0.0257, 0.002), Measured(2.0, 0.02)
    clock = (Chemistry.NMC, capacity, Measured(0.06, 0.003))
    found = with_losses(estimate(*asked(*clock, ConstantCurrent(250e-6), cutoff_v=3.0)), 2.0, own)
    assert 6000 < found.expected_h < 6600 and found.low_h < found.expected_h
    tiny = with_losses(estimate(*asked(*clock, ConstantCurrent(20e-6), cutoff_v=3.0)), 2.0)
    assert (
        tiny.expected_h < 25_000
    )  # 100,000 h at the load alone: 11 years, of which the cell leaks away most


@settings(max_examples=60, deadline=None)
@given(st.floats(1e-5, 0.05), st.floats(1.001, 1.5), st.floats(0.0, 0.3))
def test_more_load_never_runs_longer_across_the_week(load_a: float, more: float, own: float) -> None:
    """The losses set in between one week and two, and turn nothing round."""
    leak = Measured(own, 0.0)
    heavy, light = (with_losses(bare(2.0 / a, a), 2.0, leak) for a in (load_a * more, load_a))
    for end in ("expected_h", "low_h", "high_h"):
        assert getattr(heavy, end) <= getattr(light, end) * (1 + 1e-9)


def test_no_promise_runs_past_two_years() -> None:
    """A watch on a large cell: ten years at the load alone, and the promise ends at two, with a word on it."""
    kept = with_losses(bare(90_000.0, 20e-6), 2.0, Measured(0.001, 0.0))
    assert kept.low_h == 2 * YEAR_H < kept.expected_h and any("two years" in note for note in kept.notes)
    short = with_losses(bare(9_000.0, 200e-6), 2.0, Measured(0.001, 0.0))
    assert short.low_h < 2 * YEAR_H and not any("two years" in note for note in short.notes)


def test_a_run_of_days_is_what_it_was() -> None:
    """Nothing of it matters below a week."""
    run = bare(120.0, 0.016)
    assert with_losses(run, 2.0) == run


@pytest.mark.parametrize("load_a", [2e-4, 2e-3, 5e-3, 0.02])
def test_many_cells_at_once_give_the_mean_current_that_losses_are_counted_by(load_a: float) -> None:
    """The path over arrays and the path of one cell give one answer."""
    cells = [RunCell(Chemistry.NMC, Measured(1.5 + 0.1 * k, 0.01), Measured(0.06, 0.002)) for k in range(3)]
    device = RunDevice(ConstantCurrent(load_a), 3.1, parallel=2)
    together = estimate_many(cells, device)
    for cell, run in zip(cells, together, strict=True):
        alone = estimate(cell, device)
        assert math.isclose(run.mean_a, alone.mean_a, rel_tol=2e-3)
        assert math.isclose(alone.mean_a, load_a / 2, rel_tol=1e-3)


def test_the_high_end_of_a_long_run_still_loses_what_new_cells_lose() -> None:
    """0.3 % a month, the least that a paper of 2019 gives, against the stepped circuit: a year is no year without it."""
    load_a = 2.0 / 8000.0
    run = with_losses(bare(8000.0, load_a), 2.0)
    assert run.high_h == pytest.approx(stepped_h(1.05 * 2.0, 2.0, load_a, 0.003, 0.0, 0.0), rel=0.005)
