"""From a file to a Trace."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from straycell.errors import BadData
from straycell.traces.read.cleaning import Cleaned, clean
from straycell.traces.read.layout import Layout, as_text, file_bytes, find_layout, plain_text, split_line
from straycell.traces.read.sign import find_sign, states
from straycell.traces.read.table import Progress, read_table
from straycell.traces.read.trace import Floats, Ints, Trace

_MOST_STEP_CHANGES = 0.5


def read_trace(
    path_or_bytes: str | Path | bytes,
    *,
    columns: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Trace:
    """Read delimited text (comma, semicolon or tab; decimal point or comma; gz too) as one cell's curve.

    `columns` names what the header does not: {quantity: header or place from 1, with ` in UNIT`} for time,
    voltage, current, temperature, step, step_time, capacity (see columns.parse_columns). `progress` is called
    with the share read, 0 to 1. Raises BadData, naming the line, for what cannot be used.
    """
    raw = _one_line_end(plain_text(file_bytes(path_or_bytes)))
    layout = find_layout(raw, columns)
    _check_columns(layout)
    table = read_table(raw, layout, progress)
    cleaned = clean(table, _ends_whole(raw, layout))
    trace = _assemble(cleaned, layout)
    if progress is not None:
        progress(1.0)
    return trace


def _one_line_end(raw: bytes) -> bytes:
    """A file whose only line end is the carriage return, with line feeds instead; others stay as they are."""
    return raw if b"\n" in raw else raw.replace(b"\r", b"\n")


def _check_columns(layout: Layout) -> None:
    missing = [name for name in ("time", "voltage") if name not in layout.columns]
    if "current" not in layout.columns and "capacity" not in layout.columns:
        missing.append("current")
    if missing:
        line = layout.first_row_line - 1
        raise BadData(
            f"the header (line {max(line, 1)}) names no column for {' and '.join(missing)}: "
            f"it has {', '.join(cell for cell in layout.header if cell)[:120]}",
            f'name it: --columns "{missing[0]}=HEADER in UNIT"',
        )


def _ends_whole(raw: bytes, layout: Layout) -> bool:
    """False when the last line lacks its end and shows fewer decimals or cells than the ones before it."""
    if raw.endswith(b"\n"):
        return True
    # The tail alone is enough, and a file may have 250 MB.
    lines = as_text(raw[-4096:]).split("\n")[-6:]
    tails = [split_line(line, layout.separator) for line in lines]
    if len(tails) < 4:
        return True
    usual, last = tails[1:-1], tails[-1]
    if len(last) < min(len(cells) for cells in usual):
        return False
    decimals = {_decimals(cells[-1]) for cells in usual}
    # A decimal cut off in the middle is still a number, and a wrong one: fewer decimals give it away.
    return len(decimals) > 1 or _decimals(last[-1]) >= min(decimals)


def _decimals(cell: str) -> int:
    return len(cell.replace(",", ".").partition(".")[2])


def _assemble(cleaned: Cleaned, layout: Layout) -> Trace:
    held = cleaned.columns
    step = _steps(held.get("step"), cleaned)
    notes = [_column_note(layout)]
    current = held["current"] if "current" in held else _from_counter(held, cleaned)
    # A flat line under current is a lead that measures nothing: neither the sign nor a figure can be had from it.
    _check_voltage_moves(held["voltage"], current, cleaned)
    signed = find_sign(held["voltage"], current, step)
    if signed.doubt:
        cleaned.warnings.append(f"{signed.doubt}: {signed.note}")
    return Trace(
        time_s=held["time"],
        voltage_v=held["voltage"],
        current_a=signed.current_a,
        temperature_c=held.get("temperature"),
        step=step,
        step_time_s=held.get("step_time"),
        counter_ah=held.get("capacity"),
        line=cleaned.line,
        began_at=cleaned.began_at,
        warnings=tuple(cleaned.warnings),
        notes=(*notes, signed.note, *cleaned.notes),
    )


def _column_note(layout: Layout) -> str:
    told = [
        f"{name.replace('_', ' ')} from '{column.header}'"
        + ("" if column.unit_given else " (no unit: taken as SI)")
        for name, column in layout.columns.items()
    ]
    return "; ".join(told)


def _steps(step: Floats | None, cleaned: Cleaned) -> Ints | None:
    """The instrument's steps, unless the column counts rows instead, or has holes."""
    # A hole would split one step of the instrument in two.
    if step is None or not np.isfinite(step).all():
        return None
    # A column that changes with most rows counts rows or records, and each would become a step of its own.
    if np.count_nonzero(np.diff(step)) > _MOST_STEP_CHANGES * len(step):
        cleaned.notes.append("the step column changes from row to row: not used")
        return None
    whole: Ints = np.round(step).astype(np.int64)
    return whole


def _from_counter(held: dict[str, Floats], cleaned: Cleaned) -> Floats:
    """A current from a counter of ampere-hours, as its growth between two rows; the first row takes the second's."""
    hours = np.diff(held["time"]) / 3600
    growth = np.diff(held["capacity"])
    # A counter reset to zero at a new step must not give a large current of the other sign.
    rises = np.divide(growth, hours, out=np.zeros_like(growth), where=(hours > 0) & (growth >= 0))
    cleaned.warnings.append("there is no current column: the current is taken from the counter's growth")
    return np.append(rises[:1], rises)


def _check_voltage_moves(voltage: Floats, current: Floats, cleaned: Cleaned) -> None:
    # Ten rows: a short file may truly stand still within the steps of its display.
    if np.ptp(voltage) == 0 and states(current).any() and len(voltage) > 10:
        raise BadData(
            f"the voltage stays at {voltage[0]:.4g} V from line {int(cleaned.line[0])} to line "
            f"{int(cleaned.line[-1])} while current flows: that is not a cell",
            "check the sense leads and measure again",
        )
