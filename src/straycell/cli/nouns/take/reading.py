"""`straycell reading`: what was measured or seen; append-only, a wrong one is superseded with a reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.bench.correction import ChargeForm, Correction
from straycell.bench.reading_form import ReadingForm, check_form, notes_of, readings_of
from straycell.cells import Cell, Look
from straycell.cli.app import clock, context, output, values
from straycell.cli.app.verbs import noun_app
from straycell.cli.nouns.take.charge import (
    ChargerOption,
    CurrentOption,
    EndCurrentOption,
    PeakOption,
    SlotOption,
    UntilOption,
)
from straycell.cli.show import shapes, uncounted_capacity
from straycell.cli.show.after_writing import talk_after
from straycell.cli.show.cell_page import describe_charge, describe_reading, value_text
from straycell.errors import BadData, UsageFault
from straycell.keys import RecordKey
from straycell.quantities import Dimension, Window
from straycell.readings import Charge, Method, Mistake, Quantity, Reading, Where

if TYPE_CHECKING:
    from straycell.store.book.records import RecordedReading
    from straycell.store.reader import Reader

app = noun_app("What was measured or seen; a wrong one is superseded, never edited.")
_D = Dimension
_CUTOFF = Window(1.0, 4.5)
_SOME_CURRENT = Window(1e-4, 500.0)
_ENERGY = Window(0.001, 2500.0)
_PULSE = Window(1e-3, 600.0)

VoltageOption = Annotated[
    float | None, values.quantity("--voltage", _D.VOLTAGE, "At the cell; with --rested a rest voltage.")
]
RestedOption = Annotated[
    float | None, values.quantity("--rested", _D.DURATION, "How long it had lain without current.")
]
AsFoundOption = Annotated[
    float | None, values.quantity("--as-found-voltage", _D.VOLTAGE, "As it came out of the object.")
]
WhereOption = Annotated[Where | None, values.word("--where", Where, "For cells with a protection board.")]
CapacityOption = Annotated[
    float | None,
    values.quantity("--capacity", _D.CAPACITY, "From full; needs --discharge-current and --cutoff."),
]
DischargeOption = Annotated[
    float | None,
    values.quantity("--discharge-current", _D.CURRENT, "Of the capacity run.", window=_SOME_CURRENT),
]
CutoffOption = Annotated[
    float | None,
    values.quantity("--cutoff", _D.VOLTAGE, "Where the run ended.", window=_CUTOFF, example="3.0V"),
]
EnergyOption = Annotated[
    float | None,
    values.quantity("--energy", _D.ENERGY, "That came out with the capacity, if shown.", window=_ENERGY),
]
ResistanceOption = Annotated[float | None, values.quantity("--resistance", _D.RESISTANCE, "Internal.")]
MethodOption = Annotated[Method | None, values.word("--resistance-method", Method, "How it was taken.")]
PulseOption = Annotated[
    float | None,
    values.quantity(
        "--pulse", _D.DURATION, "Length of the d.c. pulse (default 1s).", window=_PULSE, example="1s"
    ),
]
TemperatureOption = Annotated[
    float | None,
    values.quantity("--temperature", _D.TEMPERATURE, "Of the room; alone, a reading of the cell."),
]
LookOption = Annotated[list[Look] | None, values.word("--look", Look, "Say it several times for several.")]
GroupOption = Annotated[
    bool,
    typer.Option("--as-group", help="The as-found voltage of all cells still welded in parallel with it."),
]
MeterOption = Annotated[
    str | None, values.text_option("--meter", "What it was taken with (meter add).", metavar="M")
]
AtOption = Annotated[datetime | None, values.at_option()]


@app.command("add")
def add(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    voltage: VoltageOption = None,
    rested: RestedOption = None,
    as_found_voltage: AsFoundOption = None,
    where: WhereOption = None,
    capacity: CapacityOption = None,
    discharge_current: DischargeOption = None,
    cutoff: CutoffOption = None,
    energy: EnergyOption = None,
    resistance: ResistanceOption = None,
    resistance_method: MethodOption = None,
    pulse: PulseOption = None,
    temperature: TemperatureOption = None,
    look: LookOption = None,
    as_group: GroupOption = False,
    meter: MeterOption = None,
    at: AtOption = None,
) -> None:
    """Record what was measured or seen of a cell; several quantities on one line are recorded together."""
    form = ReadingForm(
        voltage=voltage,
        rested=rested,
        as_found_voltage=as_found_voltage,
        where=where,
        capacity=capacity,
        discharge_current=discharge_current,
        cutoff=cutoff,
        energy=energy,
        resistance=resistance,
        resistance_method=resistance_method,
        pulse=pulse,
        temperature=temperature,
        look=tuple(look or ()),
        as_group=as_group,
    )
    check_form(form)
    with context.writing() as writer:
        found = writer.cell(writer.find_code(code))
        with_meter = None if meter is None else writer.meter(meter)
        own = readings_of(form, found.code, at or clock.now(), with_meter)
        made = writer.add_readings([*own, *(_for_group(own, group_of(writer, found)) if as_group else [])])
    _show_made(made)
    for note in notes_of(form):
        output.talk(note)
    if capacity is not None:
        _talk_worth(found.code, [reading.id for reading in made])
    talk_after(found.code)


def _talk_worth(code: str, numbers: list[RecordKey]) -> None:
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


def _show_made(made: list[Reading | Charge] | list[Reading]) -> None:
    defaults = context.rules().defaults
    rows = [
        [
            f"{item.id}",
            item.cell,
            "charge" if isinstance(item, Charge) else item.quantity.value,
            value_text(item, defaults),
            (describe_charge(item) if isinstance(item, Charge) else describe_reading(item)) or None,
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
def supersede(
    number: Annotated[
        str, values.record_argument("reading", "The number of the reading or charge (cell show lists them).")
    ],
    mistake: Annotated[Mistake, values.word("--mistake", Mistake, "What was wrong with it.")],
    because: Annotated[str, values.text_option("--because", "Why; it stays in the history.")],
    right_cell: Annotated[
        str | None, values.text_option("--right-cell", "The cell it really was of.", metavar="CODE")
    ] = None,
    voltage: VoltageOption = None,
    rested: RestedOption = None,
    as_found_voltage: AsFoundOption = None,
    where: WhereOption = None,
    capacity: CapacityOption = None,
    discharge_current: DischargeOption = None,
    cutoff: CutoffOption = None,
    energy: EnergyOption = None,
    resistance: ResistanceOption = None,
    resistance_method: MethodOption = None,
    pulse: PulseOption = None,
    temperature: TemperatureOption = None,
    look: LookOption = None,
    as_group: GroupOption = False,
    meter: MeterOption = None,
    at: AtOption = None,
    current: CurrentOption = None,
    until: UntilOption = None,
    end_current: EndCurrentOption = None,
    peak_temperature: PeakOption = None,
    charger: ChargerOption = None,
    slot: SlotOption = None,
) -> None:
    """Take a reading back as a mistake, and record the right one in its place if there is one.

    The old one stays visible. For a slip or a wrong cell, what is not said anew stays as it was; after a
    bad contact, say the new measurement in full. --as-group takes back a voltage recorded for a whole group.
    A charge is superseded with the options of charge add.
    """
    form = ReadingForm(
        voltage=voltage,
        rested=rested,
        as_found_voltage=as_found_voltage,
        where=where,
        capacity=capacity,
        discharge_current=discharge_current,
        cutoff=cutoff,
        energy=energy,
        resistance=resistance,
        resistance_method=resistance_method,
        pulse=pulse,
        temperature=temperature,
        look=tuple(look or ()),
    )
    charged = ChargeForm(
        current_a=current,
        until_v=until,
        end_current_a=end_current,
        temperature_c=temperature,
        peak_temperature_c=peak_temperature,
        charger=charger,
        slot=slot,
    )
    correction = Correction(mistake, form, charged, meter, at, clock.now())
    correction.check(right_cell)
    with context.writing() as writer:
        old = writer.reading(writer.reading_number(number))
        right = None if right_cell is None else writer.find_code(right_cell)
        targets = _group_readings(writer, old) if as_group else [old]
        made: list[Reading | Charge] = []
        for target in targets:
            placed = correction.replacements(target.item, right, writer)
            made += writer.supersede(target.item.id, mistake.value, because, right, placed)
    _show_made(made)
    output.talk(
        f"{', '.join(str(t.item.id) for t in targets)} superseded as {mistake}; it stays in the history"
    )
    _hint_group(old, as_group)
    _hint_trace(old)
    for code in dict.fromkeys([old.item.cell, *(item.cell for item in made)]):
        talk_after(code)


def _group_readings(reader: Reader, old: RecordedReading) -> list[RecordedReading]:
    """The readings that were recorded together with `old` for the whole group."""
    item = old.item
    if isinstance(item, Charge) or not item.as_group:
        raise UsageFault(f"{item.id} was not recorded for a group", "leave --as-group out")
    same = []
    for cell in group_of(reader, reader.cell(item.cell)):
        for recorded in reader.recorded(cell.code, with_superseded=False):
            other = recorded.item
            alike = (
                isinstance(other, Reading) and other.as_group and other.quantity is Quantity.AS_FOUND_VOLTAGE
            )
            if alike and (other.at, getattr(other, "value", None)) == (item.at, item.value):
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
    listed = ", ".join(f"{number}" for number in others)
    output.hint(
        f"it came out of trace {old.item.trace}, which stays" + (f"; so did {listed}" if others else "")
    )
