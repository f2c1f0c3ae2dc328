"""The run time of a pack against a circuit solver of our own in fixed steps (tests/physics/circuit.py)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.drawing import thinned
from tests.matching.pack_bench import STRING, marked
from tests.matching.single_bench import LIMITS, NOW
from tests.physics.circuit import Circuit, measured, published_growth, steps

from straycell.cells import Chemistry
from straycell.matching import as_built
from straycell.physics.run_time.runtime import Runtime
from straycell.projects import parse_project

RATED_AH = 2.4
SHAPES = [(1, 2), (2, 2), (3, 3), (4, 2)]


def uneven(series: int, parallel: int, seed: int) -> Circuit:
    """Cells that differ by a tenth in charge and a quarter in resistance, as the matching lets together."""
    chance = np.random.default_rng(seed)
    size = (series, parallel)
    return Circuit(chance.uniform(2.25, 2.65, size), chance.uniform(0.040, 0.051, size), published_growth())


def promised(circuit: Circuit, load: str, cutoff_v: float, base: Path | None = None) -> Runtime:
    """What the product says of the same pack, from what a tester shows of each cell."""
    series, parallel = circuit.full_ah.shape
    groups = [
        [
            marked(
                parallel * g + k,
                measured(circuit, g, k, RATED_AH),
                u_ah=0.005,
                resistance_ohm=float(circuit.pulse_ohm[g, k]),
                u_ohm=0.0003,
                chemistry=Chemistry.LCO,
            )
            for k in range(parallel)
        ]
        for g in range(series)
    ]
    asked = parse_project(
        f'name = "float lamp"\n[load]\n{load}\n[need]\nruntime = "10min"\ncutoff = "{cutoff_v}V"\n'
        f'[pack]\nseries = {series}\nparallel = {parallel}\n[protection]\n{STRING}\ncutoff = "2.5V"\n',
        source="lamp.toml",
        base=base,
    )
    found = as_built(asked, groups, LIMITS, NOW).runtime
    assert found is not None
    return found


def held_against(found: Runtime, true_h: float, within: float) -> None:
    """Expected within so much of the circuit; the low end is a promise, and not a timid one."""
    assert found.expected_h == pytest.approx(true_h, rel=within)
    assert 0.80 * true_h < found.low_h <= true_h <= found.high_h * 1.02


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(("rate_c", "within"), thinned([(0.3, 0.01), (0.1, 0.01), (0.5, 0.02)]))
def test_a_pack_under_constant_current_runs_as_long_as_the_circuit(
    shape: tuple[int, int], rate_c: float, within: float
) -> None:
    """The weakest group ends it, and cells share by their resistance: both come out of the circuit alone."""
    circuit, series = uneven(*shape, seed=shape[0] * 10 + shape[1]), shape[0]
    load_a = rate_c * RATED_AH * shape[1]
    true_h = circuit.run(lambda seconds, volts: load_a, 3.0 * series, 2.5)
    held_against(promised(circuit, f'current = "{load_a:.4f}A"', 3.0 * series), true_h, within)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_pack_behind_a_regulator_draws_more_as_it_empties(shape: tuple[int, int]) -> None:
    """Constant power, 0.2C at half charge."""
    circuit, series = uneven(*shape, seed=3), shape[0]
    load_w = 0.2 * RATED_AH * shape[1] * 3.7 * series
    true_h = circuit.run(lambda seconds, volts: load_w / volts, 3.0 * series, 2.5)
    held_against(promised(circuit, f'power = "{load_w:.4f}W"', 3.0 * series), true_h, 0.01)


@pytest.mark.parametrize("shape", [(1, 2), (3, 2)])
def test_a_pack_under_a_profile_runs_as_long_as_the_circuit(shape: tuple[int, int], tmp_path: Path) -> None:
    """Two minutes at 0.4C, eight at 0.05C, over and over."""
    circuit, (series, parallel) = uneven(*shape, seed=8), shape
    high_a, low_a = round(0.4 * RATED_AH * parallel, 4), round(0.05 * RATED_AH * parallel, 4)
    true_h = circuit.run(steps((120.0, 480.0), (high_a, low_a)), 3.0 * series, 2.5)
    (tmp_path / "day.csv").write_text(f"time_s,current_a\n0,{high_a}\n120,{low_a}\n600,{low_a}\n")
    found = promised(circuit, 'profile = "day.csv"', 3.0 * series, tmp_path)
    held_against(found, true_h, 0.01)


def test_the_circuit_itself_keeps_charge_and_kirchhoff() -> None:
    """Two like cells share by halves; an ideal one gives its whole charge."""
    flat = Circuit(np.full((1, 2), 2.0), np.full((1, 2), 1e-4), lambda soc: np.ones_like(soc))
    assert flat.run(lambda seconds, volts: 0.2, 2.0) == pytest.approx(20.0, rel=0.01)
    twice = Circuit(np.full((2, 2), 2.0), np.full((2, 2), 0.05), lambda soc: np.ones_like(soc))
    once = Circuit(np.full((1, 2), 2.0), np.full((1, 2), 0.05), lambda soc: np.ones_like(soc))
    hours = (twice.run(lambda seconds, volts: 1.0, 6.0), once.run(lambda seconds, volts: 1.0, 3.0))
    assert hours[0] == pytest.approx(hours[1], abs=0.01)
