"""A run as a picture: what came out, beside its siblings and what is printed on the cell."""

from __future__ import annotations

import pytest
from tests.traces.helpers import Reduce, trace_of

from straycell.cells import CellFacts, Chemistry, Form
from straycell.pictures.curves import Role
from straycell.pictures.runs import run_curves

PARTS = [(600.0, 0.0, 4.17, 4.17), (3600.0, -2.0, 4.05, 3.0), (600.0, 0.0, 3.2, 3.3)]


def test_a_run_ends_at_what_came_out(reduce: Reduce) -> None:
    """2 A for an hour are 2000 mAh; rests before and after are not in the picture, the cut-off is named."""
    trace = trace_of(PARTS, spacing_s=10)
    shown = run_curves("H00001K", (trace, reduce(trace)))
    (own,) = shown.curves
    assert (shown.x_unit, shown.level) == ("mAh", ("cut-off", 3.0))
    assert 0 <= own.points[0][0] < 10 and own.points[-1][0] == pytest.approx(2000, rel=0.002)
    assert own.points[-1][1] == pytest.approx(3.0, abs=0.01)


def test_siblings_are_faint_and_the_rating_is_dashed(reduce: Reduce) -> None:
    """The rated curve lies lower by current x resistance and ends at the cut-off or at what is printed."""
    trace = trace_of(PARTS, spacing_s=10)
    facts = CellFacts(
        chemistry=Chemistry.NMC, form=Form.F18650, rated_capacity_ah=2.5, rated_resistance_ohm=0.05
    )
    bare = CellFacts(chemistry=Chemistry.NMC, form=Form.F18650, rated_capacity_ah=2.5)
    own = (trace, reduce(trace))
    shown = run_curves("H00001K", own, [own, own], facts)
    assert [curve.role for curve in shown.curves] == [Role.FAINT, Role.FAINT, Role.GHOST, Role.MAIN]
    ghost = shown.curves[2]
    assert "2500 mAh" in ghost.label and ghost.points[-1][0] <= 2500 and ghost.points[-1][1] >= 3.0
    higher = run_curves("H00001K", own, [], bare).curves[0]
    assert higher.points[0][1] - ghost.points[0][1] == pytest.approx(2.0 * 0.05, abs=1e-3)
    assert len(run_curves("H00001K", own, [], CellFacts(chemistry=Chemistry.UNKNOWN)).curves) == 1


def test_a_trace_without_a_discharge_is_drawn_over_time(reduce: Reduce) -> None:
    """Two hours of rest."""
    trace = trace_of([(7200.0, 0.0, 4.1, 4.1)], spacing_s=60)
    shown = run_curves("H00001K", (trace, reduce(trace)))
    assert shown.x_unit == "h" and "nothing was discharged" in shown.title
    assert shown.curves[0].points[-1][0] == pytest.approx(2.0)
