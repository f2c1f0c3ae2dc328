"""A small curve for the terminal: voltage over time in dots, as plain text."""

from __future__ import annotations

import numpy as np

from straycell.quantities import Dimension, show
from straycell.traces.analyse.result import TraceResult
from straycell.traces.read.trace import Trace

# Where each of a braille character's 2 x 4 dots is (Unicode 2800 block), by column then row from the top.
_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
_BRAILLE = 0x2800
_LEFT = 8
Grid = np.ndarray[tuple[int, int], np.dtype[np.bool_]]


def terminal_curve(
    trace: Trace, result: TraceResult, *, width: int = 72, height: int = 10, plain: bool = False
) -> str:
    """Voltage over time with its scale and the cut-off, `height` lines of plot and one of time.

    `plain` True uses ASCII only (a terminal that has no braille characters).
    """
    across, down = max(width - _LEFT - 2, 8), max(height, 3)
    dots = _dots(trace, across * 2, down * 4)
    low, high = float(trace.voltage_v.min()), float(trace.voltage_v.max())
    cut_line = _line_of(result.cutoff_v, low, high, down)
    lines = [
        f"{_scale(line, low, high, down):>{_LEFT - 1}} {_edge(line == cut_line, plain)}{_row(dots, line, plain)}"
        for line in range(down)
    ]
    end = show(float(trace.time_s[-1] - trace.time_s[0]), Dimension.DURATION)
    foot = "0" + end.rjust(across - 1)
    cut = f"  cut-off {show(result.cutoff_v, Dimension.VOLTAGE)}" if cut_line is not None else ""
    return "\n".join([*(line.rstrip() for line in lines), " " * (_LEFT + 1) + foot + cut])


def _dots(trace: Trace, across: int, down: int) -> Grid:
    """True where the curve runs, each column joined to the one before."""
    time, volts = trace.time_s - trace.time_s[0], trace.voltage_v
    # Sparse rows would leave columns of dots empty, so the line is sampled four times a column beside its own rows.
    fine = np.linspace(0.0, float(time[-1]), across * 4)
    time, volts = np.append(time, fine), np.append(volts, np.interp(fine, time, volts))
    span = float(np.ptp(volts)) or 1.0
    x = np.minimum((time / time.max() * across).astype(np.int64), across - 1)
    y = np.minimum(((float(volts.max()) - volts) / span * down).astype(np.int64), down - 1)
    grid = np.zeros((down, across), dtype=np.bool_)
    top, bottom = np.full(across, down), np.full(across, -1)
    np.minimum.at(top, x, y)
    np.maximum.at(bottom, x, y)
    for column in range(across):
        if column:
            # A steep fall skips rows of dots; joined columns keep the curve one line.
            top[column] = min(top[column], bottom[column - 1] + 1)
            bottom[column] = max(bottom[column], top[column - 1] - 1)
        grid[top[column] : bottom[column] + 1, column] = True
    return grid


def _row(dots: Grid, line: int, plain: bool) -> str:
    block = dots[4 * line : 4 * line + 4]
    pairs = range(0, block.shape[1], 2)
    if plain:
        return "".join("*" if block[:, x : x + 2].any() else " " for x in pairs)
    return "".join(
        chr(_BRAILLE + _code(block[:, x : x + 2])) if block[:, x : x + 2].any() else " " for x in pairs
    )


def _code(cell: Grid) -> int:
    return sum(_DOTS[x][y] for y in range(cell.shape[0]) for x in range(cell.shape[1]) if cell[y, x])


def _edge(at_cutoff: bool, plain: bool) -> str:
    if plain:
        return "+" if at_cutoff else "|"
    return "┾" if at_cutoff else "│"


def _scale(line: int, low: float, high: float, down: int) -> str:
    """The voltage beside the first, middle and last line."""
    # Three figures beside the scale are enough, and a figure on every line would hide the curve.
    if line not in (0, down // 2, down - 1):
        return ""
    return f"{high - (high - low) * line / (down - 1):.2f} V"


def _line_of(voltage_v: float, low: float, high: float, down: int) -> int | None:
    if not low <= voltage_v <= high or high == low:
        return None
    return min(down - 1, int((high - voltage_v) / (high - low) * down))
