"""Everything a verdict is made from, gathered for one cell or for all with the same few queries."""

from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import Connection, Select, case, func, select

from straycell.acceptance.evidence import Condemnation, Evidence, Upset
from straycell.readings import Charge, Reading
from straycell.readings.charger import Charger
from straycell.store.book.derived import HAPPENED, still_counts
from straycell.store.book.measured import meters, readings
from straycell.store.book.stock import cells, facts
from straycell.store.column_values import from_us
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import (
    BUILD,
    BUILD_CELL,
    CONDEMNATION,
    EVENT,
    FACT,
    READING,
    SUPERSESSION,
    UPSET,
    WRITE,
)
from straycell.store.session import grouped
from straycell.store.verdicts import findings, siblings


def evidence(conn: Connection, code: str) -> Evidence:
    """The evidence of one cell. Raises BadData when there is no such cell."""
    cells.require_cells(conn, [code])
    return evidences(conn, [code])[code]


def evidences(
    conn: Connection, codes: Collection[str] | None = None, bench: str | None = None
) -> dict[str, Evidence]:
    """The evidence of these cells (None: of all), by code in order; `bench` as in `findings.recorded`."""
    known = facts.facts(conn, codes)
    corrected = facts.corrected(conn, codes)
    items = grouped((item.cell, item) for item in readings.standing(conn, codes))
    last = readings.last_numbers(conn, codes)
    kin = siblings.kinship(conn, codes)
    at_work = grouped((code, from_us(at_us)) for code, at_us in _FINISHED.rows(conn, codes))
    shocks, ends = _upsets(conn, codes), _condemnations(conn, codes)
    dressed = grouped((code, from_us(at_us)) for code, at_us in _DRESSED.rows(conn, codes))
    charges = {code: [i for i in each if isinstance(i, Charge)] for code, each in items.items()}
    floats = _floats(conn, charges)
    seen, nothing = findings.recorded(conn, codes, bench), findings.Recorded((), ())
    return {
        code: Evidence(
            code=code,
            facts=now,
            readings=tuple(item for item in items.get(code, ()) if isinstance(item, Reading)),
            charges=tuple(charges.get(code, ())),
            upsets=tuple(shocks.get(code, ())),
            sibling_signs=kin.signs_for(code),
            best_sibling=kin.best_for(code),
            corrected=corrected.get(code, ()),
            condemned=ends.get(code),
            last_reading=last.get(code, ""),
            installed_at=tuple(at_work.get(code, ())),
            findings=seen.get(code, nothing).standing,
            falls=seen.get(code, nothing).falls,
            dressed_at=tuple(dressed.get(code, ())),
            opened_at=kin.opened_for(code),
            floats=floats.get(code, ()),
        )
        for code, now in known.items()
    }


def _floats(conn: Connection, charges: Mapping[str, list[Charge]]) -> dict[str, tuple[Charger, ...]]:
    """The measured ends of the chargers that the charges of each cell name, oldest first."""
    by = {code: [c for c in each if c.charger] for code, each in charges.items()}
    known = [c for c in meters.chargers(conn) if c.float_v is not None] if any(by.values()) else []
    return {code: tuple(c for c in known if any(map(c.speaks_of, each))) for code, each in by.items() if each}


_UPSETS = Prepared(
    lambda: (
        select(UPSET).where(still_counts()).order_by(UPSET.c.at_us, func.length(UPSET.c.key), UPSET.c.key)
    ),
    UPSET.c.code,
)


def _upsets(conn: Connection, codes: Collection[str] | None) -> dict[str, list[Upset]]:
    rows = list(_UPSETS.rows(conn, codes))
    # By incident: the cell's readings and charges that bear a later time and were recorded before it.
    before = grouped(_RECORDED_BEFORE.rows(conn, codes)) if rows else {}
    return grouped(
        (
            row.code,
            Upset(
                row.kind,
                from_us(row.at_us),
                row.severe,
                row.event_id,
                f"{HAPPENED}{row.key}",
                frozenset(before.get(row.key, ())),
            ),
        )
        for row in rows
    )


def _recorded_before_query() -> Select[Any]:
    # A bench numbers its writes for life, through restores too; between benches only the moments of recording compare.
    measured, happened = EVENT.alias("measured"), EVENT.alias("happened")
    first, second = WRITE.alias("first"), WRITE.alias("second")
    same_bench = func.substr(READING.c.key, 1, 1) == func.substr(UPSET.c.key, 1, 1)
    # The write of this very transaction has no row yet: it is the latest of all.
    numbers = [func.coalesce(each.c.number, _LAST) for each in (first, second)]
    earlier = case((same_bench, numbers[0] < numbers[1]), else_=READING.c.recorded_at_us < happened.c.at_us)
    return (
        select(UPSET.c.key, READING.c.key)
        .join(READING, READING.c.code == UPSET.c.code)
        .join(measured, measured.c.id == READING.c.event_id)
        .join(happened, happened.c.id == UPSET.c.event_id)
        .outerjoin(first, first.c.id == measured.c.write_id)
        .outerjoin(second, second.c.id == happened.c.write_id)
        .where(READING.c.at_us > UPSET.c.at_us, earlier)
    )


_LAST = 2**62
_RECORDED_BEFORE = Prepared(_recorded_before_query, UPSET.c.code)
# Only finished builds: a reserved cell still lies on the shelf at rest.
_FINISHED = Prepared(
    lambda: (
        select(BUILD_CELL.c.code, BUILD.c.finished_at_us)
        .join(BUILD, BUILD.c.key == BUILD_CELL.c.build)
        .where(BUILD.c.finished_at_us.is_not(None))
        .order_by(BUILD.c.finished_at_us)
    ),
    BUILD_CELL.c.code,
)
# A corrected slip changed no sleeve: only what really was re-wrapped changes the mass.
_DRESSED = Prepared(
    lambda: (
        select(FACT.c.subject, EVENT.c.at_us)
        .join(EVENT, EVENT.c.id == FACT.c.event_id)
        .where(FACT.c.field.in_(("rewrapped", "tabs")), FACT.c.mistake == "")
        .order_by(EVENT.c.at_us)
    ),
    FACT.c.subject,
)
# A discard taken back as a mistake must not go on condemning.
_CONDEMNED = Prepared(
    lambda: (
        select(CONDEMNATION)
        .where(("discard " + CONDEMNATION.c.key).not_in(select(SUPERSESSION.c.record)))
        .order_by(CONDEMNATION.c.at_us, func.length(CONDEMNATION.c.key), CONDEMNATION.c.key)
    ),
    CONDEMNATION.c.code,
)


def _condemnations(conn: Connection, codes: Collection[str] | None) -> dict[str, Condemnation]:
    """The first of each cell that was not taken back."""
    rows = grouped((row.code, row) for row in _CONDEMNED.rows(conn, codes))
    return {
        code: Condemnation(first.because, from_us(first.at_us), f"discard {first.key}")
        for code, (first, *_) in rows.items()
    }
