"""Another bench's store taken into this one: its unknown writes in their chain's order, their rows as they are.

Nothing is renumbered and nothing is paired by its words. What follows from the rows is made again at the end, so
that it makes no difference which of two stores takes in the other.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, Table, select

from straycell.errors import BadData, StoreFault
from straycell.store import chain
from straycell.store.book import derived
from straycell.store.book.bench import recount
from straycell.store.book.names import shown
from straycell.store.book.register import said
from straycell.store.book.stock import cells
from straycell.store.book.stock.facts import FACTS
from straycell.store.merge.clashes import (
    refuse_clashes,
    refuse_double_builds,
    refuse_forks,
    require_plain_row,
)
from straycell.store.photograph_files import bring, folder_of
from straycell.store.schema import tables
from straycell.store.schema.create import require_current
from straycell.store.schema.tables import (
    BENCH,
    BOX,
    EVENT,
    EVENT_CELL,
    FINDING,
    FINDING_FELL,
    METER,
    PHOTOGRAPH,
    PROJECT,
    READING,
    SUPERSESSION,
    UPSET,
    WRITE,
)
from straycell.store.session import Pen, among, insert_many, rows_of
from straycell.store.sqlite.engine import connected, reading_engine, store_faults
from straycell.store.sqlite.file import recover

Row = dict[str, Any]
Progress = Callable[[int, int], None]
AT_REST: dict[str, Row] = {
    # what a row says until it is made to follow from the records: nothing that could meet another's
    "build": {"state": "dismantled"},
    "build_cell": {"live": False},
    "handover": {"closed_at_us": None, "body": ""},
    "handover_cell": {"state": "left-out"},
}


@dataclass(slots=True)
class Merged:
    """What a merge brought: new rows by kind, and what the person should know."""

    bench: str
    cells: int = 0
    readings: int = 0
    events: int = 0
    notes: list[str] = field(default_factory=list)


def merge_store(pen: Pen, file: Path, progress: Progress | None = None) -> Merged:
    """Take the store `file` into the one being written.

    Raises BadData (copies that went their own ways, codes that clash, a cell in two builds), StoreFault.
    """
    # Merged with itself a store would wait for its own lock.
    if file.exists() and pen.store.exists() and pen.store.samefile(file):
        raise BadData(f"{file} is this store itself", "name the other bench's store")
    with store_faults(file), connected(reading_engine(file)) as other:
        # The other file may come from a machine that was switched off in mid-write.
        recover(file, other)
        with other.begin():
            require_current(other, file)
            return _Merge(pen, other, file, progress).run()


class _Merge:
    """One merge. `writes` and `events` translate the other file's row numbers into this one's."""

    def __init__(self, pen: Pen, other: Connection, file: Path, progress: Progress | None) -> None:
        self.pen, self.other, self.file, self.progress = pen, other, file, progress
        self.merged = Merged(str(other.execute(select(BENCH.c.letter)).scalar_one()))
        self.writes: dict[int, int] = {}
        self.events: dict[int, int] = {}

    def run(self) -> Merged:
        # Refused before anything is written: afterwards two histories of one number could not be told apart.
        refuse_forks(self.pen.conn, self.other, self.file)
        unknown = self._unknown()
        if not unknown:
            return self.merged
        refuse_clashes(self.pen.conn, self.other, [write["id"] for write in unknown], self.merged.bench)
        self._take_writes(unknown)
        names = ("event", *chain.CONTENT)
        for step, name in enumerate(names, 1):
            self._take_rows(vars(tables)[name.upper()])
            if self.progress is not None:
                self.progress(step, len(names))
        refuse_double_builds(self.pen.conn)
        derived.follow(
            self.pen.conn, handovers=None, builds=None, projects=None, teardowns=None, cells=self._touch()
        )
        recount(self.pen.conn)
        self._join()
        self.merged.notes += [*self._disputes(), *self._names(), *self._photographs()]
        return self.merged

    def _unknown(self) -> list[Row]:
        """The other store's writes that are not here, in order; each checked against its rows."""
        ours = set(self.pen.conn.execute(select(WRITE.c.key)).scalars())
        # A chain that does not fit its rows could bring rows that nobody wrote, signed by nothing.
        fault = next(chain.faults(self.other), None)
        if fault is not None:
            raise StoreFault(f"was changed by hand: {fault}", "see: straycell store check", file=self.file)
        return [
            dict(row._mapping)
            for row in self.other.execute(select(WRITE).order_by(WRITE.c.id))
            if row.key not in ours
        ]

    def _take_writes(self, unknown: list[Row]) -> None:
        first = chain.next_id(self.pen.conn)
        self.writes = {write["id"]: first + place for place, write in enumerate(unknown)}
        insert_many(self.pen.conn, WRITE, ({**write, "id": self.writes[write["id"]]} for write in unknown))

    def _take_rows(self, table: Table) -> None:
        # Row numbers are each file's own; only keys mean the same in both, so numbers are translated.
        rows = list(self._rows(table))
        if table is EVENT:
            first = self.pen.last_event + 1
            self.events = {row["id"]: first + place for place, row in enumerate(rows)}
        for row in rows:
            require_plain_row(table, row, self.file)
        insert_many(self.pen.conn, table, (self._here(table, row) for row in rows))
        if table.name in ("cell", "reading", "event"):
            setattr(self.merged, f"{table.name}s", len(rows))

    def _rows(self, table: Table) -> Iterator[Row]:
        """The rows of the unknown writes, in the order they came."""
        by_write = "write_id" in table.c
        column, known = (table.c.write_id, self.writes) if by_write else (table.c.event_id, self.events)
        query: Select[Any] = select(table).where(among(column, known))
        order = (table.c.event_id, table.c.code) if table is EVENT_CELL else ()
        for row in rows_of(self.other, query.order_by(*order) if order else _as_came(query)):
            yield dict(row._mapping)

    def _here(self, table: Table, row: Row) -> Row:
        if table is EVENT:
            return {**row, "id": self.events[row["id"]], "write_id": self.writes[row["write_id"]]}
        if "write_id" in row:
            row["write_id"] = self.writes[row["write_id"]]
        else:
            row["event_id"] = self.events[row["event_id"]]
        row.pop("id", None)
        # Unique indexes on live things could meet this store's rows before it is known which of them is live.
        return row | AT_REST.get(table.name, {})

    def _touch(self) -> set[str]:
        """The cells that the writes were about; their verdicts and their packs' are made again."""
        query = select(EVENT_CELL.c.code).where(among(EVENT_CELL.c.event_id, list(self.events.values())))
        codes = set(self.pen.conn.execute(query.distinct()).scalars())
        # A restore may carry that a record was taken back which its own backup did not hold.
        back = select(SUPERSESSION.c.record).where(among(SUPERSESSION.c.event_id, list(self.events.values())))
        codes |= set(self.pen.conn.execute(select(READING.c.code).where(READING.c.key.in_(back))).scalars())
        happened = select(UPSET.c.code).where((derived.HAPPENED + UPSET.c.key).in_(back))
        codes |= set(self.pen.conn.execute(happened).scalars())
        # What another merge found or let fall bears no event of its cells.
        made = among(FINDING.c.write_id, list(self.writes.values()))
        codes |= set(self.pen.conn.execute(select(FINDING.c.code).where(made)).scalars())
        fell = select(FINDING_FELL.c.digest).where(among(FINDING_FELL.c.write_id, list(self.writes.values())))
        codes |= set(
            self.pen.conn.execute(select(FINDING.c.code).where(FINDING.c.digest.in_(fell))).scalars()
        )
        self.pen.touched |= codes
        # A merge is rare, and a verdict it leaves stale would be believed: every cell is judged again, and
        # recorded where its answer changed (a leak on the other bench holds this bench's siblings, too).
        self.pen.kin |= set(cells.codes(self.pen.conn, withdrawn=True))
        return codes

    def _join(self) -> None:
        """One write over both chains where neither followed the other: the same whichever side makes it."""
        rows = self.pen.conn.execute(select(WRITE.c.key, WRITE.c.parents, WRITE.c.at_us)).all()
        # Two heads stay two until one write follows both: then both stores are at rest, and merging again
        # adds nothing.
        followed = {parent for row in rows for parent in row.parents.split()}
        heads = {row.key: row.at_us for row in rows if row.key not in followed}
        self.pen.conn.execute(BENCH.update().values(heads=" ".join(sorted(heads))))
        if len(heads) > 1:
            self.pen.merging = (tuple(sorted(heads)), max(heads.values()))
            benches = sorted(set(self.pen.conn.execute(select(WRITE.c.bench).distinct()).scalars()) - {""})
            self.pen.event("store-merged", detail={"benches": benches})

    def _disputes(self) -> Iterator[str]:
        # A dispute holds the cell: the person should hear of it now and not from a verdict some day.
        for code, fields in said(self.pen.conn, sorted(self.pen.touched), FACTS).items():
            for name, found in fields.items():
                if found.disputed:
                    values = " and ".join(str(head.value) for head in found.heads)
                    yield f"{code}: two benches corrected its {name.replace('_', ' ')} differently ({values})"

    def _photographs(self) -> Iterator[str]:
        # Their files come along before the write counts: after it, the store would name what it does not have.
        new = among(PHOTOGRAPH.c.event_id, list(self.events.values()))
        rows = self.pen.conn.execute(select(PHOTOGRAPH.c.sha256, PHOTOGRAPH.c.code).where(new)).all()
        lost = set(bring(folder_of(self.file), folder_of(self.pen.store), [row.sha256 for row in rows]))
        for row in rows:
            if row.sha256 in lost:
                yield f"{row.code}: the file of photograph {row.sha256[:12]} is missing beside {self.file}"

    def _names(self) -> Iterator[str]:
        for table in (BOX, METER, PROJECT):
            for key, name in shown(self.pen.conn, table).items():
                if name.endswith(f"(bench {key[0]})"):
                    yield f"{table.name} '{name.rpartition(' (')[0]}' of bench {key[0]} is shown as '{name}' here"


def _as_came(query: Select[Any]) -> Select[Any]:
    # Rows may point to earlier ones of their own table, so the order of arrival is the safe one.
    from sqlalchemy import text

    return query.order_by(text("rowid"))
