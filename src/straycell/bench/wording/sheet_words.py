"""What is known of a cell in words: what it is, its figures, its readings and how each was taken."""

from collections.abc import Mapping

from straycell.bench.cell_sheet import CellHistory, CellSheet
from straycell.bench.wording.figure_words import known_words
from straycell.bench.wording.shapes import event_words
from straycell.cells import Cell, CellFacts
from straycell.keys import RecordKey
from straycell.quantities import Dimension, Measured
from straycell.quantities import show as show_quantity
from straycell.readings import (
    FACTS,
    FIELDS,
    KINDS,
    CautiousDefaults,
    Charge,
    Item,
    Quantity,
    measured,
    said_of,
)
from straycell.store.book.records import Event, RecordedReading
from straycell.typed import day


def kind_words(known: CellFacts) -> str:
    """`18650 nmc  INR18650-26`: what it is, for a heading."""
    return f"{known.form} {known.chemistry}  {known.marking}".rstrip()


def identity(cell: Cell) -> list[tuple[str, str | None]]:
    """Name and value of what the cell is and where it lies; a value may be empty."""
    known = cell.facts
    origin = f"{cell.teardown} pack {cell.pack}" if cell.teardown and cell.pack else cell.teardown
    return [
        ("stage", cell.stage.value),
        ("box", cell.box),
        ("from", "bought new" if known.bought_new else origin),
        ("maker", " ".join(part for part in (known.maker, known.date_code) if part)),
        ("rated", rated(known)),
        ("state", ", ".join(_flags(known))),
    ]


def rated(known: CellFacts) -> str:
    """`2600 mAh, 35 mohm a.c.`; empty when nothing is known."""
    method = known.rated_resistance_method
    return known_words(
        ("{}", known.rated_capacity_ah, Dimension.CAPACITY),
        (f"{{}} ({method})", known.rated_resistance_ohm, Dimension.RESISTANCE),
        ("full at {}", known.full_voltage_v, Dimension.VOLTAGE),
        ("in {}", known.maker_charge_current_a, Dimension.CURRENT),
        ("out {}", known.maker_discharge_current_a, Dimension.CURRENT),
        ("{}", known.mass_g, Dimension.MASS),
    )


def _flags(known: CellFacts) -> list[str]:
    flags = (field for field in FACTS.values() if field.kind is bool and field.name != "bought_new")
    return [field.noun for field in flags if getattr(known, field.name)]


def figures(page: CellSheet) -> list[tuple[str, str | None]]:
    """Name and value of the figures that count today, and why others do not."""
    f = page.figures
    none = "none valid today"
    capacity = figure(f.capacity, Dimension.CAPACITY)
    resistance = figure(f.resistance, Dimension.RESISTANCE)
    # "At least" goes with the figure wherever it is printed: a lower bound alone reads like a value.
    least, method = ("at least " if f.at_least else ""), f", {f.resistance_method}"
    why = page.doubted.get(f.capacity_reading.id, "") if f.capacity_reading else ""
    return [
        ("capacity", f"{least}{capacity}  ({day(f.capacity_at)})" if capacity else none),
        ("", why if capacity else "; ".join(dict.fromkeys(page.doubted.values()))),
        ("resistance", f"{resistance}  ({day(f.resistance_at)}{method})" if resistance else none),
        (
            "rest voltage",
            f"{figure(f.rest_voltage, Dimension.VOLTAGE)}  ({day(f.rest_voltage_at)})"
            if f.rest_voltage
            else none,
        ),
    ]


def figure(value: Measured | None, dimension: Dimension) -> str:
    """`2010 ± 60 mAh`; empty for none."""
    return "" if value is None else show_quantity(value.value, dimension, u=value.u)


def reading_row(
    recorded: RecordedReading, defaults: CautiousDefaults, doubted: Mapping[RecordKey, str]
) -> list[str | None]:
    """Number, quantity, value, day and how: one reading on a line."""
    item = recorded.item
    how = describe(item)
    if item.id in doubted:
        how = f"{doubted[item.id]} ({how})"
    # Why a reading does not count matters more than how it was taken.
    if recorded.superseded:
        by = f" by {recorded.superseded_by}" if recorded.superseded_by else ""
        how = f"superseded{by} ({recorded.mistake}): {recorded.because}"
    return [f"{item.id}", item.quantity.value, value_text(item, defaults), day(item.at), how or None]


def value_text(item: Item, defaults: CautiousDefaults) -> str:
    """A reading's value with U, a look's words, or where a charge went."""
    dimension = KINDS[item.quantity].dimension
    if dimension is None or item.value is None:
        return " ".join(getattr(item, "look", ()))
    if isinstance(item, Charge) or item.quantity is Quantity.LET_DOWN:
        return f"to {show_quantity(item.value, dimension)}"
    # No value without its U: who reads it decides with it.
    return show_quantity(item.value, dimension, u=measured(item, defaults).u)


def describe(item: Item) -> str:
    """The conditions of a reading or charge in a few words."""
    said = {field.name: value for field, value in said_of(item)}
    text = "not rested" if item.quantity is Quantity.VOLTAGE and "rested_s" not in said else ""
    for each in (FIELDS[name] for name in KINDS[item.quantity].takes if name in said):
        if each.words and (each.name != "temperature_c" or item.quantity not in _NO_ROOM):
            value = show_quantity(said[each.name], each.dimension) if each.dimension else said[each.name]
            glue = "" if each.words.startswith(" ") or not text else ", "
            text += glue + each.words.format(value)
    meter = getattr(item, "meter", None)
    metered = KINDS[item.quantity].accuracy and item.quantity is not Quantity.LET_DOWN
    return ", ".join(
        part
        for part in (
            text,
            (meter.name if meter else "no meter") if metered else "",
            f"trace {item.trace}" if item.trace is not None else "",
        )
        if part
    )


_NO_ROOM = frozenset({Quantity.CHARGE, Quantity.TEMPERATURE})
"""Their temperature is not shown as a condition: it is the reading itself, or shown beside the peak."""


def in_few_words(item: Item, defaults: CautiousDefaults) -> str:
    """`#9 look clean`: one reading or charge in a few words."""
    return f"{item.id} {item.quantity} {value_text(item, defaults)}"


def history_in_words(history: CellHistory, defaults: CautiousDefaults) -> list[tuple[Event, str]]:
    """Every event of a cell, oldest first, with what it recorded and why, in a line."""
    return [
        (
            event,
            event_words(
                event, [in_few_words(entry.item, defaults) for entry in history.recorded.get(event.id, ())]
            ),
        )
        for event in history.events
    ]
