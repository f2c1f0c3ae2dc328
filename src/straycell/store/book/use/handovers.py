"""Hand-overs in the store: condemned cells gathered for a collection point, and their leaving. Nothing is deleted."""

from collections.abc import Collection, Sequence
from datetime import datetime

from sqlalchemy import Connection, func, select

from straycell.acceptance import RuleSet, judge
from straycell.cells import Stage
from straycell.errors import BadData
from straycell.keys import RecordKey, key_of
from straycell.safety.handover.listing import HandoverCell, HandoverList, make_list
from straycell.store.book.derived import follow
from straycell.store.book.events import RESTORED
from straycell.store.book.names import letter
from straycell.store.book.records import HandoverEntry, Listing
from straycell.store.book.register import put
from straycell.store.book.stock import cells
from straycell.store.column_values import from_json, from_us, opt_time
from straycell.store.schema.tables import BUILD, BUILD_CELL, CELL, EVENT, EVENT_CELL, HANDOVER, HANDOVER_CELL
from straycell.store.session import Pen, grouped, insert_many
from straycell.store.verdicts.evidence import evidences

_CONDEMNING = ("condemned", "discarded")


def handovers(conn: Connection) -> list[HandoverEntry]:
    """All hand-overs in the order they were begun."""
    order = (HANDOVER.c.opened_at_us, func.length(HANDOVER.c.key), HANDOVER.c.key)
    rows = conn.execute(select(HANDOVER).order_by(*order)).all()
    places = conn.execute(
        select(HANDOVER_CELL.c.handover, HANDOVER_CELL.c.code)
        .where(HANDOVER_CELL.c.state != Listing.LEFT_OUT.value)
        .order_by(HANDOVER_CELL.c.handover, HANDOVER_CELL.c.code)
    ).all()
    on = grouped((row.handover, row.code) for row in places)
    return [
        HandoverEntry(
            id=key_of(row.key),
            place=row.place,
            opened_at=from_us(row.opened_at_us),
            closed_at=opt_time(row.closed_at_us),
            codes=tuple(on.get(row.key, ())),
            body=from_json(row.body) if row.body else None,
        )
        for row in rows
    ]


def handover(conn: Connection, number: RecordKey) -> HandoverEntry:
    """One hand-over by its number. Raises BadData when there is none."""
    listed = handovers(conn)
    found = next((entry for entry in listed if entry.id == number), None)
    if found is None:
        known = ", ".join(str(entry.id) for entry in listed[-5:])
        hint = f"the last ones are {known}" if listed else "begin one with: straycell handover add PLACE"
        raise BadData(f"there is no hand-over {number}", hint)
    return found


def built_in(conn: Connection) -> set[str]:
    """Cells that sit in a live build, whatever their stage."""
    query = (
        select(BUILD_CELL.c.code)
        .join(BUILD, BUILD.c.key == BUILD_CELL.c.build)
        .where(BUILD_CELL.c.live, BUILD.c.state == "finished")
    )
    return set(conn.execute(query).scalars())


def waiting(conn: Connection) -> list[str]:
    """Condemned cells that are in no device and on no hand-over, by code."""
    taken = select(HANDOVER_CELL.c.code).where(HANDOVER_CELL.c.state != Listing.LEFT_OUT.value)
    rows = conn.execute(
        select(CELL.c.code)
        .where(CELL.c.stage == Stage.CONDEMNED.value, CELL.c.code.not_in(taken))
        .order_by(CELL.c.code)
    ).scalars()
    # A cell in a device cannot be handed over: the device has to be opened first.
    inside = built_in(conn)
    return [code for code in rows if code not in inside]


def condemned_since(conn: Connection) -> dict[str, datetime]:
    """When each cell that is condemned now was condemned: the first time since it was last cleared."""
    first = _first_condemned(conn, [Stage.CONDEMNED.value])
    return {code: from_us(at_us) for code, (at_us, _) in first.items()}


def out_of_use(conn: Connection) -> dict[str, str]:
    """Why each cell that is condemned or handed over went out of use; empty where no event says."""
    stages = [Stage.CONDEMNED.value, Stage.HANDED_OVER.value]
    first = _first_condemned(conn, stages)
    codes = conn.execute(select(CELL.c.code).where(CELL.c.stage.in_(stages)).order_by(CELL.c.code)).scalars()
    return {code: first[code][1] if code in first else "" for code in codes}


def _first_condemned(conn: Connection, stages: Collection[str]) -> dict[str, tuple[int, str]]:
    """(when in microseconds, why) each cell of these stages was condemned first since it was last cleared."""
    rows = conn.execute(
        select(EVENT_CELL.c.code, EVENT.c.verb, EVENT.c.at_us, EVENT.c.because)
        .join(EVENT, EVENT.c.id == EVENT_CELL.c.event_id)
        .join(CELL, CELL.c.code == EVENT_CELL.c.code)
        .where(CELL.c.stage.in_(stages), EVENT.c.verb.in_([*_CONDEMNING, "cleared"]))
        .order_by(EVENT.c.at_us, EVENT.c.id)
    ).all()
    first: dict[str, tuple[int, str]] = {}
    for code, verb, at_us, because in rows:
        # A cell cleared and condemned again waits from the second time on.
        if verb == "cleared":
            first.pop(code, None)
        else:
            first.setdefault(code, (at_us, because))
    return first


def add_handover(pen: Pen, place: str, codes: Sequence[str] | None = None) -> HandoverEntry:
    """Gather the waiting condemned cells (or these of them) for a place; an open hand-over there takes them in.

    Raises BadData when none waits, or one of the cells named is not to be had.
    """
    name = place.strip()
    if not name:
        raise BadData("a hand-over needs a place", "write where the cells go, like 'recycling yard'")
    free = waiting(pen.conn)
    wanted = free if codes is None else list(dict.fromkeys(codes))
    _require_waiting(pen.conn, wanted, free)
    # One open list a place: two would send one drum's cells on two papers. Only this bench's own: a cell that two
    # benches each put on the list of one of them would be two rows of one name, which no merge can take.
    own = func.substr(HANDOVER.c.key, 1, 1) == letter(pen.conn)
    # Nor one from before a restore: what was put on it since the backup is forgotten here, and known elsewhere.
    restored = select(func.max(EVENT.c.at_us)).where(EVENT.c.verb == RESTORED).scalar_subquery()
    open_one = pen.conn.execute(
        select(HANDOVER.c.key)
        .where(HANDOVER.c.place == name, HANDOVER.c.closed_at_us.is_(None), own)
        .where(HANDOVER.c.opened_at_us > func.coalesce(restored, 0))
        .order_by(func.length(HANDOVER.c.key), HANDOVER.c.key)
    ).scalar()
    if not wanted and open_one is None:
        raise BadData("no condemned cell waits for a hand-over", "see: straycell cell list --stage condemned")
    event_id = pen.event("handover-added", wanted, subject=name, detail={"count": len(wanted)})
    key = open_one or str(pen.number("handover"))
    if open_one is None:
        row = {"key": key, "place": name, "opened_at_us": pen.now_us, "event_id": event_id}
        pen.conn.execute(HANDOVER.insert().values(**row))
    rows = ({"handover": key, "code": code, "event_id": event_id} for code in wanted)
    insert_many(pen.conn, HANDOVER_CELL, rows)
    return handover(pen.conn, key_of(key))


def _require_waiting(conn: Connection, wanted: Collection[str], free: Collection[str]) -> None:
    cells.require_cells(conn, wanted)
    stages = cells.stages(conn, wanted)
    for code in wanted:
        if code in free:
            continue
        if stages[code] is not Stage.CONDEMNED:
            raise BadData(
                f"cell {code} is {stages[code]}, not condemned", f"see: straycell verdict show {code}"
            )
        if code in built_in(conn):
            raise BadData(
                f"cell {code} is condemned and still built in", "take its build apart first: build dismantle"
            )
        raise BadData(f"cell {code} is on a hand-over already", "see: straycell handover list")


def list_of(conn: Connection, entry: HandoverEntry, rules: RuleSet, now: datetime) -> HandoverList:
    """The list as it would go with the cells now; of a closed hand-over the one that went."""
    # Signed lists are shown as signed: rules and words may have changed since.
    if entry.body is not None:
        return HandoverList.from_json(entry.body)
    stages = cells.stages(conn, entry.codes)
    still = [code for code in entry.codes if stages[code] is Stage.CONDEMNED]
    found = evidences(conn, still)
    listed = [HandoverCell.of(evidence, judge(evidence, rules, now).verdict) for evidence in found.values()]
    return make_list(str(entry.id), entry.place, letter(conn), entry.opened_at, listed)


def list_numbered(conn: Connection, number: RecordKey, rules: RuleSet, now: datetime) -> HandoverList:
    """The list of a hand-over: as it would go now, or as it went. Raises BadData."""
    return list_of(conn, handover(conn, number), rules, now)


def close_handover(pen: Pen, number: RecordKey) -> HandoverEntry:
    """The cells have left the house: they become handed-over, and the list is kept as it went.

    Cells that are not condemned any more are left out and stay. Raises BadData when it is closed, or empty.
    """
    entry = handover(pen.conn, number)
    if entry.closed_at is not None:
        raise BadData(
            f"hand-over {number} was closed on {entry.closed_at:%Y-%m-%d}", "begin another: handover add"
        )
    stages = cells.stages(pen.conn, entry.codes)
    gone = [code for code in entry.codes if stages[code] is Stage.CONDEMNED]
    if not gone:
        raise BadData(f"hand-over {number} holds no condemned cell", "nothing to hand over")
    # Kept as text with the hand-over, because facts may be corrected after the cells are gone.
    listed = list_of(pen.conn, entry, pen.rules, pen.now).closed(pen.now)
    detail = {"handover": str(number)}
    event_id = pen.event("handed-over", gone, subject=entry.place, detail=detail)
    put(pen, event_id, {str(number): {"closed": {"body": listed.to_json(), "gone": gone}}})
    put(pen, event_id, {code: {"box": None} for code in gone})
    follow(pen.conn, handovers=[str(number)], cells=gone)
    return handover(pen.conn, number)
