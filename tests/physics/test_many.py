"""Many cells at once: the same answers as one by one."""

import random
from dataclasses import replace

import pytest
from tests.drawing import few

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Profile, ResistiveLoad
from straycell.physics.many.run_time import estimate_many
from straycell.physics.own_pulses import Taken
from straycell.physics.run_time.runtime import OwnTrace, RunCell, RunDevice, estimate
from straycell.quantities import Measured

LOADS = [
    ConstantCurrent(0.3),
    ConstantCurrent(6.0),
    ConstantPower(1.2, 0.9),
    ConstantPower(20.0),
    ResistiveLoad(12.0),
    Lamps(24, 0.55, 10.0, 3.0),
    Lamps(20, 0.5, 10.0, 4.0),
    Profile((0.0, 20.0, 300.0), (1.0, 0.1)),
]
KNOWN = [c for c in Chemistry if c is not Chemistry.PRIMARY]


def crowd(count, seed):
    """Invented cells of every chemistry, with and without a resistance."""
    chance = random.Random(seed)
    cells = []
    for index in range(count):
        ah = chance.uniform(0.2, 4.0)
        ohm = chance.uniform(0.01, 0.5) / ah
        cells.append(
            RunCell(
                KNOWN[index % len(KNOWN)],
                Measured(ah, chance.uniform(0, 0.05) * ah),
                None if index % 5 == 0 else Measured(ohm, 0.05 * ohm),
                cell_cutoff_v=chance.choice([None, 2.5, 3.0]),
                full_voltage_v=chance.choice([None, None, 4.1, 3.55]),
                capacity_current_a=chance.choice([None, 0.5]),
                capacity_cutoff_v=chance.choice([None, 2.8]),
                taken=Taken(chance.choice([0.0, 1.0, 10.0])),
            )
        )
    return cells


@pytest.mark.parametrize("load", LOADS, ids=lambda load: type(load).__name__)
@pytest.mark.parametrize(("temperature_c", "series", "parallel"), [(25.0, 1, 1), (2.0, 2, 3), (-30.0, 1, 1)])
def test_the_crowd_gets_the_answers_of_the_single_cells(load, temperature_c, series, parallel):
    """Two ways to the same figures: plain Python cell by cell, and arrays."""
    seed = int(100 * temperature_c) + LOADS.index(load)
    cells = crowd(few(60), seed)
    device = RunDevice(load, 3.2 * series, temperature_c=temperature_c, series=series, parallel=parallel)
    for cell, answer in zip(cells, estimate_many(cells, device), strict=True):
        alone = estimate(cell, device)
        assert (answer.expected_h, answer.low_h, answer.high_h) == pytest.approx(
            (alone.expected_h, alone.low_h, alone.high_h), rel=1e-9, abs=1e-12
        )
        assert (answer.basis, answer.stop, answer.notes) == (alone.basis, alone.stop, alone.notes)


def test_a_cell_with_an_own_trace_is_answered_by_it():
    """In its place in the list."""
    share = [k / 100 for k in range(101)]
    trace = OwnTrace(tuple(2.0 * s for s in share), tuple(4.1 - s for s in share), 0.4)
    plain = RunCell(Chemistry.NMC, Measured(2.0, 0.02), Measured(0.05, 0.005))
    traced = RunCell(Chemistry.NMC, Measured(2.0, 0.02), Measured(0.05, 0.005), own_trace=trace)
    found = estimate_many([plain, traced, plain], RunDevice(ConstantCurrent(0.2), 3.2))
    assert [f.basis for f in found] == ["chemistry curve", "own trace", "chemistry curve"]


def test_no_cells_no_answers():
    """An empty shelf is no fault."""
    assert estimate_many([], RunDevice(ConstantCurrent(0.2), 3.2)) == []


@pytest.mark.parametrize(
    "cell",
    [
        RunCell(Chemistry.NMC, Measured(0.0, 0.0)),
        RunCell(Chemistry.NMC, Measured(2.0, 0.0), Measured(-1.0, 0.0)),
        RunCell(Chemistry.PRIMARY, Measured(2.0, 0.0)),
        RunCell(Chemistry.NMC, Measured(2.0, 0.0), full_voltage_v=2.0),
    ],
)
def test_one_impossible_cell_is_named_as_its_own_fault(cell):
    """The same errors as for one cell."""
    with pytest.raises(BadData) as caught:
        estimate_many([cell], RunDevice(ConstantCurrent(0.2), 3.2))
    assert caught.value.remedy


def test_a_dip_lifts_the_cut_off_of_its_own_cell_alone():
    """What a peak pulls down, cell by cell: as if the device and the protection stopped that much earlier."""
    plain = [RunCell(Chemistry.NMC, Measured(2.0, 0.02), Measured(0.05, 0.001), cell_cutoff_v=2.5)] * 3
    dipped = [replace(c, dip_v=dip) for c, dip in zip(plain, (0.0, 0.1, 0.3), strict=True)]
    load = ConstantCurrent(0.3)
    together = estimate_many(dipped, RunDevice(load, 6.0, 2.9, series=2))
    for cell, answer in zip(dipped, together, strict=True):
        lifted = RunDevice(load, 6.0 + 2 * cell.dip_v, 2.9 + cell.dip_v, series=2)
        alone = estimate(plain[0], lifted)
        assert answer.low_h == pytest.approx(alone.low_h, rel=1e-6)
    assert together[0].low_h > together[1].low_h > together[2].low_h
