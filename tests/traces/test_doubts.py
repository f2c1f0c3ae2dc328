"""What a trace shows and nobody can know: a cell taken out of its holder, a lone hot sample. No finding, no pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.acceptance.bench import CODE, Bench, day, good, reason, reasons

from straycell.acceptance import Outcome
from straycell.acceptance.case import Case
from straycell.acceptance.rules import shipped_rules
from straycell.bench.file_trace import Request, work_out
from straycell.readings import Quantity, Reading


def trace_file(tail: list[float], temps: dict[int, float] | None = None) -> bytes:
    """A discharge of an hour, ten minutes of rest at 3.45 V, then `tail` volts without a current, a row a minute."""
    rows = ["time_s,voltage_v,current_a,temperature_c"]
    volts = [*np.linspace(4.1, 3.3, 60), *[3.45] * 10, *tail]
    for i, volt in enumerate(volts):
        amps = -0.5 if i < 60 else 0.0
        rows.append(f"{i * 60},{volt:.3f},{amps},{(temps or {}).get(i, 24.0)}")
    return "\n".join(rows).encode()


def items(raw: bytes) -> list[Reading]:
    bench = Bench().found(3.6).look().charge(1.0)
    evidence = bench.evidence()
    case = Case(evidence, evidence.facts, shipped_rules(), day(3.0))
    request = Request("run.csv", raw, day(2.0), True, None, cutoff_v=None, temperature_c=None, columns="")
    return [i for i in work_out(case, request).items if isinstance(i, Reading)]


def low(found: list[Reading]) -> list[Reading]:
    return [r for r in found if r.quantity is Quantity.VOLTAGE]


def test_nothing_at_the_end_from_one_row_to_the_next_is_not_a_finding() -> None:
    """3.45 V, then 0 V at once for ten minutes: nobody knows whether it died or was lifted out."""
    (doubt,) = low(items(trace_file([0.0] * 10)))
    assert doubt.value == 0.0 and "at once after 3.45 V" in doubt.doubt
    bench = good()
    bench.readings.append(replace(doubt, id=bench.readings[-1].id, cell=CODE, at=day(19.0)))
    verdict = bench.verdict()
    assert verdict.outcome is Outcome.HOLD and "say what happened" in reason(verdict, "unexplained").text
    assert reasons(verdict, "voltage-floor")[0].ceiling is Outcome.PACK
    bench.readings[-1] = replace(bench.readings[-1], doubt="")
    assert bench.verdict().outcome is Outcome.DISCARD


@pytest.mark.parametrize(
    "tail", [[3.0, 2.0, 1.0, 0.6, 0.3, 0.1, 0.0, 0.0, 0.0, 0.0], [1.2] * 10], ids=["sinks", "rests low"]
)
def test_a_cell_that_sinks_or_rests_low_is_its_own(tail: list[float]) -> None:
    """Zero over minutes, or a low rest: that is the cell, and condemns."""
    (found,) = low(items(trace_file(tail)))
    assert not found.doubt


def test_a_cell_put_back_leaves_nothing_to_explain() -> None:
    """0 V in the middle of a rest is a gap of the contact, not the end."""
    assert not low(items(trace_file([0.0] * 4 + [3.46] * 6)))


@pytest.mark.parametrize(
    ("temps", "doubted"), [({20: 95.0}, True), ({20: 61.0, 21: 61.5}, False), ({20: 55.0}, False)]
)
def test_a_lone_sample_too_hot_to_be_true_is_a_doubt(temps: dict[int, float], doubted: bool) -> None:
    """One row of 95 C between rows of 24 C; two rows above 60 C are heat, below it nothing is said."""
    found = [r for r in items(trace_file([], temps)) if r.quantity is Quantity.TEMPERATURE]
    assert [bool(r.doubt) for r in found] == [True] * doubted
