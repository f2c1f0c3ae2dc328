"""Rectangles in millimetres, and the frames that are drawn as rectangles."""

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in mm; y grows downwards."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    def shrunk(self, by: float) -> "Box":
        return Box(self.x + by, self.y + by, self.width - 2 * by, self.height - 2 * by)


Segment = tuple[float, float, float, float]
"""A line from (x, y) to (x, y) in mm."""


def frame(box: Box, stroke_mm: float) -> list[Box]:
    """The outline of a box, inside its edges."""
    low, right = box.bottom - stroke_mm, box.right - stroke_mm
    return [
        Box(box.x, box.y, box.width, stroke_mm),
        Box(box.x, low, box.width, stroke_mm),
        Box(box.x, box.y, stroke_mm, box.height),
        Box(right, box.y, stroke_mm, box.height),
    ]


def dashes(box: Box, dash_mm: float, gap_mm: float, stroke_mm: float) -> Iterator[Box]:
    """The outline in dashes, inside the edges; every side begins and ends with a whole dash."""
    for y in (box.y, box.bottom - stroke_mm):
        for start, length in _spread(box.width, dash_mm, gap_mm):
            yield Box(box.x + start, y, length, stroke_mm)
    for x in (box.x, box.right - stroke_mm):
        for start, length in _spread(box.height, dash_mm, gap_mm):
            yield Box(x, box.y + start, stroke_mm, length)


def _spread(length: float, dash: float, gap: float) -> Iterator[tuple[float, float]]:
    """(start, length) of dashes on one side, the gaps stretched so that both ends are dashes."""
    count = max(2, round((length + gap) / (dash + gap)))
    step = (length - dash) / (count - 1)
    for number in range(count):
        yield number * step, dash
