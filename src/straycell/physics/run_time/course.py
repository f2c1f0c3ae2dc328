"""Voltage under load against time, with the low and high end: the run time to many cut-offs, one after the other."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate, pairwise

from straycell.physics.run_time.runtime import Runtime

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
