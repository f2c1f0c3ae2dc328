"""Where things are now, made from what is recorded: the columns that may be made again at any time.

A closed hand-over comes before a finding or a discard, that before a live build, that before the shelf. Every write
and every merge ends here, so that two stores with the same records say the same of every thing.
"""

import json
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, bindparam, select

from straycell.acceptance.evidence import SHELF_LOSS
from straycell.builds import BuildState
from straycell.cells import Stage
from straycell.store.book.records import Listing, ProjectState
from straycell.store.book.register import Said, put, said
from straycell.store.book.stock.cells import CELL_FIELDS, UNSAID
from straycell.store.column_values import to_json
from straycell.store.schema.tables import (
    BUILD,
    BUILD_CELL,
    CELL,
    CONDEMNATION,
    FINDING,
    FINDING_FELL,
    HANDOVER,
    HANDOVER_CELL,
    PROJECT,
    READING,
    SUPERSESSION,
    TEARDOWN,
    UPSET,
)
from straycell.store.session import Pen, among, rows_of
from straycell.store.sqlite.guards import FOR_LIFE

Keys = Collection[str] | None
Rows = dict[tuple[Any, ...], dict[str, Any]]
"""What the derived columns of a table should hold, by the key of each row."""
TEARDOWN_FIELDS = ("title", "kind", "found_on", "place", "note", "objects", "opened_on")


def say(pen: Pen, event_id: int, values: Mapping[str, Mapping[str, Any]], mistake: str = "") -> None:
    """Say fields of cells again (by code), and let their rows follow."""
    put(pen, event_id, values, mistake)
    follow(pen.conn, cells=list(values))


def follow(
    conn: Connection,
    *,
    handovers: Keys = (),
    builds: Keys = (),
    projects: Keys = (),
    teardowns: Keys = (),
    cells: Keys = (),
) -> None:
    """Make the derived columns of these things again (None: of all), in the order in which they lean on each other."""
    for table, keys, rows in (
        (HANDOVER, handovers, handover_rows),
        (HANDOVER_CELL, handovers, handover_cell_rows),
        (BUILD, builds, build_rows),
        (BUILD_CELL, builds, build_cell_rows),
        (PROJECT, projects, project_rows),
        (TEARDOWN, teardowns, teardown_rows),
        (CELL, cells, cell_rows),
    ):
        if keys is None or keys:
            _update(conn, table, rows(conn, keys))


def differing(conn: Connection, table: Table, rows: Rows) -> Rows:
    """Those of these rows that say something else in the table."""
    if not rows:
        return {}
    # Only rows that change are written: a merge of 100,000 cells touches few of them.
    names = list(next(iter(rows.values())))
    key = list(table.primary_key)
    query = select(*key, *(table.c[name] for name in names)).where(among(key[0], {k[0] for k in rows}))
    width, found = len(key), Rows()
    for row in rows_of(conn, query):
        wanted = rows.get(tuple(row[:width]))
        if wanted is not None and list(wanted.values()) != list(row[width:]):
            found[tuple(row[:width])] = wanted
    return found


def _update(conn: Connection, table: Table, rows: Rows) -> None:
    """What ends goes first: a cell leaves one build before it enters another."""
    changed = differing(conn, table, rows)
    if not changed:
        return
    key = list(table.primary_key)
    names = list(next(iter(changed.values())))
    statement = table.update().where(*(column == bindparam(f"of_{column.name}") for column in key))
    statement = statement.values({name: bindparam(f"to_{name}") for name in names})
    # A unique index allows a cell one live place; the new one can only begin once the old one has ended.
    for ends in (True, False):
        some = {k: v for k, v in changed.items() if _ends(v) is ends}
        values = [
            {f"of_{column.name}": part for column, part in zip(key, k, strict=True)}
            | {f"to_{name}": value for name, value in row.items()}
            for k, row in some.items()
        ]
        if values:
            conn.execute(statement, values)


def take_over(conn: Connection, table: Table, schema: str) -> None:
    """Make the derived columns of a table those of its copy in an attached file."""
    key = [column.name for column in table.primary_key]
    names = [column.name for column in table.columns if column.name not in FOR_LIFE[table.name]]
    of = ", ".join(f'c."{name}"' for name in (*key, *names))
    same = " AND ".join(f'c."{name}" = m."{name}"' for name in key)
    unlike = " OR ".join(f'c."{name}" IS NOT m."{name}"' for name in names)
    query = f'SELECT {of} FROM {schema}."{table.name}" c JOIN main."{table.name}" m ON {same} WHERE {unlike}'
    rows = conn.exec_driver_sql(query).all()
    width = len(key)
    _update(conn, table, {tuple(row[:width]): dict(zip(names, row[width:], strict=True)) for row in rows})


def _ends(row: Mapping[str, Any]) -> bool:
    return row.get("live") in (False, 0) or row.get("state") in (BuildState.DISMANTLED, Listing.LEFT_OUT)


def _only(query: Select[Any], column: Any, keys: Keys) -> Select[Any]:
    return query if keys is None else query.where(among(column, keys))


# --- hand-overs ------------------------------------------------------------------------------------


def _closings(conn: Connection, keys: Keys) -> dict[str, tuple[int, dict[str, Any]]]:
    """(when, with what) each hand-over was closed: the first time counts, it left only once."""
    found = {}
    for key, fields in said(conn, keys, ("closed",)).items():
        # Two benches may both have closed it; the cells left the house once, and the paper says when.
        first = min(fields["closed"].entries, key=lambda entry: entry.rank)
        found[key] = (first.at_us, first.value)
    return found


def handover_rows(conn: Connection, keys: Keys) -> Rows:
    """When each was closed, and the list that went."""
    closed = _closings(conn, keys)
    rows: Rows = {}
    for key in conn.execute(_only(select(HANDOVER.c.key), HANDOVER.c.key, keys)).scalars():
        at_us, value = closed.get(key, (None, None))
        rows[key,] = {"closed_at_us": at_us, "body": "" if value is None else to_json(value["body"])}
    return rows


def handover_cell_rows(conn: Connection, keys: Keys) -> Rows:
    """What became of each cell on a list. On two open lists it stays on the first; one that left is on no open one.

    Lists that two benches closed apart each stay as they went.
    """
    code, query = HANDOVER_CELL.c.code, select(HANDOVER_CELL.c.handover, HANDOVER_CELL.c.code)
    on = _only(query, HANDOVER_CELL.c.handover, keys)
    pairs = {tuple(row) for row in rows_of(conn, on)}
    every = sorted(tuple(row) for row in rows_of(conn, query.where(among(code, {c for _, c in pairs}))))
    closed = _closings(conn, {key for key, _ in every})
    # What was signed for stays signed for, whatever the other bench thought.
    gone = {(key, code) for key, code in every if key in closed and code in closed[key][1]["gone"]}
    left = {code for _, code in gone}
    rows: Rows = {}
    taken: dict[str, str] = {}
    for key, code in every:
        if (key, code) in gone:
            state = Listing.GONE
        elif key not in closed and code not in left and taken.setdefault(code, key) == key:
            state = Listing.LISTED
        else:
            state = Listing.LEFT_OUT
        rows[key, code] = {"state": state.value}
    return rows


# --- builds and projects ---------------------------------------------------------------------------


def _build_state(known: Said | None) -> BuildState:
    """Of two benches that went on apart the one that holds the cells in a device is believed."""
    if known is None:
        return BuildState.RESERVED
    # A cell believed free while it sits in a device would be promised to somebody else.
    heads = {BuildState(head.value) for head in known.heads}
    return BuildState.FINISHED if BuildState.FINISHED in heads else BuildState.DISMANTLED


def build_rows(conn: Connection, keys: Keys) -> Rows:
    """How far each build went, and when."""
    states = {key: fields["state"] for key, fields in said(conn, keys, ("state",)).items()}
    rows: Rows = {}
    for key in conn.execute(_only(select(BUILD.c.key), BUILD.c.key, keys)).scalars():
        known = states.get(key)
        state = _build_state(known)
        when = {entry.value: entry.at_us for entry in reversed(known.entries)} if known else {}
        gone = when.get(BuildState.DISMANTLED.value) if state is BuildState.DISMANTLED else None
        rows[key,] = {
            "state": state.value,
            "finished_at_us": when.get(BuildState.FINISHED.value),
            "dismantled_at_us": gone,
        }
    return rows


def build_cell_rows(conn: Connection, keys: Keys) -> Rows:
    """A position is live as long as its build is."""
    query = _only(
        select(BUILD_CELL.c.build, BUILD_CELL.c.group_no, BUILD_CELL.c.position, BUILD.c.state).join(
            BUILD, BUILD.c.key == BUILD_CELL.c.build
        ),
        BUILD_CELL.c.build,
        keys,
    )
    return {
        (build, group, place): {"live": state != BuildState.DISMANTLED.value}
        for build, group, place, state in rows_of(conn, query)
    }


def project_rows(conn: Connection, keys: Keys) -> Rows:
    """The text that was filed last, and where the project is."""
    known = said(conn, keys, ("text", "dropped"))
    live = {
        project: ProjectState.BUILT if state == BuildState.FINISHED.value else ProjectState.RESERVED
        for project, state in conn.execute(
            select(BUILD.c.project, BUILD.c.state).where(BUILD.c.state != BuildState.DISMANTLED.value)
        )
    }
    rows: Rows = {}
    for key, born in conn.execute(_only(select(PROJECT.c.key, PROJECT.c.born), PROJECT.c.key, keys)):
        fields = known.get(key, {})
        text = fields["text"].value if "text" in fields else json.loads(born)
        dropped = "dropped" in fields and fields["dropped"].value
        state = live.get(key, ProjectState.DROPPED if dropped else ProjectState.PENDING)
        rows[key,] = {**{name: text[name] for name in ("body", "priority", "due")}, "state": state.value}
    return rows


# --- tear-downs and cells --------------------------------------------------------------------------


def teardown_rows(conn: Connection, keys: Keys) -> Rows:
    """What is said of each tear-down now."""
    known = said(conn, keys, TEARDOWN_FIELDS)
    rows: Rows = {}
    for code, born in conn.execute(_only(select(TEARDOWN.c.code, TEARDOWN.c.born), TEARDOWN.c.code, keys)):
        fields = {name: found.value for name, found in known.get(code, {}).items()}
        values = json.loads(born) | fields
        rows[code,] = {name: values[name] for name in TEARDOWN_FIELDS}
    return rows


def cell_rows(conn: Connection, codes: Keys) -> Rows:
    """Facts, box and stage of each cell."""
    known = said(conn, codes, CELL_FIELDS)
    rows: Rows = {}
    for code, born in rows_of(conn, _only(select(CELL.c.code, CELL.c.born), CELL.c.code, codes)):
        fields = known.get(code, {})
        rows[code,] = UNSAID | json.loads(born) | {name: found.value for name, found in fields.items()}
        # Condemned by one of two benches is condemned: unknown is never a pass.
        if "stage" in fields and any(head.value == Stage.CONDEMNED.value for head in fields["stage"].heads):
            rows[code,]["stage"] = Stage.CONDEMNED.value
        if rows[code,]["stage"] == Stage.WITHDRAWN.value:
            rows[code,]["stage"] = _if_withdrawn(conn, code, fields.get("stage")).value
    for stage, found in _stages(conn, codes):
        for code in found:
            if (code,) in rows:
                rows[code,]["stage"] = stage.value
    return rows


def _if_withdrawn(conn: Connection, code: str, known: Said | None) -> Stage:
    """Withdrawn, unless another bench found the cell: what was measured of it, or happened to it, was of some cell."""
    elsewhere = [h.value for h in known.heads if h.value != Stage.WITHDRAWN.value] if known else []
    return Stage(elsewhere[-1]) if elsewhere else Stage.RECEIVED if evident(conn, code) else Stage.WITHDRAWN


HAPPENED = "incident "
"""Before the number of an incident, where it is named among records of other kinds."""


def still_counts() -> ColumnElement[bool]:
    """True of an incident that was not taken back as a mistake."""
    return (HAPPENED + UPSET.c.key).not_in(select(SUPERSESSION.c.record))


def evident(conn: Connection, code: str) -> bool:
    """True for a cell of which a reading, a charge or an incident counts."""
    counts = READING.c.key.not_in(select(SUPERSESSION.c.record))
    measured = select(READING.c.id).where(READING.c.code == code, counts).limit(1)
    happened = select(UPSET.c.key).where(UPSET.c.code == code, still_counts()).limit(1)
    return any(conn.execute(query).first() is not None for query in (measured, happened))


def _stages(conn: Connection, codes: Keys) -> Iterator[tuple[Stage, set[str]]]:
    """What is stronger than the shelf, the strongest last."""
    # Written in order of strength, so that the last one that applies wins.
    place = BUILD_CELL.c.code
    for state, stage in ((BuildState.RESERVED, Stage.RESERVED), (BuildState.FINISHED, Stage.INSTALLED)):
        held = (
            select(place).join(BUILD, BUILD.c.key == BUILD_CELL.c.build).where(BUILD.c.state == state.value)
        )
        yield stage, set(conn.execute(_only(held, place, codes)).scalars())
    yield Stage.CONDEMNED, standing_out(conn, codes)
    gone = select(HANDOVER_CELL.c.code).where(HANDOVER_CELL.c.state == Listing.GONE.value)
    yield Stage.HANDED_OVER, set(conn.execute(_only(gone, HANDOVER_CELL.c.code, codes)).scalars())


def standing_out(conn: Connection, codes: Keys) -> set[str]:
    """Cells with a finding that holds, or discarded by a person for good."""
    withdrawn = select(SUPERSESSION.c.record)
    fell = select(FINDING_FELL.c.digest)
    own = select(CONDEMNATION.c.code).where(("discard " + CONDEMNATION.c.key).not_in(withdrawn))
    # A loss on the shelf holds and does not condemn: a new check may answer it.
    rule = select(FINDING.c.code).where(FINDING.c.digest.not_in(fell), FINDING.c.rule != SHELF_LOSS)
    by_hand = conn.execute(_only(own, CONDEMNATION.c.code, codes)).scalars()
    return {*by_hand, *conn.execute(_only(rule, FINDING.c.code, codes)).scalars()}


TABLES = {
    HANDOVER: handover_rows,
    HANDOVER_CELL: handover_cell_rows,
    BUILD: build_rows,
    BUILD_CELL: build_cell_rows,
    PROJECT: project_rows,
    TEARDOWN: teardown_rows,
    CELL: cell_rows,
}


def faults(conn: Connection) -> Iterator[str]:
    """Rows that say something else than what is recorded."""
    for table, rows in TABLES.items():
        for key in sorted(differing(conn, table, rows(conn, None))):
            yield f"{table.name.replace('_', ' ')} {' '.join(map(str, key))} does not stand where its records put it"
