"""What lies beside a list: its boxes, meters and tear-downs by name, and what happened to its cells.

Discards and incidents come along, and out of use stays out of use.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path
from types import SimpleNamespace
from typing import TypeVar

from sqlalchemy import Column, select

from straycell.acceptance.evidence import DISMANTLED
from straycell.cells import Stage
from straycell.errors import BadData
from straycell.meters import Meter
from straycell.readings import Mistake
from straycell.store.book.derived import follow
from straycell.store.book.measured import meters
from straycell.store.book.names import shown
from straycell.store.book.photographs import add_photograph
from straycell.store.book.records import Box
from straycell.store.book.stock import boxes, teardowns
from straycell.store.column_values import day_text, from_us, to_us
from straycell.store.exchange.fields import TEXT_LIMIT, number
from straycell.store.exchange.rows import rows_beside
from straycell.store.photograph_files import read
from straycell.store.schema.tables import BENCH, BOX, CONDEMNATION, METER, TEARDOWN, UPSET
from straycell.store.session import Pen, insert_many
from straycell.store.verdicts import siblings
from straycell.teardowns import Teardown, parse_teardown_code

_OUT_OF_USE = {
    Stage.CONDEMNED: "condemned in the list it came from",
    Stage.HANDED_OVER: "handed over in the list it came from",
}
_NOT_SEVERE = ("False", "false", "no", "0")
_T = TypeVar("_T")


class Beside:
    """Tear-downs, boxes and meters by name: of the store, and of `teardowns.csv`, `boxes.csv`, `meters.csv`."""

    def __init__(self, pen: Pen, file: Path) -> None:
        self._pen, self._folder = pen, file.parent

    @cached_property
    def _teardowns(self) -> dict[str, Teardown | None]:
        """None for one that is here."""
        listed = self._listed("teardowns", "code", lambda row: _teardown(row, self._pen.now.date()))
        return listed | dict.fromkeys(self._here(TEARDOWN.c.code))

    @cached_property
    def _boxes(self) -> dict[str, Box | None]:
        here = shown(self._pen.conn, BOX).values()
        return self._listed("boxes", "name", _box) | dict.fromkeys(here)

    @cached_property
    def _meters(self) -> dict[str, Meter]:
        listed = self._listed("meters", "name", lambda row: _meter(row, self._pen.now.date()))
        return listed | {meter.name: meter for meter in meters.meters(self._pen.conn)}

    def _here(self, column: Column[str]) -> Iterable[str]:
        return self._pen.conn.execute(select(column)).scalars()

    def _listed(self, name: str, key: str, read: Callable[[dict[str, str]], _T]) -> dict[str, _T]:
        """What a file of the same export lists, by its name. Raises BadData that names the file and the line."""
        # What lies beside a list was not named by the person, so a fault has to name file and line.
        found: dict[str, _T] = {}
        file = self._folder / f"{name}.csv"
        for line, row in rows_beside(file):
            try:
                if not row.get(key):
                    raise BadData(f"there is no {key}", "fill it, or take the file away")
                found[row[key]] = read(row)
            except BadData as fault:
                raise BadData(f"{file.name} line {line}: {fault.what}", fault.remedy) from None
        return found

    def teardown(self, code: str) -> str:
        """The code itself. Raises BadData for a tear-down that is nowhere."""
        if code not in self._teardowns:
            raise BadData(f"there is no tear-down {code}", "file it first: straycell teardown add")
        return code

    def box(self, name: str) -> str:
        """The name itself. Raises BadData for a box that is nowhere."""
        if name not in self._boxes:
            raise BadData(f"there is no box '{name}'", f"make it first: straycell box add '{name}'")
        return name

    def meter(self, name: str) -> Meter:
        """The meter. Raises BadData for one that is nowhere."""
        if name not in self._meters:
            raise BadData(f"there is no meter '{name}'", "declare it first: straycell meter add")
        return self._meters[name]

    def take(
        self, *, teardowns_: Collection[str] = (), boxes_: Collection[str] = (), meters_: Collection[str] = ()
    ) -> None:
        """Bring what is only listed beside the file into the store, of these names."""
        for code in sorted(teardowns_):
            new = self._teardowns[code]
            if new is not None:
                self._file_teardown(new)
        for name in sorted(boxes_):
            box = self._boxes[name]
            if box is not None:
                boxes.add_box(self._pen, *box)
        known = set(shown(self._pen.conn, METER).values())
        for name in sorted(set(meters_) - known):
            meters.add_meter(self._pen, self._meters[name])

    def _file_teardown(self, new: Teardown) -> None:
        """Under the code it has."""
        event_id = self._pen.event("teardown-added", subject=new.code, detail={"title": new.title})
        teardowns.insert(self._pen, new, event_id)
        bench = self._pen.conn.execute(select(BENCH)).one()
        # The counter follows, or the next tear-down would get the code of an imported one.
        if new.code.startswith(bench.letter) and int(new.code[2:]) > bench.last_teardown:
            self._pen.conn.execute(BENCH.update().values(last_teardown=int(new.code[2:])))


def _teardown(row: dict[str, str], today: date) -> Teardown:
    objects = row.get("objects") or "1"
    if not (objects.isascii() and objects.isdigit() and len(objects) < 8):
        raise BadData(f"objects: '{objects[:40]}' is not a count", "write how many alike objects were opened")
    new = Teardown(
        parse_teardown_code(row["code"]),
        _short(row, "title"),
        _short(row, "kind"),
        _day(row, "found_on"),
        _short(row, "place"),
        _short(row, "note"),
        int(objects),
        opened_on=_day(row, "opened_on"),
    )
    teardowns.require_teardown(new, today)
    return new


def _box(row: dict[str, str]) -> Box:
    limit_wh = _number(row, "limit_wh")
    if limit_wh is not None and limit_wh <= 0:
        raise BadData(f"limit_wh: {limit_wh:g} is not above zero", "write it like 100, or nothing")
    return Box(_short(row, "name"), _short(row, "kind"), limit_wh)


def _meter(row: dict[str, str], today: date) -> Meter:
    figures = {name: _number(row, name) for name in row if name.endswith(("_gain", "_offset"))}
    texts = {name: _short(row, name) for name in ("name", "like_class", "voltage_resolution")}
    compared_on = _day(row, "compared_on")
    if compared_on is not None and compared_on > today:
        raise BadData(f"compared_on: {compared_on} is in the future", "check the date")
    try:
        found = meters.meter_of(SimpleNamespace(**texts, **figures, compared_on=day_text(compared_on)))
    # A file of any origin may lie there under that name.
    except (AttributeError, TypeError, ValueError, RecursionError):
        raise BadData(
            "its columns are not those of an export", "take the file away, or export again"
        ) from None
    meters.require_meter(found)
    return found


def _short(row: dict[str, str], name: str) -> str:
    text = row.get(name, "")
    if len(text) > TEXT_LIMIT:
        raise BadData(f"{name}: {len(text)} characters", f"at most {TEXT_LIMIT}")
    return text


def _day(row: dict[str, str], name: str) -> date | None:
    text = row.get(name, "")
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise BadData(f"{name}: '{text[:40]}' is not a day", "write it like 2026-05-01") from None


def _number(row: dict[str, str], name: str) -> float | None:
    text = row.get(name, "")
    return number(text) if text else None


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
        # What was taken back of the wrong cell is in the line of the right one.
        if row.get("mistake") not in tuple(Mistake)
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
    for line, row in rows_beside(file.with_name("photographs.csv")):
        if row.get("code") in was:
            where = f"photographs.csv line {line}"
            at = from_us(_time(row.get("at") or "", pen.now, where))
            try:
                add_photograph(pen, row["code"], read(file.with_name("photographs"), row["sha256"]), at)
            except KeyError:
                raise BadData(f"{where}: no column 'sha256'", "take the file away, or export again") from None


def _rows(file: Path, now: datetime, was: Mapping[str, Stage]) -> Iterator[tuple[str, dict[str, str], int]]:
    """(code, line, time in us) of the cells just filed."""
    for line, row in rows_beside(file):
        if row.get("code") in was:
            yield row["code"], row, _time(row.get("at") or "", now, f"{file.name} line {line}")


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
