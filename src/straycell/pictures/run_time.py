"""The picture of a run time: voltage under load against time, the band from low to high end, the cut-off.

Its course is the run time to many cut-offs, one after the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from straycell.physics.run_time.runtime import Runtime
from straycell.pictures import figure as shared
from straycell.pictures.figure import INK, LINE
from straycell.quantities import Dimension, plain, show

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_LEVELS = 16
_MOST_POINTS = 60
_START_ROUNDS = 10


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """When the voltage under load has fallen to `voltage_v`, in h: expected, low end and high end."""

    voltage_v: float
    expected_h: float
    low_h: float
    high_h: float


def voltage_course(
    runtime_at: Callable[[float], Runtime], *, full_v: float, stop_v: float
) -> list[CoursePoint]:
    """The course from the moment the load is switched on down to `stop_v`, by falling voltage.

    `runtime_at` gives the run time to a cut-off in V. Empty when the voltage lies below `stop_v` from the start.
    """

    def point(voltage_v: float) -> CoursePoint:
        run = runtime_at(voltage_v)
        return CoursePoint(voltage_v, run.expected_h, run.low_h, run.high_h)

    last = point(stop_v)
    if last.expected_h <= 0 or stop_v >= full_v:
        return []
    start_v = _start_voltage(point, full_v, stop_v)
    # Even steps of voltage first: a plateau would else hide where the fall at the end begins.
    step = (start_v - stop_v) / _LEVELS
    course = [point(start_v - k * step) for k in range(_LEVELS)] + [last]
    while len(course) < _MOST_POINTS:
        # A flat curve passes most of its time between two levels: look there.
        gaps = [_length(a, b, last, start_v - stop_v) for a, b in pairwise(course)]
        at = max(range(len(gaps)), key=gaps.__getitem__)
        if gaps[at] < 1.0 / _MOST_POINTS:
            break
        middle = 0.5 * (course[at].voltage_v + course[at + 1].voltage_v)
        course.insert(at + 1, point(middle))
    return _falling(course)


def _falling(course: list[CoursePoint]) -> list[CoursePoint]:
    """No lower voltage is reached earlier than a higher one: each time is at least the one before."""
    ends = [accumulate([getattr(p, end) for p in course], max) for end in ("expected_h", "low_h", "high_h")]
    return [CoursePoint(p.voltage_v, *times) for p, *times in zip(course, *ends, strict=True)]


def _length(a: CoursePoint, b: CoursePoint, last: CoursePoint, span_v: float) -> float:
    return math.hypot((b.expected_h - a.expected_h) / last.expected_h, (a.voltage_v - b.voltage_v) / span_v)


def _start_voltage(point: Callable[[float], CoursePoint], full_v: float, stop_v: float) -> float:
    """The highest voltage that the load leaves standing for any time at all."""
    low, high = stop_v, full_v
    # Ten halvings of about 1.5 V leave 1.5 mV, finer than a line of the picture.
    for _ in range(_START_ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if point(middle).expected_h > 0 else (low, middle)
    return low


_COURSE, _BAND = "#1d4e89", "#c9d8ea"
_TIMES = ((72.0, 24.0, "d"), (1.5, 1.0, "h"), (0.0, 1.0 / 60.0, "min"))
"""From this length in hours on: the hours in one unit of the axis, and the name of the unit."""


def run_time_picture(
    course: Sequence[CoursePoint],
    runtime: Runtime,
    *,
    stop_v: float,
    title: str,
    summary: str,
    forbidden: str = "",
    dpi: int = 150,
) -> bytes:
    """A PNG of 10 x 6 inches at `dpi`."""
    figure = shared.sheet(10.0, 6.0, dpi)
    panel = figure.subplots()
    shared.framed(panel)
    _draw(panel, course, runtime, stop_v)
    shared.titled(figure, title)
    panel.set_title(
        summary, loc="left", fontsize=11, color=INK, pad=10 if not forbidden else 26, parse_math=False
    )
    if forbidden:
        panel.annotate(
            f"not allowed: {forbidden}"[:110],
            (0.0, 1.0),
            xycoords="axes fraction",
            xytext=(0, 8),
            textcoords="offset points",
            fontsize=11,
            color=LINE,
            fontweight="bold",
            parse_math=False,
        )
    return shared.written(figure, "png", (title, summary, forbidden, course))


def _draw(panel: Axes, course: Sequence[CoursePoint], runtime: Runtime, stop_v: float) -> None:
    ends = [h for h in (runtime.high_h, runtime.expected_h) if h > 0]
    longest_h = max(ends, default=1.0)
    hours, unit = next((hours, unit) for start, hours, unit in _TIMES if longest_h >= start)
    panel.set_xlabel(f"time / {unit}")
    panel.set_ylabel("voltage under load / V")
    panel.axhline(stop_v, color=LINE, linewidth=1.2, linestyle=(0, (6, 4)))
    _say(panel, 0.0, stop_v, f"{runtime.stop} {show(stop_v, Dimension.VOLTAGE)}", (6, 5), LINE)
    if not course:
        panel.set_xlim(0, 1)
        panel.set_ylim(stop_v - 0.5, stop_v + 0.5)
        _say(panel, 0.0, stop_v, "the load pulls the voltage below the cut-off at once", (6, -18), INK)
        return
    volts = [p.voltage_v for p in course]
    low, expected, high = (
        [getattr(p, end) / hours for p in course] for end in ("low_h", "expected_h", "high_h")
    )
    panel.fill(low + high[::-1], volts + volts[::-1], color=_BAND, linewidth=0, label="low end to high end")
    panel.plot(expected, volts, color=_COURSE, linewidth=2.0, label="expected", solid_joinstyle="round")
    panel.plot(
        low, volts, color=_COURSE, linewidth=1.1, linestyle=(0, (2, 2)), label="low end: count on this"
    )
    span_v = volts[0] - stop_v
    panel.set_ylim(stop_v - 0.12 * span_v, volts[0] + 0.08 * span_v)
    panel.set_xlim(0, 1.04 * high[-1])
    panel.legend(loc="upper right", frameon=False, fontsize=10, labelcolor=INK)
    _ends(panel, low[-1], expected[-1], high[-1], stop_v, unit)


def _ends(panel: Axes, low: float, expected: float, high: float, stop_v: float, unit: str) -> None:
    """Where each line meets the cut-off, in numbers; the two of them apart when they lie close together."""
    panel.plot([low, expected], [stop_v, stop_v], "o", color=_COURSE, markersize=6, zorder=5)
    close = expected - low < 0.14 * high
    panel.annotate(
        f"{plain(low, 3)} {unit}",
        (low, stop_v),
        xytext=(-4 if close else 0, -17),
        textcoords="offset points",
        ha="right" if close else "center",
        fontsize=11,
        color=_COURSE,
        fontweight="bold",
    )
    panel.annotate(
        f"{plain(expected, 3)} {unit}",
        (expected, stop_v),
        xytext=(4 if close else 0, -17),
        textcoords="offset points",
        ha="left" if close and expected < 0.9 * high else "center",
        fontsize=11,
        color=INK,
    )


def _say(panel: Axes, x: float, y: float, text: str, offset: tuple[float, float], colour: str) -> None:
    panel.annotate(
        text,
        (x, y),
        xycoords=("axes fraction", "data"),
        xytext=offset,
        textcoords="offset points",
        ha="left",
        fontsize=10,
        color=colour,
    )
