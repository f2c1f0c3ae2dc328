"""Rectangles in millimetres, and the slanting bars that fill one as hatching."""

from __future__ import annotations

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

    def shrunk(self, by: float) -> Box:
        return Box(self.x + by, self.y + by, self.width - 2 * by, self.height - 2 * by)


def stripes(box: Box, width_mm: float) -> Iterator[list[tuple[float, float]]]:
    """Slanting bars across a band, as polygons that end exactly at its rim; gaps are as wide as the bars."""
    start = box.x - box.height
    while start < box.right:
        bar = [
            (start, box.bottom),
            (start + width_mm, box.bottom),
            (start + width_mm + box.height, box.y),
            (start + box.height, box.y),
        ]
        bar = _kept(_kept(bar, box.x, 1.0), box.right, -1.0)
        if len(bar) >= 3:
            yield bar
        start += 2 * width_mm


def _kept(corners: list[tuple[float, float]], edge: float, side: float) -> list[tuple[float, float]]:
    """The part of a convex polygon on one side of an upright edge (side 1: right of it, -1: left of it)."""
    kept: list[tuple[float, float]] = []
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        a_in, b_in = side * (ax - edge) >= 0, side * (bx - edge) >= 0
        if a_in:
            kept.append((ax, ay))
        if a_in != b_in:
            kept.append((edge, ay + (by - ay) * (edge - ax) / (bx - ax)))
    return kept
