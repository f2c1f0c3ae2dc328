"""The store as plain text: one CSV file a table, for a spreadsheet or another program; traces as they came.

Times are ISO 8601 in UTC; numbers are in the unit their column's name ends with. A text that a spreadsheet would
run as a formula stands behind a single quote, which `import` takes off again.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, Connection, Select, case, select

from straycell.files.write import cannot_write, part_folder
from straycell.readings import UNITS
from straycell.store.book.cells import FACT_COLUMNS, newest_facts
from straycell.store.exchange.rows import shielded
from straycell.store.schema.tables import (
    BOX,
    BUILD,
    BUILD_CELL,
    CELL,
    CELL_FACTS,
    CONDEMNATION,
    EVENT,
    HANDOVER,
    HANDOVER_CELL,
    METER,
    METER_COMPARISON,
    PROJECT,
    READING,
    SUPERSESSION,
    TEARDOWN,
    TRACE,
    UPSET,
    VERDICT,
)

if TYPE_CHECKING:
    import pandas as pd


def _queries() -> dict[str, Select[tuple[object, ...]]]:
    """What goes into which file."""
    place = (CELL.c.code, CELL.c.stage, CELL.c.box, CELL_FACTS.c.teardown, CELL_FACTS.c.pack)
    cells = (
        select(*place, *FACT_COLUMNS, CELL.c.added_at_us)
        .join(CELL_FACTS, CELL_FACTS.c.code == CELL.c.code)
        .where(CELL_FACTS.c.id.in_(newest_facts()))
        .order_by(CELL.c.code)
    )
    units = {quantity.value: unit for quantity, unit in UNITS.items()}
    unit = case(units, value=READING.c.quantity).label("unit")
    columns: list[ColumnElement[Any]] = list(READING.c)
    columns[list(READING.c.keys()).index("where_taken")] = READING.c.where_taken.label("where")
    after = list(READING.c.keys()).index("value") + 1
    readings = (
        select(*columns[:after], unit, *columns[after:], SUPERSESSION.c.mistake, SUPERSESSION.c.because)
        .outerjoin(SUPERSESSION, SUPERSESSION.c.reading_id == READING.c.id)
        .order_by(READING.c.id)
    )
    traces = select(*(c for c in TRACE.c if c.name not in ("raw", "curve"))).order_by(TRACE.c.id)
    plain = {
        "teardowns": TEARDOWN,
        "cell_versions": CELL_FACTS,
        "boxes": BOX,
        "meters": METER,
        "verdicts": VERDICT,
        "upsets": UPSET,
        "discards": CONDEMNATION,
        "projects": PROJECT,
        "builds": BUILD,
        "build_cells": BUILD_CELL,
        "handovers": HANDOVER,
        "handover_cells": HANDOVER_CELL,
        "meter_comparisons": METER_COMPARISON,
        "events": EVENT,
    }
    ordered = {name: select(table).order_by(*table.primary_key) for name, table in plain.items()}
    return {"cells": cells, "readings": readings, "traces": traces, **ordered}


def export_dir(conn: Connection, folder: Path) -> list[Path]:
    """Write every table, and the files of the traces, into a new or empty folder; returns them.

    The folder appears under its name when all of it is there. Raises BadData.
    """
    with part_folder(folder) as part:
        try:
            tables = [_write(conn, query, part.path / f"{name}.csv") for name, query in _queries().items()]
            files = [*tables, *_trace_files(conn, part.path / "traces")]
        except OSError as fault:
            raise cannot_write(folder, fault) from fault
        part.place()
    return [folder / file.relative_to(part.path) for file in files]


def _write(conn: Connection, query: Select[tuple[object, ...]], file: Path) -> Path:
    import pandas as pd

    result = conn.execute(query)
    frame = pd.DataFrame(
        [tuple(map(shielded, row)) for row in result], columns=list(result.keys()), dtype=object
    )
    _times_as_text(frame).to_csv(file, index=False, lineterminator="\n")
    return file


def _trace_files(conn: Connection, folder: Path) -> list[Path]:
    """The traces' own files, named by number."""
    from straycell.store.book.traces import trace_file

    written = []
    for number, name in conn.execute(select(TRACE.c.id, TRACE.c.name).order_by(TRACE.c.id)).all():
        folder.mkdir(exist_ok=True)
        plain = "".join(c if c.isalnum() or c in "-_." else "_" for c in name)[-80:]
        written.append(folder / f"{number}-{plain}")
        written[-1].write_bytes(trace_file(conn, number))
    return written


def _times_as_text(frame: pd.DataFrame) -> pd.DataFrame:
    from straycell.store.column_values import from_us

    for name in [name for name in frame.columns if name.endswith("_us")]:
        frame[name] = [None if us is None else from_us(us).isoformat() for us in frame[name]]
    return frame.rename(columns=lambda name: name.removesuffix("_us"))
