"""What charge a cell may have: at, inside and outside each limit, and what forbids one altogether."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import LFP, NMC, Bench, day, good

from straycell.acceptance import Condemnation, Outcome, Upset, load_rules
from straycell.acceptance.charger.allowance import ChargeAllowance, ChargeKind, charge_allowance
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.readings import Where

RULES = load_rules()
USE, TEST, NONE = ChargeKind.USE, ChargeKind.TEST, ChargeKind.NONE


def allowed(bench: Bench, at: float = 20.0, temperature_c: float | None = None) -> ChargeAllowance:
    """What the cell may have so many days after the tear-down."""
    verdict = bench.verdict(at)
    return charge_allowance(bench.evidence(), verdict, RULES, day(at), temperature_c=temperature_c)


def low_ah(bench: Bench) -> float:
    """The capacity's low end, U worked out from the meter by hand: 0.5 % + 1 mAh, rectangular, k = 2."""
    value = next(r.value for r in bench.readings if r.quantity.value == "capacity")
    assert value is not None
    return float(value - 2 * (0.005 * value + 0.001) / 3**0.5)


# --- a cell in use ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bench", "outcome", "rate"),
    [
        (good(), Outcome.PACK, 0.5),
        (good(capacity=1.90), Outcome.SOLO, 0.5),
        (good(capacity=1.40), Outcome.LIGHT, 0.2),
    ],
)
def test_a_usable_cell_takes_its_outcomes_rate_of_the_low_end(
    bench: Bench, outcome: Outcome, rate: float
) -> None:
    """Acceptance draft, currents: light 0.2C, solo and pack 0.5C of the measured capacity."""
    assert bench.outcome() is outcome
    found = allowed(bench)
    assert found.kind is USE
    assert found.allowed_a == pytest.approx(rate * low_ah(bench))
    assert found.measured and f"{rate:g}C" in found.why


def test_only_the_makers_figure_gives_more() -> None:
    """More only on the maker's figure."""
    generous = good(facts=replace(NMC, maker_charge_current_a=2.5))
    assert allowed(generous).allowed_a == 2.5
    assert "maker" in allowed(generous).why


def test_the_makers_figure_lowers_always() -> None:
    """A maker who says less is right."""
    assert allowed(good(facts=replace(NMC, maker_charge_current_a=0.3))).allowed_a == 0.3
    assert allowed(good(facts=replace(NMC, maker_charge_current_a=0.1), capacity=1.40)).allowed_a == 0.1


@pytest.mark.parametrize(
    "bench",
    [
        good(facts=replace(NMC, maker_charge_current_a=2.5), capacity=1.40),
        good(facts=replace(NMC, maker_charge_current_a=2.5, rewrapped=True)),
    ],
    ids=["light", "re-wrapped"],
)
def test_no_makers_figure_raises_a_light_or_a_rewrapped_cell(bench: Bench) -> None:
    """What a worn cell took when new, or what a foreign sleeve says, is no licence."""
    found = allowed(bench)
    assert found.kind is USE and 0 < found.allowed_a < 1.3


# --- a test charge ---------------------------------------------------------------------------------


def held(volts: float | None = 3.6, facts: CellFacts = NMC) -> Bench:
    """A cell on hold: looked at and found at some voltage, nothing else."""
    bench = Bench(facts).look()
    return bench if volts is None else bench.found(volts)


def test_a_held_cell_gets_a_fifth_of_its_rating() -> None:
    """0.2C of rated, attended."""
    found = allowed(held())
    assert found.kind is TEST and found.allowed_a == pytest.approx(0.2 * 2.5)
    assert "attended" in found.why and not found.measured


def test_without_a_rating_the_table_of_sizes_counts() -> None:
    """An unrated 18650 counts as 2000 mAh, a re-wrapped one too."""
    assert allowed(held(facts=replace(NMC, rated_capacity_ah=None))).allowed_a == pytest.approx(0.4)
    assert allowed(held(facts=replace(NMC, rewrapped=True))).allowed_a == pytest.approx(0.4)


def test_without_any_size_there_is_no_charge() -> None:
    """What it holds is not known at all."""
    found = allowed(held(facts=CellFacts(Chemistry.NMC, Form.POUCH)))
    assert (found.kind, found.allowed_a, found.capacity) == (NONE, 0.0, None)
    assert "cell correct" in found.first[0]


@pytest.mark.parametrize(
    ("volts", "rate"),
    # The meter's U at 3 V is 2 sqrt((0.0005 x 3 + 0.001)^2 / 3 + 0.001^2 / 12) = 2.95 mV.
    [(3.10, 0.2), (3.004, 0.2), (3.002, 0.1), (3.000, 0.1), (2.90, 0.1), (2.60, 0.1), (2.30, 0.1)],
)
def test_below_three_volts_it_gets_a_tenth(volts: float, rate: float) -> None:
    """Cell sheet precautions: 0.1C or less below 3.0 V; within U of the limit is not above it."""
    found = allowed(held(volts))
    assert found.kind is TEST and found.allowed_a == pytest.approx(rate * 2.5)


def test_a_cell_that_sank_on_the_shelf_may_have_the_charge_that_its_hold_asks_for() -> None:
    """2.95 V at rest holds until a charge and a check; refused, that hold would have no way out."""
    found = allowed(good().capacity(2.4, 58.0).rest(2.95, 60.0), 61.0)
    assert found.kind is TEST and found.allowed_a == pytest.approx(0.1 * 2.5)


def test_an_unknown_voltage_counts_as_low_and_is_to_be_measured_first() -> None:
    """Unknown is never a pass."""
    found = allowed(held(None))
    assert found.allowed_a == pytest.approx(0.1 * 2.5)
    assert found.first and "measure its voltage first" in found.first[0] and "2 V" in found.first[0]


def test_a_charge_tells_that_it_is_no_longer_low() -> None:
    """Found at 2.8 V, charged to 4.2 V since."""
    assert allowed(held(2.8).charge(1.0, peak=26.0)).allowed_a == pytest.approx(0.5)


def test_after_a_capacity_run_the_voltage_is_not_known() -> None:
    """Emptied: a tenth until it is measured."""
    emptied = held(3.6).charge(1.0, peak=26.0).capacity(2.3, 2.0)
    assert allowed(emptied, 2.1).allowed_a == pytest.approx(0.25)
    assert "discharged since" in allowed(emptied, 2.1).first[0]
    assert allowed(emptied.rest(3.4, 2.2), 2.3).allowed_a == pytest.approx(0.5)


def test_a_maker_never_raises_a_test_charge() -> None:
    """But may lower it."""
    assert allowed(held(facts=replace(NMC, maker_charge_current_a=2.5))).allowed_a == pytest.approx(0.5)
    assert allowed(held(facts=replace(NMC, maker_charge_current_a=0.2))).allowed_a == pytest.approx(0.2)


def test_a_cell_once_low_may_still_show_what_it_is_worth() -> None:
    """2.2 V fails a safety rule that only caps it at `light`: held for other things, it may be charged."""
    bench = held(2.2)
    assert not bench.no_charge() and bench.outcome() is Outcome.HOLD
    assert allowed(bench).kind is TEST


def test_a_repeat_after_warming_stays_possible() -> None:
    """Warmed by 12 K: hold, charge it again at 0.2C."""
    bench = good(peak=34.0)
    assert bench.outcome() is Outcome.HOLD
    assert allowed(bench).kind is TEST


def test_after_an_incident_it_is_only_a_test() -> None:
    """A pack cell that was dropped is on hold: no charge before somebody has looked at it, then a test charge."""
    bench = good()
    bench.more["upsets"] = (Upset("drop", day(19.0)),)
    assert allowed(bench).kind is NONE and "nobody has looked at it" in allowed(bench).why
    assert allowed(bench.look(at=19.5)).kind is TEST


def test_a_held_lfp_cell_is_judged_by_the_same_limit() -> None:
    """3.0 V, whatever the chemistry."""
    assert allowed(held(3.2, LFP)).allowed_a == pytest.approx(0.6)
    assert allowed(held(2.9, LFP)).allowed_a == pytest.approx(0.3)


# --- no charge -------------------------------------------------------------------------------------

REFUSED = {
    "primary": (Bench(CellFacts(Chemistry.PRIMARY, Form.F16340, "CR123A")).look().found(3.0), "never charge"),
    "deep-discharged": (held(1.7), "discarded"),
    "too close to the floor, as found": (held(2.001), "discarded"),
    "swollen": (good(look=(Look.SWOLLEN,)), "discarded"),
    "unknown chemistry": (held(3.6, CellFacts(Chemistry.UNKNOWN, Form.F18650)), "chemistry is not known"),
    "unmarked look-alike": (held(3.6, CellFacts(Chemistry.NMC, Form.F14500)), "primary"),
    "a primary's marking": (held(3.6, CellFacts(Chemistry.NMC, Form.F16340, "CR123A")), "not rechargeable"),
    "torn sleeve": (Bench().found(3.6).look(Look.TORN_SLEEVE), "an end that can short"),
    "close to the floor": (held(3.6).rest(2.001, 1.0), "too close"),
    "close to over-charged": (held(3.6).rest(4.2502, 1.0), "too close"),
    "tripped board": (Bench(replace(NMC, protection_board=True)).look().found(1.2), "board"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_these_cells_may_have_no_charge(name: str) -> None:
    """Discarded, not rechargeable, not known to be, or an end that can short: nothing, and what to do."""
    bench, words = REFUSED[name]
    found = allowed(bench)
    assert (found.kind, found.allowed_a) == (NONE, 0.0), found
    assert words in found.why
    assert found.first and found.first[0] and " CODE" not in found.first[0]


def test_a_persons_discard_stands() -> None:
    """However good its figures."""
    bench = good()
    bench.more["condemned"] = Condemnation("fell into water", day(1.0))
    assert allowed(bench).kind is NONE and "fell into water" in allowed(bench).why


def test_what_was_open_is_settled_by_a_person_or_a_measurement() -> None:
    """Confirmed as rechargeable; measured at the tabs."""
    facts = CellFacts(Chemistry.NMC, Form.F14500, confirmed_rechargeable=True)
    assert allowed(held(3.6, facts)).allowed_a == pytest.approx(0.2 * 0.6)
    board = Bench(replace(NMC, protection_board=True)).look().found(1.2)
    assert allowed(board.rest(3.3, 1.0, where=Where.TABS)).kind is TEST


# --- where it is charged ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_c", "share"),
    # 0 to 45 C (three 18650 sheets); 0.1C to 5 C, 0.2C to 15 C, then 0.5C (a sheet), straight lines between.
    [
        *[
            (-5.0, 0.0),
            (-0.1, 0.0),
            (0.0, 0.1),
            (5.0, 0.1),
            (7.5, 0.15),
            (9.9, 0.198),
            (10.0, 0.2),
            (15.0, 0.2),
        ],
        *[(17.5, 0.35), (20.0, 0.5), (25.0, 0.5), (45.0, 0.5), (45.1, 0.0)],
    ],
)
def test_cool_takes_less_and_frost_or_heat_nothing(at_c: float, share: float) -> None:
    """The window of the rules, the steps of the sheet without their cliffs; below 10 C somebody stays with it."""
    bench = good()
    found = allowed(bench, temperature_c=at_c)
    assert found.allowed_a == pytest.approx(share * low_ah(bench))
    assert (found.kind is NONE) == (share == 0.0)
    assert any("attended" in text for text in found.first) == (0.0 <= at_c < 10.0)


def test_warmth_never_raises_what_a_cell_may_have() -> None:
    """A light cell keeps its 0.2C at 25 C, a test charge too."""
    light = good(capacity=1.40)
    assert allowed(light, temperature_c=25.0).allowed_a == allowed(light).allowed_a
    assert allowed(held(), temperature_c=12.0).allowed_a == pytest.approx(0.5)


@given(volts=st.floats(0.5, 4.4), at_c=st.one_of(st.none(), st.floats(-30, 70)))
def test_a_held_cell_never_gets_more_than_its_test_charge(volts: float, at_c: float | None) -> None:
    """Whatever it was found at, wherever it is charged."""
    bench = held(volts)
    found = allowed(bench, temperature_c=at_c)
    assert 0.0 <= found.allowed_a <= 0.2 * 2.5 + 1e-12
    assert (found.allowed_a > 0) == (found.kind is not NONE)
    if volts < 2.0 or volts > 4.25:
        assert found.kind is NONE
    elif volts < 3.0 and found.kind is not NONE:
        assert found.allowed_a <= 0.1 * 2.5 + 1e-12
