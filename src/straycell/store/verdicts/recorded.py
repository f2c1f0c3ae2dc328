"""Verdicts as recorded, and whether they may still be trusted."""

import json
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from functools import cache, lru_cache
from typing import Any

from sqlalchemy import Connection, Row, func, select

from straycell.acceptance import Evidence, Outcome, RuleSet, Verdict, judge
from straycell.store.book.measured import readings
from straycell.store.book.records import Standing
from straycell.store.book.stock import cells
from straycell.store.column_values import from_json, opt_time, opt_us, to_us
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import VERDICT
from straycell.store.session import insert_many
from straycell.store.verdicts.evidence import evidences


def newest(conn: Connection, codes: Collection[str] | None, *, bodies: bool = True) -> dict[str, Row[Any]]:
    """The newest recorded verdict of each cell; without `bodies` their JSON is left in the file."""
    # Row numbers, not times: of two verdicts in one second the later written one counts.
    return {row.code: row for row in _newest(bodies, codes is None).rows(conn, codes)}


@cache
def _newest(bodies: bool, of_all: bool) -> Prepared:
    columns = [column for column in VERDICT.c if bodies or column.name != "body"]
    later = VERDICT.alias("later")
    latest = select(func.max(later.c.id))
    # Of all cells one pass of the index finds them; of a few, a look for each.
    counts = (
        VERDICT.c.id.in_(latest.group_by(later.c.code))
        if of_all
        else VERDICT.c.id == latest.where(later.c.code == VERDICT.c.code).scalar_subquery()
    )
    return Prepared(lambda: select(*columns).where(counts), VERDICT.c.code)


def holds(row: Row[Any], rules: RuleSet, now_us: int, last_reading: str) -> bool:
    """True while a recorded verdict may be trusted: same rules, same last reading, its time not run out."""
    # A clock set back would make a verdict from the future look fresh: it counts only from its own time on.
    return bool(
        row.rules_hash == rules.hash
        and row.last_reading == last_reading
        and row.at_us <= now_us
        and (row.valid_until_us is None or now_us < row.valid_until_us)
    )


def verdicts(
    conn: Connection,
    rules: RuleSet,
    now: datetime,
    codes: Collection[str] | None,
    distrusted: Collection[str] = (),
    gathered: Mapping[str, Evidence] | None = None,
) -> dict[str, Verdict]:
    """The verdict of each cell (None: of all): the recorded one where it holds, else computed in memory.

    `gathered` is the evidence of all these cells, where the caller has it.
    """
    listed = cells.codes(conn) if codes is None else sorted(codes)
    recorded = newest(conn, codes)
    last = readings.last_numbers(conn, codes)
    made: dict[str, Verdict] = {}
    now_us = to_us(now)
    stale: list[str] = []
    for code in listed:
        row = recorded.get(code)
        if row is not None and code not in distrusted and holds(row, rules, now_us, last.get(code, "")):
            made[code] = read_body(row.body)
        else:
            stale.append(code)
    if stale:
        # One pass over all tables is cheaper than naming nearly every cell.
        wanted = None if codes is None and len(stale) == len(listed) else stale
        fresh = gathered or evidences(conn, wanted)
        made |= {code: judge(each, rules, now).verdict for code, each in fresh.items() if code not in made}
    return {code: made[code] for code in listed}


def standings(
    conn: Connection,
    rules: RuleSet,
    now: datetime,
    codes: Collection[str] | None,
    distrusted: Collection[str] = (),
) -> dict[str, Standing]:
    """Only the outcomes and until when they hold, without reading the reasons of those that do."""
    listed = cells.codes(conn) if codes is None else sorted(codes)
    # Bodies are most of the file: a list that shows outcomes must not read them.
    recorded = newest(conn, codes, bodies=False)
    last = readings.last_numbers(conn, codes)
    now_us = to_us(now)
    found = {
        code: Standing(Outcome.from_word(row.outcome), opt_time(row.valid_until_us))
        for code, row in recorded.items()
        if code not in distrusted and holds(row, rules, now_us, last.get(code, ""))
    }
    fresh = verdicts(conn, rules, now, [code for code in listed if code not in found], distrusted)
    found |= {code: Standing(verdict.outcome, verdict.valid_until) for code, verdict in fresh.items()}
    return {code: found[code] for code in listed}


def record(conn: Connection, made: Iterable[Verdict]) -> None:
    """Add verdicts to the book."""
    insert_many(conn, VERDICT, map(row_of, made))


_ENCODE = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def body_of(verdict: Verdict) -> str:
    """The verdict as the text that is stored."""
    from straycell.acceptance.record import verdict_to_record

    return _ENCODE(verdict_to_record(verdict))


@lru_cache(maxsize=1024)  # a page and a session of writes read the same ones again; parsing is most of a look
def read_body(body: str) -> Verdict:
    """The verdict that was stored."""
    from straycell.acceptance.record import verdict_from_record

    return verdict_from_record(from_json(body))


def row_of(verdict: Verdict) -> dict[str, Any]:
    """The verdict as column values."""
    return {
        "code": verdict.code,
        "at_us": to_us(verdict.at),
        "rules": verdict.rules,
        "rules_hash": verdict.rules_hash,
        "outcome": verdict.outcome.word,
        "last_reading": verdict.last_reading,
        "valid_until_us": opt_us(verdict.valid_until),
        "body": body_of(verdict),
    }
