"""Is the schema of a file what it should be, and does each value keep to it: named with its row."""

import re
from collections.abc import Iterator
from functools import cache

from sqlalchemy import CheckConstraint, Connection, Table

from straycell.store.schema.ddl import STATEMENTS
from straycell.store.sqlite.file import definitions, marks
from straycell.store.sqlite.guards import trigger_statements

_NAMED = re.compile(r"CREATE (?:UNIQUE )?(?P<kind>TABLE|INDEX|TRIGGER) \"?(?P<name>\w+)\"?")
_WORDS = {"table": "table", "index": "index", "trigger": "guard"}
_KINDS = {"INTEGER": ("integer",), "FLOAT": ("real", "integer"), "VARCHAR": ("text",), "BLOB": ("blob",)}
_KINDS["BOOLEAN"] = ("integer",)
JSON_COLUMNS = {
    "event": ("detail",),
    "fact": ("value",),
    "finding": ("basis", "observed", "bound"),
    "cell": ("born",),
    "teardown": ("born",),
    "project": ("born",),
    "trace": ("setting", "result"),
    "verdict": ("body",),
}
_MOST = 20
"""Rows named for one fault: more of its kind tell nothing new."""


def schema_faults(conn: Connection) -> Iterator[str]:
    """Tables, indexes and guards that are missing, altered, or not ours."""
    wanted = {}
    for statement in (*STATEMENTS, *trigger_statements().values()):
        match = _NAMED.match(statement.strip())
        assert match is not None
        wanted[match["kind"].lower(), match["name"]] = _plain(statement)
    found = {key: _plain(sql) for key, sql in definitions(conn).items()}
    # Alembic's own table; its content is the version, which user_version says too.
    found.pop(("table", "alembic_version"), None)
    version = marks(conn).version
    migrated = conn.exec_driver_sql("SELECT max(version_num) FROM alembic_version").scalar()
    # Said twice, since Alembic goes by its own table: the next upgrade would begin at the wrong place.
    if migrated != f"{version:04d}":
        yield f"the header says version {version}, the last migration was {migrated}"
    for kind, name in sorted(wanted.keys() | found.keys()):
        key, what = (kind, name), _WORDS.get(kind, kind)
        if key not in found:
            yield f"the {what} '{name}' is missing"
        elif key not in wanted:
            yield f"the {what} '{name}' is not one of straycell's"
        elif wanted[key] != found[key]:
            yield f"the {what} '{name}' is altered"


def _plain(sql: str) -> str:
    """Migrations write blanks and quotes in other places than a new store does."""
    return re.sub(r'[\s"]+', "", sql).lower()


def value_faults(conn: Connection) -> Iterator[str]:
    """Values of a wrong kind, out of range, unknown words, broken JSON; each with its row."""
    for table, conditions in _asked():
        # A sound table is read once, not once a condition: of these there are four hundred.
        if _rows(conn, table, " OR ".join(f"({condition})" for _, condition in conditions)):
            for what, condition in conditions:
                for row in _rows(conn, table, condition):
                    yield f"{table.name.replace('_', ' ')} {row}: {what}"


@cache
def _asked() -> list[tuple[Table, list[tuple[str, str]]]]:
    """The conditions of each table."""
    # The models carry the checks; loading them is dear, and only a check needs them.
    from straycell.store.schema.models import METADATA

    return [(table, list(_conditions(table))) for table in METADATA.sorted_tables]


def _conditions(table: Table) -> Iterator[tuple[str, str]]:
    """(what is wrong, the condition in SQL of a row that has it)."""
    for column in table.columns:
        # SQLite's types are only affinities: a text may be in a number's column
        # (sqlite.org/datatype3.html).
        kinds = _KINDS[str(column.type)]
        listed = ", ".join(f"'{kind}'" for kind in (*kinds, *(("null",) if column.nullable else ())))
        yield (
            f"{column.name} is not {'text' if kinds == ('text',) else 'a number'}",
            f'typeof("{column.name}") NOT IN ({listed})',
        )
    for constraint in sorted(table.constraints, key=lambda c: str(c.name)):
        if isinstance(constraint, CheckConstraint):
            name = str(constraint.name).removeprefix(f"ck_{table.name}_")
            yield f"{name} is out of range or not a known word", f"NOT ({constraint.sqltext})"
    for name in JSON_COLUMNS.get(table.name, ()):
        yield f"{name} is not JSON", f'NOT json_valid("{name}")'


def _rows(conn: Connection, table: Table, condition: str) -> list[str]:
    key = " || ' ' || ".join(f'"{column.name}"' for column in table.primary_key)
    name = '"key"' if "key" in table.c and table.name != "finding_fell" else key
    query = f'SELECT {name} FROM "{table.name}" WHERE {condition} LIMIT {_MOST}'
    return [str(row[0]) for row in conn.exec_driver_sql(query)]
