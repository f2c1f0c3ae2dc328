"""Siblings: cells of the same pack of the same tear-down, and what is known through them.

Cells of one tear-down without a pack named count as one pack: unknown takes the cautious side. A sign counts for
every pack that its cell was ever filed in, unless that was mistyped.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from typing import Any

from sqlalchemy import Connection, func, select

from straycell.acceptance.evidence import BestSibling, SiblingSign
from straycell.acceptance.rules import shipped_rules
from straycell.readings import Quantity
from straycell.safety.incidents import incident_kinds
from straycell.store.book.derived import HAPPENED, still_counts
from straycell.store.book.register import Said, said
from straycell.store.column_values import from_us, opt_day
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import CELL, FINDING, FINDING_FELL, READING, SUPERSESSION, TEARDOWN, UPSET
from straycell.teardowns import surely_open


def signs() -> tuple[str, ...]:
    """What on one cell is a sign for its pack: looks, and rules whose finding says that it leaked charge or got hot."""
    return shipped_rules().limit("sibling-look").words


def seen_as() -> dict[str, str]:
    """Kinds of incident that are a sign for the pack, and the look each stands for."""
    return {kind.id: kind.look for kind in incident_kinds() if kind.look in signs()}


_Group = tuple[str, str | None]


@dataclass(frozen=True, slots=True)
class Filed:
    """The packs of a cell: where it is filed now, and all where it ever was and not by a slip."""

    now: _Group | None
    ever: frozenset[_Group]


_ORIGINS = Prepared(lambda: select(CELL.c.teardown).distinct(), CELL.c.code)
_OF_TEARDOWN = Prepared(
    lambda: select(CELL.c.code, CELL.c.teardown, CELL.c.pack).where(CELL.c.teardown.is_not(None)),
    CELL.c.teardown,
)
_PLACED = Prepared(lambda: select(CELL.c.code, CELL.c.teardown, CELL.c.pack), CELL.c.code)
_BORN = Prepared(lambda: select(CELL.c.code, CELL.c.born), CELL.c.code)


def filed(conn: Connection, codes: Collection[str] | None) -> dict[str, Filed]:
    """Every cell that was ever filed in a tear-down in which one of these ever was (None: all that were in one)."""
    # A cell that lay beside a leaking one has lain there, wherever it is filed since.
    moved = _moved(conn)
    wanted, visitors = None, set(moved)
    if codes is not None:
        wanted = {row.teardown for row in _ORIGINS.rows(conn, codes) if row.teardown is not None}
        wanted |= {teardown for code in moved.keys() & set(codes) for teardown, _ in moved[code]}
        visitors = {code for code, packs in moved.items() if any(teardown in wanted for teardown, _ in packs)}
    found = {}
    placed = _OF_TEARDOWN.rows(conn, wanted)
    for code, teardown, pack in chain(placed, _PLACED.rows(conn, visitors) if visitors else ()):
        now = None if teardown is None else (teardown, pack)
        found[code] = Filed(now, moved.get(code, frozenset()) | ({now} if now is not None else set()))
    return found


def _moved(conn: Connection) -> dict[str, frozenset[_Group]]:
    """Of each cell whose tear-down or pack was corrected: the packs it was filed in before, but for slips."""
    known = said(conn, None, ("teardown", "pack"))
    if not known:
        return {}
    born = _BORN.rows(conn, known)
    return {code: frozenset(_packs(json.loads(text), known[code])) for code, text in born}


def _packs(born: Mapping[str, Any], corrected: Mapping[str, Said]) -> Iterator[_Group]:
    """Each pack in turn: what was said of both fields, from one event to the next."""
    steps: dict[tuple[int, int], dict[str, Any]] = {}
    slips: dict[tuple[int, int], bool] = {}
    for name, found in corrected.items():
        for entry in found.entries:
            at = (entry.at_us, entry.event_id)
            steps.setdefault(at, {})[name] = entry.value
            slips[at] = slips.get(at, False) or bool(entry.mistake)
    place = {name: born.get(name) for name in ("teardown", "pack")}
    for at in sorted(steps):
        # What the next entry calls mistyped never was; anything else was true until then.
        if place["teardown"] is not None and not slips[at]:
            yield place["teardown"], place["pack"]
        place |= steps[at]


def siblings_of(conn: Connection, codes: Collection[str]) -> set[str]:
    """The siblings of these cells, without these cells themselves."""
    placed = filed(conn, codes)
    wanted = _packs_of(placed, codes)
    return {code for code, each in placed.items() if each.ever & wanted} - set(codes)


def _packs_of(placed: Mapping[str, Filed], codes: Collection[str]) -> frozenset[_Group]:
    return frozenset[_Group]().union(*(placed[code].ever for code in codes if code in placed))


@dataclass(slots=True)
class Kinship:
    """What each pack shows: its signs, oldest first, and the largest capacity of each cell, largest first."""

    filed: dict[str, Filed]
    signs: dict[_Group, list[SiblingSign]]
    capacities: dict[_Group, list[tuple[str, BestSibling]]]
    opened: dict[str, datetime] = field(default_factory=dict)

    def signs_for(self, code: str) -> tuple[SiblingSign, ...]:
        """Signs on the other cells of every pack that the cell was ever filed in."""
        packs = self.filed[code].ever if code in self.filed else ()
        found = {sign for pack in packs for sign in self.signs.get(pack, ()) if sign.code != code}
        return tuple(sorted(found, key=_oldest_first))

    def opened_for(self, code: str) -> datetime | None:
        """From when on all packs with a sign, in which the cell ever was, surely were open."""
        packs = self.filed[code].ever if code in self.filed else ()
        times = [self.opened[pack[0]] for pack in packs if pack in self.signs and pack[0] in self.opened]
        return max(times, default=None)

    def best_for(self, code: str) -> BestSibling | None:
        """The largest capacity among the other cells of its pack."""
        # Only where it is filed now: a size that condemns must not come from a pack that it has left.
        pack = self.filed[code].now if code in self.filed else None
        ranked = self.capacities.get(pack, ()) if pack else ()
        return next((best for other, best in ranked if other != code), None)


def _oldest_first(sign: SiblingSign) -> tuple[datetime, str, str]:
    return sign.at, sign.code, sign.look


_TELLING = Prepared(
    lambda: (
        select(*(READING.c[name] for name in ("code", "quantity", "value", "look", "at_us", "key")))
        .where(
            READING.c.quantity.in_((Quantity.LOOK.value, Quantity.CAPACITY.value)),
            READING.c.key.not_in(select(SUPERSESSION.c.record)),
        )
        .order_by(READING.c.at_us, READING.c.recorded_at_us, func.length(READING.c.key), READING.c.key)
    ),
    READING.c.code,
)
_UPSETS = Prepared(
    lambda: (
        select(UPSET.c.code, UPSET.c.kind, UPSET.c.at_us, UPSET.c.key)
        .where(UPSET.c.kind.in_(seen_as()), still_counts())
        .order_by(UPSET.c.at_us, func.length(UPSET.c.key), UPSET.c.key)
    ),
    UPSET.c.code,
)
_LEAKED = Prepared(
    lambda: (
        select(FINDING.c.code, FINDING.c.rule, FINDING.c.at_us, FINDING.c.digest)
        .where(FINDING.c.rule.in_(signs()), FINDING.c.digest.not_in(select(FINDING_FELL.c.digest)))
        .order_by(FINDING.c.at_us, FINDING.c.digest)
    ),
    FINDING.c.code,
)


def kinship(conn: Connection, codes: Collection[str] | None) -> Kinship:
    """Signs and capacities of the packs these cells belong to (None: all)."""
    made = Kinship(filed(conn, codes), {}, {})
    wanted = None
    if codes is not None:
        # A tear-down may hold many packs: only what lay in the same ones tells of these cells.
        packs = _packs_of(made.filed, codes)
        wanted = [code for code, each in made.filed.items() if each.ever & packs]
    # The newest look of each kind: a sign seen once does not go away when it is cleaned.
    newest: dict[tuple[str, str], SiblingSign] = {}
    best: dict[str, BestSibling] = {}
    for code, quantity, value, look, at_us, key in _TELLING.rows(conn, wanted):
        if quantity == Quantity.CAPACITY:
            if code not in best or value > best[code].capacity_ah:
                best[code] = BestSibling(key, value)
            continue
        for word in signs():
            if word in look.split():
                newest[code, word] = SiblingSign(code, word, from_us(at_us), key)
    for sign in (*_incidents(conn, wanted), *_found(conn, wanted)):
        kind = (sign.code, sign.look)
        newest[kind] = max(sign, newest.get(kind, sign), key=lambda s: s.at)
    _file(made, newest.values(), best)
    made.opened = _opened(conn, {teardown for teardown, _ in made.signs})
    return made


_OPENED = Prepared(
    lambda: select(TEARDOWN.c.code, TEARDOWN.c.opened_on, TEARDOWN.c.added_at_us), TEARDOWN.c.code
)


def _opened(conn: Connection, teardowns: Collection[str]) -> dict[str, datetime]:
    """From when on each of these surely was open."""
    if not teardowns:
        return {}
    rows = _OPENED.rows(conn, teardowns)
    return {code: surely_open(opt_day(day), from_us(added_us)) for code, day, added_us in rows}


def _file(made: Kinship, signs: Iterable[SiblingSign], best: Mapping[str, BestSibling]) -> None:
    for sign in sorted(signs, key=_oldest_first):
        for pack in made.filed[sign.code].ever if sign.code in made.filed else ():
            made.signs.setdefault(pack, []).append(sign)
    for code in sorted(best, key=lambda code: (-best[code].capacity_ah, code)):
        here = made.filed[code].now if code in made.filed else None
        if here is not None:
            made.capacities.setdefault(here, []).append((code, best[code]))


def _incidents(conn: Connection, codes: Collection[str] | None) -> Iterator[SiblingSign]:
    """Incidents that are a sign, told by their kind and not by a look."""
    known = seen_as()
    for code, kind, at_us, key in _UPSETS.rows(conn, codes):
        yield SiblingSign(code, known[kind], from_us(at_us), f"{HAPPENED}{key}")


def _found(conn: Connection, codes: Collection[str] | None) -> Iterator[SiblingSign]:
    """Findings that are a sign and that no mistake has voided."""
    for code, rule, at_us, digest in _LEAKED.rows(conn, codes):
        yield SiblingSign(code, rule, from_us(at_us), f"finding {digest}")
