"""Joining: which cells may be joined as they are, what the others need first, and in which order."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.matching.pack_bench import marked, packed, resting, shelf, wanted
from tests.matching.single_bench import LIMITS

from straycell.cells import Chemistry
from straycell.matching.pack.joining import Joining, difference, plan_joining
from straycell.quantities import Measured
from straycell.safety.storage import window


def joined(*volts: float | None, ohm: float = 0.1, ah: float = 2.5) -> Joining:
    """One group of cells at these rest voltages."""
    group = [marked(n, ah, resistance_ohm=ohm) for n in range(len(volts))]
    rested = [c if v is None else resting(c, v) for c, v in zip(group, volts, strict=True)]
    found = plan_joining([rested], LIMITS)
    assert found is not None
    return found


def codes(found: Joining) -> list[int]:
    """The places in the group of the cells that need something first."""
    names = [c.code for c in (marked(n) for n in range(9))]
    return [names.index(b.code) for b in found.first]


def test_one_cell_alone_is_joined_with_nothing() -> None:
    """No joining for a single cell."""
    assert plan_joining([[marked(0)]], LIMITS) is None


@pytest.mark.parametrize(("apart_mv", "first"), [(0, []), (20, []), (29, []), (30, [0]), (80, [0])])
def test_difference_and_its_uncertainty_stay_within_30_mv(apart_mv: float, first: list[int]) -> None:
    """One meter of 1 mV steps: U of the difference is 2 x sqrt(2) x 1 mV / sqrt(12), 0.8 mV.

    0.2C of 2.5 Ah over 2 x 100 mohm would allow 100 mV; the lower cell is charged to the higher.
    """
    assert codes(joined(3.80 - apart_mv / 1000, 3.80)) == first


def test_two_meters_share_nothing() -> None:
    """0.1 % + 2 mV each, rectangular, k = 2: 3.8 V is uncertain by 6.7 mV, the difference by 9.5 mV."""
    one, other = resting(marked(0), 3.8), resting(marked(1), 3.8, meter="pocket")
    assert one.rest is not None and other.rest is not None
    apart = difference(one.rest, other.rest, LIMITS)
    assert 2 * apart.u == pytest.approx(2 * 2**0.5 * (0.0038 + 0.002) / 3**0.5)
    same = difference(one.rest, replace(other.rest, meter="bench"), LIMITS)
    assert 2 * same.u == pytest.approx(2 * 2**0.5 * 0.001 / 12**0.5)


def test_rooms_of_another_warmth_leave_less_room() -> None:
    """A cell moves 0.5 mV/K, the meter a tenth of its accuracy for each kelvin; unknown counts as 5 K."""
    one, other = resting(marked(0), 3.8).rest, resting(marked(1), 3.8).rest
    assert one is not None and other is not None
    warm = difference(one, replace(other, temperature_c=26.0), LIMITS)
    unsaid = difference(one, replace(other, temperature_c=None, at=one.at.replace(hour=1)), LIMITS)
    assert warm.u == pytest.approx(unsaid.u)
    assert warm.u > 0.0025 / 3**0.5


@pytest.mark.parametrize(("ohm", "first"), [(0.05, []), (0.02, [1]), (0.005, [1])])
def test_the_current_that_evens_them_out_is_kept_below_a_fifth_of_the_capacity(
    ohm: float, first: list[int]
) -> None:
    """25 mV over 2 x 50 mohm drive 250 mA, 2 x 20 mohm 625 mA; 0.2C of 2.5 Ah are 500 mA."""
    found = joined(3.800, 3.775, ohm=ohm)
    assert codes(found) == first
    if first:
        assert "0.2C" in found.first[0].because


def test_the_least_hands_on_work_is_chosen() -> None:
    """Three agree, one is high and one low: these two are brought to the three."""
    found = joined(3.80, 3.802, 3.798, 4.05, 3.60)
    assert {b.action for b in found.first} == {"charge", "discharge"}
    assert all(b.to_v == found.to_v for b in found.first)
    assert sorted(codes(found)) == [3, 4] and 3.798 <= found.to_v <= 3.802
    assert any(line.startswith("discharge by itself to 3.8") for line in found.lines)


def test_full_cells_are_never_joined_as_they_lie() -> None:
    """Six at 4.18 V agree with each other, and are let down to storage voltage before anything else."""
    found = joined(*[4.18] * 6)
    assert [(b.action, b.to_v) for b in found.first] == [("discharge", 3.8)] * 6
    assert found.to_v == 3.8 and found.lines[0] == "discharge by itself to 3.8 V at rest: every cell"
    assert "measure each once more on the day" in found.lines[1]


def test_one_stored_cell_among_full_ones_sets_the_voltage() -> None:
    """The many are brought to the one, not the one to the many."""
    found = joined(4.18, 4.18, 3.75)
    assert found.to_v == 3.75 and codes(found) == [0, 1]


@pytest.mark.parametrize("chemistry", ["4.2V", "lfp"])
def test_cells_are_joined_where_they_are_stored(chemistry: str) -> None:
    """The two files that say what storage voltage is agree."""
    one = Chemistry.LFP if chemistry == "lfp" else Chemistry.NMC
    kept = window(one)
    assert kept is not None
    assert (kept.low_v, kept.high_v) == (LIMITS.join_low_v[one], LIMITS.join_high_v[one])


def test_a_cell_whose_voltage_is_not_known_is_brought_to_the_others() -> None:
    """Unknown is never near enough."""
    found = joined(3.80, None, 3.80)
    assert codes(found) == [1] and found.first[0].action == "bring"
    assert found.order[0][-1] == marked(1).code


def test_where_nothing_is_known_each_is_measured_and_brought_to_storage_voltage() -> None:
    """Nothing is guessed, and nothing is charged full for being joined."""
    found = joined(None, None)
    assert codes(found) == [0, 1] and found.to_v == 3.8
    assert found.lines[0].startswith("measure every cell, then charge or discharge it by itself to 3.8 V")


def test_lfp_is_charged_full_to_be_told_apart_and_joined_half_full() -> None:
    """Its voltage is flat: equal voltage says nothing below full, and full is no voltage to join at."""
    cells = [resting(marked(n, chemistry=Chemistry.LFP), 3.3) for n in range(2)]
    found = plan_joining([cells], LIMITS)
    assert found is not None and codes(found) == [0, 1]
    assert found.to_v == LIMITS.full_v[Chemistry.LFP]
    assert "half of its own measured capacity" in found.lines[1]


def test_the_limit_of_the_day_is_printed_for_low_resistances() -> None:
    """0.2C of 2.5 Ah through 5 mohm and a bank of 2.5 mohm: 3.75 mV."""
    found = joined(3.8, 3.8, 3.8, ohm=0.005)
    assert found.limits_v[0] == pytest.approx(0.5 * 0.0075)
    assert any("within 3 mV" in line for line in found.lines)


def test_groups_are_joined_before_they_are_put_in_series() -> None:
    """Order within each group, then the string."""
    cells = [resting(c, 3.8) for c in shelf(4)]
    found = plan_joining([cells[:2], cells[2:]], LIMITS)
    assert found is not None
    assert [line.split(":")[0] for line in found.lines[1:3]] == ["group 1", "group 2"]
    assert "in series: link 1" in found.lines[-1]
    assert sorted(code for codes in found.order for code in codes) == sorted(c.code for c in cells)


def test_a_resistance_of_zero_allows_no_difference() -> None:
    """No resistance, no limit to the current."""
    found = joined(3.8, 3.801, ohm=0.0)
    assert found.first and found.limits_v == (0.0,)


def test_a_vague_resistance_counts_at_its_low_end() -> None:
    """R - U drives the most current."""
    sure = [resting(marked(n, resistance_ohm=0.045), 3.8 - 0.02 * n) for n in range(2)]
    vague = [replace(c, resistance=Measured(0.045, 0.015)) for c in sure]
    first = [plan_joining([group], LIMITS) for group in (sure, vague)]
    assert first[0] is not None and not first[0].first
    assert first[1] is not None and first[1].first


@pytest.mark.parametrize(("ratio", "fits"), [(1.45, True), (1.55, False)])
def test_cells_of_one_group_share_the_current_no_worse_than_three_to_two(ratio: float, fits: bool) -> None:
    """Two in parallel at 1.55 to 1 give 61 and 39 % of the current: the stronger works for both."""
    cells = [marked(n, 2.5, resistance_ohm=0.05 * r, u_ohm=1e-5) for n, r in enumerate((1.0, ratio))]
    found = packed(wanted(1, 2, load='current = "0.5A"', runtime="3h", cutoff="3V"), *cells)
    assert found.served is fits
