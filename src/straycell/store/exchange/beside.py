"""What a line refers to: known here, or listed in the files of the same export that lie beside the one taken."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from functools import cached_property
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from sqlalchemy import select

from straycell.errors import BadData
from straycell.meters import Meter
from straycell.store.book import boxes, meters, teardowns
from straycell.store.book.names import shown
from straycell.store.exchange.table import rows_beside
from straycell.store.schema.tables import BENCH, BOX, METER, TEARDOWN
from straycell.store.session import Pen
from straycell.teardowns import Teardown

_Rows = dict[str, dict[str, str]]


class Beside:
    """Tear-downs, boxes and meters by name: of the store, and of `teardowns.csv`, `boxes.csv`, `meters.csv`."""

    def __init__(self, pen: Pen, file: Path) -> None:
        self._pen, self._folder = pen, file.parent

    @cached_property
    def _teardowns(self) -> tuple[set[str], _Rows]:
        return set(self._pen.conn.execute(select(TEARDOWN.c.code)).scalars()), self._rows("teardowns", "code")

    @cached_property
    def _boxes(self) -> tuple[set[str], _Rows]:
        return set(shown(self._pen.conn, BOX).values()), self._rows("boxes", "name")

    @cached_property
    def _meters(self) -> dict[str, Meter]:
        listed = {name: _meter(row) for name, row in self._rows("meters", "name").items()}
        return listed | {meter.name: meter for meter in meters.meters(self._pen.conn)}

    def _rows(self, name: str, key: str) -> _Rows:
        return {row[key]: row for row in rows_beside(self._folder / f"{name}.csv") if row.get(key)}

    def teardown(self, code: str) -> str:
        """The code itself. Raises BadData for a tear-down that is nowhere."""
        here, listed = self._teardowns
        if code not in here and code not in listed:
            raise BadData(f"there is no tear-down {code}", "file it first: straycell teardown add")
        return code

    def box(self, name: str) -> str:
        """The name itself. Raises BadData for a box that is nowhere."""
        here, listed = self._boxes
        if name not in here and name not in listed:
            raise BadData(f"there is no box '{name}'", f"make it first: straycell box add '{name}'")
        return name

    def meter(self, name: str) -> Meter:
        """The meter. Raises BadData for one that is nowhere."""
        if name not in self._meters:
            raise BadData(f"there is no meter '{name}'", "declare it first: straycell meter add")
        return self._meters[name]

    def take(
        self,
        *,
        teardowns_: Collection[str] = (),
        boxes_: Collection[str] = (),
        meters_: Collection[str] = (),
    ) -> None:
        """Bring what is only listed beside the file into the store, of these names."""
        here, listed = self._teardowns
        for code in sorted(set(teardowns_) - here):
            self._file_teardown(code, listed[code])
        here, listed = self._boxes
        for name in sorted(set(boxes_) - here):
            limit = listed[name].get("limit_wh")
            boxes.add_box(self._pen, name, listed[name].get("kind", ""), float(limit) if limit else None)
        known = set(shown(self._pen.conn, METER).values())
        for name in sorted(set(meters_) - known):
            meters.add_meter(self._pen, self._meters[name])

    def _file_teardown(self, code: str, row: dict[str, str]) -> None:
        """Under the code it has."""
        found = row.get("found_on")
        event_id = self._pen.event("teardown-added", subject=code, detail={"title": row["title"]})
        new = Teardown(
            code,
            row["title"],
            row["kind"],
            date.fromisoformat(found) if found else None,
            row.get("place", ""),
            row.get("note", ""),
            int(row.get("objects") or 1),
        )
        teardowns.insert(self._pen, new, event_id)
        bench = self._pen.conn.execute(select(BENCH)).one()
        if code.startswith(bench.letter) and int(code[2:]) > bench.last_teardown:
            self._pen.conn.execute(BENCH.update().values(last_teardown=int(code[2:])))


def _meter(row: dict[str, str]) -> Meter:
    figures: dict[str, Any] = {
        name: float(text) if text else None
        for name, text in row.items()
        if name.endswith(("_gain", "_offset"))
    }
    texts = {name: text for name, text in row.items() if name not in figures}
    return meters.meter_of(
        SimpleNamespace(**texts | {"compared_on": row.get("compared_on") or None}, **figures)
    )
