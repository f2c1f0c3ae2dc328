"""The reading door: a store opened read-only. Looking creates no file and changes nothing.

Each method sees one state of the store; no lock is held between calls.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, select

from straycell.builds import Build
from straycell.cells import Cell, Chemistry, Form, Stage
from straycell.errors import StoreFault
from straycell.keys import RecordKey
from straycell.meters import Meter
from straycell.readings import Charge, Quantity, Reading
from straycell.readings.charger import Charger
from straycell.store import chain
from straycell.store.book import (
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
from straycell.store.book.records import (
    Box,
    Comparison,
    Event,
    HandoverEntry,
    LabelPrint,
    ProjectEntry,
    RecordedReading,
    Standing,
    TraceEntry,
)
from straycell.store.book.typed import find_key
from straycell.store.check import faults
from straycell.store.column_values import from_us
from straycell.store.damage import damage_named
from straycell.store.engine import checking, connected, reading_engine, recover, store_faults
from straycell.store.schema.create import VERSION, require_current
from straycell.store.schema.tables import BENCH, CELL, EVENT, HANDOVER, PROJECT, READING, TRACE, VERDICT
from straycell.store.verdicts import recorded as verdicts
from straycell.store.verdicts.evidence import evidences
from straycell.teardowns import Teardown

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet
    from straycell.acceptance.evidence import Evidence
    from straycell.acceptance.reasons import Outcome, Verdict
    from straycell.safety.due.survey import Household
    from straycell.safety.energy import Amount
    from straycell.safety.handover.listing import HandoverList


@contextmanager
def open_reader(path: Path) -> Iterator[Reader]:
    """A read-only store. Raises StoreFault: missing, no store, locked, damaged, older or newer."""
    with store_faults(path), damage_named(path), connected(reading_engine(path)) as conn:
        # A killed writer's journal has to be rolled back before what is read is the last complete write.
        recover(path, conn)
        with conn.begin():
            require_current(conn, path)
        yield Reader(conn, path)


class Reader:
    """Everything that can be asked of a store. Lists are in a fixed order; names match exactly."""

    def __init__(self, conn: Connection, path: Path) -> None:
        self._conn = conn
        self.path = path

    @contextmanager
    def _look(self) -> Iterator[Connection]:
        """One state of the store; inside a write, the state as written so far."""
        # A writer reads its own rows, and several looks in one block must agree with each other.
        if self._conn.in_transaction():
            yield self._conn
            return
        with self._conn.begin():
            yield self._conn

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """All that is asked within the block is of one state; no other process can commit meanwhile."""
        with self._look():
            yield

    # bench and codes

    def bench_letter(self) -> str:
        """The letter that this bench's codes begin with."""
        with self._look() as conn:
            return str(conn.execute(select(BENCH.c.letter)).scalar_one())

    def codes(self) -> list[str]:
        """Every cell's code, in order."""
        with self._look() as conn:
            return cells.codes(conn)

    def blank_codes(self) -> list[str]:
        """Codes set aside that no cell bears yet."""
        with self._look() as conn:
            return cells.blank_codes(conn)

    def next_blank(self) -> str:
        """The printed blank of this bench that follows the one used last; "" for none."""
        with self._look() as conn:
            return cells.next_blank(conn, self.bench_letter())

    def find_code(self, text: str) -> str:
        """The code of an existing cell as typed or scanned. Raises BadData with the nearest codes."""
        with self._look() as conn:
            return cells.find_code(conn, text)

    # cells and where they came from

    def cell(self, code: str) -> Cell:
        """One cell. Raises BadData naming the nearest codes."""
        with self._look() as conn:
            return cells.cell(conn, code)

    def cells(
        self,
        *,
        stage: Stage | None = None,
        chemistry: Chemistry | None = None,
        form: Form | None = None,
        box: str | None = None,
    ) -> list[Cell]:
        """Cells by code, those that fit every given filter."""
        with self._look() as conn:
            return cells.cells(conn, stage=stage, chemistry=chemistry, form=form, box=box)

    def teardowns(self) -> list[Teardown]:
        """All tear-downs in the order they were filed."""
        with self._look() as conn:
            return teardowns.teardowns(conn)

    def teardown(self, code: str) -> Teardown:
        """One tear-down by its code as typed. Raises BadData."""
        with self._look() as conn:
            return teardowns.teardown(conn, code)

    def teardown_corrections(self, code: str) -> list[Event]:
        """What was put right of a tear-down, oldest first; `from` and `to` stand in the detail."""
        with self._look() as conn:
            return teardowns.corrections(conn, code)

    def boxes(self) -> list[Box]:
        """All boxes by name."""
        with self._look() as conn:
            return boxes.boxes(conn)

    def box(self, name: str) -> Box:
        """One box. Raises BadData."""
        with self._look() as conn:
            return boxes.box(conn, name)

    def box_energy(self, name: str) -> Amount:
        """Energy in Wh of what lies in a box when all of it is full. Raises BadData."""
        with self._look() as conn:
            boxes.box(conn, name)
            return boxes.contents(conn, name).energy

    # safe keeping

    def household(self, rules: RuleSet, now: datetime) -> Household:
        """Everything that `due` looks at."""
        with self._look() as conn:
            judged = verdicts.verdicts(conn, rules, now, None, self._distrusted())
            return household.household(conn, rules, now, judged)

    def comparisons(self) -> list[Comparison]:
        """When each meter was last compared, or else declared."""
        with self._look() as conn:
            return household.comparisons(conn)

    def handovers(self) -> list[HandoverEntry]:
        """All hand-overs in the order they were begun."""
        with self._look() as conn:
            return handovers.handovers(conn)

    def handover(self, number: RecordKey) -> HandoverEntry:
        """One hand-over. Raises BadData."""
        with self._look() as conn:
            return handovers.handover(conn, number)

    def handover_list(self, number: RecordKey, rules: RuleSet, now: datetime) -> HandoverList:
        """The list of a hand-over: as it would go now, or as it went. Raises BadData."""
        with self._look() as conn:
            return handovers.list_of(conn, handovers.handover(conn, number), rules, now)

    def out_of_use(self) -> dict[str, str]:
        """Why each cell that is condemned or handed over went out of use, by code in order."""
        with self._look() as conn:
            return handovers.out_of_use(conn)

    # readings

    def meters(self) -> list[Meter]:
        """All meters by name."""
        with self._look() as conn:
            return meters.meters(conn)

    def chargers(self) -> list[Charger]:
        """Every measurement of every charger, oldest first."""
        with self._look() as conn:
            return chargers.chargers(conn)

    def meter(self, name: str) -> Meter:
        """One meter. Raises BadData."""
        with self._look() as conn:
            return meters.meter(conn, name)

    def recorded(self, code: str, *, with_superseded: bool = True) -> list[RecordedReading]:
        """All of one cell's readings and charges, oldest first."""
        with self._look() as conn:
            return readings.recorded(conn, code, with_superseded=with_superseded)

    def reading(self, number: RecordKey) -> RecordedReading:
        """One reading or charge by its number. Raises BadData."""
        with self._look() as conn:
            return readings.reading(conn, number)

    def latest(self, quantity: Quantity) -> Reading | Charge | None:
        """What was recorded last of a quantity, whatever the cell: its meter and conditions are usual here."""
        with self._look() as conn:
            return readings.latest(conn, quantity)

    def reading_number(self, text: str) -> RecordKey:
        """The number of a reading or charge as a person types it. Raises BadData."""
        with self._look() as conn:
            return find_key(conn, READING, text, "reading")

    def trace_number(self, text: str) -> RecordKey:
        """The number of a trace as a person types it. Raises BadData."""
        with self._look() as conn:
            return find_key(conn, TRACE, text, "trace")

    def handover_number(self, text: str) -> RecordKey:
        """The number of a hand-over as a person types it. Raises BadData."""
        with self._look() as conn:
            return find_key(conn, HANDOVER, text, "hand-over")

    # traces

    def traces(self, code: str | None = None) -> list[TraceEntry]:
        """All traces, or one cell's, in the order they were filed."""
        with self._look() as conn:
            return traces.traces(conn, code)

    def trace(self, number: RecordKey) -> TraceEntry:
        """One trace by its number. Raises BadData."""
        with self._look() as conn:
            return traces.trace(conn, number)

    def trace_file(self, number: RecordKey) -> bytes:
        """The file of a trace, byte for byte. Raises BadData."""
        with self._look() as conn:
            return traces.trace_file(conn, number)

    def trace_readings(self, number: RecordKey) -> tuple[list[RecordKey], list[RecordKey]]:
        """Numbers of what came out of a trace: (those that stand, those superseded)."""
        with self._look() as conn:
            return traces.readings_of(conn, number)

    def require_new_trace(self, raw: bytes, code: str, *, again: bool = False) -> None:
        """Raise BadData when the same file is in the store and was not taken back (`again`: of another cell)."""
        with self._look() as conn:
            traces.require_new(conn, raw, code, again=again)

    def curves(self, numbers: Collection[RecordKey]) -> dict[RecordKey, dict[str, Any]]:
        """The few points kept of each of these traces, by number."""
        with self._look() as conn:
            return traces.curves(conn, numbers)

    # verdicts

    def evidence(self, code: str) -> Evidence:
        """What one cell's verdict is made from. Raises BadData when there is no such cell."""
        with self._look() as conn:
            cells.require_cells(conn, [code])
            return evidences(conn, [code])[code]

    def evidences(self, codes: Collection[str] | None = None) -> dict[str, Evidence]:
        """The same for many cells (None: all), by code in order; cells that are not there are left out."""
        with self._look() as conn:
            return evidences(conn, codes)

    def verdict(self, code: str, rules: RuleSet, now: datetime) -> Verdict:
        """The verdict at `now`: the recorded one while it holds, else computed. Raises BadData."""
        with self._look() as conn:
            cells.require_cells(conn, [code])
            return verdicts.verdicts(conn, rules, now, [code], self._distrusted())[code]

    def verdicts(
        self, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
    ) -> dict[str, Verdict]:
        """The verdicts of many cells (None: all), by code in order. Raises BadData for one not there."""
        with self._look() as conn:
            if codes is not None:
                cells.require_cells(conn, codes)
            return verdicts.verdicts(conn, rules, now, codes, self._distrusted())

    def outcomes(
        self, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
    ) -> dict[str, Outcome]:
        """Only the outcomes of many cells, which spares reading all their reasons."""
        with self._look() as conn:
            if codes is not None:
                cells.require_cells(conn, codes)
            standings = verdicts.standings(conn, rules, now, codes, self._distrusted())
            return {code: standing.outcome for code, standing in standings.items()}

    def standings(
        self, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
    ) -> dict[str, Standing]:
        """The outcomes of many cells and until when they hold, for lists."""
        with self._look() as conn:
            if codes is not None:
                cells.require_cells(conn, codes)
            return verdicts.standings(conn, rules, now, codes, self._distrusted())

    def _distrusted(self) -> Collection[str]:
        """Cells whose recorded verdict is not yet renewed: none, except in the middle of a write."""
        return ()

    def history(self, code: str) -> list[Event]:
        """All events of one cell, oldest first. Raises BadData when there is no such cell."""
        with self._look() as conn:
            cells.require_cells(conn, [code])
            return events.history(conn, code)

    def label_prints(self) -> dict[str, LabelPrint]:
        """The latest printed label of every cell that has one, by code."""
        with self._look() as conn:
            return events.label_prints(conn)

    def printer_scale(self, printer: str) -> float:
        """What this printer's pages are drawn by. Raises BadData for a printer not measured yet."""
        with self._look() as conn:
            return events.printer_scale(conn, printer)

    def own_events(self, since: datetime) -> list[tuple[Event, list[str]]]:
        """What this bench wrote since a time (UTC): each event with its readings that still count, oldest first."""
        with self._look() as conn:
            found = events.since(conn, since, self.bench_letter())
            recorded = events.recorded_by(conn, found)
            return [(event, recorded.get(event.id, [])) for event in found]

    # projects and builds

    def projects(self) -> list[ProjectEntry]:
        """All projects, the most urgent first."""
        with self._look() as conn:
            return projects.projects(conn)

    def project(self, name: str) -> ProjectEntry:
        """One project. Raises BadData."""
        with self._look() as conn:
            return projects.project(conn, name)

    def builds(self, live_only: bool = True) -> list[Build]:
        """Builds in the order they were reserved."""
        with self._look() as conn:
            return builds.builds(conn, live_only=live_only)

    def live_build(self, project: str) -> Build | None:
        """The reserved or finished build of a project."""
        with self._look() as conn:
            return builds.live_build(conn, project)

    # the store itself

    def info(self) -> dict[str, Any]:
        """What the store is and how much it holds."""
        tables = {
            "cells": CELL,
            "readings": READING,
            "traces": TRACE,
            "verdicts": VERDICT,
            "projects": PROJECT,
            "events": EVENT,
        }
        with self._look() as conn:
            bench = conn.execute(select(BENCH)).one()
            return {
                "path": str(self.path),
                "version": VERSION,
                "bench": bench.letter,
                "created_at": from_us(bench.created_at_us).isoformat(),
                "size_bytes": self.path.stat().st_size,
                **{
                    name: conn.execute(select(func.count()).select_from(t)).scalar_one()
                    for name, t in tables.items()
                },
            }

    def export_dir(self, folder: Path) -> list[Path]:
        """Every table as CSV in a new folder; returns the files. Raises BadData."""
        from straycell.store.exchange.export import export_dir

        with self._look() as conn:
            return export_dir(conn, folder)

    def lost_since(self, backup: Path) -> list[str]:
        """What a sound backup of this store holds and the store does not. Raises StoreFault for a file that is none."""
        with store_faults(backup), connected(reading_engine(backup)) as other:
            recover(backup, other)
            with other.begin(), self._look() as conn:
                require_current(other, backup)
                fault = next(chain.faults(other), None)
                if fault is not None:
                    raise StoreFault(f"is no sound backup: {fault}", "name another backup", file=backup)
                return list(chain.lost_since(conn, other))

    def check(self, rules: RuleSet | None = None, now: datetime | None = None) -> list[str]:
        """What is wrong with the store, in words; verdicts under other rules than these are not re-made."""
        with store_faults(self.path), checking(self.path) as conn:
            return faults(conn, rules, now)
