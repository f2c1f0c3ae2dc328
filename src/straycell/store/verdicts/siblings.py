"""Siblings: cells of the same pack of the same tear-down, and what is known through them.

Cells of one tear-down without a pack named count as one pack: unknown takes the cautious side.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from straycell.acceptance.evidence import BestSibling, SiblingSign
from straycell.cells import Look
from straycell.readings import Quantity
from straycell.safety.incidents import incident_kinds
from straycell.store.column_values import from_us
from straycell.store.schema.tables import CELL, READING, SUPERSESSION, UPSET
from straycell.store.session import among, rows_of

SIGNS = (Look.LEAKING, Look.SWOLLEN, Look.BURNT, Look.VENTED, Look.SMELL)


def seen_as() -> dict[str, Look]:
    """Kinds of incident that are a sign for the pack, and the look each stands for."""
    return {kind.id: Look(kind.look) for kind in incident_kinds() if kind.look in SIGNS}


_Group = tuple[str, str | None]


def groups(conn: Connection, codes: Collection[str] | None) -> dict[str, _Group]:
    """The tear-down and pack of every cell that shares a tear-down with one of these (None: of all)."""
    # Without a tear-down nothing ties two cells together.
    query = select(CELL.c.code, CELL.c.teardown, CELL.c.pack).where(CELL.c.teardown.is_not(None))
    if codes is not None:
        own = select(CELL.c.teardown).where(among(CELL.c.code, codes))
        query = query.where(CELL.c.teardown.in_(own))
    return {code: (teardown, pack) for code, teardown, pack in rows_of(conn, query)}


def siblings_of(conn: Connection, codes: Collection[str]) -> set[str]:
    """The siblings of these cells, without these cells themselves."""
    placed = groups(conn, codes)
    wanted = {placed[code] for code in codes if code in placed}
    return {code for code, group in placed.items() if group in wanted} - set(codes)


@dataclass(slots=True)
class Kinship:
    """What each pack shows: its signs, oldest first, and the largest capacity of each cell, largest first."""

    group_of: dict[str, _Group]
    signs: dict[_Group, list[SiblingSign]]
    capacities: dict[_Group, list[tuple[str, BestSibling]]]

    def signs_for(self, code: str) -> tuple[SiblingSign, ...]:
        """Signs on the other cells of the pack."""
        group = self.group_of.get(code)
        return tuple(s for s in self.signs.get(group, ()) if s.code != code) if group else ()

    def best_for(self, code: str) -> BestSibling | None:
        """The largest capacity among the other cells of the pack."""
        group = self.group_of.get(code)
        ranked = self.capacities.get(group, ()) if group else ()
        return next((best for other, best in ranked if other != code), None)


def kinship(conn: Connection, codes: Collection[str] | None) -> Kinship:
    """Signs and capacities of the packs these cells belong to (None: all)."""
    made = Kinship(groups(conn, codes), {}, {})
    query = (
        select(
            READING.c.code,
            READING.c.quantity,
            READING.c.value,
            READING.c.look,
            READING.c.at_us,
            READING.c.key,
        )
        .where(
            READING.c.quantity.in_((Quantity.LOOK.value, Quantity.CAPACITY.value)),
            READING.c.key.not_in(select(SUPERSESSION.c.record)),
        )
        .order_by(READING.c.at_us, READING.c.recorded_at_us, func.length(READING.c.key), READING.c.key)
    )
    if codes is not None:
        query = query.where(among(READING.c.code, made.group_of))
    # The newest look of each kind: a sign seen once does not go away when it is cleaned.
    newest: dict[tuple[str, Look], SiblingSign] = {}
    best: dict[str, BestSibling] = {}
    for code, quantity, value, look, at_us, key in rows_of(conn, query):
        if quantity == Quantity.CAPACITY:
            if code not in best or value > best[code].capacity_ah:
                best[code] = BestSibling(key, value)
            continue
        for word in SIGNS:
            if word in look.split():
                newest[code, word] = SiblingSign(code, word, from_us(at_us), key)
    for code, word, at_us, key in _incidents(conn, None if codes is None else made.group_of):
        sign = SiblingSign(code, word, from_us(at_us), key)
        newest[code, word] = max(sign, newest.get((code, word), sign), key=lambda s: s.at)
    _file(made, newest.values(), best)
    return made


def _file(made: Kinship, signs: Iterable[SiblingSign], best: Mapping[str, BestSibling]) -> None:
    for sign in sorted(signs, key=lambda s: (s.at, s.code, s.look)):
        if sign.code in made.group_of:
            made.signs.setdefault(made.group_of[sign.code], []).append(sign)
    for code in sorted(best, key=lambda code: (-best[code].capacity_ah, code)):
        if code in made.group_of:
            made.capacities.setdefault(made.group_of[code], []).append((code, best[code]))


def _incidents(conn: Connection, codes: Collection[str] | None) -> Iterator[tuple[str, Look, int, str]]:
    """(cell, the look it stands for, when, its key): incidents that are a sign, told by kind and not by a look."""
    known = seen_as()
    query = select(UPSET.c.code, UPSET.c.kind, UPSET.c.at_us, UPSET.c.key).where(UPSET.c.kind.in_(known))
    if codes is not None:
        query = query.where(among(UPSET.c.code, codes))
    for code, kind, at_us, key in rows_of(
        conn, query.order_by(UPSET.c.at_us, func.length(UPSET.c.key), UPSET.c.key)
    ):
        yield code, known[kind], at_us, f"incident {key}"
