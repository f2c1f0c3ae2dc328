"""Triggers that keep history append-only in the database itself, whoever writes to the file.

INSERT OR REPLACE removes the old row without firing a delete trigger, so an INSERT that meets an existing key
is refused too, for every key of the table (sqlite.org/lang_conflict.html).
"""

from sqlalchemy import Connection

from straycell.store.sqlite.engine import define
from straycell.store.sqlite.file import definitions

# In the database and not in Python alone: the file is open to every SQLite shell.
APPEND_ONLY: dict[str, tuple[tuple[str, ...], ...]] = {
    # table: each of its keys
    "write": (("id",), ("key",)),
    "event": (("id",),),
    "event_cell": (("event_id", "code"),),
    "blank_code": (("code",),),
    "box": (("key",),),
    "meter": (("key",),),
    "trace": (("id",), ("key",)),
    "reading": (("id",), ("key",)),
    "supersession": (("id",),),
    "upset": (("id",), ("key",)),
    "condemnation": (("id",), ("key",)),
    "fact": (("id",), ("subject", "field", "entry")),
    "finding": (("id",),),
    "finding_fell": (("id",),),
    "charger": (("id",),),
    "meter_comparison": (("id",),),
    "photograph": (("id",),),
    "group_voltage": (("id",), ("build", "at_us", "group_no")),
    "verdict": (("id",),),
}
# These rows carry derived columns, which may be made again; what they were born with may not.
FOR_LIFE: dict[str, tuple[str, ...]] = {
    # table: the key first, then what else never changes; its rows are never removed
    "cell": ("code", "born", "added_at_us", "event_id"),
    "teardown": ("code", "born", "added_at_us", "event_id"),
    "project": ("key", "name", "born", "added_at_us", "event_id"),
    "build": ("key", "project", "plan", "reserved_at_us", "event_id"),
    "build_cell": ("build", "group_no", "position", "code", "event_id"),
    "handover": ("key", "place", "opened_at_us", "event_id"),
    "handover_cell": ("handover", "code", "event_id"),
}
_KEY_LENGTH = {"build_cell": 3, "handover_cell": 2}
FINAL = {
    # table: what must hold before a row is never changed again
    "handover": "OLD.closed_at_us IS NOT NULL",
    "handover_cell": "OLD.state = 'handed-over'",
}


def trigger_statements() -> dict[str, str]:
    """CREATE TRIGGER by trigger name."""
    made: dict[str, str] = {}
    for table, keys in APPEND_ONLY.items():
        made[f"{table}_no_update"] = _refuse(table, "no_update", f"BEFORE UPDATE ON {table}", "never changed")
        made[f"{table}_no_delete"] = _refuse(table, "no_delete", f"BEFORE DELETE ON {table}", "never removed")
        # One EXISTS for each unique key: REPLACE deletes on a conflict with any of them.
        known = " OR ".join(f"EXISTS (SELECT 1 FROM {table} WHERE {_same(key)})" for key in keys)
        when = f"BEFORE INSERT ON {table} WHEN {known}"
        made[f"{table}_no_replace"] = _refuse(table, "no_replace", when, "never replaced")
    for table, columns in FOR_LIFE.items():
        update = f"BEFORE UPDATE OF {', '.join(columns)} ON {table}"
        made[f"{table}_for_life"] = _refuse(table, "for_life", update, f"for life in {', '.join(columns)}")
        made[f"{table}_no_delete"] = _refuse(table, "no_delete", f"BEFORE DELETE ON {table}", "never removed")
        key = columns[: _KEY_LENGTH.get(table, 1)]
        when = f"BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM {table} WHERE {_same(key)})"
        made[f"{table}_no_replace"] = _refuse(table, "no_replace", when, "never replaced")
    # What has left the house was signed for on paper: the record must go on saying what the paper says.
    for table, end in FINAL.items():
        made[f"{table}_final"] = _refuse(table, "final", f"BEFORE UPDATE ON {table} WHEN {end}", "final")
    return made


def _same(key: tuple[str, ...]) -> str:
    return " AND ".join(f"{column} = NEW.{column}" for column in key)


def _refuse(table: str, name: str, when: str, why: str) -> str:
    return f"CREATE TRIGGER {table}_{name} {when} BEGIN SELECT RAISE(ABORT, 'rows of {table} are {why}'); END"


def recreate_triggers(conn: Connection) -> None:
    """Drop every trigger of the store and make them all again: batch alterations lose them silently."""
    # Alembic alters by copying the table (SQLite has little ALTER TABLE), and a copy has no triggers.
    define(conn, [f'DROP TRIGGER "{name}"' for kind, name in definitions(conn) if kind == "trigger"])
    define(conn, trigger_statements().values())
