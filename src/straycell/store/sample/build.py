"""Builds a store from the sample workshop's text: its days replayed through the writing door, one write a day."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time
from itertools import groupby
from pathlib import Path

from straycell.acceptance import RuleSet
from straycell.errors import StoreFault
from straycell.keys import RecordKey
from straycell.readings import Charge, Item, Quantity, Reading
from straycell.store.sample.notes import Deed, Job, TakenBack
from straycell.store.sample.text import Sample, SampleCell, read_sample
from straycell.store.writer import Writer, open_writer
from straycell.teardowns import Teardown

DAYS_END = time(22, 0)


@dataclass(slots=True)
class _Memory:
    """What later notes refer to: tear-downs by number, and each cell's latest reading of a kind."""

    teardowns: list[str] = field(default_factory=list)
    latest: dict[tuple[str, Quantity], RecordKey] = field(default_factory=dict)

    def keep(self, items: Iterable[Item]) -> None:
        for item in items:
            self.latest[item.cell, item.quantity] = item.id


def build_sample(path: Path, rules: RuleSet, sample: Sample | None = None) -> Sample:
    """Make the sample store at `path`, which must not exist; returns the text it was made from.

    Same text and rules, same content. Raises StoreFault when there is something at `path` already.
    """
    if path.exists():
        raise StoreFault(f"there is something at {path} already", "name a file that does not exist yet")
    sample = read_sample() if sample is None else sample
    memory = _Memory()
    with open_writer(path, now=sample.started, rules=rules, bench=sample.bench) as writer:
        _furnish(writer, sample)
    for now, deeds in days(sample):
        with open_writer(path, now=now, rules=rules, create=False) as writer:
            _replay(writer, deeds, memory)
    with open_writer(path, now=sample.now, rules=rules, create=False) as writer:
        writer.refresh_verdicts()
    return sample


def _furnish(writer: Writer, sample: Sample) -> None:
    for meter in sample.meters:
        writer.add_meter(meter)
    for box in sample.boxes:
        writer.add_box(*box)
    writer.set_aside_codes(sample.blank_codes)


def days(sample: Sample) -> Iterator[tuple[datetime, list[Job | SampleCell]]]:
    """Everything that happened, by day in order; with the moment it was written down."""
    jobs = [job for cell in sample.cells for job in cell.jobs]
    dated = sorted((*sample.teardowns, *sample.cells, *jobs, *sample.later), key=lambda deed: deed.at)
    for day, deeds in groupby(dated, key=lambda deed: deed.at.date()):
        evening = datetime.combine(day, DAYS_END, sample.now.tzinfo)
        yield min(evening, sample.now), list(deeds)


def _replay(writer: Writer, deeds: Sequence[Job | SampleCell], memory: _Memory) -> None:
    """Readings that follow each other go in as one write, as a table typed in one go would."""
    for is_run, run in groupby(deeds, key=lambda deed: isinstance(deed, Reading)):
        if is_run:
            memory.keep(writer.add_readings([deed for deed in run if isinstance(deed, Reading)]))
        else:
            for deed in run:
                _do(writer, deed, memory)


def _do(writer: Writer, deed: Job | SampleCell, memory: _Memory) -> None:
    match deed:
        case SampleCell():
            source = None if deed.teardown is None else memory.teardowns[deed.teardown]
            writer.add_cells(deed.facts, code=deed.code, teardown=source, pack=deed.pack)
        case Charge():
            memory.keep([writer.add_charge(deed)])
        case TakenBack():
            number = memory.latest[deed.code, deed.quantity]
            instead = [] if deed.instead is None else [deed.instead]
            memory.keep(writer.supersede(number, deed.mistake, deed.because, deed.right_cell, instead))
        case Deed():
            made = deed.does(writer, *deed.args)
            if isinstance(made, Teardown):
                memory.teardowns.append(made.code)
