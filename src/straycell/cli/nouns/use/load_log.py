"""`straycell load from-log`: a recorded load as a profile that a project and `runtime` can name."""

import csv
import io
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

from straycell.cli.app import files, output
from straycell.errors import BadData
from straycell.projects.loads import parse_profile
from straycell.quantities import Dimension, show

MOST_STEPS = 100_000
"""Steps of one round; a longer log is one of many rounds (common practice, no published source)."""


def from_log(file: Path, out: Path, columns: str | None, power: bool, force: bool) -> None:
    """Read a log as traces are read (separators, decimal commas, clocks, own column names), write the profile."""
    times, values, key = _read(file, columns, power)
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(["time_s", key])
    lines.writerows([f"{t:.10g}", f"{v:.7g}"] for t, v in zip(times, values, strict=True))
    # Read back as a project would: a profile that no project takes is refused here and not weeks later.
    found = _checked(text.getvalue(), str(file))
    files.write_whole(out, text.getvalue().encode(), force=force)
    unit = Dimension.CURRENT if key == "current_a" else Dimension.POWER
    document: dict[str, Any] = {"file": str(out), "rows": len(times), "period_s": times[-1], **found}
    output.emit(
        document,
        lambda: output.say(
            f"{out}  {len(times)} rows, {show(times[-1], Dimension.DURATION)} a round: {show(found['mean'], unit)} on the mean, "
            f"up to {show(found['most'], unit)}"
        ),
    )
    output.hint(
        f'name it in a project, profile = "{out.name}", or: straycell runtime CODE --profile {out} --until 3.0V'
    )


def _read(file: Path, columns: str | None, power: bool) -> tuple[list[float], list[float], str]:
    """(times from 0 in s, current in A or power in W, the column's name). What flows out of the cells is positive."""
    from straycell.traces.read.columns import parse_columns
    from straycell.traces.read.layout import file_bytes, find_layout, plain_text
    from straycell.traces.read.table import read_table

    raw = plain_text(file_bytes(file))
    layout = find_layout(raw, parse_columns(columns) if columns else None)
    needed = ["time", "current", *(["voltage"] if power else [])]
    missing = [name for name in needed if name not in layout.columns]
    if missing:
        raise BadData(
            f"log '{file}' has no column for {' and '.join(missing)}",
            f'name it: --columns "{", ".join(f"{name}=HEADER" for name in needed)}"',
        )
    table = read_table(raw, layout)
    columns_of = [table.columns[name].tolist() for name in needed]
    rows = [
        (line, *cells)
        for line, *cells in zip(table.line.tolist(), *columns_of, strict=True)
        if all(math.isfinite(cell) for cell in cells)
    ]
    if not 2 <= len(rows) <= MOST_STEPS:
        raise BadData(
            f"log '{file}' has {len(rows)} usable rows", f"give one round, of 2 to {MOST_STEPS} rows"
        )
    for before, after in pairwise(rows):
        if after[1] <= before[1]:
            raise BadData(
                f"log '{file}' line {after[0]}: its time is not later than that before",
                "sort or split the file",
            )
    # A logger may count what flows out as negative: the sign of the larger side is that of the load.
    currents = [row[2] for row in rows]
    sign = 1.0 if max(currents) >= -min(currents) else -1.0
    values = [max(0.0, sign * row[2]) * (row[3] if power else 1.0) for row in rows]
    return [row[1] - rows[0][1] for row in rows], values, "power_w" if power else "current_a"


def _checked(text: str, name: str) -> dict[str, float]:
    """The mean and the most of the profile, as a project would read it. Raises BadData like that."""
    profile = parse_profile(text, name)
    steps = profile.values[: len(profile.durations_s)]
    total = sum(s * v for s, v in zip(profile.durations_s, steps, strict=True))
    return {"mean": total / profile.period_s, "most": max(steps)}
