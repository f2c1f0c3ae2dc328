"""The writing door: one `with` is one transaction under the write lock; all of it is kept, or nothing.

At its end the verdict of every cell it touched is recorded again (rejudge.py).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from straycell.acceptance import RuleSet
from straycell.store.book import bench, events, photographs
from straycell.store.book.measured import meters, readings, traces
from straycell.store.book.measured import supersede as superseding
from straycell.store.book.stock import boxes, cells, facts, household, teardowns
from straycell.store.book.use import builds, handovers, incidents, projects
from straycell.store.check import damage_named
from straycell.store.reader import Reader
from straycell.store.schema.create import prepare, require_current
from straycell.store.schema.validation import utc
from straycell.store.session import Pen
from straycell.store.sqlite.engine import connected, same_file, store_faults, writing_engine
from straycell.store.verdicts import rejudge

P = ParamSpec("P")
R = TypeVar("R")


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
        writer = Writer(Pen(conn, moment, rules, path, entry=entry), path)
        yield writer
        # Before the commit: no reader ever sees a reading without the verdict that follows from it.
        writer.settle()
        writer.close()


def _writes(
    made: Callable[Concatenate[Pen, P], R], *, settled: bool = False
) -> Callable[Concatenate[Writer, P], R]:
    """The same write as a method of a writer: all of it or, when it is refused, nothing.

    `settled` ones go by the verdicts of what this session recorded before: it may just have condemned a cell.
    """

    @wraps(made)
    def method(self: Writer, /, *args: P.args, **more: P.kwargs) -> R:
        if settled:
            self.settle()
        return self.write(made, *args, **more)

    return method


class Writer(Reader):
    """A reader that can also write. Every method is one event; `settle` may be called to see its verdicts.

    What a method takes, gives and raises is written at the function of `book` that it is made of.
    """

    def __init__(self, pen: Pen, path: Path) -> None:
        super().__init__(pen.conn, path)
        self.pen = pen

    def settle(self) -> None:
        """Record the verdicts of all cells touched so far and let their stages follow."""
        rejudge.settle(self.pen)

    def write(self, made: Callable[Concatenate[Pen, P], R], /, *args: P.args, **more: P.kwargs) -> R:
        """What a function of the store writes: an import or a merge, which short writes need not load."""
        with self.pen.whole():
            return made(self.pen, *args, **more)

    def close(self) -> None:
        """File all of it as one write."""
        self.pen.close()

    @property
    def lost(self) -> Mapping[str, tuple[str, bool]]:
        """Projects that lost a cell to a discard in this session: (the cell, whether it is built in)."""
        return self.pen.lost

    def distrusted(self) -> Collection[str]:
        return self.pen.touched | self.pen.kin

    add_teardown = _writes(teardowns.add_teardown)
    correct_teardown = _writes(teardowns.correct_teardown)
    add_cells = _writes(facts.add_cells)
    correct_cell = _writes(facts.correct_cell)
    withdraw_cell = _writes(facts.withdraw_cell)
    reinstate_cell = _writes(facts.reinstate_cell)
    withdraw_teardown = _writes(facts.withdraw_teardown)
    last_added = _writes(facts.last_added)
    set_aside_codes = _writes(cells.set_aside_codes)
    add_photograph = _writes(photographs.add_photograph)
    begin_charge = _writes(events.begin_charge)
    record_labels = _writes(events.record_labels)
    record_scale = _writes(events.record_scale)

    add_meter = _writes(meters.add_meter)
    compare_meter = _writes(household.compare_meter)
    withdraw_faulty = _writes(household.withdraw_faulty)
    add_charger = _writes(meters.add_charger)
    withdraw_charger = _writes(meters.withdraw_charger)
    add_charge = _writes(readings.add_charge)
    add_readings = _writes(readings.add_readings)
    add_trace = _writes(traces.add_trace)
    supersede = _writes(superseding.supersede)
    refresh_verdicts = _writes(rejudge.refresh)

    add_project = _writes(projects.add_project)
    drop_project = _writes(builds.drop_project)
    reserve = _writes(builds.reserve, settled=True)
    # Weeks may lie between reserving and building in, and this session may hold a bad reading.
    finish = _writes(builds.finish, settled=True)
    inspect_groups = _writes(builds.inspect)
    dismantle = _writes(builds.dismantle)
    record_run = _writes(builds.record_run)
    discard = _writes(builds.discard)
    add_incident = _writes(incidents.add_incident)
    withdraw_incident = _writes(incidents.withdraw_incident)

    add_box = _writes(boxes.add_box)
    move_cell = _writes(boxes.move_cell, settled=True)
    add_handover = _writes(handovers.add_handover, settled=True)
    close_handover = _writes(handovers.close_handover, settled=True)

    take_letter = _writes(bench.take_letter)
