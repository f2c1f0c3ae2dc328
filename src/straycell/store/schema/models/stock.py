"""The tables of cells, readings and verdicts, each with its range, enumeration and code-shape checks.

A column's name carries its unit; `_us` is microseconds since 1970 UTC.
"""

from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field

from straycell.acceptance import Outcome
from straycell.cells import Stage
from straycell.readings import FACTS, FIELDS, METER_FAULT, RECORDS_LOST, Mistake, Quantity
from straycell.store.schema.checks import (
    check,
    code_shape,
    flag,
    held,
    key_shape,
    moment,
    one_of,
    said,
    value_windows,
    within,
)
from straycell.store.schema.models.base import Keyed, Numbered, OfCell, StoreTable


class TeardownRow(StoreTable, table=True):
    """What was opened. `born` is what was said of it first, as JSON; the other columns follow from the facts."""

    __tablename__ = "teardown"
    __table_args__ = (
        check("code", "code GLOB '[A-Z]T[1-9]*' AND code NOT GLOB '??*[^0-9]*'"),
        said("title"),
        said("kind"),
        within("objects", 1, 1000000),
    )
    code: str = Field(primary_key=True)
    title: str
    kind: str
    found_on: str | None = None
    place: str = ""
    note: str = ""
    objects: int = 1
    opened_on: str | None = None
    born: str
    added_at_us: int
    event_id: int = Field(foreign_key="event.id")


class BoxRow(Keyed, table=True):
    """Where cells lie. Append-only. Two benches may each have one of a name."""

    __tablename__ = "box"
    __table_args__ = (key_shape(), said("name"), check("limit_wh", "limit_wh > 0"))
    name: str
    kind: str = ""
    limit_wh: float | None = None
    event_id: int = Field(foreign_key="event.id")


class CellRow(StoreTable, table=True):
    """A cell's code for life, and what was known of it at first, as JSON (`born`; what is usual is left out).

    All other columns follow from that and from the facts, findings, builds and hand-overs, and may be made again.
    """

    __tablename__ = "cell"
    __table_args__ = (
        code_shape(),
        one_of("stage", Stage),
        *held(FACTS.values()),
        Index(None, "box"),
        Index(None, "stage"),
        Index(None, "teardown"),
    )
    code: str = Field(primary_key=True)
    stage: str = "received"
    box: str | None = Field(default=None, foreign_key="box.key")
    teardown: str | None = Field(default=None, foreign_key="teardown.code")
    pack: str | None = None
    chemistry: str
    form: str
    marking: str
    maker: str
    date_code: str
    rated_capacity_ah: float | None = None
    rated_resistance_ohm: float | None = None
    rated_resistance_method: str
    maker_charge_current_a: float | None = None
    maker_discharge_current_a: float | None = None
    full_voltage_v: float | None = None
    mass_g: float | None = None
    volume_cm3: float | None = None
    bought_new: bool
    rewrapped: bool
    tabs: bool
    protection_board: bool
    confirmed_rechargeable: bool
    born: str
    added_at_us: int
    event_id: int = Field(foreign_key="event.id")


class BlankCodeRow(StoreTable, table=True):
    """A code set aside on a blank label. Append-only; it is used once a cell bears it."""

    __tablename__ = "blank_code"
    __table_args__ = (code_shape(),)
    code: str = Field(primary_key=True)
    event_id: int = Field(foreign_key="event.id")


class MeterRow(Keyed, table=True):
    """A meter as declared: readings keep the uncertainty they were taken with. Append-only."""

    __tablename__ = "meter"
    __table_args__ = (
        key_shape(),
        said("name"),
        *(
            check(f"{quantity}_{part}", f"{quantity}_{part} >= 0")
            for quantity in ("voltage", "capacity", "resistance", "temperature")
            for part in ("gain", "offset")
        ),
    )
    name: str
    like_class: str = ""
    voltage_gain: float | None = None
    voltage_offset: float | None = None
    voltage_resolution: str = ""
    capacity_gain: float | None = None
    capacity_offset: float | None = None
    resistance_gain: float | None = None
    resistance_offset: float | None = None
    temperature_gain: float | None = None
    temperature_offset: float | None = None
    compared_on: str | None = None
    event_id: int = Field(foreign_key="event.id")


class ReadingRow(OfCell, table=True):
    """A reading or a charge: one table, one run of numbers. Append-only."""

    __tablename__ = "reading"
    __table_args__ = (
        key_shape(),
        code_shape(),
        one_of("quantity", Quantity),
        moment("at_us"),
        moment("recorded_at_us"),
        check("not_in_the_future", "at_us <= recorded_at_us"),
        value_windows(),
        *held(FIELDS.values()),
        check("look", "(quantity = 'look') = (look <> '')"),
        check("charge", "(quantity = 'charge') = (charge_current_a IS NOT NULL)"),
        UniqueConstraint("key"),
        Index(None, "code", "id"),
        Index(None, "trace", sqlite_where=text("trace IS NOT NULL")),
        Index(None, "supersedes", sqlite_where=text("supersedes IS NOT NULL")),
    )
    quantity: str
    at_us: int
    value: float | None = None
    temperature_c: float | None = None
    meter: str | None = Field(default=None, foreign_key="meter.key")
    rested_s: float | None = None
    where_taken: str | None = None
    discharge_current_a: float | None = None
    cutoff_v: float | None = None
    method: str | None = None
    pulse_s: float | None = None
    look: str = ""
    as_group: bool = False
    charge_current_a: float | None = None
    end_current_a: float | None = None
    peak_temperature_c: float | None = None
    charger: str = ""
    slot: int | None = None
    energy_wh: float | None = None
    soc: float | None = None
    at_least: bool = False
    from_full: bool = False
    u: float | None = None
    surroundings_c: float | None = None
    doubt: str = ""
    put_in_ah: float | None = None
    took_s: float | None = None
    put_in_u: float | None = None
    trace: str | None = Field(default=None, foreign_key="trace.key")
    supersedes: str | None = Field(default=None, foreign_key="reading.key")
    recorded_at_us: int
    event_id: int = Field(foreign_key="event.id")


class TraceRow(OfCell, table=True):
    """A recorded curve: the file as it was (`raw`, zlib), how it was read, what came of it. Append-only.

    `setting` holds what the figures were worked out with, `curve` few points of the discharge they are of.
    """

    __tablename__ = "trace"
    __table_args__ = (
        key_shape(),
        code_shape(),
        check("sha256", "length(sha256) = 64"),
        said("name"),
        within("size_bytes", 1, 2**40),
        moment("at_us"),
        moment("recorded_at_us"),
        check("not_in_the_future", "at_us <= recorded_at_us"),
        within("cutoff_v", 0.0, 5.0),
        UniqueConstraint("key"),
        Index(None, "code", "id"),
        Index(None, "sha256"),
    )
    sha256: str
    name: str
    size_bytes: int
    raw: bytes
    at_us: int
    recorded_at_us: int
    meter: str | None = Field(default=None, foreign_key="meter.key")
    cutoff_v: float
    columns: str = ""
    setting: str
    result: str
    curve: str = ""
    event_id: int = Field(foreign_key="event.id")


class SupersessionRow(Numbered, table=True):
    """A record taken back, with its reason. Append-only; two benches may each take the same one back."""

    __tablename__ = "supersession"
    __table_args__ = (
        one_of("mistake", (*Mistake, METER_FAULT, RECORDS_LOST)),
        said("record"),
        said("because"),
        check("right_cell", "right_cell IS NULL OR mistake = 'wrong-cell'"),
        Index(None, "record"),
    )
    record: str
    mistake: str
    because: str
    right_cell: str | None = Field(default=None, foreign_key="cell.code")
    event_id: int = Field(foreign_key="event.id")


class UpsetRow(OfCell, table=True):
    """An incident, or coming back from a build. Append-only."""

    __tablename__ = "upset"
    __table_args__ = (
        key_shape(),
        said("kind"),
        flag("severe"),
        moment("at_us"),
        UniqueConstraint("key"),
        Index(None, "code"),
    )
    kind: str
    at_us: int
    severe: bool = False
    event_id: int = Field(foreign_key="event.id")


class CondemnationRow(OfCell, table=True):
    """A person discarded the cell, for good. Append-only; two benches may each have done so."""

    __tablename__ = "condemnation"
    __table_args__ = (
        key_shape(),
        said("because"),
        moment("at_us"),
        UniqueConstraint("key"),
        Index(None, "code"),
    )
    because: str
    at_us: int
    event_id: int = Field(foreign_key="event.id")


class VerdictRow(Numbered, table=True):
    """A verdict as recorded; the newest of a cell counts. Append-only. `body` is the whole of it as JSON."""

    __tablename__ = "verdict"
    __table_args__ = (
        one_of("outcome", (outcome.word for outcome in Outcome)),
        moment("at_us"),
        Index(None, "code", "id"),
    )
    code: str = Field(foreign_key="cell.code")
    at_us: int
    rules: str
    rules_hash: str
    outcome: str
    last_reading: str
    valid_until_us: int | None = None
    body: str
