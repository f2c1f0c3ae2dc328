"""Many voltages looked up at once give what each gives alone, on every shipped curve."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from straycell.physics.curves import all_curves, interpolate

VOLTS = st.floats(-1.0, 6.0)


@given(st.lists(VOLTS, max_size=30))
def test_many_lookups_are_the_single_ones(voltages: list[float]) -> None:
    """Bit for bit: a verdict must not depend on how many cells were judged together."""
    for curve in all_curves():
        alone = [curve.state_of_charge(volts) for volts in voltages]
        assert curve.states_of_charge(voltages) == alone


@given(st.floats(0.0, 1.0))
def test_a_voltage_read_off_a_curve_leads_back_to_its_charge(soc: float) -> None:
    """The two directions of a rising curve undo each other where it is not flat."""
    for curve in all_curves():
        (back,) = curve.states_of_charge([curve.voltage(soc)])
        assert abs(curve.voltage(back) - curve.voltage(soc)) < 1e-9


def test_beyond_the_ends_a_curve_holds_its_end() -> None:
    """Outside the published range nothing is made up."""
    for curve in all_curves():
        assert curve.states_of_charge([-1.0, 9.0]) == [curve.soc[0], curve.soc[-1]]
        assert interpolate(9.0, curve.volts, curve.soc) == curve.soc[-1]
