"""The tables as queries see them: plain SQLAlchemy, without keys to other tables or checks.

The schema is in store/models; a test holds each column here against it. Twice, because importing SQLModel
takes longer than any query on a hundred thousand cells.
"""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Boolean, Column, Float, Integer, LargeBinary, MetaData, String, Table
from sqlalchemy.types import TypeEngine

_BOOK = MetaData()
_KINDS: dict[str, type[TypeEngine[Any]]] = {
    "": String,
    "int": Integer,
    "real": Float,
    "flag": Boolean,
    "bytes": LargeBinary,
}


def _table(name: str, columns: str) -> Table:
    """Columns as `name`, `name:kind` or `name:kind=default`; a star marks the key."""
    return Table(name, _BOOK, *map(_column, columns.split()))


def _column(text: str) -> Column[Any]:
    head, has_default, default = text.partition("=")
    name, _, kind = head.partition(":")
    value = {"default": json.loads(default)} if has_default else {}
    return Column(name.rstrip("*"), _KINDS[kind], primary_key=name.endswith("*"), **value)


BENCH = _table("bench", "id*:int letter last_cell:int=0 last_teardown:int=0 created_at_us:int")
EVENT = _table("event", 'id*:int at_us:int verb subject="" detail="{}" because=""')
EVENT_CELL = _table("event_cell", "event_id*:int code*")
TEARDOWN = _table(
    "teardown",
    """
    code* title kind found_on place="" note="" objects:int=1 added_at_us:int event_id:int
    """,
)
BOX = _table("box", 'name* kind="" limit_wh:real event_id:int')
CELL = _table("cell", 'code* stage="received" box added_at_us:int event_id:int')
BLANK_CODE = _table("blank_code", "code* event_id:int")
CELL_FACTS = _table(
    "cell_facts",
    """
    id*:int code teardown pack chemistry form marking maker date_code rated_capacity_ah:real
    rated_resistance_ohm:real rated_resistance_method maker_charge_current_a:real
    maker_discharge_current_a:real full_voltage_v:real mass_g:real volume_cm3:real bought_new:flag
    rewrapped:flag tabs:flag protection_board:flag confirmed_rechargeable:flag changed="" mistake=""
    after_reading:int=0 event_id:int
    """,
)
METER = _table(
    "meter",
    """
    name* like_class="" voltage_gain:real voltage_offset:real voltage_resolution="" capacity_gain:real
    capacity_offset:real resistance_gain:real resistance_offset:real temperature_gain:real
    temperature_offset:real compared_on event_id:int
    """,
)
READING = _table(
    "reading",
    """
    id*:int code quantity at_us:int value:real temperature_c:real meter rested_s:real where_taken
    discharge_current_a:real cutoff_v:real method pulse_s:real look="" as_group:flag=false
    charge_current_a:real end_current_a:real peak_temperature_c:real charger="" slot:int energy_wh:real
    soc:real at_least:flag=false from_full:flag=false u:real trace_id:int supersedes:int
    recorded_at_us:int event_id:int
    """,
)
TRACE = _table(
    "trace",
    """
    id*:int code sha256 name size_bytes:int raw:bytes at_us:int recorded_at_us:int meter cutoff_v:real
    columns="" setting result curve="" event_id:int
    """,
)
SUPERSESSION = _table("supersession", "id*:int reading_id:int mistake because right_cell event_id:int")
UPSET = _table("upset", "id*:int code kind at_us:int severe:flag=false event_id:int")
CONDEMNATION = _table("condemnation", "code* because at_us:int event_id:int")
VERDICT = _table(
    "verdict",
    """
    id*:int code at_us:int rules rules_hash outcome last_reading:int valid_until_us:int body
    """,
)
PROJECT = _table(
    "project",
    """
    name* body priority:int due state="pending" added_at_us:int event_id:int
    """,
)
BUILD = _table(
    "build",
    """
    id*:int project state plan reserved_at_us:int finished_at_us:int dismantled_at_us:int event_id:int
    """,
)
BUILD_CELL = _table(
    "build_cell",
    """
    build_id*:int group_no*:int position*:int code live:flag=true stage_before
    """,
)
HANDOVER = _table("handover", 'id*:int place opened_at_us:int closed_at_us:int body="" event_id:int')
HANDOVER_CELL = _table("handover_cell", 'handover_id*:int code* state="listed" event_id:int')
METER_COMPARISON = _table("meter_comparison", 'id*:int meter compared_on note="" event_id:int')
