"""Figures of polarisation.toml that no table recomputes: what they do to cells nobody measured, and to pairs of pulses."""

from __future__ import annotations

import pytest
from tests.physics.asking import asked
from tests.physics.physics_tables import BLIND, KEPT_APART, USED_SETS, Truth, head, own_trace, truths

from straycell.acceptance.rules import shipped_rules
from straycell.cells import Chemistry
from straycell.physics.derating import assumed_resistance, lag_h, shape_range, steady_over_pulse
from straycell.physics.own_pulses import Pulse, Resisting, counted_c
from straycell.physics.run_time.runtime import estimate
from straycell.quantities import Measured

RULES = shipped_rules()
EVERY_SET = (*USED_SETS, *KEPT_APART, *BLIND)


@pytest.mark.parametrize("trace_rate_c", [None, 0.2])
@pytest.mark.parametrize("name", EVERY_SET)
def test_a_cell_of_unmeasured_resistance_keeps_both_ends(name: str, trace_rate_c: float | None) -> None:
    """Published cells, new and worn, up to 0.5C: nobody tells the tool what they resist."""
    about = head(name)
    trace = own_trace(name, trace_rate_c) if trace_rate_c else None

    def is_kept(truth: Truth) -> bool:
        cell = {"own_trace": trace, "capacity_cutoff_v": about.lower_v}
        asking = asked(
            about.chemistry,
            Measured(about.capacity_ah, 0.0),
            None,
            truth.load,
            cutoff_v=truth.cutoff_v,
            **cell,
        )
        run = estimate(*asking)
        return run.low_h <= truth.hours <= run.high_h

    asked_for = [t for t in truths(name) if t.rate_c <= 0.5]
    others = [t for t in asked_for if not (t.kind == "current" and t.rate_c == trace_rate_c)]
    assert len(others) > 20 and not [t for t in others if not is_kept(t)]


def test_what_is_assumed_is_what_a_sound_cell_may_have_at_most() -> None:
    """So a cell that nobody measured is not taken for better than one that just passes for packs."""
    assert assumed_resistance(1.0)[0] == RULES.limits["resistance-capacity"].value("dc/pack")


def test_an_ac_reading_counts_as_the_rules_count_it() -> None:
    """100 mohm d.c. and 70 mohm a.c. are one limit there; every other step of the tables lies within the spread."""
    ac, pulse = (steady_over_pulse(Chemistry.NMC, seconds) for seconds in (0.0, 1.0))
    by_dc, by_ac = (RULES.limits[f"unrated-resistance-{kind}"].values or {} for kind in ("dc", "ac"))
    steps = [by_dc[key] / by_ac[key] for key in by_ac]
    assert min(steps) == pytest.approx(ac.expected / pulse.expected, abs=0.005)
    assert ac.low / pulse.low < min(steps) and max(steps) < ac.high / pulse.high


def test_an_iron_phosphate_cell_may_lag_as_little_as_a_sheet_guarantees() -> None:
    """At least 3300 mAh at 0.2C and 3250 mAh at 0.5C: the charge left behind, over 0.3C."""
    guaranteed_h = (3.300 - 3.250) / 3.300 / 0.3
    assert lag_h(Chemistry.LFP).low == pytest.approx(guaranteed_h, abs=0.0003)
    assert lag_h(Chemistry.LFP).expected > 2.0 * guaranteed_h


def test_a_room_is_what_the_rules_call_one() -> None:
    """A pulse taken where a capacity counts is one of 25 degC; a colder one is what it is."""
    coolest_c = RULES.limits["capacity-temperature-low"].value()
    assert counted_c(coolest_c) == 25.0 and counted_c(coolest_c - 0.1) == coolest_c - 0.1


@pytest.mark.parametrize(
    ("seconds", "at_c", "is_seen"),
    [(1.0, 9.0, True), (1.0, 9.1, False), (1.09, 5.0, True), (1.11, 5.0, False), (0.89, 5.0, False)],
)
def test_two_pulses_tell_how_the_cold_stiffens_only_when_they_are_alike_and_apart(
    seconds: float, at_c: float, is_seen: bool
) -> None:
    """Thermometers of 1 K would make 5 K of less; a resistance grows with the length of the pulse."""
    base = Resisting(Measured(0.05, 0.0), 1.0, 14.0, (Pulse(Measured(0.06, 0.0), seconds, at_c),))
    assert (base.seen(0.0) is not None) is is_seen


@pytest.mark.parametrize(("taken_s", "row_s"), [(1.1, 10.0), (11.0, 30.0), (0.9, 1.0)])
def test_a_pulse_is_held_against_the_next_longer_one_of_the_tables(taken_s: float, row_s: float) -> None:
    """The longer, the more it depends on the charge: the wider range is the one that does not cry wolf."""
    for chemistry in (Chemistry.NMC, Chemistry.LFP):
        ranges = {s: shape_range(chemistry, s, (0.1, 0.9)) for s in (taken_s, row_s, 1.0, 10.0, 30.0)}
        assert ranges[taken_s] == ranges[row_s] and len(set(ranges.values())) == 3
