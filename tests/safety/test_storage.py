"""Storage figures against their sources, and the level that a cell's records tell."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import LFP, Bench, day, good
from tests.safety.keeping_bench import RULES

from straycell.acceptance import Upset, assess
from straycell.acceptance.case import Case
from straycell.cells import Chemistry
from straycell.physics.curves import curves_for
from straycell.safety import storage
from straycell.safety.storage import Level, standing, window


def case(bench: Bench, at: float) -> Case:
    evidence = bench.evidence()
    return Case(evidence, evidence.facts, RULES, day(at))


def level(bench: Bench, at: float = 30.0) -> Level:
    return standing(case(bench, at)).level


# --- figures against their sources -----------------------------------------------------------------


def test_the_window_holds_the_handbook_voltage() -> None:
    """Handbook: 40 % is about 3.82 V per cell at room temperature."""
    for chemistry in (Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO):
        kept = window(chemistry)
        assert kept is not None and kept.low_v < 3.82 < kept.high_v


def test_the_window_lies_around_half_full_on_every_published_curve() -> None:
    """Makers store at 30 to 50 % (sheets); no end of the window is near empty or near full."""
    kept = window(Chemistry.NMC)
    assert kept is not None
    for curve in curves_for(Chemistry.NMC):
        assert 0.10 < curve.state_of_charge(kept.low_v) < 0.60
        assert 0.40 < curve.state_of_charge(kept.high_v) < 0.90


@pytest.mark.parametrize("name", list(storage.figures()))
def test_every_figure_has_its_source(name: str) -> None:
    """Published, or said to be common practice."""
    assert len(storage.figures()[name]["source"]) > 20


@pytest.mark.parametrize("chemistry", [Chemistry.UNKNOWN, Chemistry.PRIMARY])
def test_no_window_is_made_up(chemistry: Chemistry) -> None:
    """Unknown is not a pass, and a primary cell is not charged."""
    assert window(chemistry) is None


# --- levels ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bench", "expected"),
    [
        (good(), Level.FULL),
        (good(second=None), Level.FULL),
        (good(first=None, second=None), Level.FULL),
        (Bench().found(3.6).charge(1.0).capacity(2.4, 2.0), Level.EMPTY),
        (Bench().found(3.6).charge(1.0).capacity(2.4, 2.0).rest(3.3, 3.0), Level.EMPTY),
        (good().charge(20.0, until=3.85), Level.STORED),
        (good().charge(20.0, until=4.05), Level.HIGH),
        # handbook: where 90 min of rest are not practical, 50 mV beyond the window's 3.90 V, and no more
        (good().charge(20.0, until=3.945), Level.STORED),
        (good().charge(20.0, until=3.955), Level.HIGH),
        (good().charge(20.0, until=3.85).rest(3.82, 22.0), Level.STORED),
        (good().charge(20.0, until=3.85).rest(3.60, 22.0), Level.LOW),
        (Bench().found(3.8), Level.STORED),
        (Bench().found(4.1), Level.HIGH),
        (Bench().found(3.4), Level.LOW),
        (Bench(), Level.UNKNOWN),
        (Bench(LFP).charge(1.0, until=3.65).rest(3.33, 3.0), Level.FULL),
        (Bench(LFP).charge(1.0, until=3.65).capacity(3.0, 2.0).rest(3.2, 3.0), Level.EMPTY),
        (Bench(LFP).charge(1.0, until=3.65).capacity(3.0, 2.0).charge(3.0, until=3.4), Level.STORED),
        (Bench(LFP).found(3.30), Level.STORED),
        (Bench(LFP).found(3.10), Level.LOW),
        # above 3.40 V at rest it was just charged (published set): not the half charge of a sheet
        (Bench(LFP).found(3.43), Level.HIGH),
    ],
)
def test_the_level_follows_the_latest_record(bench: Bench, expected: Level) -> None:
    """A rest voltage after the last charge or discharge, else what that was."""
    assert level(bench) is expected


def test_no_check_keeps_a_cell_full_for_more_than_two_months() -> None:
    """However late its first rest voltage comes: makers store at half charge, and high voltage ages a cell."""
    bench = good(first=None, second=None).rest(4.18, 55.0)
    found = case(bench, 56.0)
    ends = storage.check_ends(found, assess(found.evidence, RULES, day(56.0)), standing(found))
    assert ends == day(2.0 + 60.0)


def test_back_from_a_build_nothing_is_known_until_it_is_measured() -> None:
    """It was used in there, which nobody records."""
    bench = good()
    bench.more = {"upsets": (Upset("dismantled", day(25.0)),)}
    assert level(bench) is Level.UNKNOWN
    assert level(bench.rest(3.8, 26.0)) is Level.STORED


def test_out_of_the_window_counts_from_the_first_such_reading() -> None:
    """A later reading of the same does not start the clock again."""
    bench = Bench().found(4.1, at=0.0).rest(4.09, 5.0).rest(4.08, 9.0)
    assert standing(case(bench, 10.0)).since == day(0.0)


# --- sinking ---------------------------------------------------------------------------------------


def sinks(volts: float, u_scale: float = 1.0) -> float:
    """Days until a stored cell may be too low."""
    bench = Bench().found(volts).rest(volts, 1.0)
    found = case(bench, 2.0)
    at = storage.sinks_at(found, assess(found.evidence, RULES, day(2.0)), standing(found))
    assert at is not None
    return (at - day(1.0)).total_seconds() / 86400.0


@given(st.floats(3.1, 4.0), st.floats(0.01, 0.1))
def test_a_fuller_cell_never_sinks_sooner(volts: float, more: float) -> None:
    """Reckoned on the curves, at the same loss."""
    assert sinks(volts + more) >= sinks(volts)


def test_a_cell_at_the_shelf_limit_may_sink_at_once() -> None:
    """3.0 V: nothing left to lose."""
    assert sinks(3.0) == 0.0


def test_the_reckoned_loss_is_the_cells_own_with_its_uncertainty() -> None:
    """Measured where it is measured, else twice what is published as usual (2.5 % a month): no cell sinks sooner by surprise."""
    own = assess(good().evidence(), RULES, day(20.0))
    (reason,) = [r for r in own.reasons if r.rule == "self-discharge"]
    assert isinstance(reason.observed, float) and reason.expanded_uncertainty is not None
    assert storage.loss_percent_month(own) == pytest.approx(reason.observed + reason.expanded_uncertainty)
    assert storage.loss_percent_month(assess(Bench().evidence(), RULES, day(20.0))) >= 2 * 2.5
