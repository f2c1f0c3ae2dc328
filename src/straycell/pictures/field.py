"""A plot's field in the terminal: where a figure lies in it, and the scales at its edges."""

import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LEFT = 9
"""Characters left of the rim."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The field in characters, and which figures lie at its edges."""

    across: int
    down: int
    left: float
    right: float
    low: float
    high: float

    @classmethod
    def around(cls, points: Iterable[tuple[float, float]], width: int, height: int) -> "Frame":
        """The field that holds these points on a screen of that width."""
        xs, ys = zip(*points, strict=True)
        left, right, low, high = min(xs), max(xs), min(ys), max(ys)
        down = max(height, 4)
        # Half a line of air above and below, so that no curve runs in the rim.
        air = 0.5 * (high - low) / down or 0.01
        right = right if right > left else left + 1.0
        return cls(max(width - LEFT - 2, 16), down, left, right, low - air, high + air)

    def column(self, x: float, finer: int = 1) -> int:
        """The column of an x, in characters or `finer` parts of one; the right edge itself lies one beyond."""
        return int((x - self.left) / (self.right - self.left) * self.across * finer)

    def line(self, y: float, finer: int = 1) -> int:
        """The line of a y from the top, likewise."""
        return int((self.high - y) / (self.high - self.low) * self.down * finer)

    def spot(self, x: float, y: float) -> tuple[int, int]:
        """Line and column of a point inside."""
        return min(self.line(y), self.down - 1), min(self.column(x), self.across - 1)

    def behind_scale(self, rows: Sequence[Sequence[str]], unit: str, rims: Sequence[str]) -> list[str]:
        """The rows of characters behind the y scale, each with its rim."""
        return [
            f"{self._scale(number, unit):>{LEFT - 1}} {rim}{''.join(row)}".rstrip()
            for number, (row, rim) in enumerate(zip(rows, rims, strict=True))
        ]

    def _scale(self, line: int, unit: str) -> str:
        """The y beside the first, middle and last line: a figure on every line would hide the plot."""
        if line not in (0, self.down // 2, self.down - 1):
            return ""
        span = self.high - self.low
        places = min(3, max(0, 2 - math.floor(math.log10(span))))
        return f"{self.high - span * (line + 0.5) / self.down:.{places}f} {unit}"

    def foot(self, left: str, right: str, unit: str) -> list[str]:
        """The x at both ends; the unit below them where the plot is narrow."""
        lead = " " * (LEFT + 1)
        if len(left) + len(right) + len(unit) + 2 <= self.across:
            return [lead + left + f"{right} {unit}".rjust(self.across - len(left))]
        return [lead + left + right.rjust(self.across - len(left)), f"{lead}{unit}"]


def legend(entries: Iterable[tuple[str, str]], width: int) -> list[str]:
    """`  ·· 9 siblings`: what each sign is, each once, broken between words."""
    indent = " " * (LEFT + 1)
    return [
        part
        for sign, words in dict.fromkeys(entries)
        for part in textwrap.wrap(f"{sign:>{LEFT}} {words}", max(width, 2 * LEFT), subsequent_indent=indent)
    ]
