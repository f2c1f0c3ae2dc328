"""Stores of any size for the benchmarks: rows through SQLAlchemy Core in bulk, never an object a cell.

Every tenth cell was only looked at, three in ten are half measured, the rest went the whole way; a few are
swollen, low, tired or of unknown chemistry, so that every outcome is in the store. Same size, same store.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Column

from straycell.acceptance import load_rules
from straycell.cells import CellFacts, Chemistry, Form, next_codes
from straycell.meters import Accuracy, Meter, parse_resolution
from straycell.store.book.names import shown
from straycell.store.book.register import born_text
from straycell.store.book.stock.cells import born_row, facts_values
from straycell.store.column_values import to_us
from straycell.store.schema.tables import BENCH, BOX, CELL, METER, READING, TEARDOWN
from straycell.store.session import Pen
from straycell.store.writer import open_writer

NOW = datetime(2026, 6, 1, 18, tzinfo=UTC)
A_BENCH = 90_000  # codes of one letter: one number in ten is never issued
A_TEARDOWN, A_PACK, A_CHUNK = 40, 10, 20_000
SHELVES = 20
BENCH_METER = Meter(
    "bench meter",
    voltage=Accuracy(0.0005, 0.001),
    voltage_resolution=parse_resolution("1mV"),
    capacity=Accuracy(0.005, 0.001),
    resistance=Accuracy(0.01, 0.0005),
    temperature=Accuracy(0.0, 0.5),
)
DAY_US = 86_400_000_000
PROJECT_TEXT = """\
name = "wash-house lamp"
priority = 1
[load]
current = "35mA"
[need]
runtime = "24h"
cutoff = "3.2V"
temperature = "15C"
[pack]
series = 1
parallel = 1
[charge]
current = "250mA"
voltage = "4.20V"
tolerance = "1.5%"
supply = "5V"
supply_limit = "0.5A"
[protection]
fitted = true
cutoff = "2.6V"
trip_current = "3A"
"""
Row = dict[str, Any]


def build_store(path: Path, count: int, *, verdicts: bool = True) -> list[str]:
    """A new store of `count` cells at `path`, with readings and (unless told not to) verdicts; its codes."""
    with open_writer(path, now=NOW, rules=load_rules()) as writer:
        writer.add_meter(BENCH_METER)
        for number in range(1, SHELVES + 1):
            writer.add_box(f"shelf {number}")
        writer.add_project("wash-house lamp", PROJECT_TEXT, 1)
    codes = _codes(count)
    with open_writer(path, now=NOW, rules=load_rules(), create=False) as writer:
        _fill(writer.pen, codes)
    if verdicts:
        with open_writer(path, now=NOW, rules=load_rules(), create=False) as writer:
            writer.refresh_verdicts()
    return codes


def _fill(pen: Pen, codes: list[str]) -> None:
    conn = pen.conn
    teardowns = 1 + len(codes) // A_TEARDOWN
    added = pen.event("cells-added")
    rows = [{**_teardown(number), "event_id": added} for number in range(1, 1 + teardowns)]
    conn.execute(TEARDOWN.insert(), rows)
    conn.execute(
        BENCH.update().values(
            last_cell=int(codes[min(len(codes), A_BENCH) - 1][1:6]), last_teardown=teardowns
        )
    )
    boxes = {name: key for key, name in shown(conn, BOX).items()}
    facts = (
        _facts(index, code) | {"box": boxes[f"shelf {1 + index % SHELVES}"]}
        for index, code in enumerate(codes)
    )
    cells = [born_row(said.pop("code"), said, to_us(NOW), added) for said in facts]
    conn.execute(CELL.insert(), cells)
    pen.link(added, codes)
    measured = pen.event("readings-added", codes)
    (meter,) = (key for key, name in shown(conn, METER).items() if name == BENCH_METER.name)
    rows_of_readings = _readings(codes, meter, measured)
    while chunk := list(islice(rows_of_readings, A_CHUNK)):
        numbers = pen.numbers("reading", len(chunk))
        conn.execute(
            READING.insert(), [{**row, "key": str(n)} for row, n in zip(chunk, numbers, strict=True)]
        )


def _codes(count: int) -> list[str]:
    first = next_codes("A", 0, min(count, A_BENCH))
    return first + (next_codes("B", 0, count - A_BENCH) if count > A_BENCH else [])


def _teardown(number: int) -> Row:
    said = {
        "title": f"pump battery {number}",
        "kind": "pump",
        "objects": 4,
        "found_on": None,
        "place": "",
        "note": "",
    }
    return {"code": f"AT{number}", **said, "born": born_text(said), "added_at_us": to_us(NOW)}


def _facts(index: int, code: str) -> Row:
    choice = random.Random(index)
    chemistry = choice.choices(
        (Chemistry.NMC, Chemistry.LCO, Chemistry.LFP, Chemistry.UNKNOWN), (60, 20, 15, 5)
    )[0]
    form = choice.choices((Form.F18650, Form.F21700, Form.F26650, Form.F14500), (70, 10, 12, 8))[0]
    rated = None if choice.random() < 0.3 else _size_ah(form)
    facts = CellFacts(chemistry, form, f"INR{form}", rated_capacity_ah=rated)
    origin = {"teardown": f"AT{1 + index // A_TEARDOWN}", "pack": f"{index % A_TEARDOWN // A_PACK + 1}"}
    return {"code": code, **origin, **facts_values(facts)}


def _size_ah(form: Form) -> float:
    return {Form.F21700: 4.0, Form.F26650: 3.2, Form.F14500: 0.7}.get(form, 2.5)


def _unsaid(column: Column[Any]) -> object:
    return None if column.default is None else getattr(column.default, "arg", None)


_EMPTY: Row = {column.name: _unsaid(column) for column in READING.c if column.name != "id"} | {
    "recorded_at_us": to_us(NOW),
}


def _readings(codes: list[str], meter: str, event_id: int) -> Iterator[Row]:
    for index, code in enumerate(codes):
        choice = random.Random(-1 - index)
        start_us = to_us(NOW) - int((30 + 20 * choice.random()) * DAY_US)
        lfp = _facts(index, code)["chemistry"] == "lfp"
        for days, quantity, values in _story(choice, index % 10, 3.65 if lfp else 4.20, _facts(index, code)):
            at_us = start_us + int(days * DAY_US)
            of_meter = {"meter": meter} if values.get("meter") else {}
            row = {**_EMPTY, "code": code, "quantity": quantity, "at_us": at_us, "event_id": event_id}
            yield {**row, **values, **of_meter}


def _story(choice: random.Random, kind: int, full_v: float, facts: Row) -> Iterator[tuple[float, str, Row]]:
    """What was measured of one cell: (days after the tear-down, quantity, what the reading holds)."""
    metered = {"meter": "bench meter", "temperature_c": 22.0}
    swollen = choice.random() < 0.02
    yield 0.0, "look", {"look": "swollen" if swollen else "clean"}
    low = choice.random() < 0.05
    yield (
        0.01,
        "as-found-voltage",
        {**metered, "value": choice.uniform(1.0, 2.4) if low else choice.uniform(2.9, 3.8)},
    )
    if kind == 0 or swollen:
        return
    end = {"charge_current_a": 0.5, "value": full_v, "end_current_a": 0.05, "temperature_c": 22.0}
    charge = {**end, "peak_temperature_c": choice.uniform(24.0, 27.0)}
    yield 1.0, "charge", charge
    size_ah = facts["rated_capacity_ah"] or 0.8 * _size_ah(Form(facts["form"]))
    share = choice.uniform(0.60, 1.0)
    run = {
        "value": size_ah * share,
        "discharge_current_a": size_ah * 0.2,
        "cutoff_v": 2.75 if full_v > 4 else 2.5,
    }
    yield 1.4, "capacity", {**metered, **run}
    yield (
        1.5,
        "resistance",
        {**metered, "value": choice.uniform(0.03, 0.12), "method": "dc-pulse", "pulse_s": 1.0},
    )
    if kind < 4:
        return
    yield 2.0, "charge", charge
    rested = {**metered, "rested_s": 86400.0}
    yield 3.2, "voltage", {**rested, "value": full_v - 0.02}
    yield 18.4, "voltage", {**rested, "value": full_v - 0.02 - choice.uniform(0.003, 0.03)}
