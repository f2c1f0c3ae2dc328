"""Taking back what was recorded of nothing: a cell or a tear-down that never was. The history keeps it.

Only what holds no evidence can be withdrawn, so that no danger once seen goes with it.
"""

from sqlalchemy import select

from straycell.cells import Cell, Stage, check_move
from straycell.errors import BadData
from straycell.store.book.derived import evident, say
from straycell.store.book.measured.readings import recorded
from straycell.store.book.names import letter
from straycell.store.book.register import put
from straycell.store.book.stock import cells, teardowns
from straycell.store.schema.tables import CELL
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen


def withdraw_cell(pen: Pen, code: str, because: str) -> Cell:
    """A cell that was recorded by mistake leaves every list. Raises BadData for one of which anything is known."""
    reason, old = require_because(because), cells.cell(pen.conn, code)
    if old.stage not in (Stage.RECEIVED, Stage.SHELVED):
        raise BadData(f"cell {code} is {old.stage}", f"see: straycell cell history {code}")
    if evident(pen.conn, code):
        count = len(recorded(pen.conn, code, with_superseded=False))
        what = (
            "incidents"
            if not count
            else "a reading or charge"
            if count == 1
            else f"{count} readings or charges"
        )
        raise BadData(
            f"cell {code} has {what} on record, so there is such a cell",
            "if they are of another cell: straycell reading supersede ID --mistake wrong-cell --because TEXT",
        )
    return _say_stage(pen, old, Stage.WITHDRAWN, "cell-withdrawn", reason)


def reinstate_cell(pen: Pen, code: str, because: str) -> Cell:
    """A withdrawn cell that is there after all is received. Raises BadData for one that was not withdrawn."""
    reason, old = require_because(because), cells.cell(pen.conn, code)
    if old.stage is not Stage.WITHDRAWN:
        raise BadData(f"cell {code} was not withdrawn", f"see: straycell cell show {code}")
    return _say_stage(pen, old, Stage.RECEIVED, "cell-reinstated", reason)


def _say_stage(pen: Pen, old: Cell, stage: Stage, verb: str, reason: str) -> Cell:
    check_move(old.code, old.stage, stage)
    event_id = pen.event(verb, [old.code], because=reason)
    say(pen, event_id, {old.code: {"stage": stage.value, "box": None}})
    pen.touched.add(old.code)
    return cells.cell(pen.conn, old.code)


def withdraw_teardown(pen: Pen, code: str, because: str, *, back: bool = False) -> None:
    """A tear-down without cells leaves every list, or comes back. Raises BadData."""
    reason, found = require_because(because), teardowns.teardown(pen.conn, code).code
    gone = found in teardowns.withdrawn(pen.conn)
    if gone is not back:
        raise BadData(
            f"tear-down {found} was {'not' if back else 'already'} withdrawn",
            f"see: straycell teardown show {found}",
        )
    there = select(CELL.c.code).where(CELL.c.teardown == found, CELL.c.stage != Stage.WITHDRAWN.value)
    inside = list(pen.conn.execute(there.order_by(CELL.c.code)).scalars())
    if inside:
        shown = ", ".join(inside[:5]) + (f" and {len(inside) - 5} more" if len(inside) > 5 else "")
        raise BadData(
            f"cells of tear-down {found} are on record: {shown}",
            f"withdraw them first: straycell cell withdraw --teardown {found} --because TEXT",
        )
    event_id = pen.event(f"teardown-{'reinstated' if back else 'withdrawn'}", subject=found, because=reason)
    put(pen, event_id, {found: {teardowns.WITHDRAWN: not back}})


def last_added(pen: Pen, count: int) -> list[str]:
    """The cells of this bench that were recorded last, by code. Raises BadData where there are not so many."""
    own = CELL.c.code.startswith(letter(pen.conn))
    query = select(CELL.c.code).where(CELL.c.stage != Stage.WITHDRAWN.value, own)
    found = list(
        pen.conn.execute(query.order_by(CELL.c.event_id.desc(), CELL.c.code.desc()).limit(count)).scalars()
    )
    if len(found) < count:
        raise BadData(f"this bench has {len(found)} cells on record, not {count}", "see: straycell cell list")
    return sorted(found)
