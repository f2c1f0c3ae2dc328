"""Everything known of one cell, read at one moment: for its page, its label, and the bench page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from straycell.acceptance import Figures, Verdict, figures
from straycell.bench.context import Bench, Reader
from straycell.bench.recording.running import LONGEST_CHARGE
from straycell.bench.uncounted_capacity import doubted, remedy
from straycell.cells import Cell
from straycell.keys import RecordKey
from straycell.readings import CautiousDefaults
from straycell.store.book.records import Event, Photograph, RecordedReading


@dataclass(frozen=True, slots=True)
class CellSheet:
    """One cell with its verdict, the figures that count today, and every reading, superseded ones too.

    `doubted` says by number which capacities do not count, and why; `remedy` what one must be to count.
    """

    cell: Cell
    verdict: Verdict
    figures: Figures
    recorded: tuple[RecordedReading, ...]
    defaults: CautiousDefaults
    now: datetime
    doubted: Mapping[RecordKey, str] = field(default_factory=dict)
    remedy: str = ""
    photographs: tuple[Photograph, ...] = ()


def cell_sheet(bench: Bench, code: str) -> CellSheet:
    """The sheet of a cell by its code as typed. Raises BadData with the nearest codes."""
    with bench.reading() as reader:
        return sheet_of(bench, reader, reader.find_code(code))


def sheet_of(bench: Bench, reader: Reader, code: str) -> CellSheet:
    """The same within a look at the store."""
    rules, now, evidence = bench.rules, bench.now, reader.evidence(code)
    doubts = doubted(evidence, rules, now)
    return CellSheet(
        cell=reader.cell(code),
        verdict=reader.verdict(code, rules, now, evidence),
        figures=figures(evidence, rules, now),
        recorded=tuple(reader.recorded(code)),
        defaults=rules.defaults,
        now=now,
        doubted=doubts,
        # Worked out only where it is shown: beside a capacity that counts it would ask for a needless run.
        remedy=remedy(evidence, rules, now) if doubts else "",
        photographs=tuple(reader.photographs(code)),
    )


@dataclass(frozen=True, slots=True)
class CellHistory:
    """Every write that concerned a cell, oldest first, and what each recorded of it.

    `begun`: when a charge of it was begun that is not recorded yet, by its code.
    """

    events: tuple[Event, ...]
    recorded: Mapping[int, tuple[RecordedReading, ...]]
    begun: Mapping[str, datetime] = field(default_factory=dict)


def cell_history(bench: Bench, code: str) -> CellHistory:
    """The events of a cell by its code as typed. Raises BadData."""
    with bench.reading() as reader:
        found = reader.find_code(code)
        return _history(reader.history(found), reader.recorded(found))


def sheet_with_history(bench: Bench, code: str) -> tuple[CellSheet, CellHistory]:
    """Both of one moment, its readings looked up once; its events name no other cell."""
    with bench.reading() as reader:
        sheet = sheet_of(bench, reader, reader.find_code(code))
        found = _history(reader.history(sheet.cell.code, others=False), sheet.recorded)
        return sheet, replace(found, begun=reader.charges_begun(bench.now - LONGEST_CHARGE, sheet.cell.code))


def _history(events: Iterable[Event], entries: Iterable[RecordedReading]) -> CellHistory:
    recorded: dict[int, tuple[RecordedReading, ...]] = {}
    for entry in entries:
        recorded[entry.event_id] = (*recorded.get(entry.event_id, ()), entry)
    return CellHistory(tuple(events), recorded)
