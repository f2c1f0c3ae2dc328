"""The parts of the margin between expected and low: they add up, and each is what its own doubt costs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.physics.loads import ConstantCurrent
from straycell.physics.run_time.losses import with_losses
from straycell.physics.run_time.runtime import Runtime, estimate
from straycell.quantities import Measured


def ran(
    u_ah: float = 0.02, u_ohm: float = 0.002, load_a: float = 0.3, at_c: float = 25.0, cutoff_v: float = 3.0
) -> Runtime:
    """A cell of 2 Ah and 50 mohm."""
    return estimate(
        *asked(
            Chemistry.NMC,
            Measured(2.0, u_ah),
            Measured(0.05, u_ohm),
            ConstantCurrent(load_a),
            cutoff_v=cutoff_v,
            temperature_c=at_c,
        )
    )


@examples(25)
@given(
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.02),
    st.floats(0.0003, 2.0),
    st.floats(-30.0, 45.0),
    st.floats(2.5, 4.1),
)
def test_the_parts_add_up_to_the_margin(
    u_ah: float, u_ohm: float, load_a: float, at_c: float, cutoff_v: float
) -> None:
    """For any cell and device, with the losses of a long run and in deep cold too; no part is negative."""
    bare = ran(u_ah, u_ohm, load_a, at_c, cutoff_v)
    for run in (bare, with_losses(bare, 2.0, None)):
        parts = dict(run.margin_h)
        assert sum(parts.values()) == pytest.approx(run.expected_h - run.low_h, rel=1e-9, abs=1e-9)
        assert min(parts.values()) >= -1e-9 * max(1.0, run.expected_h)


def test_a_doubt_that_is_gone_has_no_part_and_a_larger_one_a_larger_part() -> None:
    """A capacity without U costs nothing; 10 % of U cost most of what a tenth less of capacity costs."""
    none, some, much = (dict(ran(u_ah=u).margin_h).get("capacity", 0.0) for u in (0.0, 0.02, 0.1))
    assert none == 0.0 < some < much
    short_h = ran(u_ah=0.0).expected_h / 10.0
    assert 0.6 * short_h < much < short_h


def test_beyond_the_coldest_sheet_the_whole_promise_is_a_part() -> None:
    """Below -20 degC nothing is promised, and the margin says for what."""
    run = ran(at_c=-25.0)
    assert run.low_h == 0.0 and dict(run.margin_h)["deep cold"] > 0
