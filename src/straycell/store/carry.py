"""What a restore must not lose: dangers seen and mistakes found since the backup, and the numbers given out."""

from collections.abc import Collection, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, select

from straycell.acceptance.evidence import DISMANTLED
from straycell.acceptance.reasons import Status
from straycell.keys import named_here
from straycell.readings import RECORDS_LOST, Mistake
from straycell.store.book import derived
from straycell.store.book.bench import given_out
from straycell.store.book.events import RESTORED
from straycell.store.book.measured import meters
from straycell.store.book.register import put, said
from straycell.store.book.stock import cells
from straycell.store.book.stock.facts import FACTS
from straycell.store.book.use import builds, handovers, incidents
from straycell.store.column_values import from_json
from straycell.store.schema.tables import (
    BENCH,
    CELL,
    CHARGER,
    CONDEMNATION,
    EVENT,
    FINDING,
    FINDING_FELL,
    READING,
    SUPERSESSION,
    UPSET,
)
from straycell.store.session import Pen, grouped, insert_many
from straycell.store.sqlite.file import READ_FAULTS
from straycell.store.verdicts import recorded, rejudge, siblings

REPLACED = "was out of use in the store that was replaced: "

_SAME = {
    # table: by which columns a record of the replaced store is known again in the restored one
    FINDING: ("digest",),
    FINDING_FELL: ("digest",),
    CHARGER: ("name", "slot", "measured_at_us"),
}
_CARRIED = (*_SAME, SUPERSESSION, UPSET, CONDEMNATION)


@dataclass(slots=True)
class Former:
    """What the replaced store says that counts, as far as it could be read; `lost` when not all of it could."""

    letter: str = ""
    counters: dict[str, int] = field(default_factory=dict)
    records: dict[Table, list[Row[Any]]] = field(default_factory=lambda: {table: [] for table in _CARRIED})
    measured: dict[int, dict[str, Any]] = field(default_factory=dict)
    mistyped: dict[str, dict[str, Any]] = field(default_factory=dict)
    out_of_use: dict[str, str] = field(default_factory=dict)
    doubts: dict[str, dict[str, str]] = field(default_factory=dict)
    readable: set[str] = field(default_factory=set)
    lost: bool = False

    def new_to(self, conn: Connection, table: Table) -> list[Row[Any]]:
        """The records of a table that this store does not hold yet."""
        columns = [table.c[name] for name in _SAME[table]]
        here = {tuple(row) for row in conn.execute(select(*columns))}
        return [
            row for row in self.records[table] if tuple(getattr(row, c.name) for c in columns) not in here
        ]


@dataclass(frozen=True, slots=True)
class Carried:
    """What became of it: cells out of use here too by it, cells out of use there and not in the backup, cells held.

    `doubtful` are held for something that was seen since the backup and is forgotten with it.
    """

    discarded: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    held: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()


def read_former(conn: Connection) -> Former:
    """Read what must be carried over, row by row, past what is damaged."""
    former = Former()
    # The replaced store may be damaged: each table by itself, so that one broken page loses one table only.
    rows = _all(former, conn, select(BENCH))
    if rows:
        former.letter = rows[0].letter
        former.counters = {name: n for name, n in rows[0]._mapping.items() if name.startswith("last_")}
    for table in _CARRIED:
        query = select(table).order_by(table.c.id)
        # Taken out of a build that the backup still has: what happened to the cells is no danger by itself.
        former.records[table] = _all(
            former, conn, query.where(UPSET.c.kind != DISMANTLED) if table is UPSET else query
        )
    # Its meter is in its event; that page may be broken, and the measurement itself warns all the same.
    former.measured = dict(_measured(former, conn))
    former.readable = {row.code for row in _all(former, conn, select(CELL.c.code, CELL.c.stage))}
    try:
        former.mistyped = dict(_mistyped(conn))
        former.out_of_use = handovers.out_of_use(conn)
        former.doubts = _doubts(conn)
    except (*READ_FAULTS, ValueError):
        former.lost = True
    return former


def _doubts(conn: Connection, codes: Collection[str] | None = None) -> dict[str, dict[str, str]]:
    """What keeps each cell from a better use for safety, by rule, as its newest verdict says; findings count elsewhere."""
    found = {}
    for code, row in recorded.newest(conn, codes).items():
        with suppress(KeyError, TypeError):
            reasons = recorded.read_body(row.body).reasons
            found[code] = {
                r.rule: r.text for r in reasons if r.safety and r.status is not Status.MET and not r.finding
            }
    return found


def _all(former: Former, conn: Connection, query: Select[Any]) -> list[Row[Any]]:
    found: list[Row[Any]] = []
    try:
        found.extend(conn.execute(query))
    except (*READ_FAULTS, ValueError):
        former.lost = True
    return found


def _measured(former: Former, conn: Connection) -> Iterator[tuple[int, dict[str, Any]]]:
    for row in _all(former, conn, select(EVENT.c.id, EVENT.c.detail).where(EVENT.c.verb == meters.MEASURED)):
        with suppress(ValueError, TypeError):
            yield row.id, dict(from_json(row.detail))


def _mistyped(conn: Connection) -> Iterator[tuple[str, dict[str, Any]]]:
    for code, fields in said(conn, None, FACTS).items():
        values = {name: found.value for name, found in fields.items() if found.withdrawn}
        if values:
            yield code, values


def restore_into(pen: Pen, former: Former) -> Carried:
    """Write it into the restored copy, as one write, before that takes the store's place."""
    # Before anything is numbered: numbers given out since the backup are on labels and papers.
    keep_counters(pen.conn, former)
    return carry_over(pen, former, pen.event(RESTORED, because="a backup was restored"))


def carry_over(pen: Pen, former: Former, event_id: int) -> Carried:
    """Let dangers, mistakes and what was out of use count here too; hold what could not be read."""
    known, before = set(cells.codes(pen.conn, withdrawn=True)), set(handovers.out_of_use(pen.conn))
    touched = _findings(pen, former, known)
    touched |= _supersessions(pen, former, known, event_id)
    touched |= _facts(pen, former, known, event_id)
    touched |= _chargers(pen, former)
    derived.follow(pen.conn, cells=touched)
    words = {row.code: row.words for row in reversed(former.records[FINDING])}
    newly = sorted(derived.standing_out(pen.conn, touched) - before)
    pen.events("condemned", {code: words[code] for code in newly if code in words})
    # Only where something could not be read: a sound store has said all it knew. Unknown is never a pass.
    held = sorted(known - former.readable) if former.lost else []
    if held:
        incidents.add_upsets(pen, held, RECORDS_LOST, severe=False, event_id=event_id)
    pen.touched |= touched | set(held)
    pen.kin |= siblings.siblings_of(pen.conn, pen.touched)
    # What is taken back here may bring a cell back that something else, lost by now, had condemned.
    rejudge.settle(pen)
    doubtful = _held_for_doubts(pen, former, known, event_id)
    # After the verdicts: a finding carried over says why better than a discard of the same cell.
    discarded = _discards(pen, former, known, event_id)
    pen.link(event_id, sorted(touched | {*held, *doubtful, *discarded}))
    pen.touched |= set(discarded)
    unknown = sorted(former.out_of_use.keys() - known)
    out = sorted(set(handovers.out_of_use(pen.conn)) - before)
    return Carried(tuple(out), tuple(unknown), tuple(held), tuple(doubtful))


def _held_for_doubts(pen: Pen, former: Former, known: Collection[str], event_id: int) -> list[str]:
    """Cells that were in doubt there for what nobody knows here: tested again, as after an incident."""
    # The reading or charge that showed it is forgotten with all that was recorded since the backup; the doubt is not.
    wanted = sorted(former.doubts.keys() & set(known) - former.out_of_use.keys())
    here = _doubts(pen.conn, wanted)
    doubtful = []
    for code in wanted:
        gone = [text for rule, text in former.doubts[code].items() if rule not in here.get(code, {})]
        if gone:
            doubtful.append(code)
            incidents.add_upsets(
                pen, [code], f"{incidents.IN_DOUBT}: {gone[0]}", severe=False, event_id=event_id
            )
    if doubtful:
        rejudge.settle(pen)
    return doubtful


def keep_counters(conn: Connection, former: Former) -> None:
    """The replaced store's letter and its last numbers: none of them is given out again."""
    if not former.letter:
        return
    here = conn.execute(select(BENCH)).one()
    own = dict(here._mapping) if here.letter == former.letter else given_out(conn, former.letter)
    # Counters never go back: a number used twice would join two histories at the next merge.
    lifted = {name: max(number, own[name]) for name, number in former.counters.items()}
    conn.execute(BENCH.update().values(letter=former.letter, **lifted))


def _findings(pen: Pen, former: Former, known: Collection[str]) -> set[str]:
    codes: set[str] = set()
    for table in (FINDING, FINDING_FELL):
        # Findings are named by content, so those that the backup holds are not written twice.
        written: set[str] = set()
        of = {row.digest: row.code for row in pen.conn.execute(select(FINDING.c.digest, FINDING.c.code))}
        for row in former.new_to(pen.conn, table):
            code = row.code if table is FINDING else of.get(row.digest)
            if row.digest not in written and code is not None and code in known:
                written.add(row.digest)
                codes.add(code)
                pen.conn.execute(table.insert().values(_again(row) | {"write_id": pen.write_id}))
    return codes


def _again(row: Row[Any]) -> dict[str, Any]:
    return {name: value for name, value in row._mapping.items() if name not in ("id", "write_id", "event_id")}


def _supersessions(pen: Pen, former: Former, known: Collection[str], event_id: int) -> set[str]:
    measured = {each.key: each.name for each in meters.chargers(pen.conn)}
    happened, codes = _incidents(pen, former, known, event_id)
    here = {tuple(r) for r in pen.conn.execute(select(SUPERSESSION.c.record, SUPERSESSION.c.mistake))}
    for row in former.records[SUPERSESSION]:
        # The cell that the value belonged to may be younger than the backup.
        right = row.right_cell if row.right_cell in known else None
        record, of = happened.get(row.record, (row.record, None))
        if (record, row.mistake) in here:
            continue
        values = _again(row) | {"record": record, "right_cell": right, "event_id": event_id}
        pen.conn.execute(SUPERSESSION.insert().values(values))
        of = of or pen.conn.execute(select(READING.c.code).where(READING.c.key == row.record)).scalar()
        codes |= {code for code in (of, right) if code is not None}
        # What was taken back of a charger is a record of no cell, and speaks of all that it charged.
        codes |= meters.charged_by(pen.conn, measured[row.record]) if row.record in measured else set()
    return codes


def _incidents(
    pen: Pen, former: Former, known: Collection[str], event_id: int
) -> tuple[dict[str, tuple[str, str]], set[str]]:
    """What each incident of the replaced store is called here, and its cell; the cells of those recorded now."""
    alike = grouped((_what(row), row.key) for row in pen.conn.execute(select(UPSET).order_by(UPSET.c.id)))
    found, new = {}, []
    for row in sorted(former.records[UPSET], key=lambda row: row.key not in alike.get(_what(row), ())):
        if row.code not in known:
            continue
        here = alike.get(_what(row), [])
        # Each stands for one: an incident that moved away and back is there twice, and one of them counts.
        if here:
            key = here.pop(here.index(row.key) if row.key in here else 0)
            found[row.key] = (key, row.code)
        else:
            new.append(row)
    # Numbered again: another bench may have the original, and its key is its own.
    for number, row in zip(pen.numbers("record", len(new)), new, strict=True):
        values = _again(row) | {"key": str(number), "event_id": event_id}
        pen.conn.execute(UPSET.insert().values(values))
        found[row.key] = (str(number), row.code)
    names = {derived.HAPPENED + old: (derived.HAPPENED + key, code) for old, (key, code) in found.items()}
    return names, {row.code for row in new}


def _what(row: Row[Any]) -> tuple[Any, ...]:
    """What happened to a cell: an earlier restore may have numbered it again."""
    return row.code, row.kind, row.at_us, row.severe


def _facts(pen: Pen, former: Former, known: Collection[str], event_id: int) -> set[str]:
    """Corrections of what was mistyped: the values that hold there, said again where they do not hold here."""
    # A mistyped chemistry that came back with the backup could be charged to the wrong voltage.
    here = said(pen.conn, list(former.mistyped), FACTS)
    values: dict[str, dict[str, Any]] = {}
    for code in former.mistyped.keys() & set(known):
        for name, value in former.mistyped[code].items():
            found = here.get(code, {}).get(name)
            if found is None or found.value != value:
                values.setdefault(code, {})[name] = value
    put(pen, event_id, values, Mistake.MISTYPED.value)
    return set(values)


def _chargers(pen: Pen, former: Former) -> set[str]:
    """Chargers that were measured: they may hold a cell whatever else is forgotten of it."""
    chargers = former.new_to(pen.conn, CHARGER)
    for row in chargers:
        # An event of its own: that of the restore does not hold what it was measured with.
        detail = former.measured.get(row.event_id, {"slot": row.slot})
        event_id = pen.event(meters.MEASURED, subject=named_here(row.name), detail=detail)
        pen.conn.execute(CHARGER.insert().values(_again(row) | {"event_id": event_id}))
    return set[str]().union(*(meters.charged_by(pen.conn, row.name) for row in chargers))


def _discards(pen: Pen, former: Former, known: Collection[str], event_id: int) -> list[str]:
    """What a person discarded, and what was out of use for any reason, unless it is so here by now."""
    whys = {row.code: row.because for row in former.records[CONDEMNATION]}
    out = {
        code: REPLACED + (why.removeprefix(REPLACED) or "no reason is given there")
        for code, why in former.out_of_use.items()
    }
    gone = set(handovers.out_of_use(pen.conn))
    by_hand = set(pen.conn.execute(select(CONDEMNATION.c.code)).scalars())
    wanted = {code: why for code, why in (out | whys).items() if code in known}
    wanted = {c: why for c, why in wanted.items() if (c in whys and c not in by_hand) or c not in gone}
    listed = dict(sorted(wanted.items()))
    common = {"at_us": pen.now_us, "event_id": event_id}
    insert_many(
        pen.conn, CONDEMNATION, pen.keyed({"code": c, "because": w, **common} for c, w in listed.items())
    )
    pen.events("discarded", listed)
    derived.follow(pen.conn, cells=list(listed))
    builds.free_lost(pen, listed)
    return list(listed)
