"""Groups of a pack over time: which sinks faster beyond both uncertainties, and when they are measured next."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.builds import Build, BuildState, GroupVoltage, Inspection
from straycell.keys import key_of
from straycell.safety.group_watch import Allowed, Edge, next_inspection, outside, rose_alone, sinking

DAY0 = datetime(2027, 3, 1, 18, 0, tzinfo=UTC)


def seen(days: float, *volts: float, u_v: float = 0.004, alone_u_v: float | None = 0.0003) -> Inspection:
    """All groups so many days after joining, by one meter of 1 mV steps unless said otherwise."""
    meter = "bench" if alone_u_v is not None else ""
    groups = tuple(GroupVoltage(v, u_v, alone_u_v, meter) for v in volts)
    return Inspection(DAY0 + timedelta(days=days), groups)


@pytest.mark.parametrize(("more_v", "sinks"), [(0.0, False), (0.0016, False), (0.0018, True), (0.05, True)])
def test_a_group_sinks_when_it_is_sure_beyond_both_uncertainties(more_v: float, sinks: bool) -> None:
    """Steps of 1 mV: U = 2 x 0.3 mV x root 2 = 0.85 mV a group, 1.7 mV for two; at it is not beyond it."""
    found = sinking([seen(0, 3.8, 3.8, 3.8), seen(7, 3.8, 3.8 - more_v, 3.8)])
    assert [one.group for one in found] == ([1] if sinks else [])


def test_a_meter_that_is_not_known_says_less() -> None:
    """40 mV are within twice 2 x 12 mV x root 2; 80 mV are not."""
    for more_v, groups in ((0.04, []), (0.08, [0])):
        pair = [
            seen(0, 3.8, 3.8, u_v=0.012, alone_u_v=None),
            seen(7, 3.8 - more_v, 3.8, u_v=0.012, alone_u_v=None),
        ]
        assert [one.group for one in sinking(pair)] == groups


def test_another_meter_shares_no_error_with_the_first() -> None:
    """By two meters 10 mV say nothing, by one they do."""
    first, last = seen(0, 3.8, 3.8), seen(7, 3.79, 3.8)
    other = replace(last, groups=tuple(replace(g, meter="other") for g in last.groups))
    assert sinking([first, last]) and not sinking([first, other])


@given(st.floats(-0.5, 0.5), st.floats(0.98, 1.02), st.floats(-0.02, 0.02))
def test_use_charge_and_the_meters_own_error_hold_no_pack(
    moved_v: float, gain: float, offset_v: float
) -> None:
    """Groups that differ by 5 % in capacity and move together, seen through one meter's gain and offset."""
    before, after = [3.75, 3.75, 3.75, 3.75], [3.75 + moved_v * f for f in (1.0, 1.05, 0.97, 1.02)]
    pair = [seen(0, *(gain * v + offset_v for v in before)), seen(7, *(gain * v + offset_v for v in after))]
    assert sinking(pair) == ()


def test_two_leaks_of_four_do_not_hide_each_other() -> None:
    """The middle of the others is what a group is held against, not the worst of them."""
    found = sinking([seen(0, 3.8, 3.8, 3.8, 3.8), seen(90, 3.7, 3.8, 3.7, 3.8)])
    assert {one.group for one in found} == {0, 2}


def test_a_slow_leak_is_seen_against_the_first_inspection() -> None:
    """1 mV each time is within U; 3 mV since joining are not, and that is the span that is named."""
    rows = [seen(0, 3.8, 3.8), seen(1, 3.8, 3.799), seen(7, 3.8, 3.798), seen(97, 3.8, 3.797)]
    assert sinking(rows[:2]) == ()
    (one,) = sinking(rows)
    assert one.group == 1 and one.since == DAY0


def pack(*days: float, groups: int = 2, finished: bool = True) -> Build:
    """A pack joined on the first of these days."""
    return Build(
        key_of("H-1"),
        "gauge",
        BuildState.FINISHED if finished else BuildState.RESERVED,
        tuple((f"c{n}",) for n in range(groups)),
        "plan",
        DAY0,
        DAY0 if finished else None,
        inspections=tuple(seen(d, *[3.8] * groups) for d in days),
    )


@pytest.mark.parametrize(
    ("days", "due"),
    [
        ((), 0),
        ((0,), 1),
        ((0, 0.5), 1),
        ((0, 0.8), 7),
        ((0, 1), 7),
        ((0, 1, 5), 7),
        ((0, 1, 7), 97),
        ((0, 1, 7, 97), 187),
    ],
)
def test_groups_are_measured_after_a_day_a_week_and_then_every_ninety_days(
    days: tuple[float, ...], due: float
) -> None:
    """A little early counts; a second look in the first hour does not."""
    assert next_inspection(pack(*days)) == DAY0 + timedelta(days=due)


def test_one_group_has_nothing_to_be_compared_with() -> None:
    """Nor has a pack that is taken apart; one not yet joined waits for its joining."""
    assert next_inspection(pack(groups=1)) is None
    assert next_inspection(replace(pack(0), state=BuildState.DISMANTLED)) is None
    assert next_inspection(pack(finished=False)) is None


CELL = Allowed(low_v=2.5, full_v=4.22, high_v=4.25)


@pytest.mark.parametrize(
    ("volts", "edge", "sure"),
    [
        (3.8, None, None),
        (2.5081, None, None),
        (2.5079, Edge.TOO_LOW, False),
        (2.5, Edge.TOO_LOW, False),
        (2.4919, Edge.TOO_LOW, True),
        (4.2419, None, None),
        (4.2421, Edge.OVER_FULL, False),
        (4.25, Edge.OVER_FULL, False),
        (4.2581, Edge.OVER_FULL, True),
    ],
)
def test_a_group_outside_its_limits_is_named_by_itself(
    volts: float, edge: Edge | None, sure: bool | None
) -> None:
    """U is 8 mV (2 x 4 mV): clear of a limit by U is inside, beyond it by U is sure, between is never a pass."""
    found = outside(seen(0, 3.8, volts, 3.8).groups, [CELL] * 3)
    assert [(one.group, one.edge, one.sure) for one in found] == ([] if edge is None else [(1, edge, sure)])


def test_a_coarse_meter_at_full_charge_finds_no_over_charge() -> None:
    """36 mV of U reach past 4.25 V from 4.22 V; up to there a sound charger may end, above it there is a doubt."""
    for volts, groups in ((4.22, []), (4.221, [0])):
        found = outside(seen(0, volts, 4.2, u_v=0.018).groups, [CELL] * 2)
        assert [one.group for one in found] == groups


def test_a_group_charged_alone_condemns_no_other_and_is_asked_about() -> None:
    """One of two rises by 0.1 V: by the difference alone the other would sink; it is asked, and recorded."""
    first, last = seen(0, 3.7, 3.7), seen(1, 3.7, 3.8)
    (rise,) = rose_alone([first, last])
    assert rise.group == 1 and 0.09 < rise.sure_v < 0.1
    said = replace(last, groups=(last.groups[0], replace(last.groups[1], charged_alone=True)))
    assert [one.group for one in sinking([first, last])] == [0]
    assert sinking([first, said]) == ()
    # From then on they are held against each other again, and over the time before they never are.
    assert sinking([first, said, seen(2, 3.7, 3.8)]) == ()
    assert [one.group for one in sinking([first, said, seen(2, 3.69, 3.8)])] == [0]


def test_a_group_charged_alone_does_not_hide_the_leak_of_a_third() -> None:
    """Two others are left to hold against each other, and one of them sinks."""
    first, last = seen(0, 3.7, 3.7, 3.7), seen(7, 3.7, 3.9, 3.65)
    said = replace(last, groups=tuple(replace(g, charged_alone=n == 1) for n, g in enumerate(last.groups)))
    assert [one.group for one in sinking([first, said])] == [2]


@given(st.floats(0.0, 0.5), st.floats(-0.002, 0.002))
def test_a_charge_of_the_whole_pack_asks_nothing(risen_v: float, warmer_v: float) -> None:
    """All rise together, by as much as 5 % more or less; at rest they all drift by the room's warmth."""
    before = (3.7, 3.7, 3.7)
    after = (3.7 + risen_v + warmer_v, 3.7 + 1.04 * risen_v + warmer_v, 3.7 + 0.97 * risen_v + warmer_v)
    assert rose_alone([seen(0, *before), seen(1, *after)]) == ()
