"""Photographs of cells: which one, of which cell, when. They decide nothing. The files: `photograph_files`."""

import hashlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, func, select

from straycell.errors import BadData
from straycell.store.book.records import Photograph
from straycell.store.book.stock import cells
from straycell.store.column_values import from_us, to_us
from straycell.store.photograph_files import file_of, folder_of, keep, read
from straycell.store.schema.tables import PHOTOGRAPH
from straycell.store.schema.validation import require_moment, utc
from straycell.store.session import Pen, insert_one

MOST_OF_A_CELL = 40


def add_photograph(pen: Pen, code: str, content: bytes, at: datetime | None = None) -> Photograph:
    """Keep a photograph (JPEG, scaled before) with a cell. Raises BadData: twice the same, too many, no place."""
    cells.require_here(pen.conn, [code])
    moment = utc(at or pen.now)
    require_moment(f"photograph of {code}", moment, pen.now)
    before = {each.sha256 for each in photographs(pen.conn, pen.store, code)}
    if hashlib.sha256(content).hexdigest() in before:
        raise BadData(f"this photograph is kept with {code} already", "nothing is kept twice: go on")
    if len(before) >= MOST_OF_A_CELL:
        raise BadData(f"{code} has {len(before)} photographs", f"a cell has at most {MOST_OF_A_CELL}")
    # The file first: a record whose file is missing would be a fault, a file without a record is none.
    sha256 = keep(folder_of(pen.store), content)
    event_id = pen.event("photograph-added", [code], subject=sha256[:12])
    made = Photograph(code, sha256, moment, len(content), file_of(folder_of(pen.store), sha256))
    insert_one(
        pen.conn,
        PHOTOGRAPH,
        code=code,
        sha256=sha256,
        at_us=to_us(moment),
        size_bytes=made.size_bytes,
        event_id=event_id,
    )
    return made


def photographs(conn: Connection, store: Path, code: str) -> list[Photograph]:
    """The photographs of a cell, oldest first, each once: two benches may have kept the same."""
    folder = folder_of(store)
    query = select(PHOTOGRAPH).where(PHOTOGRAPH.c.code == code).order_by(PHOTOGRAPH.c.at_us, PHOTOGRAPH.c.id)
    found: dict[str, Photograph] = {}
    for row in conn.execute(query):
        at, file = from_us(row.at_us), file_of(folder, row.sha256)
        found.setdefault(row.sha256, Photograph(code, row.sha256, at, int(row.size_bytes), file))
    return list(found.values())


def is_named(conn: Connection, sha256: str) -> bool:
    """Whether a record names this photograph: no other file is ever shown."""
    query = select(func.count()).select_from(PHOTOGRAPH).where(PHOTOGRAPH.c.sha256 == sha256)
    return bool(conn.execute(query).scalar_one())


def file_faults(conn: Connection, store: Path) -> Iterator[str]:
    """Photographs whose file is missing, or is not the one that was kept."""
    rows = select(PHOTOGRAPH.c.code, PHOTOGRAPH.c.sha256).order_by(PHOTOGRAPH.c.id)
    for code, sha256 in conn.execute(rows).all():
        try:
            read(folder_of(store), sha256)
        except BadData as fault:
            yield f"cell {code}: {fault.what}"
