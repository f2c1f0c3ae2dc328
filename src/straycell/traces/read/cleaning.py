"""What a file's rows must satisfy before anything is computed: each fault is a warning or a refusal with its line."""

from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np

from straycell.errors import BadData
from straycell.quantities import CELL_WINDOWS, Dimension
from straycell.traces.read.table import Stamps, Table
from straycell.traces.read.trace import Floats, Ints, Mask

FEWEST_ROWS = 3
MOST_BAD_SHARE = 0.1
"""More unusable rows than this are not a slip of the logger (common practice, no published source)."""
# A charged cell is never below half a volt; between two rows of a good voltage it is a lost contact.
CONTACT_LOST_V = 0.5
_SPIKE_V = 0.3
_EDGE_SHARE = 0.05
LEAST_REST_S = 180.0
"""A rest shorter than this says little of the cell's own voltage (common practice, no published source)."""
_MOST_PACK_V = 100.0
# 1e8 s after 1970 is 1973: no trace counts that long from its own start, so a larger number is a clock.
_UNIX_S = 1e8
# Beyond the year 2200 a number is a counter and not a date.
_YEAR_2200_S = 7.26e9


@dataclass
class Cleaned:
    """The rows that are left, with what was said about the others."""

    line: Ints
    columns: dict[str, Floats]
    warnings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    began_at: datetime | None = None

    def leave_out(self, rows: Mask, why: str) -> None:
        """Drop these rows, and say so."""
        self.warnings.append(f"{some_lines(self.line[rows])}: {why}; left out")
        self.keep(~rows)

    def keep(self, rows: Mask) -> None:
        self.line = self.line[rows]
        self.columns = {name: values[rows] for name, values in self.columns.items()}


def some_lines(lines: Ints) -> str:
    """`line 7`, `lines 7, 9 and 11`, `lines 7, 8, 9 and 40 more`."""
    shown = [str(int(line)) for line in lines[:3]]
    if len(lines) == 1:
        return f"line {shown[0]}"
    if len(lines) > 3:
        return f"lines {', '.join(shown)} and {len(lines) - 3} more"
    return f"lines {', '.join(shown[:-1])} and {shown[-1]}"


def clean(table: Table, ends_whole: bool = True) -> Cleaned:
    """Leave out what cannot be used and say so. `ends_whole` False: the file's last line was cut short.

    Raises BadData when too little is left, when times run backwards, or when a unit must be wrong.
    """
    cleaned = Cleaned(table.line, dict(table.columns))
    _drop_cut_end(cleaned, ends_whole)
    _drop_blank_and_odd(cleaned, table)
    _check_left(cleaned, len(table.line))
    _zero_clock(cleaned, table.stamps)
    _check_times(cleaned)
    _drop_repeated(cleaned)
    _check_windows(cleaned)
    _drop_spikes(cleaned)
    _check_temperature(cleaned)
    _check_left(cleaned, len(table.line))
    return cleaned


def _needed(cleaned: Cleaned) -> list[str]:
    """Time, voltage and what gives the current: a counter serves where there is no current column."""
    names = ["time", "voltage", "current" if "current" in cleaned.columns else "capacity"]
    return [name for name in names if name in cleaned.columns]


def _drop_cut_end(cleaned: Cleaned, ends_whole: bool) -> None:
    if not len(cleaned.line):
        return
    # A file copied while it was written ends in half a row; the other rows are sound.
    last = [name for name in _needed(cleaned) if not np.isfinite(cleaned.columns[name][-1])]
    some = any(np.isfinite(cleaned.columns[name][-1]) for name in _needed(cleaned))
    if (last and some) or not ends_whole:
        cleaned.warnings.append(f"line {int(cleaned.line[-1])}, the last one, is cut short; it is left out")
        rows = np.ones(len(cleaned.line), dtype=bool)
        rows[-1] = False
        cleaned.keep(rows)


def _drop_blank_and_odd(cleaned: Cleaned, table: Table) -> None:
    """Rows without a number where one is needed; wholly blank lines are not faults."""
    # One sum tells whether any value is not finite, and is cheaper than a mask of each column.
    if all(np.isfinite(cleaned.columns[name].sum()) for name in _needed(cleaned)):
        return
    finite = [np.isfinite(cleaned.columns[name]) for name in _needed(cleaned)]
    whole, blank = np.logical_and.reduce(finite), ~np.logical_or.reduce(finite)
    odd = dict(table.odd)
    blank &= ~np.isin(cleaned.line, np.array(list(odd), dtype=np.int64)) if odd else True
    bad = cleaned.line[~whole & ~blank]
    if len(bad):
        text = odd.get(int(bad[0]))
        what = f"'{text[:20]}' is not a number" if text else "a number is missing (NaN or empty)"
        cleaned.warnings.append(f"{some_lines(bad)}: {what}; left out")
        # A tenth of the rows unusable is a wrong column or unit, and dropping them would hide that.
        if len(bad) > MOST_BAD_SHARE * len(cleaned.line):
            raise BadData(
                f"{len(bad)} of {len(cleaned.line)} rows cannot be used, the first in line {int(bad[0])}: {what}",
                "export it once more, or name the right columns with --columns",
            )
    if blank.any():
        between = cleaned.line[blank]
        cleaned.notes.append(f"{len(between)} blank lines skipped")
    if not whole.all():
        cleaned.keep(whole)


def _check_left(cleaned: Cleaned, rows: int) -> None:
    if len(cleaned.line) < FEWEST_ROWS:
        last = int(cleaned.line[-1]) if len(cleaned.line) else 0
        where = f", the last in line {last}" if last else ""
        raise BadData(
            f"the trace has {len(cleaned.line)} usable rows of {rows}{where}: too few for a curve",
            "export it once more, from the first row to the last",
        )


def _zero_clock(cleaned: Cleaned, stamps: Stamps) -> None:
    """A clock or calendar time starts anywhere: count from the first row, and keep when that was."""
    time = cleaned.columns["time"]
    clock = stamps is not Stamps.COUNTED
    if clock or time[0] > _UNIX_S:
        unit_s = (
            1e-3 if time[0] > 1000 * _UNIX_S and not clock else 1.0
        )  # counted in milliseconds by many programs
        cleaned.columns["time"] = (time - time[0]) * unit_s
        if stamps is Stamps.UNCLEAR:
            cleaned.warnings.append(
                "its dates can be read two ways, day or month first: they do not date the run"
            )
        # A clock without a date or with two readings of it must not date a record.
        if stamps in (Stamps.COUNTED, Stamps.UTC, Stamps.LOCAL) and 0 <= time[0] * unit_s < _YEAR_2200_S:
            began_at = datetime.fromtimestamp(float(time[0] * unit_s), UTC)
            # A local time keeps no zone: this machine's zone need not be the logger's.
            cleaned.began_at = began_at.replace(tzinfo=None) if stamps is Stamps.LOCAL else began_at
        cleaned.notes.append("times are of a clock: counted from the first row")


def _check_times(cleaned: Cleaned) -> None:
    time = cleaned.columns["time"]
    steps = np.diff(time)
    back = np.flatnonzero(steps < 0)
    if len(back):
        row = int(back[0]) + 1
        line, before, after = int(cleaned.line[row]), time[row - 1], time[row]
        # Two recordings in one file join a cell's discharge with another's; a clock set back is another fault with
        # another remedy.
        restart = abs(after - time[0]) < 0.05 * (before - time[0]) + 60 and before - after > 60
        why = (
            "a second recording begins there" if restart else "the clock was set back, or rows changed places"
        )
        raise BadData(
            f"line {line}: time runs backwards, from {before:.10g} s to {after:.10g} s ({why})",
            f"split the file before line {line}" if restart else "sort or mend the file, or export it again",
        )
    if time[-1] == time[0]:
        raise BadData(
            f"time stands still at {time[0]:.10g} s from line {int(cleaned.line[0])} to line {int(cleaned.line[-1])}",
            'name the column that counts: --columns "time=..."',
        )


def _drop_repeated(cleaned: Cleaned) -> None:
    """The very same row twice is one row; the same time with other values stays (a step's edge, a coarse clock)."""
    still = np.append(False, np.diff(cleaned.columns["time"]) == 0)
    if not still.any():
        return
    # Only the values that figures rest on: a counter that goes on does not make a repeated row new.
    same = np.logical_and.reduce([np.diff(cleaned.columns[name]) == 0 for name in _needed(cleaned)])
    if same.any():
        rows = np.append(False, same)
        cleaned.leave_out(rows, "the row before is there again")
    still = np.append(False, np.diff(cleaned.columns["time"]) == 0)
    if (still & ~_edges(cleaned)).mean() > MOST_BAD_SHARE:
        cleaned.warnings.append(
            f"{some_lines(cleaned.line[still])}: time does not move on: the clock is coarser than the rows"
        )


def _edges(cleaned: Cleaned) -> Mask:
    """Rows that begin a step: instruments write the end of one and the start of the next at the same time."""
    edges = np.zeros(len(cleaned.line), dtype=bool)
    if "step" in cleaned.columns:
        edges[1:] = np.diff(cleaned.columns["step"]) != 0
    if "current" in cleaned.columns:
        amps = cleaned.columns["current"]
        edges[1:] |= np.abs(np.diff(amps)) > _EDGE_SHARE * np.max(np.abs(amps), initial=0.0)
    return edges


def _check_windows(cleaned: Cleaned) -> None:
    hints = {"voltage": ("V", Dimension.VOLTAGE), "current": ("A", Dimension.CURRENT)}
    for name, (unit, dimension) in hints.items():
        if name not in cleaned.columns:
            continue
        values, most = cleaned.columns[name], CELL_WINDOWS[dimension].high
        if -most <= values.min() and values.max() <= most:
            continue
        wrong = np.abs(values) > most
        if wrong.mean() > MOST_BAD_SHARE:
            row = int(np.flatnonzero(wrong)[0])
            # Between 5 V and 100 V it is a pack, which no unit would explain; above it is millivolts taken for volts.
            pack = name == "voltage" and abs(values[row]) < _MOST_PACK_V
            raise BadData(
                f"line {int(cleaned.line[row])}: {values[row]:.6g} {unit} cannot be one cell's {name}",
                "a trace is of one cell: measure each cell of a pack by itself"
                if pack
                else f'if the column is in m{unit}, say so: --columns "{name}=NAME in m{unit}"',
            )
        if wrong.any():
            cleaned.leave_out(wrong, f"{values[np.flatnonzero(wrong)[0]]:.6g} {unit} cannot be")


def _drop_spikes(cleaned: Cleaned) -> None:
    """A row whose voltage leaves and comes back with the current unchanged is a slip; near 0 V the contact was lost."""
    volts, amps = cleaned.columns["voltage"], cleaned.columns.get("current")
    if len(volts) < FEWEST_ROWS or float(np.max(np.abs(np.diff(volts)))) <= _SPIKE_V:
        return
    before, here, after = volts[:-2], volts[1:-1], volts[2:]
    alone = np.minimum(abs(here - before), abs(here - after)) > _SPIKE_V
    # Both sides must agree: a true fall at the end of a discharge never comes back.
    alone &= (abs(before - after) < _SPIKE_V / 3) & (np.sign(here - before) == np.sign(here - after))
    if amps is not None:
        scale = float(np.max(np.abs(amps)))
        # A load that switches moves the voltage rightly; only a jump at steady current is a slip.
        alone &= (abs(amps[1:-1] - amps[:-2]) <= 0.05 * scale) & (abs(amps[1:-1] - amps[2:]) <= 0.05 * scale)
    wrong = np.concatenate(([False], alone, [False]))
    low = volts < CONTACT_LOST_V
    # Low values count as lost contact only when a sound voltage follows: a dying cell stays low.
    if low.any() and float(np.max(volts[np.flatnonzero(low)[0] :])) > 4 * CONTACT_LOST_V:
        wrong |= low
        wrong[: _dead_at_first(cleaned, low)] = False
    if not wrong.any():
        return
    row = int(np.flatnonzero(wrong)[0])
    if wrong.mean() > MOST_BAD_SHARE:
        raise BadData(
            f"line {int(cleaned.line[row])}: the voltage drops to {volts[row]:.4g} V and comes back, again and again",
            "mend the contact to the cell and measure again",
        )
    cleaned.leave_out(wrong, f"the voltage jumps to {volts[row]:.4g} V and back (bad contact?)")


def _dead_at_first(cleaned: Cleaned, low: Mask) -> int:
    """How many rows at the start may be a dead cell's: long near 0 V, up to the very row at which a charge begins."""
    sound = int(np.flatnonzero(~low)[0])
    time, volts, amps = (cleaned.columns.get(name) for name in ("time", "voltage", "current"))
    if time is None or volts is None or time[sound] - time[0] < LEAST_REST_S:
        return 0
    # A holder that a cell is put into shows the cell first and the current later, and no dead cell gives a current.
    flows = (
        np.ones(len(volts), dtype=bool) if amps is None else np.abs(amps) > _EDGE_SHARE * np.max(np.abs(amps))
    )
    ends = np.flatnonzero(~flows[sound:])
    last = sound + int(ends[0]) - 1 if len(ends) else len(volts) - 1
    return sound if flows[sound] and volts[last] > volts[sound] else 0


def _check_temperature(cleaned: Cleaned) -> None:
    warm = cleaned.columns.get("temperature")
    if warm is None:
        return
    window = CELL_WINDOWS[Dimension.TEMPERATURE]
    wrong = np.isfinite(warm) & ((warm < window.low) | (warm > window.high))
    if wrong.any():
        first = warm[np.flatnonzero(wrong)[0]]
        cleaned.warnings.append(
            f"{some_lines(cleaned.line[wrong])}: {first:.5g} C cannot be; no temperature there"
        )
        # Only the temperature is lost, not the row: its voltage and current are sound.
        cleaned.columns["temperature"] = np.where(wrong, np.nan, warm)
    if not np.isfinite(cleaned.columns["temperature"]).any():
        del cleaned.columns["temperature"]
