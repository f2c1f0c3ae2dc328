"""The reading door: a store opened read-only. Looking creates no file and changes nothing.

Each method sees one state of the store; no lock is held between calls.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from sqlalchemy import Connection, func, select

from straycell.acceptance import Evidence, Outcome, RuleSet, Verdict
from straycell.errors import BadData, StoreFault
from straycell.safety.due.survey import Household
from straycell.store import chain
from straycell.store.book import events as _events
from straycell.store.book import names as _names
from straycell.store.book import photographs as _photographs
from straycell.store.book.measured import meters as _meters
from straycell.store.book.measured import readings as _readings
from straycell.store.book.measured import traces as _traces
from straycell.store.book.records import Photograph, Standing
from straycell.store.book.stock import boxes as _boxes
from straycell.store.book.stock import cells as _cells
from straycell.store.book.stock import household as _household
from straycell.store.book.stock import teardowns as _teardowns
from straycell.store.book.use import builds as _builds
from straycell.store.book.use import handovers as _handovers
from straycell.store.book.use import projects as _projects
from straycell.store.check import damage_named, faults
from straycell.store.column_values import from_us
from straycell.store.photograph_files import folder_of, read
from straycell.store.schema.create import VERSION, require_current
from straycell.store.schema.tables import BENCH, CELL, EVENT, PROJECT, READING, TRACE, VERDICT
from straycell.store.sqlite.engine import checking, connected, reading_engine, store_faults
from straycell.store.sqlite.file import recover
from straycell.store.verdicts import evidence as _evidence
from straycell.store.verdicts import recorded as _verdicts


@contextmanager
def open_reader(path: Path) -> Iterator[Reader]:
    """A read-only store. Raises StoreFault: missing, no store, locked, damaged, older or newer."""
    with store_faults(path), damage_named(path), connected(reading_engine(path)) as conn:
        yield ready(conn, path)


def ready(conn: Connection, path: Path) -> Reader:
    """A reader on an open connection, of a store that can be read as it is. Raises StoreFault."""
    # A killed writer's journal has to be rolled back before what is read is the last complete write.
    recover(path, conn)
    with conn.begin():
        require_current(conn, path)
    return Reader(conn, path)


P = ParamSpec("P")
R = TypeVar("R")


def _looks(made: Callable[Concatenate[Connection, P], R]) -> Callable[Concatenate[Reader, P], R]:
    """The same question as a method of a reader, asked of one state of the store."""

    @wraps(made)
    def method(self: Reader, /, *args: P.args, **more: P.kwargs) -> R:
        with self.look() as conn:
            return made(conn, *args, **more)

    return method


class Reader:
    """Everything that can be asked of a store. Lists are in a fixed order; names match exactly.

    What a method takes, gives and raises is written at the function of `book` that it is made of.
    """

    def __init__(self, conn: Connection, path: Path) -> None:
        self._conn = conn
        self.path = path

    @contextmanager
    def look(self) -> Iterator[Connection]:
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
        with self.look():
            yield

    bench_letter = _looks(_names.letter)
    own_events = _looks(_events.own)

    codes = _looks(_cells.codes)
    blank_codes = _looks(_cells.blank_codes)
    next_blank = _looks(_cells.next_blank)
    find_code = _looks(_cells.find_code)
    cell = _looks(_cells.cell)
    cells = _looks(_cells.cells)
    history = _looks(_events.history)
    notes = _looks(_events.notes)
    last_event = _looks(_events.last_event)
    charges_begun = _looks(_events.charges_begun)
    label_prints = _looks(_events.label_prints)
    printer_scale = _looks(_events.printer_scale)

    teardowns = _looks(_teardowns.teardowns)
    teardown = _looks(_teardowns.teardown)
    withdrawn_teardowns = _looks(_teardowns.withdrawn)
    teardown_corrections = _looks(_teardowns.corrections)
    boxes = _looks(_boxes.boxes)
    box = _looks(_boxes.box)

    meters = _looks(_meters.meters)
    meter = _looks(_meters.meter)
    chargers = _looks(_meters.chargers)
    require_chargers = _looks(_meters.require_chargers)
    recorded = _looks(_readings.recorded)
    reading = _looks(_readings.reading)
    latest = _looks(_readings.latest)
    reading_number = _looks(_names.reading_number)
    trace_number = _looks(_names.trace_number)
    handover_number = _looks(_names.handover_number)
    traces = _looks(_traces.traces)
    trace = _looks(_traces.trace)
    trace_file = _looks(_traces.trace_file)
    trace_readings = _looks(_traces.readings_of)
    require_new_trace = _looks(_traces.require_new)
    curves = _looks(_traces.curves)

    handovers = _looks(_handovers.handovers)
    handover = _looks(_handovers.handover)
    handover_list = _looks(_handovers.list_numbered)
    out_of_use = _looks(_handovers.out_of_use)
    projects = _looks(_projects.projects)
    project = _looks(_projects.project)
    builds = _looks(_builds.builds)
    live_build = _looks(_builds.live_build)

    evidence = _looks(_evidence.evidence)
    evidences = _looks(_evidence.evidences)

    # verdicts

    def distrusted(self) -> Collection[str]:
        """Cells whose recorded verdict is not yet renewed: none, except in the middle of a write."""
        return ()

    def verdict(self, code: str, rules: RuleSet, now: datetime, gathered: Evidence | None = None) -> Verdict:
        """The verdict at `now`: the recorded one while it holds, else computed. Raises BadData.

        `gathered` is its evidence, where the caller has it of this very state.
        """
        with self.look() as conn:
            _cells.require_cells(conn, [code])
            known = {} if gathered is None else {code: gathered}
            return _verdicts.verdicts(conn, rules, now, [code], self.distrusted(), known)[code]

    def verdicts(
        self, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
    ) -> dict[str, Verdict]:
        """The verdicts of many cells (None: all), by code in order. Raises BadData for one not there."""
        with self.look() as conn:
            _cells.require_cells(conn, codes or ())
            return _verdicts.verdicts(conn, rules, now, codes, self.distrusted())

    def standings(
        self, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
    ) -> dict[str, Standing]:
        """The outcomes of many cells and until when they hold, for lists, which spares reading their reasons."""
        with self.look() as conn:
            _cells.require_cells(conn, codes or ())
            return _verdicts.standings(conn, rules, now, codes, self.distrusted())

    def outcomes(
        self, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
    ) -> dict[str, Outcome]:
        """Only the outcomes of many cells."""
        return {code: found.outcome for code, found in self.standings(rules, now, codes).items()}

    def household(self, rules: RuleSet, now: datetime) -> Household:
        """Everything that `due` looks at."""
        with self.look() as conn:
            return _household.household(conn, rules, now, self.verdicts(rules, now))

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
        with self.look() as conn:
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

    def lost_since(self, backup: Path) -> list[str]:
        """What a sound backup of this store holds and the store does not. Raises StoreFault for a file that is none."""
        remedy = "name a backup of this store"
        if backup.exists() and backup.samefile(self.path):
            raise StoreFault("is the store itself", remedy, file=backup)
        with store_faults(backup), connected(reading_engine(backup)) as other:
            recover(backup, other)
            with other.begin():
                require_current(other, backup)
                fault = next(chain.faults(other), None)
                if fault is not None:
                    raise StoreFault(f"is not a sound backup: {fault}", "name another backup", file=backup)
                kept = chain.names_by_key(other)
        with store_faults(self.path), self.look() as conn:
            here = chain.names_by_key(conn)
        lost = [name for key, name in kept.items() if key not in here]
        # Nothing in common, not even their first writes: what another bench wrote is not lost here.
        if len(lost) == len(kept):
            raise StoreFault("is a backup of another store", remedy, file=backup)
        return [f"{name} is in the backup, and not in the store" for name in lost]

    def export_dir(self, folder: Path) -> list[Path]:
        """Every table as CSV, traces and photographs as files, in a new folder; returns the files. Raises BadData."""
        from straycell.store.exchange.export import export_dir

        with self.look() as conn:
            return export_dir(conn, self.path, folder)

    def photographs(self, code: str) -> list[Photograph]:
        """The photographs of a cell, oldest first."""
        with self.look() as conn:
            return _photographs.photographs(conn, self.path, code)

    def photograph_file(self, sha256: str) -> bytes:
        """A photograph that a record names, as JPEG. Raises BadData when none does, or its file is missing or altered."""
        with self.look() as conn:
            if not _photographs.is_named(conn, sha256):
                raise BadData("there is no such photograph", "open it from the page of its cell")
        return read(folder_of(self.path), sha256)

    def check(
        self, rules: RuleSet | None = None, now: datetime | None = None, store: Path | None = None
    ) -> list[str]:
        """What is wrong with the store, in words; verdicts under other rules than these are not re-made.

        `store`: the name it will have, where its file has another as yet; its photographs lie beside that.
        """
        with store_faults(self.path), checking(self.path) as conn:
            return faults(conn, rules, now, store or self.path)
