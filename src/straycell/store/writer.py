"""The writing door: one `with` is one transaction under the write lock; all of it is kept, or nothing.

At its end the verdict of every cell it touched is recorded anew (rejudge.py).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from straycell.builds import Build, GroupVoltage
from straycell.cells import Cell, CellFacts
from straycell.keys import RecordKey
from straycell.meters import Meter
from straycell.readings import Charge, Reading
from straycell.readings.charger import Charger
from straycell.store.book import (
    bench,
    boxes,
    builds,
    cells,
    chargers,
    events,
    handovers,
    household,
    meters,
    projects,
    readings,
    teardowns,
    traces,
)
from straycell.store.book.facts import add_cells, correct_cell
from straycell.store.book.records import (
    KEEP,
    Box,
    Comparison,
    HandoverEntry,
    Keep,
    NewTrace,
    ProjectEntry,
    TraceEntry,
)
from straycell.store.book.supersede import supersede
from straycell.store.carry import Carried, Former, restore_into
from straycell.store.damage import damage_named
from straycell.store.engine import connected, same_file, store_faults, writing_engine
from straycell.store.reader import Reader
from straycell.store.schema.create import prepare, require_current
from straycell.store.schema.validation import utc
from straycell.store.session import Pen
from straycell.store.verdicts import rejudge
from straycell.teardowns import Teardown

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet
    from straycell.store.exchange.table import Imported
    from straycell.store.merge.take_in import Merged


@contextmanager
def open_writer(
    path: Path, *, now: datetime, rules: RuleSet, create: bool = True, bench: str = "A", entry: str = ""
) -> Iterator[Writer]:
    """A store to write in, made (for bench letter `bench`) when missing and `create`. `entry`: see `Pen`.

    Waits for other writers. Commits at a clean end, rolls back on any exception. Raises StoreFault.
    """
    moment = utc(now)
    prepare(path, moment, create=create, bench=bench)
    with (
        store_faults(path),
        damage_named(path),
        same_file(path) as require_same,
        connected(writing_engine(path)) as conn,
        conn.begin(),
    ):
        # Asked under the lock: before it, a restore may still rename another file into place.
        require_same()
        require_current(conn, path)
        writer = Writer(Pen(conn, moment, rules, entry=entry), path)
        yield writer
        # Before the commit: no reader ever sees a reading without the verdict that follows from it.
        writer.settle()
        writer.close()


class Writer(Reader):
    """A reader that can also write. Every method is one event; `settle` may be called to see its verdicts."""

    def __init__(self, pen: Pen, path: Path) -> None:
        super().__init__(pen.conn, path)
        self._pen = self.pen = pen

    def settle(self) -> None:
        """Record the verdicts of all cells touched so far and let their stages follow."""
        rejudge.settle(self._pen)

    def close(self) -> None:
        """File all of it as one write."""
        self._pen.close()

    @property
    def lost(self) -> Mapping[str, tuple[str, bool]]:
        """Projects that lost a cell to a discard in this session: (the cell, whether it is built in)."""
        return self._pen.lost

    def _distrusted(self) -> Collection[str]:
        return self._pen.touched | self._pen.kin

    # what came in

    def add_teardown(
        self,
        title: str,
        kind: str,
        found_on: date | None = None,
        place: str = "",
        note: str = "",
        objects: int = 1,
    ) -> Teardown:
        """File a tear-down under the bench's next number. Raises BadData."""
        return teardowns.add_teardown(
            self._pen, title, kind, found_on=found_on, place=place, note=note, objects=objects
        )

    def correct_teardown(self, code: str, changes: Mapping[str, object], because: str) -> Teardown:
        """Put right what is said of a tear-down; what was said before stays. Raises BadData, UsageFault."""
        return teardowns.correct_teardown(self._pen, code, changes, because)

    def add_cells(
        self,
        facts: CellFacts,
        *,
        count: int = 1,
        code: str | None = None,
        teardown: str | None = None,
        pack: str | None = None,
        box: str | None = None,
    ) -> list[Cell]:
        """Log alike cells under the next codes, or one under a code set aside. Raises BadData, UsageFault."""
        return add_cells(self._pen, facts, count=count, code=code, teardown=teardown, pack=pack, box=box)

    def correct_cell(
        self,
        code: str,
        changes: Mapping[str, object],
        because: str,
        mistake: str | None = None,
        *,
        teardown: str | Keep | None = KEEP,
        pack: str | Keep | None = KEEP,
        box: str | Keep | None = KEEP,
    ) -> Cell:
        """Correct what is known of a cell; the earlier entry is kept. Raises BadData, UsageFault."""
        return correct_cell(self._pen, code, changes, because, mistake, teardown=teardown, pack=pack, box=box)

    def set_aside_codes(self, count: int, *, printed: bool = True) -> list[str]:
        """Codes for blank labels; not `printed`, for one that is written by hand."""
        return cells.set_aside_codes(self._pen, count, printed=printed)

    def record_labels(self, purpose: str, said: Mapping[str, str]) -> None:
        """Labels of these cells were printed; the fingerprint of what each says, by code."""
        events.record_labels(self._pen, purpose, said)

    def record_scale(self, printer: str, scale: float) -> None:
        """What a printer's pages must be drawn by so that they come out true."""
        events.record_scale(self._pen, printer, scale)

    # what was measured

    def add_meter(self, meter: Meter) -> Meter:
        """Declare a meter. Raises BadData."""
        return meters.add_meter(self._pen, meter)

    def add_charger(self, charger: Charger) -> Charger:
        """Record what was measured of a charger. Raises BadData."""
        return chargers.add_charger(self._pen, charger)

    def add_charge(self, charge: Charge) -> Charge:
        """Record a charge; returns it numbered. Raises BadData."""
        filed = readings.add_items(self._pen, [charge], "charge-added")[0]
        assert isinstance(filed, Charge)
        return filed

    def add_readings(self, items: Sequence[Reading]) -> list[Reading]:
        """Record readings as one write; returns them numbered. Raises BadData and records none."""
        filed = readings.add_items(self._pen, items, "readings-added")
        return [item for item in filed if isinstance(item, Reading)]

    def add_trace(
        self, new: NewTrace, items: Sequence[Reading | Charge] = (), again: str | None = None
    ) -> tuple[TraceEntry, list[Reading | Charge]]:
        """File a trace with what came out of it, as one write; returns both numbered. Raises BadData.

        `again`: why the same file is worked out anew; what it gave before is superseded.
        """
        return traces.add_trace(self._pen, new, items, again)

    def supersede(
        self,
        reading_id: RecordKey,
        mistake: str,
        because: str,
        right_cell: str | None = None,
        replacements: Sequence[Reading | Charge] = (),
        *,
        undone: bool = False,
    ) -> list[Reading | Charge]:
        """Take a reading or charge back; returns what stands in its place. Raises BadData, UsageFault."""
        return supersede(self._pen, reading_id, mistake, because, right_cell, replacements, undone)

    def refresh_verdicts(self, told: Callable[[int, int], None] | None = None, helpers: int = 1) -> int:
        """Record anew every verdict that no longer holds; returns how many. `told` hears (done, of how many).

        With `helpers` several processes judge when there are very many; only a program whose main module can
        be imported again may ask for that (see multiprocessing, spawn).
        """
        return rejudge.refresh(self._pen, told, helpers)

    def import_cells(
        self,
        file: Path,
        *,
        partial: bool = False,
        mapping: Mapping[str, str] | None = None,
        told: Callable[[int, int], None] | None = None,
    ) -> Imported:
        """Log the cells of a CSV file, all or none; what is wrong with it comes back. Raises BadData."""
        from straycell.store.exchange.cells import import_cells

        return import_cells(self._pen, file, partial=partial, mapping=mapping, told=told)

    def import_readings(
        self,
        file: Path,
        *,
        partial: bool = False,
        mapping: Mapping[str, str] | None = None,
        told: Callable[[int, int], None] | None = None,
    ) -> Imported:
        """Record the readings of a CSV file, all or none; what is wrong comes back. Raises BadData."""
        from straycell.store.exchange.readings import import_readings

        return import_readings(self._pen, file, partial=partial, mapping=mapping, told=told)

    def merge(self, file: Path, told: Callable[[int, int], None] | None = None) -> Merged:
        """Take another bench's store into this one. Raises BadData (codes that clash), StoreFault."""
        from straycell.store.merge.take_in import merge_store

        return merge_store(self._pen, self.path, file, told)

    def carry_over(self, former: Former) -> Carried:
        """Write what must not be lost of a replaced store into this restored copy."""
        return restore_into(self._pen, former)

    def take_letter(self, letter: str) -> str:
        """Give this copy of a store a letter of its own; returns the former one. Raises BadData."""
        return bench.take_letter(self._pen, letter)

    # what it is for

    def add_project(
        self, name: str, text: str, priority: int, due: date | None = None, replace: bool = False
    ) -> ProjectEntry:
        """File a project's text. Raises BadData."""
        return projects.add_project(self._pen, name, text, priority, due, replace=replace)

    def drop_project(self, name: str) -> None:
        """Give a project up and free what was reserved for it. Raises BadData."""
        builds.drop_project(self._pen, name)

    def reserve(self, project: str, groups: Sequence[Sequence[str]], plan: str) -> Build:
        """Promise cells to a project. Raises NegativeAnswer when one is not free or not fit, BadData."""
        # What this session recorded may just have condemned one of them.
        self.settle()
        return builds.reserve(self._pen, project, groups, plan)

    def finish(self, project: str) -> Build:
        """The reserved cells are built in. Raises NegativeAnswer when one is no longer fit, BadData."""
        # Weeks may lie between reserving and building in, and this session may hold a bad reading.
        self.settle()
        return builds.finish(self._pen, project)

    def inspect_groups(self, project: str, groups: Sequence[GroupVoltage], held: Collection[int]) -> Build:
        """Record the rest voltages of a build's groups; the cells of the `held` ones go on hold."""
        return builds.inspect(self._pen, project, groups, held)

    def dismantle(self, project: str) -> Build:
        """Take a build apart, or free a reservation. Raises BadData."""
        return builds.dismantle(self._pen, project)

    def discard(self, code: str, because: str) -> str | None:
        """Put a cell out of use for good; returns the project that lost it. Raises BadData."""
        return builds.discard(self._pen, code, because)

    # where it lies

    def add_box(self, name: str, kind: str = "", limit_wh: float | None = None) -> Box:
        """A new box. Raises BadData."""
        return boxes.add_box(self._pen, name, kind, limit_wh)

    def move_cell(self, code: str, box: str | None) -> Cell:
        """Lay a cell into a box. Raises BadData, also where it must not lie or finds no room."""
        self.settle()  # what was just recorded may have condemned it
        return boxes.move_cell(self._pen, code, box)

    def add_incident(self, kind: str, codes: Sequence[str], note: str = "", severe: bool = False) -> int:
        """Something happened to cells; returns the event's number. Raises BadData."""
        return builds.add_incident(self._pen, kind, codes, note, severe=severe)

    # what leaves, and what must be compared

    def add_handover(self, place: str, codes: Sequence[str] | None = None) -> HandoverEntry:
        """Gather the waiting condemned cells, or these of them, for a place. Raises BadData."""
        self.settle()
        return handovers.add_handover(self._pen, place, codes)

    def close_handover(self, number: RecordKey) -> HandoverEntry:
        """The cells on it have left the house. Raises BadData."""
        self.settle()
        return handovers.close_handover(self._pen, number)

    def compare_meter(
        self, name: str, day: date, note: str = "", known: household.KnownValue | None = None
    ) -> tuple[Comparison, bool]:
        """A meter was held against a better one; also whether it was off by more than its accuracy. Raises BadData."""
        return household.compare_meter(self._pen, name, day, note, known)

    def withdraw_faulty(self, name: str, start: datetime, end: datetime, because: str) -> list[Reading]:
        """Take back all that a faulty meter showed between two times; returns that. Raises BadData."""
        return household.withdraw_faulty(self._pen, name, start, end, because)
