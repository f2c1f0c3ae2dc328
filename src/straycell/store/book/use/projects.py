"""Projects as filed: their text, how urgent they are, and where they are."""

from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, select

from straycell.errors import BadData
from straycell.store.book.derived import follow
from straycell.store.book.names import key_named, named, shown
from straycell.store.book.records import ProjectEntry, ProjectState
from straycell.store.book.register import born_text, put
from straycell.store.column_values import day_text, from_us, opt_day
from straycell.store.schema.tables import PROJECT
from straycell.store.session import Pen


def _entry(row: Row[Any], name: str) -> ProjectEntry:
    return ProjectEntry(
        name, row.body, row.priority, opt_day(row.due), ProjectState(row.state), from_us(row.added_at_us)
    )


def projects(conn: Connection) -> list[ProjectEntry]:
    """All projects, the most urgent first."""
    order = (PROJECT.c.priority, PROJECT.c.due.is_(None), PROJECT.c.due, PROJECT.c.name, PROJECT.c.key)
    names = shown(conn, PROJECT)
    return [_entry(row, names[row.key]) for row in conn.execute(select(PROJECT).order_by(*order))]


def project(conn: Connection, name: str) -> ProjectEntry:
    """One project by its exact name. Raises BadData when there is none."""
    return named(projects(conn), name, "project", "projects", "file one with: straycell project add FILE")


def key(conn: Connection, name: str) -> str:
    """The key of a project that is there."""
    found = key_named(conn, PROJECT, name)
    assert found is not None
    return found


def add_project(
    pen: Pen, name: str, text: str, priority: int, due: date | None = None, replace: bool = False
) -> ProjectEntry:
    """File a project. Raises BadData when the name is empty, or taken and not to be replaced."""
    if not name.strip():
        raise BadData("a project needs a name", 'write it in the file: name = "..."')
    if not 0 <= priority <= 1_000_000:
        raise BadData(f"project '{name}': priority {priority}", "1 is served first; write a number from 1 up")
    known = key_named(pen.conn, PROJECT, name)
    old = None if known is None else project(pen.conn, name)
    if old is not None:
        _require_replaceable(old, replace)
    verb = "project-added" if old is None else "project-replaced"
    event_id = pen.event(verb, subject=name, detail={"old": old.text} if old else {})
    said = {"body": text, "priority": priority, "due": day_text(due)}
    if known is None:
        known = str(pen.number("record"))
        row = {"key": known, "name": name, "born": born_text(said), "added_at_us": pen.now_us, **said}
        pen.conn.execute(PROJECT.insert().values(**row, event_id=event_id))
    else:
        put(pen, event_id, {known: {"text": said, "dropped": False}})
    follow(pen.conn, projects=[known])
    return project(pen.conn, name)


def _require_replaceable(old: ProjectEntry, replace: bool) -> None:
    if old.state in (ProjectState.RESERVED, ProjectState.BUILT):
        raise BadData(f"project '{old.name}' is {old.state}", "dismantle its build first, then replace it")
    if old.state is ProjectState.PENDING and not replace:
        raise BadData(
            f"there is a project '{old.name}' already", "replace it with --replace, or take another name"
        )
