"""Cells marked to be charged to less than 4.20 V: full is what they are marked, and never more is allowed to them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.acceptance.bench import LFP, NMC, Bench, day, good, reasons
from tests.acceptance.test_charger_end import measured

from straycell.acceptance import Outcome
from straycell.cells import CellFacts
from straycell.readings import Charger

COKE = replace(NMC, full_voltage_v=4.10)


def checked(facts: CellFacts, until_v: float, floats: tuple[Charger, ...] = ()) -> Bench:
    """Everything that a cell is asked for, charged up to a voltage, and rested for a month just below it."""
    bench = good(facts=facts, first=until_v - 0.015, second=until_v - 0.02, days=30.0)
    bench.charges = [replace(c, until_v=until_v, charger="bay") for c in bench.charges]
    bench.more["floats"] = floats
    return bench


@pytest.mark.parametrize(
    ("facts", "until_v", "outcome"),
    [
        (COKE, 4.10, Outcome.PACK),
        (COKE, 4.05, Outcome.PACK),
        (COKE, 4.04, Outcome.HOLD),
        (COKE, 4.16, Outcome.DISCARD),
        (COKE, 4.20, Outcome.DISCARD),
        (NMC, 4.15, Outcome.PACK),
        (NMC, 4.10, Outcome.HOLD),
        (replace(NMC, full_voltage_v=4.20), 4.10, Outcome.HOLD),
        (replace(NMC, full_voltage_v=4.35), 4.20, Outcome.PACK),
        (replace(NMC, full_voltage_v=4.35), 4.10, Outcome.HOLD),
        (replace(NMC, full_voltage_v=3.70), 3.70, Outcome.HOLD),
        (replace(NMC, full_voltage_v=4.05), 4.04, Outcome.HOLD),
        (replace(NMC, full_voltage_v=4.05), 4.05, Outcome.PACK),
    ],
)
def test_full_is_as_far_below_its_own_end_as_below_the_usual_one(
    facts: CellFacts, until_v: float, outcome: Outcome
) -> None:
    """Down to 4.05 V, as no cell is marked below 4.10 V: what is said of a lower end makes no charge a full one."""
    assert checked(facts, until_v).outcome(40.0) is outcome


def test_iron_phosphate_keeps_its_own_full() -> None:
    """3.55 V, whatever it is marked."""
    for marked_v in (None, 3.65, 3.50):
        bench = Bench(replace(LFP, full_voltage_v=marked_v)).charge(1.0, until=3.54)
        assert [r.status for r in reasons(bench.verdict(), "warming")] == ["unmeasured"]


def test_a_cell_that_was_called_4_10_v_and_is_not_has_had_no_full_charge() -> None:
    """The charges stay what they were: corrected to 4.20 V it has to show what it does up there."""
    bench = checked(COKE, 4.10)
    assert bench.outcome(40.0) is Outcome.PACK
    bench.facts = NMC
    assert bench.outcome(40.0) is Outcome.HOLD


def test_what_leaks_is_found_from_its_own_full() -> None:
    """4.10 V at the end of a charge, 3.70 V a day later: far more is gone than any sound cell loses."""
    bench = good(facts=COKE, first=3.70, second=None)
    bench.charges = [replace(c, until_v=4.10) for c in bench.charges]
    assert bench.outcome(10.0) is Outcome.DISCARD


def test_a_charger_that_ended_too_high_for_it_holds_it() -> None:
    """Set to 4.10 V and measured at 4.20 V, ten days after the last charge: that is 4.20 V for all of them."""
    assert checked(COKE, 4.10, (measured(4.10, 12),)).outcome(40.0) is Outcome.PACK
    late = checked(COKE, 4.10, (measured(4.20, 12),))
    late.readings = [r for r in late.readings if r.rested_s is None or r.at > day(6.0)]
    assert [r.rule for r in late.verdict(40.0).reasons if r.rule == "charger-end"] == ["charger-end"]
