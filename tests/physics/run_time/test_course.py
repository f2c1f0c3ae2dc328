"""The voltage against time and its picture: it starts at the start, ends at the run time, and never turns back."""

from __future__ import annotations

import io
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from tests.drawing import examples
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.physics.loads import ConstantCurrent, ResistiveLoad
from straycell.physics.run_time.runtime import Runtime, estimate
from straycell.pictures.run_time import CoursePoint, run_time_picture, voltage_course
from straycell.quantities import Measured


def straight(voltage_v: float) -> Runtime:
    """A cell that falls from 4 V by 0.1 V an hour: closed form; 10 % less and 20 % more at the ends."""
    hours = max(0.0, (4.0 - voltage_v) * 10.0)
    return Runtime(hours, 0.9 * hours, 1.2 * hours, "own trace", "device cut-off")


def test_a_straight_fall_is_drawn_straight() -> None:
    """Every point lies on the line that was given."""
    course = voltage_course(straight, full_v=4.2, stop_v=3.0)
    assert course[0].voltage_v == pytest.approx(4.0, abs=2e-3)
    assert course[-1].voltage_v == 3.0 and course[-1].expected_h == pytest.approx(10.0)
    for point in course:
        assert point.expected_h == pytest.approx(10 * (4.0 - point.voltage_v))
        assert point.low_h == pytest.approx(0.9 * point.expected_h)
        assert point.high_h == pytest.approx(1.2 * point.expected_h)


def test_a_voltage_below_the_stop_from_the_start_has_no_course() -> None:
    """Nothing to draw."""
    assert voltage_course(straight, full_v=4.2, stop_v=4.0) == []
    assert voltage_course(straight, full_v=4.2, stop_v=4.2) == []
    assert voltage_course(straight, full_v=2.9, stop_v=3.0) == []


def test_a_flat_stretch_gets_the_points_it_needs() -> None:
    """9 of 10 hours pass within 10 mV: the two are not joined by one line across them."""

    def flat(voltage_v: float) -> Runtime:
        inside = min(max((3.30 - voltage_v) / 0.01, 0.0), 1.0)
        hours = max(0.0, 3.6 - voltage_v) + 9.0 * inside
        return Runtime(hours, hours, hours, "own trace", "device cut-off")

    course = voltage_course(flat, full_v=3.65, stop_v=2.6)
    longest = max(b.expected_h - a.expected_h for a, b in pairwise(course))
    assert longest < 0.1 * course[-1].expected_h


@examples(5)
@given(
    load_a=st.floats(0.02, 1.5),
    stop_v=st.floats(2.5, 3.9),
    chemistry=st.sampled_from([Chemistry.NMC, Chemistry.LFP, Chemistry.LCO]),
)
def test_time_never_runs_back_and_the_ends_hold(load_a: float, stop_v: float, chemistry: Chemistry) -> None:
    """Falling voltage, rising time, low <= expected <= high, and the last point is the run time."""
    stop_v = stop_v if chemistry is not Chemistry.LFP else stop_v - 0.7

    def at(voltage_v: float) -> Runtime:
        return estimate(
            *asked(
                chemistry,
                Measured(2.5, 0.02),
                Measured(0.05, 0.002),
                ConstantCurrent(load_a),
                cutoff_v=voltage_v,
            )
        )

    course = voltage_course(at, full_v=4.2 if chemistry is not Chemistry.LFP else 3.65, stop_v=stop_v)
    for a, b in pairwise(course):
        assert b.voltage_v < a.voltage_v
        assert b.expected_h >= a.expected_h and b.low_h >= a.low_h and b.high_h >= a.high_h
    assert all(p.low_h <= p.expected_h + 1e-9 and p.expected_h <= p.high_h + 1e-9 for p in course)
    if course:
        assert course[-1].expected_h == pytest.approx(at(stop_v).expected_h, rel=0.02)


# --- the picture -----------------------------------------------------------------------------------

CUT, BAND, LINE = (0xB0, 0x00, 0x20), (0xC9, 0xD8, 0xEA), (0x1D, 0x4E, 0x89)


def drawn(course: list[CoursePoint], runtime: Runtime, forbidden: str = "") -> bytes:
    return run_time_picture(
        course, runtime, stop_v=3.0, title="Run time of A00001O", summary="35 mA", forbidden=forbidden, dpi=60
    )


def colours(png: bytes) -> dict[tuple[int, int, int], int]:
    """How many pixels of each colour a picture has."""
    with Image.open(io.BytesIO(png)) as picture:
        assert picture.size == (600, 360)
        found = picture.convert("RGB").getcolors(1 << 20)
    return {colour: count for count, colour in found or []}  # type: ignore[misc]


def test_the_picture_has_line_band_and_cut_off() -> None:
    """A wide band is a large part of it; a course without doubt has none."""
    course = voltage_course(straight, full_v=4.2, stop_v=3.0)
    found = colours(drawn(course, straight(3.0)))
    assert found[CUT] > 100 and found[LINE] > 100 and found[BAND] > 3000
    sure = [CoursePoint(p.voltage_v, p.expected_h, p.expected_h, p.expected_h) for p in course]
    assert colours(drawn(sure, Runtime(10, 10, 10, "own trace", "device cut-off"))).get(BAND, 0) < 600


def test_a_run_that_never_starts_is_said_in_the_picture() -> None:
    """The cut-off alone, and no line."""
    found = colours(drawn([], Runtime(0.0, 0.0, 0.0, "own trace", "device cut-off")))
    assert found[CUT] > 100 and found.get(LINE, 0) == 0


def test_what_forbids_the_use_stands_in_red() -> None:
    """More red than the cut-off alone."""
    course = voltage_course(straight, full_v=4.2, stop_v=3.0)
    plain, warned = (colours(drawn(course, straight(3.0), words)) for words in ("", "DISCARD: out of use"))
    assert warned[CUT] > plain[CUT] + 60


def test_the_same_picture_twice_is_the_same_bytes() -> None:
    """Nothing of the moment in it; a title with signs of mathematics is text."""
    course = voltage_course(straight, full_v=4.2, stop_v=3.0)
    assert drawn(course, straight(3.0)) == drawn(course, straight(3.0))
    assert run_time_picture(course, straight(3.0), stop_v=3.0, title="$x_1^", summary="$\\frac", dpi=60)


def test_a_resistance_draws_a_course_too() -> None:
    """Any load that a run time can be asked for."""

    def at(voltage_v: float) -> Runtime:
        return estimate(
            *asked(Chemistry.NMC, Measured(2.5, 0.02), None, ResistiveLoad(60.0), cutoff_v=voltage_v)
        )

    course = voltage_course(at, full_v=4.2, stop_v=3.0)
    assert 20 < len(course) <= 60 and course[-1].expected_h == pytest.approx(at(3.0).expected_h)
