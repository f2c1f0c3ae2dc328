"""What goes by a name in both stores: the same thing, or another that gets its bench's letter behind its name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, select

from straycell.store.schema.tables import BOX, EVENT, HANDOVER, METER, PROJECT

_TABLES = {"box": BOX, "meter": METER, "project": PROJECT}
_KINDS = {"box": "box", "meter": "meter", "project": "project", "place": "hand-over to"}


class Names:
    """The other store's names in this one. `known` pairs events that both stores hold."""

    def __init__(self, conn: Connection, other: Connection, known: Mapping[int, int], bench: str) -> None:
        self._bench, self.notes = bench, list[str]()
        self._here: dict[str, dict[str, str]] = {}
        self._old: dict[str, set[str]] = {}
        for kind, table in _TABLES.items():
            self._meet(kind, table, conn, other, known)
        open_ = select(HANDOVER.c.place).where(HANDOVER.c.closed_at_us.is_(None))
        self._open_places = set(conn.execute(open_).scalars())

    def here(self, kind: str, name: str) -> str:
        """What the other store's `name` is called here."""
        if kind == "place":
            return self._apart(name) if name in self._open_places else name
        return self._here[kind][name]

    def is_here(self, kind: str, name: str) -> bool:
        """True when that thing is in this store already."""
        return name in self._old[kind]

    def _apart(self, name: str) -> str:
        return f"{name} (bench {self._bench})"

    def _meet(
        self, kind: str, table: Table, conn: Connection, other: Connection, known: Mapping[int, int]
    ) -> None:
        ours = {row.name: dict(row._mapping) for row in conn.execute(select(table))}
        by_event = {row["event_id"]: name for name, row in ours.items()}
        added = other.execute(select(EVENT.c.id, EVENT.c.subject).where(EVENT.c.verb == f"{kind}-added"))
        shared = {subject for event_id, subject in added if event_id in known}
        self._here[kind], self._old[kind] = {}, set()
        for row in other.execute(select(table).order_by(table.c.name)):
            name, apart = row.name, self._apart(row.name)
            target = by_event.get(known.get(row.event_id, -1))
            if target is None and name in shared:
                target = apart if apart in ours else name
            if target is None and name in ours and _agree(kind, ours[name], dict(row._mapping)):
                target = name
            if target is None and name in ours and apart in ours:
                target = apart
            if target is not None:
                self._old[kind].add(name)
            elif name in ours:
                target = apart
                self.notes.append(f"{_KINDS[kind]} '{name}' is another one there: it is '{apart}' here")
            self._here[kind][name] = target or name


def _agree(kind: str, ours: Mapping[str, Any], theirs: Mapping[str, Any]) -> bool:
    """True when what stands under a name is the same in both; two projects filed apart never are."""
    if kind == "project":
        return False
    return all(ours[column] == theirs[column] for column in ours if column != "event_id")
