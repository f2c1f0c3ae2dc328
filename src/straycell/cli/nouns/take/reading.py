"""`straycell reading`: what was measured or seen; append-only, a wrong one is superseded with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from straycell.bench.correction import Correction
from straycell.bench.reading_form import check_form, notes_of, readings_of
from straycell.cells import Cell
from straycell.cli.app import clock, context, output, values
from straycell.cli.app.fields import takes
from straycell.cli.app.verbs import noun_app
from straycell.cli.show import shapes, uncounted_capacity
from straycell.cli.show.after_writing import talk_after
from straycell.cli.show.cell_page import describe, value_text
from straycell.errors import BadData, UsageFault
from straycell.readings import Charge, Item, Mistake, Quantity, Reading
from straycell.readings.fields import OF_CHARGE, OF_READING

if TYPE_CHECKING:
    from straycell.store.book.records import RecordedReading
    from straycell.store.reader import Reader

app = noun_app("What was measured or seen; a wrong one is superseded, never edited.")
MeterOption = Annotated[
    str | None, values.text_option("--meter", "What it was taken with (meter add).", metavar="M")
]
AtOption = Annotated[datetime | None, values.at_option()]


@app.command("add")
@takes(OF_READING.values())
def add(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    meter: MeterOption = None,
    at: AtOption = None,
    **said: Any,
) -> None:
    """Record what was measured or seen of a cell; several quantities on one line are recorded together."""
    said = _plain(said)
    check_form(said)
    with context.writing() as writer:
        found = writer.cell(writer.find_code(code))
        with_meter = None if meter is None else writer.meter(meter)
        own = readings_of(said, found.code, at or clock.now(), with_meter)
        group = group_of(writer, found) if "as_group" in said else []
        made = writer.add_readings([*own, *_for_group(own, group)])
    _show_made(made)
    for note in notes_of(said):
        output.talk(note)
    if "capacity_ah" in said:
        _talk_worth(found.code, [reading.id for reading in made])
    talk_after(found.code)


def _plain(said: dict[str, Any]) -> dict[str, Any]:
    """A list of words as a reading holds them."""
    return {name: tuple(value) if isinstance(value, list) else value for name, value in said.items()}


def _talk_worth(code: str, numbers: list[int]) -> None:
    rules, now = context.rules(), clock.now()
    with context.reading() as reader:
        evidence = reader.evidence(code)
    doubts = uncounted_capacity.doubted(evidence, rules, now)
    uncounted_capacity.talk_worth(numbers, doubts, uncounted_capacity.remedy(evidence, rules, now))


def _for_group(own: list[Reading], cells: list[Cell]) -> list[Reading]:
    """The as-found voltage again for every other cell of the group: welded in parallel, they share only that."""
    shared = [reading for reading in own if reading.quantity is Quantity.AS_FOUND_VOLTAGE]
    return [
        replace(reading, cell=cell.code) for cell in cells for reading in shared if cell.code != reading.cell
    ]


def group_of(reader: Reader, cell: Cell) -> list[Cell]:
    """Every cell of the same tear-down and pack. Raises BadData when the cell has no pack on record."""
    if cell.teardown is None or cell.pack is None:
        raise BadData(
            f"cell {cell.code} has no pack on record, so its group is not known",
            f"straycell cell correct {cell.code} --teardown CODE --pack K --because TEXT",
        )
    return [other for other in reader.cells() if (other.teardown, other.pack) == (cell.teardown, cell.pack)]


def _show_made(made: Sequence[Item]) -> None:
    defaults = context.rules().defaults
    rows = [
        [
            f"#{item.id}",
            item.cell,
            item.quantity.value,
            value_text(item, defaults),
            describe(item) or None,
        ]
        for item in made
    ]
    output.emit(
        [shapes.item_json(item, defaults) for item in made],
        lambda: output.table(
            ["id", "cell", "what", "value", "how"],
            rows,
            flexible="how",
            empty="nothing was recorded in its place",
        ),
    )


@app.command("supersede")
@takes([*(field for field in OF_READING.values() if field.name != "as_group"), *OF_CHARGE.values()])
def supersede(
    number: Annotated[
        int,
        typer.Argument(
            parser=lambda text: values.parse_whole(text, "id", low=1, high=10**9),
            metavar="ID",
            help="The number of the reading or charge (cell show lists them).",
        ),
    ],
    mistake: Annotated[Mistake, values.word("--mistake", Mistake, "What was wrong with it.")],
    because: Annotated[str, values.text_option("--because", "Why; it stays in the history.")],
    right_cell: Annotated[
        str | None, values.text_option("--right-cell", "The cell it really was of.", metavar="CODE")
    ] = None,
    as_group: Annotated[
        bool, typer.Option("--as-group", help="Take back the as-found voltage of its whole group.")
    ] = False,
    meter: MeterOption = None,
    at: AtOption = None,
    **said: Any,
) -> None:
    """Take a reading back as a mistake, and record the right one in its place if there is one.

    The old one stays visible. Options you leave out keep their old value; after a bad contact give every value
    again. A charge is superseded with the options of charge add.
    """
    correction = Correction(mistake, _plain(said), meter, at, clock.now())
    correction.check(right_cell)
    with context.writing() as writer:
        old = writer.reading(number)
        right = None if right_cell is None else writer.find_code(right_cell)
        targets = _group_readings(writer, old) if as_group else [old]
        made: list[Item] = []
        for target in targets:
            placed = correction.replacements(target.item, right, writer)
            made += writer.supersede(target.item.id, mistake.value, because, right, placed)
    _show_made(made)
    output.talk(
        f"#{', #'.join(str(t.item.id) for t in targets)} superseded as {mistake}; it stays in the history"
    )
    _hint_group(old, as_group)
    _hint_trace(old)
    for code in dict.fromkeys([old.item.cell, *(item.cell for item in made)]):
        talk_after(code)


def _group_readings(reader: Reader, old: RecordedReading) -> list[RecordedReading]:
    """The readings that were recorded together with `old` for the whole group."""
    item = old.item
    if isinstance(item, Charge) or not item.as_group:
        raise UsageFault(f"#{item.id} was not recorded for a group", "leave --as-group out")
    same = []
    for cell in group_of(reader, reader.cell(item.cell)):
        for recorded in reader.recorded(cell.code, with_superseded=False):
            other = recorded.item
            alike = isinstance(other, Reading) and other.as_group
            if alike and (other.at, other.value) == (item.at, item.value):
                same.append(recorded)
    return same or [old]


def _hint_group(old: RecordedReading, as_group: bool) -> None:
    if isinstance(old.item, Reading) and old.item.as_group and not as_group:
        output.hint(
            "it was recorded for a whole group: the other cells still hold theirs (--as-group takes all back)"
        )


def _hint_trace(old: RecordedReading) -> None:
    """Whose other readings came out of the same trace."""
    if old.item.trace is None:
        return
    with context.reading() as reader:
        others = [n for n in reader.trace_readings(old.item.trace)[0] if n != old.item.id]
    listed = ", ".join(f"#{number}" for number in others)
    output.hint(
        f"it came out of trace {old.item.trace}, which stays" + (f"; so did {listed}" if others else "")
    )
