"""What a list says happened to its cells: discards and incidents come along, and out of use stays out of use."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path

from straycell.acceptance.evidence import DISMANTLED
from straycell.cells import Stage
from straycell.errors import BadData
from straycell.store.book.derived import follow
from straycell.store.book.photographs import add_photograph
from straycell.store.column_values import from_us, to_us
from straycell.store.exchange.rows import rows_beside
from straycell.store.photograph_files import read
from straycell.store.schema.tables import CONDEMNATION, UPSET
from straycell.store.session import Pen, insert_many
from straycell.store.verdicts import siblings

_OUT_OF_USE = {
    Stage.CONDEMNED: "condemned in the list it came from",
    Stage.HANDED_OVER: "handed over in the list it came from",
}
_NOT_SEVERE = ("False", "false", "no", "0")


def carry_past(pen: Pen, file: Path, was: Mapping[str, Stage], event_id: int) -> None:
    """Record it for the cells just filed, `was` being the stage their line names.

    `discards.csv`, `upsets.csv` and `photographs.csv` are read where they lie beside `file`. Raises BadData for a line
    that cannot be read: a danger that is not understood is not passed over.
    """
    discards = {
        code: {"because": row.get("because") or _OUT_OF_USE[Stage.CONDEMNED], "at_us": at_us}
        for code, row, at_us in _rows(file.with_name("discards.csv"), pen.now, was)
    }
    for code, stage in was.items():
        if stage in _OUT_OF_USE:
            # Out of use elsewhere is out of use here: a discard must not be lost by moving a list.
            discards.setdefault(code, {"because": _OUT_OF_USE[stage], "at_us": pen.now_us})
    upsets = [
        {
            "code": code,
            "kind": row.get("kind") or "an incident without a kind",
            "at_us": at_us,
            # Anything but a clear no counts as severe: unknown is never a pass.
            "severe": row.get("severe") not in _NOT_SEVERE,
        }
        for code, row, at_us in _rows(file.with_name("upsets.csv"), pen.now, was)
    ]
    # What a cell went through in a device nobody recorded: it is tested again.
    upsets += [
        {"code": code, "kind": DISMANTLED, "at_us": pen.now_us, "severe": False}
        for code, stage in was.items()
        if stage is Stage.INSTALLED
    ]
    pen.kin |= siblings.siblings_of(pen.conn, list(was))
    if discards:
        listed = ({"code": code, "event_id": event_id, **row} for code, row in sorted(discards.items()))
        insert_many(pen.conn, CONDEMNATION, pen.keyed(listed))
        follow(pen.conn, cells=list(discards))
    _photographs(pen, file, was)
    insert_many(pen.conn, UPSET, pen.keyed({**row, "event_id": event_id} for row in upsets))


def _photographs(pen: Pen, file: Path, was: Mapping[str, Stage]) -> None:
    """Photographs of the cells just filed: `photographs.csv` names them, the folder beside it holds them."""
    for number, row in rows_beside(file.with_name("photographs.csv")):
        if row.get("code") in was:
            where = f"photographs.csv line {number}"
            at = from_us(_time(row.get("at") or "", pen.now, where))
            try:
                add_photograph(pen, row["code"], read(file.with_name("photographs"), row["sha256"]), at)
            except KeyError:
                raise BadData(f"{where}: no column 'sha256'", "take the file away, or export again") from None


def _rows(file: Path, now: datetime, was: Mapping[str, Stage]) -> Iterator[tuple[str, dict[str, str], int]]:
    """(code, line, time in us) of the cells just filed."""
    for number, row in rows_beside(file):
        if row.get("code") in was:
            yield row["code"], row, _time(row.get("at") or "", now, f"{file.name} line {number}")


def _time(text: str, now: datetime, where: str) -> int:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    # A danger whose time cannot be read is not passed over.
    if at is None or at.tzinfo is None or at > now:
        raise BadData(
            f"{where}: '{text[:40]}' is not a time with a zone, up to now",
            "write it like 2026-11-20T20:00:00+00:00, or take the file away if it is of another list",
        )
    return to_us(at.astimezone(UTC))
