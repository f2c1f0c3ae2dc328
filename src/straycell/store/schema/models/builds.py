"""The tables of projects and builds."""

from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field

from straycell.builds import BuildState
from straycell.store.book.records import ProjectState
from straycell.store.schema.checks import check, flag, key_shape, moment, one_of, said, within
from straycell.store.schema.models.base import Keyed, Numbered, StoreTable


class ProjectRow(Keyed, table=True):
    """A device waiting for cells. `born` is what was filed first, as JSON; the rest follows from facts and builds."""

    __tablename__ = "project"
    __table_args__ = (
        key_shape(),
        said("name"),
        one_of("state", ProjectState),
        within("priority", 0, 1000000),
        Index(None, "name"),
    )
    name: str
    body: str
    priority: int
    due: str | None = None
    state: str = "pending"
    born: str
    added_at_us: int
    event_id: int = Field(foreign_key="event.id")


class BuildRow(Keyed, table=True):
    """Cells promised to a project; how far it went follows from the facts."""

    __tablename__ = "build"
    __table_args__ = (
        key_shape(),
        one_of("state", BuildState),
        Index("ux_build_live_project", "project", unique=True, sqlite_where=text("state <> 'dismantled'")),
    )
    project: str = Field(foreign_key="project.key")
    state: str = "reserved"
    plan: str
    reserved_at_us: int
    finished_at_us: int | None = None
    dismantled_at_us: int | None = None
    event_id: int = Field(foreign_key="event.id")


class BuildCellRow(StoreTable, table=True):
    """One position of a build. `live` ends with the build; a cell is live in one build at most."""

    __tablename__ = "build_cell"
    __table_args__ = (
        flag("live"),
        Index("ux_build_cell_live", "code", unique=True, sqlite_where=text("live = 1")),
        Index(None, "code"),
    )
    build: str = Field(primary_key=True, foreign_key="build.key")
    group_no: int = Field(primary_key=True)
    position: int = Field(primary_key=True)
    code: str = Field(foreign_key="cell.code")
    live: bool = True
    event_id: int = Field(foreign_key="event.id")


class GroupVoltageRow(Numbered, table=True):
    """The rest voltage of one group of a build at an inspection, with its standard uncertainty. Append-only.

    `alone_u` is the part that another reading by the same meter does not share; null where that is not known.
    `charged_alone`: since the inspection before, this group was charged by itself.
    """

    __tablename__ = "group_voltage"
    __table_args__ = (
        within("value", 0.0, 5.0),
        check("u", "u >= 0"),
        check("alone_u", "alone_u >= 0 AND alone_u <= u"),
        within("group_no", 0, 999),
        flag("charged_alone"),
        moment("at_us"),
        UniqueConstraint("build", "at_us", "group_no"),
    )
    build: str = Field(foreign_key="build.key")
    group_no: int
    at_us: int
    value: float
    u: float
    alone_u: float | None = None
    meter: str | None = Field(default=None, foreign_key="meter.key")
    charged_alone: bool = False
    event_id: int = Field(foreign_key="event.id")
