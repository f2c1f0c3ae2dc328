"""Further model curves in other shapes, kept apart from those the reading was built on (further/make_further.py)."""

from __future__ import annotations

import json
from typing import Any

import pytest
from tests.traces.helpers import REFERENCE, Reduce

from straycell.traces import StepKind, TraceResult, read_trace

FURTHER = REFERENCE / "further"
FIGURES: dict[str, Any] = json.loads((FURTHER / "figures.json").read_text())
CUTOFFS = {"okane": 2.5, "oregan": 2.5, "chen": 2.5, "ecker": 2.5, "nca": 2.7}


def result_of(name: str, reduce: Reduce) -> TraceResult:
    return reduce(read_trace(FURTHER / name), cutoff_v=CUTOFFS[name.partition("-")[0]])


@pytest.mark.parametrize("name", FIGURES)
def test_capacity_and_energy_meet_the_model(name: str, reduce: Reduce) -> None:
    """Within 0.1 % and 0.2 %, with nothing to doubt: full start, cut-off reached, no rows missed."""
    result = result_of(name, reduce)
    assert result.capacity is not None and result.energy is not None
    assert result.capacity.value == pytest.approx(FIGURES[name]["capacity_ah"], rel=1e-3)
    assert result.energy.value == pytest.approx(FIGURES[name]["energy_wh"], rel=2e-3)
    assert not result.at_least and not result.warnings


def test_every_pulse_of_a_longer_test_meets_the_model(reduce: Reduce) -> None:
    """Within 1 % at every age from 0.5 to 29.5 s; each of the discharges that begin after a rest is found."""
    name = "oregan-pulses-bdf.csv.gz"
    result, checked = result_of(name, reduce), 0
    short = {
        s for s, step in enumerate(result.steps) if step.kind is StepKind.DISCHARGE and step.duration_s < 60
    }
    found = sorted({p.step for p in result.pulses} & short)
    assert len(found) == 3
    for step, told in zip(found, FIGURES[name]["pulses"], strict=True):
        for pulse in (p for p in result.pulses if p.step == step):
            if str(pulse.pulse_s) in told:
                assert pulse.resistance.value == pytest.approx(told[str(pulse.pulse_s)], rel=0.01)
                checked += 1
    assert checked == 21


def test_a_pair_in_the_middle_of_a_longer_test_is_found(reduce: Reduce) -> None:
    """0.2 It for 10 s, then 1 It for 1 s, between two halves of a discharge: within 1 %, at its state of charge."""
    name = "chen-pair-inside-machine-names.csv.gz"
    dc = result_of(name, reduce).dc_resistance
    assert dc is not None and dc.method == "pair" and dc.pulse_s == pytest.approx(1.0)
    assert dc.resistance.value == pytest.approx(FIGURES[name]["pair"], rel=0.01)
    assert dc.soc == pytest.approx(1 - 5.0 * 0.5 * 50 / 60 / FIGURES[name]["capacity_ah"], abs=0.005)


def test_a_small_noisy_cell_has_three_steps(reduce: Reduce) -> None:
    """Its zero scatters by 1.3 % of its load, and is a rest all the same."""
    result = result_of("ecker-small-cell-noisy.csv.gz", reduce)
    assert [s.kind for s in result.steps] == [StepKind.REST, StepKind.DISCHARGE, StepKind.REST]


def test_a_charge_before_the_discharge_is_told_apart(reduce: Reduce) -> None:
    """Charge, rest, discharge, rest, though the file gives the discharge a positive current."""
    kinds = [s.kind for s in result_of("okane-cccv-1c-minutes.csv", reduce).steps]
    assert kinds == [StepKind.CHARGE, StepKind.REST, StepKind.DISCHARGE, StepKind.REST]
