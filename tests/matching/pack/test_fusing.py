"""Fuses, wire and strip: a value that one can buy, that holds the load, and melts before the weakest part suffers."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.matching.pack_bench import marked, packed, shelf, wanted
from tests.matching.single_bench import LIMITS, NOW, project

from straycell.matching import Match, serve
from straycell.matching.sheet.currents import Fuse, fuse_for, wire_mm2
from straycell.matching.sheet.data import PackData, pack_data
from straycell.matching.sheet.words import danger_lines, fuse_lines
from straycell.physics.loads import ConstantCurrent

# R10 of ISO 3, as IEC 60127 rounds it, and the usual values of IEC 60269.
USUAL = {0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10,
         12, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200}  # fmt: skip


def held_and_broken(fuse: Fuse, steady_a: float, peak_a: float) -> None:
    """The two promises of a fuse by hand: three quarters for hours, no blowing at a peak, melting in time."""
    assert fuse.rated_a in USUAL
    small = fuse.rated_a <= 10
    assert steady_a <= 0.75 * fuse.rated_a + 1e-9
    assert peak_a <= (1.5 if small else 1.25) * fuse.rated_a + 1e-9
    assert (2.1 if small else 1.9) * fuse.rated_a <= fuse.bears_a + 1e-9


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 6), st.integers(1, 6), st.floats(0.02, 0.5), st.floats(1.0, 2.0), st.integers(0, 50))
def test_every_fuse_holds_the_load_and_melts_before_the_weakest_cell_suffers(
    series: int, parallel: int, rate: float, peak: float, seed: int
) -> None:
    """Over packs of many shapes and loads; where none is named none of the usual values does both."""
    cells = shelf(series * parallel, seed=seed)
    groups = [cells[parallel * g : parallel * (g + 1)] for g in range(series)]
    steady_a = rate * 2.0 * parallel
    need = f'peak_current = "{peak * steady_a:.4f}A"'
    asked = wanted(series, parallel, load=f'current = "{steady_a:.4f}A"', cutoff=f"{3 * series}V", need=need)
    fusing = pack_data(asked, groups, LIMITS).fusing
    steady_a, peak_a = float(f"{steady_a:.4f}"), float(f"{peak * steady_a:.4f}")
    bears = []
    for group in groups:
        for c in group:
            assert c.capacity is not None and c.resistance is not None
            others = sum(1 / o.resistance.value for o in group if o is not c and o.resistance)
            bears.append(3 * c.capacity.low * (1 + c.resistance.low * others))
    bears_a = min(bears)
    assert fusing.main.bears_a == pytest.approx(bears_a)
    if fusing.main.rated_a is None:
        fits = [a for a in USUAL if a <= 10 and max(steady_a / 0.75, peak_a / 1.5) <= a <= bears_a / 2.1]
        fits += [a for a in USUAL if a > 10 and max(steady_a / 0.75, peak_a / 1.25) <= a <= bears_a / 1.9]
        assert not fits and fusing.faults
    else:
        held_and_broken(fusing.main, steady_a, peak_a)
    assert fusing.main.dc_v >= 4.2 * series and fusing.main.breaking_a >= fusing.main.short_a
    assert (fusing.each is None) == (parallel == 1)
    if fusing.each is not None and fusing.each.rated_a is not None:
        held_and_broken(fusing.each, steady_a / parallel, peak_a / parallel)


def served(**maker: float) -> Match:
    """A pack of two that gives 1 A."""
    cells = [marked(n, 2.5, **maker) for n in range(2)]  # type: ignore[arg-type]
    return packed(wanted(1, 2, load='current = "1A"', runtime="3h", cutoff="3V"), *cells)


def test_the_fuse_is_one_value_with_its_direct_voltage_and_breaking_capacity() -> None:
    """1 A steady wants 1.33 A, the next value is 1.6 A; two of 2.5 Ah bear 15 A."""
    data = served().data
    assert data is not None and data.fusing.main.rated_a == 1.6
    line = fuse_lines(data)[0]
    assert "1.6 A time-lag, at least 32 V d.c., breaking capacity at least 1500 A d.c." in line


def test_where_no_value_lies_between_load_and_weakest_cell_the_answer_says_so() -> None:
    """A maker's 1.2 A a cell: a fuse that holds 1 A melts at 3.4 A, the pair bears 2.4 A."""
    found = served(maker_discharge_a=1.2)
    assert found.served and found.data is not None
    (fault, *_) = found.data.fusing.faults
    assert "no standard fuse" in fault and any("cannot be finished" in w for w in found.warnings)
    assert any("no standard fuse" in line for line in fuse_lines(found.data))


def test_a_small_cell_gets_a_small_fuse() -> None:
    """600 mAh bear 1.8 A: nothing of 1 A melts in time."""
    found = serve(project('current = "20mA"'), [marked(0, 0.6)], LIMITS, now=NOW)
    assert found.data is not None and found.data.fusing.main.rated_a == 0.8
    # Of 0.8 and 1 A, which both melt in time, the one whose own resistance costs less.
    assert fuse_for(0.02, 0.02, 2.2, 4.2, 100.0).rated_a == 1.0


def test_a_resistance_that_may_be_nothing_makes_a_short_circuit_without_end() -> None:
    """Unknown is no figure: the line says that nobody knows."""
    cells = [marked(n, 2.5, resistance_ohm=0.0) for n in range(2)]
    asked = wanted(1, 2, load='current = "0.5A"', runtime="3h", cutoff="3V")
    data = pack_data(asked, [cells], LIMITS)
    assert math.isinf(data.fusing.main.short_a)
    assert "nobody knows" in fuse_lines(data)[-1] and data.to_json()["fuse"]["breaking_a"] is None  # type: ignore[index]


@pytest.mark.parametrize("amps", sorted(USUAL))
def test_every_usual_value_is_taken_where_it_is_the_first_that_holds(amps: float) -> None:
    """IEC 60127: 1.5 times for an hour, melts at 2.1; IEC 60269: 1.25 and 1.9. A cell that bears less gets none as large."""
    holds, melts = (1.5, 2.1) if amps <= 10 else (1.25, 1.9)
    bears_a = melts * amps * 1.001
    steady = fuse_for(0.749 * amps, 0.749 * amps, bears_a, 4.2, 100.0)
    peak = fuse_for(0.749 * amps, 0.999 * holds * amps, bears_a, 4.2, 100.0)
    assert steady.rated_a == peak.rated_a == amps
    weak = fuse_for(0.749 * amps, 0.749 * amps, 0.98 * melts * amps, 4.2, 100.0)
    assert weak.rated_a is None


@pytest.mark.parametrize("volts", [32.0, 58.0, 80.0, 125.0, 250.0, 500.0])
def test_a_fuse_has_a_direct_voltage_that_one_can_buy(volts: float) -> None:
    """Of a pack of just so much, and never less than the pack's."""
    assert fuse_for(1.0, 1.0, 15.0, volts, 100.0).dc_v == volts
    assert fuse_for(1.0, 1.0, 15.0, volts + 1.0, 100.0).dc_v > volts


@pytest.mark.parametrize("amps", [35.0, 150.0, 1500.0, 6000.0, 25000.0])
def test_a_fuse_has_a_breaking_capacity_of_its_standard(amps: float) -> None:
    """IEC 60127-2: 35, 150, 1500 A; IEC 60269-1: 6 kA, 25 kA d.c."""
    assert fuse_for(1.0, 1.0, 15.0, 4.2, amps).breaking_a == amps
    assert fuse_for(1.0, 1.0, 15.0, 4.2, 1.01 * amps).breaking_a > amps


# DIN VDE 0298-4:2023-06, table 11, column 5 (0.5 mm2: the column of hand-held devices): A by mm2.
CARRIED = {
    0.5: 3, 0.75: 12, 1.0: 15, 1.5: 18, 2.5: 26, 4.0: 34, 6.0: 44, 10.0: 61, 16.0: 82,
    25.0: 108, 35.0: 135, 50.0: 168, 70.0: 207, 95.0: 250,
}  # fmt: skip


@pytest.mark.parametrize(("mm2", "amps"), CARRIED.items())
def test_the_wire_carries_what_the_fuse_lets_through(mm2: float, amps: float) -> None:
    """The standard's current takes its own cross-section, a little more the next; beyond the table nothing."""
    larger = min((wider for wider in CARRIED if wider > mm2), default=None)
    assert (wire_mm2(amps), wire_mm2(1.01 * amps)) == (mm2, larger)


def test_a_strip_stays_cool_enough_for_the_seal_it_touches() -> None:
    """Nickel (7e-8 ohm m) of 0.15 mm in still air (10 W/(m2 K), both faces): its fuse's rating warms it by 10 K at most."""
    data = served().data
    assert data is not None and data.fusing.main.rated_a
    amps_per_m2 = 1e6 * data.fusing.main.rated_a / data.fusing.strip_mm2
    assert 5.0 < amps_per_m2**2 * 7e-8 * 0.15e-3 / (2 * 10.0) < 10.0


def data_of(series: int, parallel: int) -> PackData:
    cells = shelf(series * parallel)
    groups = [cells[parallel * g : parallel * (g + 1)] for g in range(series)]
    asked = wanted(series, parallel, load='current = "0.1A"', cutoff=f"{3 * series}V")
    return pack_data(replace(asked, load=ConstantCurrent(0.1)), groups, LIMITS)


@pytest.mark.parametrize(
    ("shape", "volts", "energy"),
    [
        ((7, 1), False, False),
        ((8, 1), True, False),
        ((5, 2), False, False),
        ((4, 3), False, True),
        ((13, 4), True, True),
    ],
)
def test_above_30_v_and_above_100_wh_it_says_what_that_means(
    shape: tuple[int, int], volts: bool, energy: bool
) -> None:
    """7 x 4.2 V are 29.4 V; 12 x 2.4 Ah x 3.7 V are 107 Wh."""
    told = " ".join(danger_lines(data_of(*shape)))
    assert ("arc" in told) == volts and ("ADR" in told) == energy


def test_the_data_of_a_pack_are_those_of_its_cells() -> None:
    """Two in series of two 18650: 8.4 V full, 5 Ah x 2 x 3.7 V, a block of 37 x 37 x 65 mm."""
    cells = [marked(n, 2.5, u_ah=0.05) for n in range(4)]
    data = pack_data(wanted(), [cells[:2], cells[2:]], LIMITS)
    assert (data.full_v, data.empty_v) == (8.4, 6.4)
    assert data.expected_wh == pytest.approx(5.0 * 7.4, rel=0.03)
    assert data.low_wh == pytest.approx(data.expected_wh * 0.96)
    assert data.size_mm == (37.0, 37.0, 65.0)
    assert any("2 cells in series" in line for line in data.board)
