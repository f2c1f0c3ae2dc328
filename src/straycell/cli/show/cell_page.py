"""One cell on one page: what it is, what it may do, why, and what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from straycell.acceptance.reasons import Verdict
from straycell.acceptance.record import verdict_to_json
from straycell.cells import Cell, CellFacts
from straycell.cli.app import output
from straycell.cli.show import shapes, verdict_page
from straycell.keys import RecordKey
from straycell.quantities import Dimension, Measured
from straycell.quantities import show as show_quantity
from straycell.readings import CautiousDefaults, Charge, Quantity, Reading, measured

if TYPE_CHECKING:
    from straycell.acceptance import Figures
    from straycell.store.book.records import RecordedReading

_D = Dimension
DIMENSIONS: dict[Quantity, Dimension] = {
    Quantity.VOLTAGE: _D.VOLTAGE,
    Quantity.AS_FOUND_VOLTAGE: _D.VOLTAGE,
    Quantity.CAPACITY: _D.CAPACITY,
    Quantity.RESISTANCE: _D.RESISTANCE,
    Quantity.TEMPERATURE: _D.TEMPERATURE,
    Quantity.LET_DOWN: _D.VOLTAGE,
}


@dataclass(frozen=True, slots=True)
class CellPage:
    """Everything the page shows, read in one go; `doubted` tells which capacities do not count, and why."""

    cell: Cell
    verdict: Verdict
    figures: Figures
    recorded: tuple[RecordedReading, ...]
    defaults: CautiousDefaults
    now: datetime
    doubted: Mapping[RecordKey, str] = field(default_factory=dict)


def document(page: CellPage) -> shapes.Json:
    """The page as JSON: the cell, its figures, its readings (superseded ones marked), its verdict."""
    return shapes.cell_json(page.cell) | {
        "outcome": page.verdict.outcome.word,
        "figures": shapes.figures_json(page.figures),
        "readings": [shapes.recorded_json(recorded, page.defaults) for recorded in page.recorded],
        "verdict": verdict_to_json(page.verdict),
    }


def show(page: CellPage) -> None:
    """Print the page for a person."""
    cell = page.cell
    output.say(f"{cell.code}  {cell.facts.form} {cell.facts.chemistry}  {cell.facts.marking}".rstrip())
    verdict_page.say_headline(page.verdict)
    output.section("What it is")
    output.facts(_identity(cell), indent="  ")
    output.section("Measured")
    output.facts(_figures(page), indent="  ")
    reasons = verdict_page.why(page.verdict, at_most=5)
    if reasons:
        output.section("Why")
        output.bullets(reasons)
    output.section("Next")
    output.bullets(verdict_page.next_steps(page.verdict, page.now) or ["nothing: it is ready for a project"])
    output.section("Readings")
    rows = [_reading_row(recorded, page.defaults, page.doubted) for recorded in page.recorded]
    output.table(["id", "what", "value", "at", "how"], rows, flexible="how", empty="none recorded yet")


def _identity(cell: Cell) -> list[tuple[str, str | None]]:
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
    parts = []
    if known.rated_capacity_ah is not None:
        parts.append(show_quantity(known.rated_capacity_ah, _D.CAPACITY))
    if known.rated_resistance_ohm is not None:
        parts.append(
            f"{show_quantity(known.rated_resistance_ohm, _D.RESISTANCE)} ({known.rated_resistance_method})"
        )
    if known.full_voltage_v is not None:
        parts.append(f"full at {show_quantity(known.full_voltage_v, _D.VOLTAGE)}")
    for label, value in (("in", known.maker_charge_current_a), ("out", known.maker_discharge_current_a)):
        if value is not None:
            parts.append(f"{label} {show_quantity(value, _D.CURRENT)}")
    if known.mass_g is not None:
        parts.append(show_quantity(known.mass_g, _D.MASS))
    return ", ".join(parts)


def _flags(known: CellFacts) -> list[str]:
    return [
        text
        for text, is_so in (
            ("re-wrapped", known.rewrapped),
            ("welded tabs", known.tabs),
            ("protection board", known.protection_board),
            ("confirmed as rechargeable", known.confirmed_rechargeable),
        )
        if is_so
    ]


def _figures(page: CellPage) -> list[tuple[str, str | None]]:
    f = page.figures
    none = "nothing that counts today"
    capacity = figure(f.capacity, _D.CAPACITY)
    resistance = figure(f.resistance, _D.RESISTANCE)
    least, method = ("at least " if f.at_least else ""), f", {f.resistance_method}"
    why = page.doubted.get(f.capacity_reading.id, "") if f.capacity_reading else ""
    return [
        ("capacity", f"{least}{capacity}  ({output.day(f.capacity_at)})" if capacity else none),
        ("", why if capacity else "; ".join(dict.fromkeys(page.doubted.values()))),
        ("resistance", f"{resistance}  ({output.day(f.resistance_at)}{method})" if resistance else none),
        (
            "rest voltage",
            f"{figure(f.rest_voltage, _D.VOLTAGE)}  ({output.day(f.rest_voltage_at)})"
            if f.rest_voltage
            else none,
        ),
    ]


def figure(value: Measured | None, dimension: Dimension) -> str:
    """`2010 ± 60 mAh`; empty for none."""
    return "" if value is None else show_quantity(value.value, dimension, u=value.u)


def _reading_row(
    recorded: RecordedReading, defaults: CautiousDefaults, doubted: Mapping[RecordKey, str]
) -> list[str | None]:
    item = recorded.item
    what = "charge" if isinstance(item, Charge) else item.quantity.value
    how = describe_charge(item) if isinstance(item, Charge) else describe_reading(item)
    if item.id in doubted:
        how = f"{doubted[item.id]} ({how})"
    if recorded.superseded:
        by = f" by {recorded.superseded_by}" if recorded.superseded_by else ""
        how = f"superseded{by} ({recorded.mistake}): {recorded.because}"
    return [f"{item.id}", what, value_text(item, defaults), output.day(item.at), how or None]


def value_text(item: Reading | Charge, defaults: CautiousDefaults) -> str:
    """A reading's value with U, a look's words, or where a charge went."""
    if isinstance(item, Charge):
        return f"to {show_quantity(item.until_v, _D.VOLTAGE)}"
    if item.value is None:
        return " ".join(item.look)
    if item.quantity is Quantity.LET_DOWN:
        return f"to {show_quantity(item.value, _D.VOLTAGE)}"
    return show_quantity(item.value, DIMENSIONS[item.quantity], u=measured(item, defaults).u)


def describe_reading(item: Reading) -> str:
    """The conditions of a reading in a few words."""
    parts = []
    if item.quantity is Quantity.VOLTAGE:
        parts.append(
            "not rested" if item.rested_s is None else f"rested {show_quantity(item.rested_s, _D.DURATION)}"
        )
    if item.discharge_current_a is not None and item.cutoff_v is not None:
        current, cutoff = (
            show_quantity(item.discharge_current_a, _D.CURRENT),
            show_quantity(item.cutoff_v, _D.VOLTAGE),
        )
        parts.append(f"{current} to {cutoff}")
    if item.energy_wh is not None:
        parts.append(show_quantity(item.energy_wh, _D.ENERGY))
    if item.method is not None:
        parts.append(f"method {item.method}")
    if item.soc is not None:
        parts.append(f"{item.soc:.0%} charged")
    if item.where is not None:
        parts.append(f"at the {item.where}")
    if item.temperature_c is not None and item.quantity is not Quantity.TEMPERATURE:
        parts.append(show_quantity(item.temperature_c, _D.TEMPERATURE))
    parts.append("as a group" if item.as_group else "")
    parts.append("a lower bound" if item.at_least else "")
    if item.value is not None and item.quantity is not Quantity.LET_DOWN:
        parts.append(item.meter.name if item.meter else "no meter")
    parts.append(f"trace {item.trace}" if item.trace is not None else "")
    return ", ".join(part for part in parts if part)


def describe_charge(item: Charge) -> str:
    """The conditions of a charge in a few words."""
    parts = [show_quantity(item.current_a, _D.CURRENT)]
    if item.end_current_a is not None:
        parts.append(f"down to {show_quantity(item.end_current_a, _D.CURRENT)}")
    if item.peak_temperature_c is not None:
        parts.append(f"peak {show_quantity(item.peak_temperature_c, _D.TEMPERATURE)}")
    parts.append(f"{item.charger} slot {item.slot}" if item.slot else item.charger)
    parts.append(f"trace {item.trace}" if item.trace is not None else "")
    return ", ".join(part for part in parts if part)


def told(item: Reading | Charge, defaults: CautiousDefaults) -> str:
    """`#9 look clean`: one reading or charge in a few words."""
    what = "charge" if isinstance(item, Charge) else item.quantity.value
    return f"{item.id} {what} {value_text(item, defaults)}"
