"""The tables of projects and builds."""

from __future__ import annotations

from sqlalchemy import Index, text
from sqlmodel import Field

from straycell.builds import BuildState
from straycell.cells import Stage
from straycell.store.book.records import ProjectState
from straycell.store.schema.checks import flag, one_of, said, within
from straycell.store.schema.models.base import StoreTable


class ProjectRow(StoreTable, table=True):
    __tablename__ = "project"
    __table_args__ = (said("name"), one_of("state", ProjectState), within("priority", 0, 1000000))
    name: str = Field(primary_key=True)
    body: str
    priority: int
    due: str | None = None
    state: str = "pending"
    added_at_us: int
    event_id: int = Field(foreign_key="event.id")


class BuildRow(StoreTable, table=True):
    __tablename__ = "build"
    __table_args__ = (
        one_of("state", BuildState),
        Index("ux_build_live_project", "project", unique=True, sqlite_where=text("state <> 'dismantled'")),
    )
    id: int | None = Field(default=None, primary_key=True)
    project: str = Field(foreign_key="project.name")
    state: str
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
        one_of("stage_before", Stage),
        Index("ux_build_cell_live", "code", unique=True, sqlite_where=text("live = 1")),
    )
    build_id: int = Field(primary_key=True, foreign_key="build.id")
    group_no: int = Field(primary_key=True)
    position: int = Field(primary_key=True)
    code: str = Field(foreign_key="cell.code")
    live: bool = True
    stage_before: str
