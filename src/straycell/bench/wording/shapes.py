"""Records as JSON: keys of quantities name their unit, times carry their offset (see plain_values)."""

import math
from dataclasses import asdict
from datetime import datetime
from typing import Any

from straycell.acceptance import Figures, verdict_to_json
from straycell.bench.cell_list import Listed
from straycell.bench.cell_sheet import CellSheet
from straycell.cells import Cell
from straycell.meters import ACCURACIES, Accuracy, Meter, Resolution
from straycell.quantities import Measured
from straycell.readings import KINDS, CautiousDefaults, Charge, Quantity, Reading, by_default, measured
from straycell.safety.due.survey import DueItem
from straycell.safety.stock import BoxStock
from straycell.store.book.records import Event, Photograph, RecordedReading
from straycell.teardowns import Teardown

Json = dict[str, Any]
_HOUR_S = 3600.0


def teardown_json(teardown: Teardown) -> Json:
    return asdict(teardown)


def cell_json(cell: Cell) -> Json:
    """A cell with its facts side by side."""
    # What a person looks for comes first; the many facts follow.
    head = {
        "code": cell.code,
        "stage": cell.stage,
        "chemistry": cell.facts.chemistry,
        "form": cell.facts.form,
    }
    place = {"teardown": cell.teardown, "pack": cell.pack, "box": cell.box, "added_at": cell.added_at}
    return head | asdict(cell.facts) | place


def sheet_json(page: CellSheet) -> Json:
    """A cell's sheet: the cell, its figures, its readings (superseded ones marked), its verdict."""
    # Superseded readings stay in it: history is append-only, also for scripts.
    return cell_json(page.cell) | {
        "outcome": page.verdict.outcome.word,
        "figures": figures_json(page.figures),
        "readings": [recorded_json(recorded, page.defaults) for recorded in page.recorded],
        "verdict": verdict_to_json(page.verdict),
        "photographs": [photograph_json(each) for each in page.photographs],
    }


def photograph_json(photograph: Photograph) -> Json:
    """A photograph kept with a cell."""
    return {
        "code": photograph.cell,
        "sha256": photograph.sha256,
        "at": photograph.at,
        "bytes": photograph.size_bytes,
    }


def meter_json(meter: Meter) -> Json:
    """The meter as understood: an accuracy is a share of the reading plus an offset; null is not known."""
    accuracies = {
        f"{quantity}_accuracy": accuracy_json(getattr(meter, quantity), dimension.base.lower())
        for quantity, dimension in ACCURACIES.items()
    }
    return {
        "name": meter.name,
        "like": meter.like or None,
        "voltage_accuracy": accuracies.pop("voltage_accuracy"),
        "voltage_resolution": resolution_json(meter.voltage_resolution),
        **accuracies,
        "compared_on": meter.compared_on,
    }


def accuracy_json(accuracy: Accuracy | None, unit: str) -> Json | None:
    return None if accuracy is None else {"share": accuracy.gain, f"offset_{unit}": accuracy.offset}


def resolution_json(resolution: Resolution) -> list[Json]:
    """Steps by range; `below_v` null means from there on."""
    # JSON has no infinity (RFC 8259, 6): null is "from there on".
    return [
        {"below_v": None if math.isinf(bound) else bound, "step_v": step} for bound, step in resolution.steps
    ]


def recorded_json(recorded: RecordedReading, defaults: CautiousDefaults) -> Json:
    """A recorded reading or charge with its place in the history."""
    return item_json(recorded.item, defaults) | {
        "recorded_at": recorded.recorded_at,
        "event_id": recorded.event_id,
        "superseded_by": recorded.superseded_by,
        "retracted": recorded.retracted,
        "mistake": recorded.mistake or None,
        "because": recorded.because or None,
    }


def item_json(item: Reading | Charge, defaults: CautiousDefaults) -> Json:
    return charge_json(item) if isinstance(item, Charge) else reading_json(item, defaults)


_AS_RECORDED = (
    *("where", "discharge_current_a", "cutoff_v", "method", "pulse_s", "look"),
    *("as_group", "energy_wh", "soc", "at_least", "from_full", "trace"),
)
"""What of a reading is in its document under the same name and unit."""


def reading_json(reading: Reading, defaults: CautiousDefaults) -> Json:
    """One reading; `cautious_default` is true when no meter spoke for its uncertainty."""
    # A look has no number, and zero would be one.
    has_value = reading.value is not None
    return {
        "id": reading.id,
        "cell": reading.cell,
        "quantity": reading.quantity,
        "value": reading.value if has_value else None,
        "unit": KINDS[reading.quantity].unit,
        "expanded_uncertainty": measured(reading, defaults).expanded if has_value else None,
        "cautious_default": by_default(reading, defaults) if has_value else None,
        "at": reading.at,
        "temperature_c": reading.temperature_c,
        "meter": reading.meter.name if reading.meter else None,
        "rested_h": None if reading.rested_s is None else reading.rested_s / _HOUR_S,
        **{name: getattr(reading, name) for name in _AS_RECORDED},
    }


def charge_json(charge: Charge) -> Json:
    """One charge; `value` is the voltage it went up to, so that a list of readings can hold it."""
    # One key for the value in every kind of record, so that a script can plot them alike.
    return {
        "id": charge.id,
        "cell": charge.cell,
        "quantity": Quantity.CHARGE,
        "value": charge.until_v,
        "unit": KINDS[Quantity.CHARGE].unit,
        "expanded_uncertainty": _doubled(charge.u),
        "at": charge.at,
        "current_a": charge.current_a,
        "until_v": charge.until_v,
        "end_current_a": charge.end_current_a,
        "temperature_c": charge.temperature_c,
        "peak_temperature_c": charge.peak_temperature_c,
        "charger": charge.charger or None,
        "slot": charge.slot,
        "put_in_ah": charge.put_in_ah,
        "put_in_expanded_uncertainty_ah": _doubled(charge.put_in_u),
        "trace": charge.trace,
    }


def _doubled(u: float | None) -> float | None:
    """U = 2u; None where no instrument is behind it."""
    return None if u is None else 2.0 * u


def figures_json(figures: Figures) -> Json:
    """The figures that count today; null where nothing fresh is known."""
    return {
        "capacity_ah": _measured_json(figures.capacity, figures.capacity_at),
        "capacity_at_least": figures.at_least,
        "resistance_ohm": _measured_json(figures.resistance, figures.resistance_at),
        "resistance_method": figures.resistance_method,
        "rest_voltage_v": _measured_json(figures.rest_voltage, figures.rest_voltage_at),
    }


def _measured_json(value: Measured | None, at: datetime | None) -> Json | None:
    return None if value is None else {"value": value.value, "expanded_uncertainty": value.expanded, "at": at}


def event_json(event: Event) -> Json:
    return {
        "id": event.id,
        "at": event.at,
        "verb": event.verb,
        "cells": event.cells,
        "subject": event.subject,
        "detail": event.detail,
        "because": event.because or None,
    }


def event_words(event: Event, readings: list[str]) -> str:
    """An event's detail and reason in one line; `readings` is what this write recorded."""
    # Keys, a file's fingerprint and whole records are for machines; a person reads the words.
    machines = ("entry", "content")
    kept = {k: v for k, v in event.detail.items() if k not in machines and not isinstance(v, dict)}
    parts = [f"{key} {_told(value)}" for key, value in kept.items() if value not in (None, "", [])]
    parts += readings
    return "; ".join([*parts, f"because: {event.because}"] if event.because else parts)


def _told(value: object) -> str:
    """A list as a person writes it: the cells of a group joined, the groups apart."""
    if not isinstance(value, list):
        return str(value)
    return ", ".join(" + ".join(map(str, each)) if isinstance(each, list) else str(each) for each in value)


def listed_json(each: Listed) -> Json:
    """One cell for --json: its facts, and each figure with its expanded uncertainty or null."""
    loss = each.loss_pct_month
    return cell_json(each.cell) | {
        "outcome": each.outcome.word,
        "valid_until": each.valid_until,
        "note": each.note or None,
        "capacity_ah": _figure(each.capacity),
        "resistance_ohm": _figure(each.resistance),
        "loss_pct_month": None if loss is None else {"value": loss[0], "expanded_uncertainty": loss[1]},
    }


def _figure(figure: Measured | None) -> Json | None:
    return None if figure is None else {"value": figure.value, "expanded_uncertainty": figure.expanded}


def due_json(item: DueItem, now: datetime) -> Json:
    """One thing to look at, for --json."""
    return {
        "kind": item.kind.id,
        "title": item.kind.title,
        "rank": item.kind.rank,
        "danger": item.kind.danger,
        "about": item.about,
        "subject": item.subject,
        "code": item.subject if item.about == "cell" else None,
        "box": item.box,
        "due_at": item.at,
        # Never below zero: what comes tomorrow is not minus one day late.
        "days_over": max(0, (now - item.at).days),
        "why": item.why,
        "todo": item.todo,
        "source": item.kind.source,
    }


def stock_json(box: BoxStock) -> Json:
    """One box, for --json; `box` null is the cells that lie in none."""
    return {
        "box": box.name,
        "kind": box.kind or None,
        "cells": box.cells,
        "condemned": box.condemned,
        "energy_wh": box.energy.value,
        "estimated": box.energy.estimated,
        "limit_wh": box.limit_wh,
        "over_limit": box.over_limit,
        "oldest_check": box.oldest_check,
        "never_checked": box.never_checked,
        "outcomes": box.outcomes,
        "attention": [{"title": title, "count": count} for title, count in box.attention],
    }
