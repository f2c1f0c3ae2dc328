"""The tables of safe keeping: hand-overs, what is on them, and comparisons of meters."""

from sqlalchemy import Index, text
from sqlmodel import Field

from straycell.store.book.records import Listing
from straycell.store.schema.checks import check, code_shape, key_shape, moment, one_of, said, within
from straycell.store.schema.models.base import Keyed, Numbered, StoreTable


class HandoverRow(Keyed, table=True):
    """Cells on their way to a collection point. `body` is the list as JSON once it is closed; that is final."""

    __tablename__ = "handover"
    __table_args__ = (
        key_shape(),
        said("place"),
        moment("opened_at_us"),
        moment("closed_at_us"),
        check("closed", "(closed_at_us IS NULL) = (body = '')"),
    )
    place: str
    opened_at_us: int
    closed_at_us: int | None = None
    body: str = ""
    event_id: int = Field(foreign_key="event.id")


class HandoverCellRow(StoreTable, table=True):
    """One cell on a hand-over; on one open list at a time. Two benches may each have closed a list with it."""

    __tablename__ = "handover_cell"
    __table_args__ = (
        code_shape(),
        one_of("state", Listing),
        Index("ux_handover_cell_listed", "code", unique=True, sqlite_where=text("state = 'listed'")),
    )
    handover: str = Field(primary_key=True, foreign_key="handover.key")
    code: str = Field(primary_key=True, foreign_key="cell.code")
    state: str = Listing.LISTED.value
    event_id: int = Field(foreign_key="event.id")


class PhotographRow(Numbered, table=True):
    """A photograph of a cell; its file lies beside the store under its hash. Append-only. Two benches may keep the same."""

    __tablename__ = "photograph"
    __table_args__ = (
        code_shape(),
        check("sha256", "length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'"),
        moment("at_us"),
        within("size_bytes", 1, 2**40),
        Index(None, "code"),
        Index(None, "sha256"),
    )
    code: str = Field(foreign_key="cell.code")
    sha256: str
    at_us: int
    size_bytes: int
    event_id: int = Field(foreign_key="event.id")


class ChargerRow(Numbered, table=True):
    """A charger's slot as it was measured: its float with the uncertainty of that. Append-only; the newest counts."""

    __tablename__ = "charger"
    __table_args__ = (
        said("name"),
        within("slot", 0, 1000),
        check("float", "(float_v IS NULL) = (float_u IS NULL) AND float_u > 0"),
        within("float_v", 0.0, 5.0),
        within("end_current_a", 0.0, 500.0),
        check("capacity", "(capacity_gain IS NULL) = (capacity_offset IS NULL)"),
        moment("measured_at_us"),
        Index(None, "name"),
    )
    name: str
    slot: int | None = None
    float_v: float | None = None
    float_u: float | None = None
    end_current_a: float | None = None
    capacity_gain: float | None = None
    capacity_offset: float | None = None
    measured_at_us: int
    event_id: int = Field(foreign_key="event.id")


class MeterComparisonRow(Numbered, table=True):
    """A meter held against a better one, or a known value: it `showed` one figure where another was `actual`.

    Both in the unit of the quantity. Append-only.
    """

    __tablename__ = "meter_comparison"
    __table_args__ = (
        one_of("quantity", ("", "voltage", "capacity", "resistance", "temperature")),
        check("actual", "(showed IS NULL) = (quantity = '') AND (actual IS NULL) = (quantity = '')"),
        Index(None, "meter"),
    )
    meter: str = Field(foreign_key="meter.key")
    compared_on: str
    note: str = ""
    quantity: str = ""
    showed: float | None = None
    actual: float | None = None
    event_id: int = Field(foreign_key="event.id")
