"""What was taken back as a mistake: a finding that rests on any of it is void."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from sqlalchemy import Connection, select

from straycell.acceptance.evidence import fact_key
from straycell.store.book.register import BORN, said
from straycell.store.book.stock.facts import FACTS
from straycell.store.schema.tables import SUPERSESSION
from straycell.store.session import among

_FACT = "fact "


def withdrawn(conn: Connection, keys: Collection[str] | None) -> set[str]:
    """Which of these keys (None: of all) name a record that was superseded, or a fact that was mistyped."""
    query = select(SUPERSESSION.c.record).distinct()
    if keys is None:
        return {*conn.execute(query).scalars(), *_facts(conn, None)}
    records = set(conn.execute(query.where(among(SUPERSESSION.c.record, keys))).scalars())
    subjects = {key.removeprefix(_FACT).partition(".")[0] for key in keys if key.startswith(_FACT)}
    return records | (set(_facts(conn, subjects)).intersection(keys) if subjects else set())


def _facts(conn: Connection, codes: Collection[str] | None) -> Iterator[str]:
    for code, fields in said(conn, codes, FACTS).items():
        for name, found in fields.items():
            for entry in found.withdrawn:
                yield fact_key(code, name, "" if entry == BORN else entry)
