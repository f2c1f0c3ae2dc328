"""Facts by field: what was said of a thing first, and each field that was said again since. Nothing is overwritten.

An entry names the entries it takes the place of. Those that nothing takes the place of hold; there are several where
two benches corrected the same field apart, and they dispute it if they differ.
"""

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

from sqlalchemy import Connection, select

from straycell.keys import key_of
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import EVENT, FACT
from straycell.store.session import Pen

BORN = "born"
_encode = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a field: its number, what it says, and what it takes the place of."""

    entry: str
    value: Any
    mistake: str
    over: tuple[str, ...]
    at_us: int
    event_id: int

    @property
    def bench(self) -> str:
        """The bench that said it; "" where a merge did."""
        return "" if self.entry.startswith("+") else key_of(self.entry).bench

    @property
    def rank(self) -> tuple[int, int, str]:
        """Where the time decides: the same order on every bench."""
        if not self.bench:  # it knew all that was said before
            return self.at_us, 0, self.entry
        # Own numbers only grow, and the letter breaks ties: no clock has to agree between benches.
        key = key_of(self.entry)
        return self.at_us, key.number, key.bench


@dataclass(frozen=True)
class Said:
    """All that was said of one field of one thing."""

    entries: tuple[Entry, ...]

    @cached_property
    def heads(self) -> tuple[Entry, ...]:
        """The entries that hold, the newest last."""
        # Entries that nothing replaced: with one bench always one, with two perhaps a dispute.
        covered = {over for entry in self.entries for over in entry.over}
        return tuple(sorted((e for e in self.entries if e.entry not in covered), key=lambda e: e.rank))

    @property
    def value(self) -> Any:
        """What holds now; where benches dispute it, what was said last."""
        return self.heads[-1].value

    @property
    def disputed(self) -> bool:
        return any(head.value != self.value for head in self.heads)

    @cached_property
    def withdrawn(self) -> dict[str, Entry]:
        """Entries (and "born") that were withdrawn as mistyped, with all that they had replaced themselves.

        By the first entry that says so.
        """
        over = {entry.entry: entry.over for entry in self.entries}
        # A mistyped entry takes all with it that it had replaced: those were given up for its sake.
        said = sorted((entry for entry in self.entries if entry.mistake), key=lambda e: e.rank)
        waiting = [(name, entry) for entry in reversed(said) for name in entry.over]
        found: dict[str, Entry] = {}
        while waiting:
            name, entry = waiting.pop()
            if name not in found:
                found[name] = entry
                waiting += [(each, entry) for each in over.get(name, ())]
        return found


@lru_cache(maxsize=64)
def _entries(fields: tuple[str, ...]) -> Prepared:
    columns = ("subject", "field", "entry", "value", "mistake", "over", "event_id")
    return Prepared(
        lambda: (
            select(*(FACT.c[name] for name in columns), EVENT.c.at_us)
            .join(EVENT, EVENT.c.id == FACT.c.event_id)
            .where(FACT.c.field.in_(fields))
            .order_by(FACT.c.id)
        ),
        FACT.c.subject,
    )


def said(
    conn: Connection, subjects: Collection[str] | None, fields: Collection[str]
) -> dict[str, dict[str, Said]]:
    """By thing and field: what was said again of these fields (of these things; None: of all)."""
    found: dict[str, dict[str, list[Entry]]] = {}
    for subject, name, entry, value, mistake, over, event_id, at_us in _entries(tuple(fields)).rows(
        conn, subjects
    ):
        made = Entry(entry, json.loads(value), mistake, tuple(over.split()), at_us, event_id)
        found.setdefault(subject, {}).setdefault(name, []).append(made)
    return {
        subject: {name: Said(tuple(entries)) for name, entries in by_field.items()}
        for subject, by_field in found.items()
    }


def put(pen: Pen, event_id: int, values: Mapping[str, Mapping[str, Any]], mistake: str = "") -> None:
    """Say fields of things again: by thing, the value of each field."""
    listed = list(_flat(values))
    if not listed:
        return
    # An entry names what it replaces, not "the newest": a merge may bring others in between.
    known = said(pen.conn, list(values), sorted({name for _, name, _ in listed}))
    rows = [
        {
            "subject": subject,
            "field": name,
            "entry": entry,
            "value": _encode(value),
            "mistake": mistake,
            "over": " ".join(_heads(known.get(subject, {}).get(name))),
            "event_id": event_id,
        }
        for entry, (subject, name, value) in zip(pen.entries(len(listed)), listed, strict=True)
    ]
    pen.conn.execute(FACT.insert(), rows)


def _flat(values: Mapping[str, Mapping[str, Any]]) -> Iterator[tuple[str, str, Any]]:
    for subject, fields in values.items():
        for name, value in fields.items():
            yield subject, name, value


def _heads(known: Said | None) -> Sequence[str]:
    return [BORN] if known is None else [head.entry for head in known.heads]


def born_text(values: Mapping[str, Any]) -> str:
    """What a thing is born with, as it is stored."""
    return _encode(dict(values))
