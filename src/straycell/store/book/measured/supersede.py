"""Taking a reading back: once, with the mistake named and a reason; it stays visible for ever."""

from collections.abc import Sequence
from dataclasses import replace

from straycell.errors import BadData, UsageFault
from straycell.keys import NEW, RecordKey
from straycell.readings import KINDS, Mistake, Quantity
from straycell.store.book.measured.readings import Item, insert_items, reading, require_fit
from straycell.store.book.stock import cells
from straycell.store.schema.tables import SUPERSESSION
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen
from straycell.store.verdicts import siblings

_VOLTAGES = (Quantity.VOLTAGE, Quantity.AS_FOUND_VOLTAGE)


def supersede(
    pen: Pen,
    number: RecordKey,
    mistake: str,
    because: str,
    right_cell: str | None = None,
    replacements: Sequence[Item] = (),
    undone: bool = False,
) -> list[Item]:
    """Supersede one reading or charge; returns what is in its place, numbered.

    `undone` takes a slip back before what should be there is known.

    wrong-cell: with `right_cell` the value moves there. mistyped: needs what should have been written.
    bad-contact: electrical readings only, with a repeated one or none. Raises BadData, UsageFault.
    """
    kind = _mistake(mistake)
    reason = require_because(because)
    record = reading(pen.conn, number)
    old = record.item
    # One supersession a reading here: a second would make it unclear which reason counts.
    if record.superseded:
        raise BadData(
            f"reading {number} was superseded before ({record.mistake}: {record.because})",
            f"supersede the one in its place: {record.superseded_by}"
            if record.superseded_by
            else "add a new reading",
        )
    right = _right_cell(pen, old, kind, right_cell)
    placed = [] if undone else _placed(old, kind, right, replacements)
    require_fit(pen.conn, placed)
    codes = [old.cell, *([right] if right else [])]
    # Both cells are named in the event: the value left one history and entered another.
    detail = {
        "reading": str(number),
        "mistake": kind.value,
        "right_cell": right,
        "quantity": old.quantity.value,
    }
    event_id = pen.event("reading-superseded", codes, subject=str(number), detail=detail, because=reason)
    pen.conn.execute(
        SUPERSESSION.insert().values(
            record=str(number), mistake=kind.value, because=reason, right_cell=right, event_id=event_id
        )
    )
    filed = insert_items(pen, placed, event_id, supersedes=number) if placed else []
    pen.touched.update(codes)
    pen.kin |= siblings.siblings_of(pen.conn, codes)
    return filed


def _mistake(word: str) -> Mistake:
    try:
        return Mistake(word)
    except ValueError as fault:
        raise UsageFault(
            f"'{word}' is not a mistake known here", f"choose one of: {', '.join(Mistake)}"
        ) from fault


def _right_cell(pen: Pen, old: Item, kind: Mistake, right_cell: str | None) -> str | None:
    # A loose clip changes what a meter shows, not what an eye sees or a scale weighs.
    if kind is Mistake.BAD_CONTACT and not KINDS[old.quantity].by_contact:
        raise BadData(
            f"reading {old.id} is a {old.quantity}: a bad contact cannot falsify it",
            "only voltage, capacity and resistance; else it is wrong-cell or mistyped",
        )
    if right_cell is None:
        return None
    if kind is not Mistake.WRONG_CELL:
        raise UsageFault(f"a right cell does not go with {kind}", "use --mistake wrong-cell, or leave it out")
    cells.require_cells(pen.conn, [right_cell])
    if right_cell == old.cell:
        raise UsageFault(
            f"reading {old.id} is of {right_cell} already", "name the cell it was really taken on"
        )
    return right_cell


def _placed(old: Item, kind: Mistake, right: str | None, replacements: Sequence[Item]) -> list[Item]:
    """What is in the old one's place: the given ones, and the value moved to the right cell."""
    # Mistyped says that a right value exists; without it the record would only vanish.
    if kind is Mistake.MISTYPED and not replacements:
        raise BadData(
            f"reading {old.id} was mistyped, but what it should be is missing", "give the right value too"
        )
    for new in replacements:
        if new.cell not in (old.cell, right):
            raise BadData(
                f"the reading in place of {old.id} is of {new.cell}", f"it was taken of {right or old.cell}"
            )
        # A let-down moved in time could explain a leak away after the fact.
        if old.quantity is Quantity.LET_DOWN and new.cell == old.cell and new.at != old.at:
            raise BadData(
                f"when {old.cell} was let down cannot be changed afterwards: it would explain other readings",
                "take it back with --mistake wrong-cell, then record it again",
            )
        if not _alike(old.quantity, new.quantity):
            raise BadData(
                f"reading {old.id} is a {old.quantity}, what should take its place a {new.quantity}",
                f"give the right {old.quantity}; record others with: straycell reading add",
            )
    placed = list(replacements)
    if right is not None and all(new.cell != right for new in placed):
        placed.insert(0, replace(old, id=NEW, cell=right))
    return placed


def _alike(old: Quantity, new: Quantity) -> bool:
    """A rest voltage typed as one as found, or the other way round, is a slip that happens."""
    return old is new or (old in _VOLTAGES and new in _VOLTAGES)
