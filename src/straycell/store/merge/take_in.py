"""Another bench's store taken into this one: its codes kept, its events with their own times, nothing twice.

What was done is told apart by its event: the same time, the same words, the same cells. A second merge of the
same store brings only what happened since. Verdicts are made anew here; their former ones stay behind.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, Table, func, select

from straycell.errors import BadData
from straycell.store.book import teardowns
from straycell.store.book.records import Listing
from straycell.store.engine import connected, reading_engine, recover, store_faults
from straycell.store.merge.names import Names
from straycell.store.merge.states import (
    Both,
    bring_builds,
    bring_cells,
    bring_handovers,
    bring_projects,
    last_events,
)
from straycell.store.schema.create import require_current
from straycell.store.schema.tables import (
    BENCH,
    BLANK_CODE,
    BOX,
    BUILD,
    BUILD_CELL,
    CELL,
    CELL_FACTS,
    CONDEMNATION,
    EVENT,
    EVENT_CELL,
    HANDOVER,
    HANDOVER_CELL,
    METER,
    METER_COMPARISON,
    READING,
    SUPERSESSION,
    TEARDOWN,
    TRACE,
    UPSET,
)
from straycell.store.session import Pen, rows_of
from straycell.store.verdicts import siblings

SHOWN = 10
_NUMBERED = "reading-superseded"
"""Its subject is a reading's number, which differs from store to store."""
Row = dict[str, Any]
Told = Callable[[int, int], None]


@dataclass(slots=True)
class Merged:
    """What a merge brought: new rows by kind, and what the person should know."""

    bench: str
    cells: int = 0
    readings: int = 0
    events: int = 0
    notes: list[str] = field(default_factory=list)


def merge_store(pen: Pen, here: Path, file: Path, told: Told | None = None) -> Merged:
    """Take the store `file` into the one being written. Raises BadData (codes that clash), StoreFault."""
    if file.exists() and here.exists() and here.samefile(file):
        raise BadData(f"{file} is this store itself", "name the other bench's store")
    with store_faults(file), connected(reading_engine(file)) as other:
        recover(file, other)
        with other.begin():
            require_current(other, file)
            return _Merge(pen, other, told).run(file)


class _Merge:
    """One merge: `events` and `numbers` translate the other store's numbers into this one's."""

    def __init__(self, pen: Pen, other: Connection, told: Told | None) -> None:
        self.pen, self.other, self.told = pen, other, told
        self.bench = str(other.execute(select(BENCH.c.letter)).scalar_one())
        self.known, self.new = matched(_events(pen.conn), _events(other))
        first = _next(pen.conn, EVENT)
        self.events = self.known | {old: first + place for place, old in enumerate(self.new)}
        self.numbers: dict[str, dict[int, int]] = defaultdict(dict)
        self.names = Names(pen.conn, other, self.known, self.bench)
        self.merged = Merged(self.bench)

    def run(self, file: Path) -> Merged:
        self._refuse_clashes()
        if not self.new:
            return self.merged
        before = last_events(self.pen.conn)
        both = Both(self.pen, self.other, self.events, self.new, self.numbers, self.names, before)
        self._number_readings()
        rows = [row for row in _rows(self.other, EVENT) if row["id"] not in self.known]
        self._insert(EVENT, [self._event(row) for row in rows])
        for step, (table, references) in enumerate(_REFERENCES.items(), 1):
            if table is BUILD:
                bring_projects(both)
            self._copy(table, references)
            if self.told is not None:
                self.told(step, len(_REFERENCES))
        self._parts()
        corrected = {row["subject"] for row in rows if row["verb"] == teardowns.CORRECTED}
        teardowns.follow_corrections(self.pen.conn, sorted(corrected))
        self.merged.notes += bring_cells(both)
        bring_builds(both)
        bring_handovers(both)
        self._end(file)
        return self.merged

    # --- what is refused ---------------------------------------------------------------------------

    def _refuse_clashes(self) -> None:
        """A code that both stores gave out, for another cell, tear-down or label each."""
        clashes = sorted({code for pair in _CODED for code in self._clashing(*pair)})
        if clashes:
            more = f" and {len(clashes) - SHOWN} more" if len(clashes) > SHOWN else ""
            raise BadData(
                f"both stores gave out {', '.join(clashes[:SHOWN])}{more} (bench {self.bench})",
                "nothing was merged: what bears one of these codes could be either of two things",
            )
        held = set(self.pen.conn.execute(select(BUILD_CELL.c.code).where(BUILD_CELL.c.live)).scalars())
        query = select(BUILD.c.event_id, BUILD_CELL.c.code).join(BUILD, BUILD.c.id == BUILD_CELL.c.build_id)
        for event_id, code in self.other.execute(query.where(BUILD_CELL.c.live)):
            if event_id not in self.known and code in held:
                raise BadData(f"cell {code} is in a build in both stores", "dismantle one of the two first")

    def _clashing(self, theirs: Table, ours: Table) -> Iterator[str]:
        here = _coded(self.pen.conn, ours)
        shared = self._shared_blanks
        for code, event_id in _coded(self.other, theirs).items():
            if code in here and self.known.get(event_id) != here[code]:
                if theirs is not ours and code in shared:
                    continue  # one label, set aside before the stores parted, and used since
                yield code

    @cached_property
    def _shared_blanks(self) -> set[str]:
        here = _coded(self.pen.conn, BLANK_CODE)
        theirs = _coded(self.other, BLANK_CODE).items()
        return {code for code, event_id in theirs if code in here and self.known.get(event_id) == here[code]}

    # --- what is copied ----------------------------------------------------------------------------

    def _number_readings(self) -> None:
        """As they will be numbered: an event names the reading it took back."""
        self._pair_numbers(READING)
        numbers, number = self.numbers["reading"], _next(self.pen.conn, READING)
        for old in self.other.execute(select(READING.c.id).order_by(READING.c.id)).scalars():
            if old not in numbers:
                numbers[old], number = number, number + 1

    def _event(self, row: Row) -> Row:
        subject = row["subject"]
        if row["verb"] == _NUMBERED and subject.isdigit():
            subject = str(self.numbers["reading"].get(int(subject), subject))
        return {**row, "id": self.events[row["id"]], "subject": subject}

    def _copy(self, table: Table, references: Mapping[str, str]) -> None:
        """The rows of new events, numbered on; the rows of known events only lend their numbers."""
        self._pair_numbers(table)
        number = _next(self.pen.conn, table) if "id" in table.c else 0
        once = self._once(table)
        fresh: list[Row] = []
        for row in _rows(self.other, table):
            old = row.get("id")
            if row["event_id"] in self.known or self._is_here(table, row):
                continue
            row["event_id"] = self.events[row["event_id"]]
            row |= {column: self._here(of, row[column]) for column, of in references.items()}
            if table is CELL_FACTS:
                row["after_reading"] = self._after(row["code"], row["after_reading"])
            if once is not None and row[once[0]] in once[1]:
                self.merged.notes.append(
                    f"{row[once[0]]} {_ONCE[table]} in both stores: what stands here holds"
                )
                continue
            if old is not None:
                self.numbers[table.name][old] = row["id"] = number
                number += 1
            fresh.append(row)
        self._insert(table, fresh)

    def _is_here(self, table: Table, row: Row) -> bool:
        return table in (BOX, METER) and self.names.is_here(table.name, row["name"])

    def _once(self, table: Table) -> tuple[str, set[Any]] | None:
        """What stands once only, and may have been written on both benches since they last met."""
        query = _ONLY.get(table)
        return (
            None
            if query is None
            else (query.selected_columns[0].name, set(self.pen.conn.execute(query).scalars()))
        )

    def _here(self, of: str, value: Any) -> Any:
        if value is None:
            return None
        return self.names.here(of, value) if isinstance(value, str) else self.numbers[of][value]

    def _after(self, code: str, number: int) -> int:
        """The last of the cell's own readings up to a number of the other store, as numbered here."""
        query = select(func.max(READING.c.id)).where(READING.c.code == code, READING.c.id <= number)
        last = self.other.execute(query).scalar() if number else None
        return 0 if last is None else self.numbers["reading"][last]

    def _pair_numbers(self, table: Table) -> None:
        """Rows of an event known here stand in the same order in both stores."""
        if "id" not in table.c:
            return
        query = select(table.c.id, table.c.event_id).order_by(table.c.id)
        ours: dict[int, deque[int]] = defaultdict(deque)
        for number, event_id in self.pen.conn.execute(query):
            ours[event_id].append(number)
        for number, event_id in self.other.execute(query):
            if event_id in self.known and ours[self.known[event_id]]:
                self.numbers[table.name][number] = ours[self.known[event_id]].popleft()

    def _parts(self) -> None:
        """Cells of new events, and positions of new builds: rows without an event of their own."""
        links = [row for row in _rows(self.other, EVENT_CELL) if row["event_id"] not in self.known]
        self._insert(EVENT_CELL, [{**row, "event_id": self.events[row["event_id"]]} for row in links])
        query = select(BUILD_CELL, BUILD.c.event_id).join(BUILD, BUILD.c.id == BUILD_CELL.c.build_id)
        rows = [dict(row._mapping) for row in rows_of(self.other, query)]
        fresh = [row for row in rows if row.pop("event_id") not in self.known]
        self._insert(BUILD_CELL, [{**r, "build_id": self.numbers["build"][r["build_id"]]} for r in fresh])
        self.pen.touched.update(row["code"] for row in links)

    def _insert(self, table: Table, rows: list[Row]) -> None:
        if rows:
            self.pen.conn.execute(table.insert(), rows)
        if table.name in _COUNTED:
            setattr(self.merged, _COUNTED[table.name], len(rows))

    def _end(self, file: Path) -> None:
        pen, merged = self.pen, self.merged
        theirs, ours = self.other.execute(select(BENCH)).one(), pen.conn.execute(select(BENCH)).one()
        if theirs.letter == ours.letter:
            cell, teardown = (
                max(theirs.last_cell, ours.last_cell),
                max(theirs.last_teardown, ours.last_teardown),
            )
            pen.conn.execute(BENCH.update().values(last_cell=cell, last_teardown=teardown))
        detail = {"bench": self.bench, "cells": merged.cells, "readings": merged.readings}
        pen.event("store-merged", subject=file.name, detail=detail)
        merged.notes += self.names.notes
        pen.kin |= siblings.siblings_of(pen.conn, pen.touched)


_REFERENCES: dict[Table, dict[str, str]] = {
    # in an order in which nothing points to what is not there yet; column: whose number or name it holds
    TEARDOWN: {},
    BOX: {"name": "box"},
    METER: {"name": "meter"},
    CELL: {"box": "box"},
    BLANK_CODE: {},
    TRACE: {"meter": "meter"},
    READING: {"meter": "meter", "trace_id": "trace", "supersedes": "reading"},
    CELL_FACTS: {},
    SUPERSESSION: {"reading_id": "reading"},
    UPSET: {},
    CONDEMNATION: {},
    BUILD: {"project": "project"},
    HANDOVER: {"place": "place"},
    HANDOVER_CELL: {"handover_id": "handover"},
    METER_COMPARISON: {"meter": "meter"},
}
_ONLY: dict[Table, Select[Any]] = {
    CONDEMNATION: select(CONDEMNATION.c.code),
    SUPERSESSION: select(SUPERSESSION.c.reading_id),
    HANDOVER_CELL: select(HANDOVER_CELL.c.code).where(HANDOVER_CELL.c.state != Listing.LEFT_OUT.value),
}
_ONCE = {
    CONDEMNATION: "was discarded",
    SUPERSESSION: "(a reading) was superseded",
    HANDOVER_CELL: "is on a hand-over",
}
_CODED = (
    (CELL, CELL),
    (CELL, BLANK_CODE),
    (BLANK_CODE, CELL),
    (BLANK_CODE, BLANK_CODE),
    (TEARDOWN, TEARDOWN),
)
_COUNTED = {"cell": "cells", "reading": "readings", "event": "events"}
_Key = tuple[Any, ...]


def matched(
    ours: Iterable[tuple[int, _Key]], theirs: Iterable[tuple[int, _Key]]
) -> tuple[dict[int, int], list[int]]:
    """(number there: number here of events that are in both, numbers of the others there)."""
    here: dict[_Key, deque[int]] = defaultdict(deque)
    for number, key in ours:
        here[key].append(number)
    known: dict[int, int] = {}
    new: list[int] = []
    for number, key in theirs:
        if here.get(key):
            known[number] = here[key].popleft()
        else:
            new.append(number)
    return known, new


def _events(conn: Connection) -> list[tuple[int, _Key]]:
    """Each event's number and what tells it apart, in order."""
    cells: dict[int, list[str]] = defaultdict(list)
    for event_id, code in rows_of(
        conn, select(EVENT_CELL).order_by(EVENT_CELL.c.event_id, EVENT_CELL.c.code)
    ):
        cells[event_id].append(code)
    found = []
    for number, at_us, verb, subject, detail, because in rows_of(conn, select(EVENT).order_by(EVENT.c.id)):
        told = "" if verb == _NUMBERED else subject
        found.append((number, (at_us, verb, told, detail, because, tuple(cells.get(number, ())))))
    return found


def _rows(conn: Connection, table: Table) -> Iterator[Row]:
    for row in rows_of(conn, select(table).order_by(*table.primary_key)):
        yield dict(row._mapping)


def _next(conn: Connection, table: Table) -> int:
    return int(conn.execute(select(func.max(table.c.id))).scalar() or 0) + 1


def _coded(conn: Connection, table: Table) -> dict[str, int]:
    """The event behind each code of a table."""
    return {row.code: row.event_id for row in rows_of(conn, select(table.c.code, table.c.event_id))}
