"""What happened to cells: recorded, and taken back as a mistake. It never vanishes: it goes to the right cell or kind."""

from collections.abc import Iterable, Sequence

from sqlalchemy import ColumnElement, and_, select

from straycell.acceptance.evidence import DISMANTLED, GROUP_OUTSIDE, GROUP_SANK, Upset
from straycell.errors import BadData, UsageFault
from straycell.readings import METER_FAULT, RECORDS_LOST, Mistake
from straycell.store.book.derived import HAPPENED, follow, still_counts
from straycell.store.book.stock import cells
from straycell.store.column_values import from_us, to_us
from straycell.store.schema.tables import SUPERSESSION, UPSET
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen, insert_many
from straycell.store.verdicts import siblings
from straycell.store.verdicts.findings import recorded

IN_DOUBT = "in doubt in the store that was replaced"
# What the program concluded is no slip of a person's: it falls with what it rests on.
_OURS = (DISMANTLED, GROUP_SANK, GROUP_OUTSIDE, METER_FAULT, RECORDS_LOST)


def add_upsets(pen: Pen, codes: Iterable[str], kind: str, *, severe: bool, event_id: int) -> None:
    """Something happened to these cells; their verdicts follow."""
    _add(pen, codes, kind, pen.now_us, severe, event_id)


def _add(pen: Pen, codes: Iterable[str], kind: str, at_us: int, severe: bool, event_id: int) -> None:
    listed = list(dict.fromkeys(codes))
    common = {"kind": kind, "at_us": at_us, "severe": severe, "event_id": event_id}
    insert_many(pen.conn, UPSET, pen.keyed({"code": code, **common} for code in listed))
    _follow(pen, listed, kind)


def _follow(pen: Pen, codes: Sequence[str], kind: str) -> None:
    pen.touched.update(codes)
    # An incident like venting is a sign for the whole pack; a drop is not.
    if kind in siblings.seen_as():
        pen.kin |= siblings.siblings_of(pen.conn, codes)


def add_incident(pen: Pen, kind: str, codes: Sequence[str], note: str = "", severe: bool = False) -> int:
    """Record an incident; returns its number. Raises BadData without a kind or a cell."""
    if not kind.strip() or not codes:
        raise BadData(
            "an incident needs a kind and the cells it happened to", "see: straycell incident add --help"
        )
    cells.require_here(pen.conn, codes)
    event_id = pen.event("incident", codes, subject=kind, detail={"severe": severe}, because=note)
    add_upsets(pen, codes, kind, severe=severe, event_id=event_id)
    return event_id


def withdraw_incident(
    pen: Pen,
    code: str,
    happened: Upset,
    mistake: Mistake,
    because: str,
    right_cell: str | None = None,
    instead: tuple[str, bool] | None = None,
) -> None:
    """Take an incident of a cell back as a mistake; what happened is recorded where it belongs, at its own moment.

    wrong-cell: it goes to `right_cell`, else to another cell of the same incident once more. mistyped: `instead` is the
    right kind, and whether it is severe. Raises BadData, UsageFault.
    """
    reason = require_because(because)
    if happened.kind in _OURS or happened.kind.startswith(IN_DOUBT):
        raise BadData(
            f"'{happened.kind}' of {code} is not an incident that somebody recorded",
            f"test the cell again; straycell verdict show {code} says what is missing",
        )
    if mistake is Mistake.BAD_CONTACT:
        raise UsageFault("a bad contact makes no incident", "only wrong-cell or mistyped")
    where, kind, severe = _right_place(pen, code, happened, mistake, right_cell, instead)
    codes = list(dict.fromkeys((code, where)))
    detail: dict[str, object] = {
        "mistake": mistake.value,
        "at": happened.at.isoformat(),
        "right_cell": right_cell,
    }
    if instead is not None:
        detail |= {"kind": instead[0], "severe": instead[1]}
    event_id = pen.event("incident-withdrawn", codes, subject=happened.kind, detail=detail, because=reason)
    common = {"mistake": mistake.value, "because": reason, "right_cell": right_cell, "event_id": event_id}
    insert_many(pen.conn, SUPERSESSION, [{"record": r, **common} for r in _numbers(pen, code, happened)])
    _follow(pen, codes, happened.kind)
    _add(pen, [where], kind, to_us(happened.at), severe, event_id)
    # A cell that was withdrawn as never there has something on record now.
    follow(pen.conn, cells=codes)


def _numbers(pen: Pen, code: str, happened: Upset) -> list[str]:
    """What this incident is called: a restore numbers it again, and a finding goes on naming it as before.

    It may be there twice: what another cell of it lost went to this one.
    """
    known = set(pen.conn.execute(select(HAPPENED + UPSET.c.key)).scalars())
    found = recorded(pen.conn, [code]).get(code)
    same = [f for f in (found.standing if found else ()) if f.rule == "upset" and f.at == happened.at]
    before = {key for f in same for key in f.basis if key.startswith(HAPPENED)} - known
    twice = select(HAPPENED + UPSET.c.key).where(UPSET.c.code == code, _alike(happened), still_counts())
    return sorted({happened.key, *before, *pen.conn.execute(twice).scalars()})


def _alike(happened: Upset) -> ColumnElement[bool]:
    """True of every row that says the same happened, whatever the cell."""
    same = (
        UPSET.c.kind == happened.kind,
        UPSET.c.at_us == to_us(happened.at),
        UPSET.c.severe == happened.severe,
    )
    return and_(*same)


def _right_place(
    pen: Pen,
    code: str,
    happened: Upset,
    mistake: Mistake,
    right_cell: str | None,
    instead: tuple[str, bool] | None,
) -> tuple[str, str, bool]:
    """(cell, kind, severe) of what is recorded in its place."""
    if mistake is Mistake.MISTYPED:
        if right_cell is not None:
            raise UsageFault("a right cell does not go with mistyped", "use --mistake wrong-cell")
        if instead is None or instead == (happened.kind, happened.severe):
            raise BadData(
                f"'{happened.kind}' of {code} was mistyped, but what really happened is missing",
                "give the right kind with --kind; if it was another cell: --mistake wrong-cell --right-cell CODE",
            )
        return code, *instead
    if instead is not None:
        raise UsageFault(
            "another kind does not go with wrong-cell", "use --mistake mistyped, or leave it out"
        )
    if right_cell is None:
        # An import or a restore files what happened to many cells under one event of its own.
        others = select(UPSET.c.code).where(UPSET.c.event_id == happened.event, _alike(happened))
        others = others.where(UPSET.c.code != code, still_counts()).order_by(UPSET.c.id).limit(1)
        other = pen.conn.execute(others).scalar()
        if other is None:
            raise BadData(
                f"which cell had the '{happened.kind}' of {from_us(to_us(happened.at)):%Y-%m-%d} is missing",
                "name it with --right-cell CODE: what happened is not forgotten, it moves there",
            )
        # Not left to the row that the other has: another bench may be taking that one back, for this cell.
        return other, happened.kind, happened.severe
    cells.require_cells(pen.conn, [right_cell])
    if right_cell == code:
        raise UsageFault(f"the incident is of {code} already", "name the cell it really happened to")
    return right_cell, happened.kind, happened.severe
