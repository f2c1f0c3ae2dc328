"""The store as plain text: one CSV file a table, for a spreadsheet or another program; traces as they came.

Times are ISO 8601 in UTC; numbers are in the unit their column's name ends with. A text that a spreadsheet would
run as a formula gets a single quote before it, which `import` takes off again.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, case, func, select

from straycell.files.write import cannot_write, part_folder
from straycell.keys import key_of
from straycell.plain_text import require_plain
from straycell.readings import KINDS
from straycell.store.book.derived import HAPPENED
from straycell.store.book.names import shown
from straycell.store.exchange.rows import shielded
from straycell.store.photograph_files import bring, file_of, folder_of
from straycell.store.schema.tables import (
    BOX,
    BUILD,
    BUILD_CELL,
    CELL,
    CHARGER,
    CONDEMNATION,
    EVENT,
    FACT,
    FINDING,
    FINDING_FELL,
    GROUP_VOLTAGE,
    HANDOVER,
    HANDOVER_CELL,
    METER,
    METER_COMPARISON,
    PHOTOGRAPH,
    PROJECT,
    READING,
    SUPERSESSION,
    TEARDOWN,
    TRACE,
    UPSET,
    VERDICT,
    WRITE,
)

if TYPE_CHECKING:
    import pandas as pd


def _queries(conn: Connection) -> dict[str, Select[tuple[object, ...]]]:
    """What goes into which file."""
    of_cell = [column for column in CELL.c if column.name not in ("born", "event_id")]
    cells = select(*(_named(conn, column) for column in of_cell)).order_by(CELL.c.code)
    units = {quantity.value: kind.unit for quantity, kind in KINDS.items()}
    unit = case(units, value=READING.c.quantity).label("unit")
    columns: list[ColumnElement[Any]] = [_named(conn, column) for column in READING.c]
    columns[list(READING.c.keys()).index("where_taken")] = READING.c.where_taken.label("where")
    after = list(READING.c.keys()).index("value") + 1
    readings = _with_mistake(select(*columns[:after], unit, *columns[after:]), READING, READING.c.key)
    plain = {
        "teardowns": TEARDOWN,
        "facts": FACT,
        "boxes": BOX,
        "meters": METER,
        "verdicts": VERDICT,
        "findings": FINDING,
        "findings_fell": FINDING_FELL,
        "supersessions": SUPERSESSION,
        "discards": CONDEMNATION,
        "projects": PROJECT,
        "builds": BUILD,
        "build_cells": BUILD_CELL,
        "handovers": HANDOVER,
        "handover_cells": HANDOVER_CELL,
        "chargers": CHARGER,
        "meter_comparisons": METER_COMPARISON,
        "group_voltages": GROUP_VOLTAGE,
        "photographs": PHOTOGRAPH,
        "events": EVENT,
        "writes": WRITE,
        "traces": TRACE,
    }
    ordered = {
        name: select(*(_named(conn, c) for c in table.c if c.name not in _LEFT_OUT)).order_by(
            *table.primary_key
        )
        for name, table in plain.items()
    }
    upsets = _with_mistake(select(UPSET), UPSET, HAPPENED + UPSET.c.key)
    return {"cells": cells, "readings": readings, "upsets": upsets, **ordered}


def _with_mistake(query: Select[Any], table: Table, record: ColumnElement[str]) -> Select[Any]:
    """Rows with the first mistake for which each was taken back."""
    first = SUPERSESSION.alias("first")
    once = select(func.min(first.c.id)).where(first.c.record == record).scalar_subquery()
    query = query.add_columns(SUPERSESSION.c.mistake, SUPERSESSION.c.because).select_from(table)
    return query.outerjoin(SUPERSESSION, SUPERSESSION.c.id == once).order_by(table.c.id)


_LEFT_OUT = ("born", "raw", "curve")
_NAMED = {"box": BOX, "meter": METER, "project": PROJECT}


def _named(conn: Connection, column: Column[Any]) -> ColumnElement[Any]:
    """What refers to a box, meter or project by its key, by its name."""
    table = _NAMED.get(column.name)
    names = {} if table is None else shown(conn, table)
    return case(names, value=column).label(column.name) if names else column


def export_dir(conn: Connection, store: Path, folder: Path) -> list[Path]:
    """Write every table, the files of the traces and the photographs into a new or empty folder; returns them.

    The folder appears under its name when all of it is there. Raises BadData.
    """
    require_plain("the name of the folder", str(folder))
    with part_folder(folder) as part:
        try:
            tables = [
                _write(conn, query, part.path / f"{name}.csv") for name, query in _queries(conn).items()
            ]
            files = [
                *tables,
                *_trace_files(conn, part.path / "traces"),
                *_photographs(conn, store, part.path / "photographs"),
            ]
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
    from straycell.store.book.measured.traces import trace_file

    written = []
    for key, name in conn.execute(select(TRACE.c.key, TRACE.c.name).order_by(TRACE.c.id)).all():
        folder.mkdir(exist_ok=True)
        plain = "".join(c if c.isalnum() or c in "-_." else "_" for c in name)[-80:]
        written.append(folder / f"{key}-{plain}")
        written[-1].write_bytes(trace_file(conn, key_of(key)))
    return written


def _photographs(conn: Connection, store: Path, folder: Path) -> list[Path]:
    """The photographs under the hash that `photographs.csv` names; a missing one is named by `store check`."""
    names = sorted(set(conn.execute(select(PHOTOGRAPH.c.sha256)).scalars()))
    lost = bring(folder_of(store), folder, names)
    return [file_of(folder, name) for name in names if name not in lost]


def _times_as_text(frame: pd.DataFrame) -> pd.DataFrame:
    from straycell.store.column_values import from_us

    for name in [name for name in frame.columns if name.endswith("_us")]:
        frame[name] = [None if us is None else from_us(us).isoformat() for us in frame[name]]
    return frame.rename(columns=lambda name: name.removesuffix("_us"))
