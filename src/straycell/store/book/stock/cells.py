"""Cells in the store: their codes, the facts, their stage and their box."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import fields
from typing import Any

from sqlalchemy import Connection, bindparam, select

from straycell.cells import (
    LAST_NUMBER,
    Cell,
    CellFacts,
    Chemistry,
    Form,
    Stage,
    nearest_codes,
    next_codes,
    parse_code,
)
from straycell.errors import BadData
from straycell.store.book.names import key_named, shown
from straycell.store.column_values import from_json, from_us, to_json
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import BENCH, BLANK_CODE, BOX, CELL, EVENT
from straycell.store.session import Pen, among, rows_of

FACT_NAMES = tuple(field.name for field in fields(CellFacts))
FACT_COLUMNS = tuple(CELL.c[name] for name in FACT_NAMES)
_CHEMISTRY = FACT_NAMES.index("chemistry")
_FORM = FACT_NAMES.index("form")


def facts_of(values: tuple[Any, ...]) -> CellFacts:
    """The facts from a row's values in FACT_NAMES order."""
    listed = list(values)
    listed[_CHEMISTRY] = Chemistry(listed[_CHEMISTRY])
    listed[_FORM] = Form(listed[_FORM])
    return CellFacts(*listed)


def facts_values(facts: CellFacts) -> dict[str, Any]:
    """The facts as plain column values."""
    values = {name: getattr(facts, name) for name in FACT_NAMES}
    return values | {"chemistry": facts.chemistry.value, "form": facts.form.value}


CELL_FIELDS = ("stage", "box", "teardown", "pack", *FACT_NAMES)
"""What can be said of a cell; box and stage say where it lies, and are not evidence."""
UNSAID: dict[str, Any] = {
    "stage": Stage.RECEIVED.value,
    "box": None,
    "teardown": None,
    "pack": None,
    **facts_values(CellFacts()),
}
"""A cell of which nothing is said."""


def born_row(code: str, said: dict[str, Any], added_at_us: int, event_id: int) -> dict[str, Any]:
    """The row of a new cell; `said` are its fields."""
    # Only what was said: what a later version adds counts as unsaid, and the hash of old writes stays.
    born = {name: value for name, value in said.items() if value != UNSAID[name]}
    return {
        **UNSAID,
        **said,
        "code": code,
        "born": to_json(born),
        "added_at_us": added_at_us,
        "event_id": event_id,
    }


_COLUMNS = (
    CELL.c.code,
    CELL.c.stage,
    CELL.c.box,
    CELL.c.added_at_us,
    CELL.c.teardown,
    CELL.c.pack,
    *FACT_COLUMNS,
)


_CELL = Prepared(lambda: select(*_COLUMNS).where(CELL.c.code == bindparam("code", "")))
_KNOWN = Prepared(lambda: select(CELL.c.code), CELL.c.code)


def _read(conn: Connection, rows: Iterator[Any]) -> Iterator[Cell]:
    boxes = shown(conn, BOX)
    for code, stage, box, added_at_us, teardown, pack, *facts in rows:
        place = boxes[box] if box else None
        yield Cell(code, facts_of(tuple(facts)), Stage(stage), teardown, pack, place, from_us(added_at_us))


def codes(conn: Connection, *, withdrawn: bool = False) -> list[str]:
    """Every cell's code, in order; those of withdrawn cells only where asked for."""
    query = select(CELL.c.code).order_by(CELL.c.code)
    return list(conn.execute(query if withdrawn else query.where(_THERE)).scalars())


_THERE = CELL.c.stage != Stage.WITHDRAWN.value


def cell(conn: Connection, code: str) -> Cell:
    """One cell. Raises BadData naming the nearest codes when there is none."""
    for found in list(_read(conn, _CELL.rows(conn, code=code))):
        return found
    raise _absent(conn, code)


def _absent(conn: Connection, code: str) -> BadData:
    if conn.execute(select(BLANK_CODE.c.code).where(BLANK_CODE.c.code == code)).first() is not None:
        return BadData(
            f"code {code} is set aside, but no cell bears it yet",
            f"log the cell: straycell cell add --code {code}",
        )
    # The check character finds the slip, the nearest codes find the cell.
    near = nearest_codes(code, codes(conn))
    hint = f"nearest in the store: {', '.join(near)}" if near else "see: straycell cell list"
    return BadData(f"there is no cell {code}", hint)


def require_cells(conn: Connection, wanted: Iterable[str]) -> None:
    """Raise BadData for the first of these codes that is not a cell's."""
    listed = list(dict.fromkeys(wanted))
    if not listed:
        return
    # One query for all codes; the first missing one is named in the order they were typed.
    found = {row.code for row in _KNOWN.rows(conn, listed)}
    for code in listed:
        if code not in found:
            raise _absent(conn, code)


def find_code(conn: Connection, text: str) -> str:
    """A code as typed or scanned, of a cell that exists. Raises BadData with the nearest codes."""
    try:
        code = parse_code(text)
    except BadData:
        code = parse_code(text, codes(conn))  # the same refusal, now with suggestions
    require_cells(conn, [code])
    return code


def cells(
    conn: Connection,
    *,
    wanted: Collection[str] | None = None,
    stage: Stage | None = None,
    chemistry: Chemistry | None = None,
    form: Form | None = None,
    box: str | None = None,
) -> list[Cell]:
    """Cells by code, those that fit every given filter; withdrawn ones only where they or their stage are named."""
    query = select(*_COLUMNS).order_by(CELL.c.code)
    for column, value in (
        (CELL.c.stage, stage),
        (CELL.c.chemistry, chemistry),
        (CELL.c.form, form),
        (CELL.c.box, None if box is None else key_named(conn, BOX, box) or ""),
    ):
        if value is not None:
            query = query.where(column == str(value))
    if wanted is not None:
        query = query.where(among(CELL.c.code, wanted))
    elif stage is None:
        query = query.where(_THERE)
    return list(_read(conn, rows_of(conn, query)))


def require_here(conn: Connection, codes: Collection[str]) -> None:
    """Raise BadData for a code that is not a cell's, or a cell that has left the house or was withdrawn."""
    require_cells(conn, codes)
    _require_not_gone(conn, codes)


def _require_not_gone(conn: Connection, codes: Collection[str]) -> None:
    for code, stage in stages(conn, codes).items():
        if stage is Stage.HANDED_OVER:
            raise BadData(f"cell {code} was handed over and is not here", "check the code")
        if stage is Stage.WITHDRAWN:
            raise BadData(f"cell {code} was withdrawn: it was recorded by mistake", _BACK.format(code=code))


_BACK = "if it is there after all: straycell cell withdraw {code} --back --because TEXT"


def stages(conn: Connection, wanted: Collection[str]) -> dict[str, Stage]:
    """The stage of each of these cells."""
    rows = conn.execute(select(CELL.c.code, CELL.c.stage).where(among(CELL.c.code, wanted)))
    return {code: Stage(stage) for code, stage in rows}


# --- codes -----------------------------------------------------------------------------------------


def taken(conn: Connection, wanted: Collection[str]) -> set[str]:
    """Which of these codes stand for a cell or are set aside."""
    used = conn.execute(select(CELL.c.code).where(among(CELL.c.code, wanted))).scalars()
    aside = conn.execute(select(BLANK_CODE.c.code).where(among(BLANK_CODE.c.code, wanted))).scalars()
    return {*used, *aside}


def issue_codes(pen: Pen, count: int) -> list[str]:
    """The bench's next free codes, counted as issued from now on."""
    if count < 1:
        raise BadData(f"{count} codes cannot be issued", "write how many, 1 or more")
    bench = pen.conn.execute(select(BENCH)).one()
    after, fresh = int(bench.last_cell), list[str]()
    while len(fresh) < count:
        offered = next_codes(bench.letter, after, min(count - len(fresh), LAST_NUMBER))
        used = taken(pen.conn, offered)
        fresh += [code for code in offered if code not in used]
        after = int(offered[-1][1:6])
    pen.conn.execute(BENCH.update().values(last_cell=after))
    return fresh


def set_aside_codes(pen: Pen, count: int, *, printed: bool = True) -> list[str]:
    """Codes for blank labels, to be used by cells logged later; not `printed`, for one written by hand."""
    fresh = issue_codes(pen, count)
    detail = {"count": count, "printed": printed}
    event_id = pen.event("codes-set-aside", subject=f"{fresh[0]} to {fresh[-1]}", detail=detail)
    pen.conn.execute(BLANK_CODE.insert(), [{"code": code, "event_id": event_id} for code in fresh])
    return fresh


def blank_codes(conn: Connection) -> list[str]:
    """Codes set aside that no cell bears yet."""
    return list(
        conn.execute(
            select(BLANK_CODE.c.code)
            .where(BLANK_CODE.c.code.not_in(select(CELL.c.code)))
            .order_by(BLANK_CODE.c.code)
        ).scalars()
    )


def next_blank(conn: Connection) -> str:
    """The printed blank of this bench that follows the one used last; "" for none."""
    letter = conn.execute(select(BENCH.c.letter)).scalar_one()
    rows = conn.execute(
        select(BLANK_CODE.c.code, EVENT.c.detail, CELL.c.event_id)
        .join(EVENT, EVENT.c.id == BLANK_CODE.c.event_id)
        .outerjoin(CELL, CELL.c.code == BLANK_CODE.c.code)
        .where(BLANK_CODE.c.code.startswith(letter))
        .order_by(BLANK_CODE.c.event_id, BLANK_CODE.c.code)
    ).all()
    sheet = [(code, born) for code, detail, born in rows if _printed(from_json(detail))]
    used = [(born, place) for place, (_, born) in enumerate(sheet) if born is not None]
    # What lies before the last one used was spoiled or skipped: it is on no sheet in the hand any more.
    begin = max(used)[1] if used else -1
    return next((code for code, born in sheet[begin + 1 :] if born is None), "")


def _printed(detail: Mapping[str, Any]) -> bool:
    # Stores of earlier versions do not say: a sheet has more than one.
    return bool(detail.get("printed", detail.get("count", 0) > 1))


def claim_code(pen: Pen, text: str) -> str:
    """A code chosen by hand: one set aside, or any valid one that no cell bears. Raises BadData."""
    code = parse_code(text)
    _require_not_gone(pen.conn, [code])
    if pen.conn.execute(select(CELL.c.code).where(CELL.c.code == code)).first() is not None:
        raise BadData(f"code {code} is a cell already", "a code is for life: take another")
    return code
