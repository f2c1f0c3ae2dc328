"""A fresh store filled with what of a damaged one can be trusted: as one write, every cell on hold.

The chain of writes tells what can be: the rows of a write that still gives its key are what they were. What was
measured in the others is kept and does not count, since a lost mistake would make a wrong value right again and a
lost charge a good cell a leaking one. Findings count in any case.
"""

import json
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, select
from sqlalchemy.exc import IntegrityError, StatementError

from straycell.builds import BuildState
from straycell.cells import Stage
from straycell.readings import RECORDS_LOST
from straycell.store import chain
from straycell.store.book import derived
from straycell.store.book.bench import recount
from straycell.store.book.events import SALVAGED
from straycell.store.book.register import born_text, put
from straycell.store.book.stock import cells
from straycell.store.carry import Former, carry_over, keep_counters
from straycell.store.merge.take_in import AT_REST
from straycell.store.salvage.trust import rows_of_table as _rows
from straycell.store.salvage.trust import trust, why_not
from straycell.store.schema import tables
from straycell.store.schema.tables import CELL, EVENT, FINDING, READING, SUPERSESSION
from straycell.store.session import Pen, among, insert_many, parts
from straycell.store.sqlite.guards import FOR_LIFE

_MAY_LACK: dict[str, dict[str, Table]] = {
    # columns that may be left empty when what they point to is lost
    "reading": {"meter": tables.METER, "trace": tables.TRACE, "supersedes": READING},
    "trace": {"meter": tables.METER},
    "supersession": {"right_cell": CELL},
}
BECAUSE = "the store was salvaged from a damaged file, and not all that was recorded with it could be read"


@dataclass(slots=True)
class Filled:
    """What became of the rows."""

    put: Counter[str] = field(default_factory=Counter)
    refused: list[str] = field(default_factory=list)
    bare: list[str] = field(default_factory=list)
    """Cells of which only the code is left."""
    unknown: list[str] = field(default_factory=list)
    """What is unknown now of which cell: its records and its row say different things of it."""
    writes: list[str] = field(default_factory=list)
    """Writes that do not give their key any more."""
    uncounted: int = 0
    held: int = 0


def fill(pen: Pen, staging: Connection, former: Former) -> Filled:
    """Put what `staging` holds into the new store; `former` brings its letter and its last numbers."""
    done = Filled()
    keep_counters(pen.conn, former)
    # First of the write, since the write bears the time and verb of its first event.
    event_id = pen.event(SALVAGED, because=BECAUSE)
    events = _put_events(pen, staging, done)
    for name in chain.CONTENT:
        if name == "cell":
            _put_places(pen, staging, event_id, done)
        _put_table(pen, staging, name, events, event_id, done)
        if name == "cell":
            _put_bare(pen, staging, event_id, done)
    recount(pen.conn)
    trusted = trust(staging)
    done.writes = trusted.broken
    _settle_ends(pen, staging, event_id)
    derived.follow(pen.conn, handovers=None, builds=None, projects=None, teardowns=None, cells=None)
    _settle_facts(pen, staging, trusted.doubtful, event_id, done)
    _set_aside(pen, trusted.doubtful, event_id, done)
    former.lost = True
    former.out_of_use = _out_of_use(staging)
    done.held = len(carry_over(pen, former, event_id).held)
    return done


# --- rows ------------------------------------------------------------------------------------------


def _put_events(pen: Pen, staging: Connection, done: Filled) -> dict[int, int]:
    """The events under numbers of the new store, by their old ones."""
    at, numbers, rows = pen.last_event, dict[int, int](), []
    for row in _rows(staging, "event"):
        at += 1
        numbers[row["id"]] = at
        rows.append(row | {"id": at, "write_id": pen.write_id})
    _insert(pen, EVENT, rows, done)
    kept = set(pen.conn.execute(select(EVENT.c.id)).scalars())
    return {old: new for old, new in numbers.items() if new in kept}


def _put_table(
    pen: Pen, staging: Connection, name: str, events: Mapping[int, int], instead: int, done: Filled
) -> None:
    table = vars(tables)[name.upper()]
    lacking = {
        column: _keys(pen.conn, of) for column, of in _MAY_LACK.get(name, {}).items() if of is not table
    }
    known = set[str]()

    def made() -> Iterator[dict[str, Any]]:
        for row in _rows(staging, name):
            new = _as_born(name, row) | AT_REST.get(name, {})
            if "write_id" in new:
                new["write_id"] = pen.write_id
            else:
                new["event_id"] = events.get(row["event_id"], instead)
            # What a lost row pointed to is unknown, which is judged with the cautious figures.
            for column, there in lacking.items():
                new[column] = new[column] if new[column] in there else None
            if name == "reading":
                new["supersedes"] = new["supersedes"] if new["supersedes"] in known else None
                known.add(new["key"])
            # The computer itself wrote it down: later than now is damage, or a clock that has been put right.
            if "recorded_at_us" in new:
                new["recorded_at_us"] = min(new["recorded_at_us"], pen.now_us)
            if name != "event_cell" or row["event_id"] in events:
                yield {column: value for column, value in new.items() if column != "id"}

    _insert(pen, table, made(), done)


def _keys(conn: Connection, table: Table) -> set[str]:
    column = table.c.code if "code" in table.primary_key.columns else table.c.key
    return set(conn.execute(select(column)).scalars())


def _as_born(name: str, row: dict[str, Any]) -> dict[str, Any]:
    """The row as it was born; what follows from other records is made again."""
    if name not in ("cell", "teardown", "project"):
        return row
    try:
        born = json.loads(row["born"])
    except (ValueError, TypeError):
        # The row itself says what holds now, which is the best that is left.
        fields = {n: row[n] for n in row if n not in FOR_LIFE[name]}
        usual = cells.UNSAID if name == "cell" else {}
        born = {
            n: v for n, v in fields.items() if n not in ("stage", "state", "box") and v != usual.get(n, ...)
        }
    if not isinstance(born, dict):
        return row
    usual = cells.UNSAID if name == "cell" else {"state": "pending"} if name == "project" else {}
    kept = {n: row[n] for n in FOR_LIFE[name]} | {"born": json.dumps(born, sort_keys=True)}
    return {**usual, **{n: v for n, v in born.items() if n in row}, **kept}


def _insert(pen: Pen, table: Table, rows: Iterable[dict[str, Any]], done: Filled) -> None:
    for part in parts(rows):
        good = []
        for row in part:
            why = why_not(table.name, row)
            if why:
                done.refused.append(_named(table, row, why))
            else:
                good.append(row)
        if not good:
            continue
        try:
            with pen.conn.begin_nested():
                pen.conn.execute(table.insert(), good)
            done.put[table.name] += len(good)
        except (StatementError, OverflowError):
            _one_by_one(pen, table, good, done)


def _one_by_one(pen: Pen, table: Table, rows: Iterable[dict[str, Any]], done: Filled) -> None:
    for row in rows:
        try:
            with pen.conn.begin_nested():
                pen.conn.execute(table.insert().values(row))
            done.put[table.name] += 1
        except IntegrityError as fault:
            why = "a guard of the store refuses it" + f" ({fault.orig})"
            done.refused.append(_named(table, row, why))
        except (StatementError, OverflowError):
            done.refused.append(_named(table, row, "its values are none that a store can hold"))


def _named(table: Table, row: Mapping[str, Any], why: str) -> str:
    name = next(
        (str(row[n]) for n in ("key", "record", "subject", "digest", "code", "name") if row.get(n)), ""
    )
    of = f" of cell {row['code']}" if row.get("code") and str(row["code"]) != name else ""
    return f"{table.name.replace('_', ' ')} {name}{of}: {why}"


def _put_bare(pen: Pen, staging: Connection, event_id: int, done: Filled) -> None:
    """A cell whose row is lost is still there: its label hangs on it, and other rows name it."""
    named = set[str]()
    for name in (
        "event_cell",
        "reading",
        "finding",
        "condemnation",
        "upset",
        "photograph",
        "build_cell",
        "handover_cell",
    ):
        rows = staging.exec_driver_sql(f"SELECT DISTINCT code FROM {name}")
        named |= {code for (code,) in rows if not why_not(name, {"code": code})}
    bare = sorted(named - _keys(pen.conn, CELL))
    _insert(pen, CELL, (cells.born_row(code, {}, pen.now_us, event_id) for code in bare), done)
    done.bare += [f"cell {code}" for code in bare]


# --- what lost rows leave open ---------------------------------------------------------------------


def _put_places(pen: Pen, staging: Connection, event_id: int, done: Filled) -> None:
    """Tear-downs and boxes that cells name and that are lost, under their code and number alone."""
    named: dict[str, set[str]] = {"teardown": set(), "box": set()}
    for (text,) in staging.exec_driver_sql("SELECT born FROM cell"):
        for name, found in named.items():
            found.add(_field(text, name))
    for name, text in staging.exec_driver_sql(
        "SELECT field, value FROM fact WHERE field IN ('teardown', 'box')"
    ):
        named[name].add(_field(f'{{"{name}": {text}}}', name))
    lost = "lost with a damaged store"
    teardowns = sorted(named["teardown"] - {""} - _keys(pen.conn, tables.TEARDOWN))
    said = {
        "title": lost,
        "kind": "unknown",
        "found_on": None,
        "place": "",
        "note": "",
        "objects": 1,
        "opened_on": None,
    }
    common = {"added_at_us": pen.now_us, "event_id": event_id}
    rows = ({"code": code, **said, "born": born_text(said), **common} for code in teardowns)
    _insert(pen, tables.TEARDOWN, rows, done)
    boxes = sorted(named["box"] - {""} - _keys(pen.conn, tables.BOX))
    fresh = ({"key": key, "name": f"{key}, {lost}", "kind": "", "event_id": event_id} for key in boxes)
    _insert(pen, tables.BOX, fresh, done)
    done.bare += [f"tear-down {code}" for code in teardowns] + [f"box {key}" for key in boxes]


def _field(text: object, name: str) -> str:
    try:
        found = json.loads(str(text)).get(name)
    except (ValueError, AttributeError):
        return ""
    return found if isinstance(found, str) else ""


def _settle_ends(pen: Pen, staging: Connection, event_id: int) -> None:
    """Builds and hand-overs whose end is lost: their own rows still say that they ended."""
    ends: dict[str, dict[str, Any]] = {}
    now = {key: row["state"] for (key,), row in derived.build_rows(pen.conn, None).items()}
    for row in _rows(staging, "build"):
        if now.get(row["key"], row["state"]) != row["state"] and row["state"] in set(BuildState):
            ends[row["key"]] = {"state": row["state"]}
    closed = {key for (key,), row in derived.handover_rows(pen.conn, None).items() if row["closed_at_us"]}
    gone = staging.exec_driver_sql(
        "SELECT handover, code FROM handover_cell WHERE state = 'handed-over'"
    ).all()
    for row in _rows(staging, "handover"):
        left = [code for key, code in gone if key == row["key"]]
        if (
            row["key"] not in closed
            and row["body"]
            and left
            and not why_not("event", {"detail": row["body"]})
        ):
            ends[row["key"]] = {"closed": {"body": json.loads(row["body"]), "gone": left}}
    put(pen, event_id, ends)


def _settle_facts(
    pen: Pen, staging: Connection, doubtful: Collection[str] | None, event_id: int, done: Filled
) -> None:
    """What a lost correction said of a cell is unknown, where its row does not say what its records do."""
    before = {row["code"]: row for row in _rows(staging, "cell")}
    values: dict[str, dict[str, Any]] = {}
    for row in pen.conn.execute(select(CELL.c.code, *cells.FACT_COLUMNS)):
        if row.code in before and (doubtful is None or row.code in doubtful):
            for name in cells.FACT_NAMES:
                if before[row.code][name] != getattr(row, name):
                    values.setdefault(row.code, {})[name] = cells.UNSAID[name]
    put(pen, event_id, values)
    derived.follow(pen.conn, cells=list(values))
    done.unknown = [
        f"cell {code}: its {', '.join(n.replace('_', ' ') for n in values[code])}" for code in sorted(values)
    ]


def _set_aside(pen: Pen, doubtful: Collection[str] | None, event_id: int, done: Filled) -> None:
    """Readings and charges of these cells (None: of all) do not count, except those that a finding rests on."""
    basis = {key for text in pen.conn.execute(select(FINDING.c.basis)).scalars() for key in json.loads(text)}
    query = (
        select(READING.c.key)
        .where(READING.c.key.not_in(select(SUPERSESSION.c.record)))
        .order_by(READING.c.id)
    )
    if doubtful is not None:
        query = query.where(among(READING.c.code, doubtful))
    keys = [key for key in pen.conn.execute(query).scalars() if key not in basis]
    rows = [
        {"record": key, "mistake": RECORDS_LOST, "because": BECAUSE, "right_cell": None, "event_id": event_id}
        for key in keys
    ]
    insert_many(pen.conn, SUPERSESSION, rows)
    done.uncounted = len(rows)


def _out_of_use(staging: Connection) -> dict[str, str]:
    """Why cells were out of use: by their rows, where those are lost by the events that name them."""
    query = (
        "SELECT ec.code, e.verb, e.because FROM event_cell ec JOIN event e ON e.id = ec.event_id "
        "WHERE e.verb IN ('condemned', 'discarded', 'cleared', 'handed-over') ORDER BY e.id"
    )
    whys: dict[str, str] = {}
    for code, verb, because in staging.exec_driver_sql(query):
        if verb == "cleared":
            whys.pop(code, None)
        elif verb != "handed-over":
            whys.setdefault(code, str(because))
    out = {Stage.CONDEMNED.value, Stage.HANDED_OVER.value}
    stages = {row.code: row.stage for row in staging.exec_driver_sql("SELECT code, stage FROM cell")}
    known = {code for code, stage in stages.items() if stage in set(Stage)}
    there = {code: whys.get(code, "") for code, stage in stages.items() if stage in out}
    return there | {code: why for code, why in whys.items() if code not in known}
