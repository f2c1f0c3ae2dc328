"""Run times in the cold against real cells that others measured (tests/reference/measured)."""

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.physics.loads import ConstantCurrent
from straycell.physics.own_pulses import Pulse, Taken
from straycell.physics.run_time.runtime import Runtime, estimate
from straycell.quantities import Measured

TABLE = Path(__file__).parents[2] / "reference" / "measured" / "cells.csv"
COOL = [("18650", 10.0), ("18650", 0.0), ("18650", -10.0), ("pouch", 10.0), ("pouch", 40.0)]


@dataclass(frozen=True)
class Told:
    """The tool's answer beside what was measured, in h."""

    run: Runtime
    hours: float

    @property
    def low(self) -> float:
        return self.run.low_h / self.hours

    @property
    def expected(self) -> float:
        return self.run.expected_h / self.hours


def told(cell: str, at_c: float, cold_pulse: bool) -> Told:
    """Known: capacity and resistance at 25 degC, from the same table; with `cold_pulse` the others' pulses too."""
    with TABLE.open(encoding="utf-8") as file:
        rows = {float(r["temperature_c"]): r for r in csv.DictReader(file) if r["cell"] == cell}
    warm, current_a = rows[25.0], float(rows[25.0]["current_a"])
    pulses = [
        Pulse(Measured(float(row[key]), 0.0), seconds, c)
        for c, row in rows.items()
        for key, seconds in (("ohm_1s", 1.0), ("ohm_30s", 30.0))
        if row[key] and cold_pulse
    ]
    run = estimate(
        *asked(
            Chemistry(warm["chemistry"]),
            Measured(float(warm["ah"]), 0.0),
            Measured(float(warm["ohm_1s"]), 0.0),
            ConstantCurrent(current_a),
            cutoff_v=float(warm["cutoff_v"]),
            temperature_c=at_c,
            capacity_current_a=current_a,
            capacity_cutoff_v=float(warm["cutoff_v"]),
            taken=Taken(pulses=tuple(pulses)),
        )
    )
    return Told(run, float(rows[at_c]["ah"]) / current_a)


@pytest.mark.parametrize("cold_pulse", [False, True], ids=["warm pulse", "cold pulse"])
@pytest.mark.parametrize(("cell", "at_c"), COOL)
def test_a_real_cell_keeps_its_promise_and_lies_near_the_expected(cell, at_c, cold_pulse):
    """`low` is below what it gave, and no lower than 0.8 of it; expected within 5 % from 0 degC on."""
    found = told(cell, at_c, cold_pulse)
    assert 0.8 <= found.low < 1.0
    assert found.expected == pytest.approx(1.0, abs=0.05 if at_c >= 0.0 else 0.15)


def test_no_model_that_keeps_its_capacity_in_the_cold_may_be_believed_alone():
    """Published sets lose nothing but by resistance and lag; this cell lost 7 % more at 0 degC, the sheet's 14 %.

    It is why a pulse in the cold cannot lift `low` to 0.90 of what the sets run at 0 degC: expected is the middle of both,
    and to say more would promise this cell more than it gave.
    """
    found = told("18650", 0.0, cold_pulse=True)
    kept = dict(found.run.margin_h)["cold"]
    assert found.expected > 1.01 and kept > 0
