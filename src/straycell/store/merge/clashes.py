"""What a merge refuses: copies of one bench that went their own ways, one code for two things, one cell in two builds."""

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from sqlalchemy import Connection, Table, select

from straycell.errors import BadData
from straycell.plain_text import steering
from straycell.store.book import derived
from straycell.store.book.names import shown
from straycell.store.column_values import from_us
from straycell.store.schema.compare import JSON_COLUMNS
from straycell.store.schema.tables import BLANK_CODE, BUILD, BUILD_CELL, CELL, EVENT, PROJECT, TEARDOWN, WRITE
from straycell.store.session import among

SHOWN = 10


def refuse_forks(here: Connection, other: Connection, file: Path) -> None:
    """Raise BadData when a bench has two writes of one number: two copies of its store were both written to."""
    query = select(WRITE.c.bench, WRITE.c.number, WRITE.c.key, WRITE.c.at_us).where(WRITE.c.bench != "")
    # A copied store goes on counting: both copies give out H-613, and each means another thing by it.
    ours = {(bench, number): (key, at_us) for bench, number, key, at_us in here.execute(query)}
    for bench, number, key, at_us in other.execute(query.order_by(WRITE.c.id)):
        known = ours.get((bench, number))
        if known is not None and known[0] != key:
            since = from_us(min(at_us, known[1]))
            raise BadData(
                f"{file} and this store are both bench {bench}, and went their own ways at write {bench}-{number} "
                f"({since:%Y-%m-%d %H:%M})",
                "go on with one of them, and record there what only the other holds; a copy that is to live on beside "
                "its store gets a letter of its own right after copying: straycell store bench LETTER",
            )


def refuse_clashes(here: Connection, other: Connection, unknown: Sequence[int], bench: str) -> None:
    """Raise BadData for a code that both stores gave out, for another cell, tear-down or label each."""
    clashes: set[str] = set()
    for table in (CELL, TEARDOWN, BLANK_CODE):
        clashes |= _codes(here, table).intersection(_born(other, table, unknown))
    # A label printed blank here and stuck on a cell there: the code on paper would mean both.
    labels, cells = _codes(here, BLANK_CODE), _codes(here, CELL)
    clashes |= (labels - _codes(other, BLANK_CODE)).intersection(_born(other, CELL, unknown))
    clashes |= (cells - _codes(other, CELL)).intersection(_born(other, BLANK_CODE, unknown))
    if clashes:
        listed = sorted(clashes)
        more = f" and {len(listed) - SHOWN} more" if len(listed) > SHOWN else ""
        raise BadData(
            f"both stores gave out {', '.join(listed[:SHOWN])}{more} (bench {bench})",
            "nothing was merged: what bears one of these codes could be either of two things",
        )


def _codes(conn: Connection, table: Table) -> set[str]:
    return set(conn.execute(select(table.c.code)).scalars())


def _born(conn: Connection, table: Table, writes: Sequence[int]) -> set[str]:
    query = select(table.c.code).join(EVENT, EVENT.c.id == table.c.event_id)
    return set(conn.execute(query.where(among(EVENT.c.write_id, writes))).scalars())


def require_plain_row(table: Table, row: Mapping[str, object], file: Path) -> None:
    """Raise BadData for a text that would steer a screen: no door takes one, so straycell did not write it."""
    for name, value in row.items():
        if not isinstance(value, str):
            continue
        # JSON hides them behind an escape, and they come out again when it is read.
        hidden = "\\u" in value and name in JSON_COLUMNS.get(table.name, ())
        odd = steering(value) or (steering("".join(_texts(json.loads(value)))) if hidden else "")
        if odd:
            which = row.get("key") or row.get("code") or row.get("id") or ""
            raise BadData(
                f"{file}: {table.name.replace('_', ' ')} {which} holds the control character U+{ord(odd):04X}",
                "nothing was merged: no command of straycell writes such a text, find out where the file comes from",
            )


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from (text for pair in value.items() for part in pair for text in _texts(part))
    elif isinstance(value, list):
        yield from (text for part in value for text in _texts(part))


def refuse_double_builds(conn: Connection) -> None:
    """Raise BadData where the builds of both stores would hold one cell twice, or a project have two builds."""
    # A cell is in one place; which of two devices it is in, only someone who opens them can say.
    states = {key: row["state"] for (key,), row in derived.build_rows(conn, None).items()}
    live = {key for key, state in states.items() if state != "dismantled"}
    names = shown(conn, PROJECT)
    of = {key: names[project] for key, project in conn.execute(select(BUILD.c.key, BUILD.c.project))}
    built: dict[str, str] = {}
    for key in sorted(live):
        other = built.setdefault(of[key], key)
        if other != key:
            raise BadData(
                f"project '{of[key]}' has a build in both stores ({other} and {key})",
                "dismantle one of the two first: straycell build dismantle",
            )
    held: dict[str, str] = {}
    rows = conn.execute(select(BUILD_CELL.c.code, BUILD_CELL.c.build).order_by(BUILD_CELL.c.build))
    for code, key in rows:
        if key in live and held.setdefault(code, key) != key:
            raise BadData(
                f"cell {code} is in a build in both stores: for '{of[held[code]]}' and for '{of[key]}'",
                "dismantle one of the two first",
            )
