"""What safe keeping asks of the store: the whole household for `due`, comparisons of meters, incidents."""

from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time

from sqlalchemy import Connection, select

from straycell.acceptance import Case, RuleSet, Verdict
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.readings import METER_FAULT, Charger, Quantity, Reading, is_off
from straycell.safety.due.survey import Household, Kept, MeterCheck
from straycell.store.book.measured import meters, readings
from straycell.store.book.names import shown
from straycell.store.book.records import Comparison
from straycell.store.book.stock import boxes, cells
from straycell.store.book.use import builds, handovers
from straycell.store.book.use.incidents import add_upsets
from straycell.store.column_values import day_text, from_us, opt_day
from straycell.store.schema.tables import EVENT, METER, METER_COMPARISON, SUPERSESSION
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen
from straycell.store.verdicts import siblings
from straycell.store.verdicts.evidence import evidences


def household(conn: Connection, rules: RuleSet, now: datetime, judged: dict[str, Verdict]) -> Household:
    """Everything `due` looks at, as it is at `now`."""
    found = evidences(conn, None)
    since = handovers.condemned_since(conn)
    live = builds.builds(conn, live_only=True)
    inside = handovers.built_in(conn)
    project_of = {code: build.project for build in live for code in build.codes if code in inside}
    on = {
        code: str(entry.id)
        for entry in handovers.handovers(conn)
        if entry.closed_at is None
        for code in entry.codes
    }
    kept = [
        Kept(
            cell=cell,
            case=Case(found[cell.code], cell.facts, rules, now),
            verdict=judged[cell.code],
            condemned_at=since.get(cell.code),
            build=project_of.get(cell.code),
            handover=on.get(cell.code),
        )
        for cell in cells.cells(conn)
    ]
    checks = [MeterCheck(c.meter, c.last, c.compared) for c in comparisons(conn)]
    kinds = {box.name: box.kind for box in boxes.boxes(conn)}
    return Household(kept, kinds, live, checks, now, meters.chargers(conn))


def comparisons(conn: Connection) -> list[Comparison]:
    """When each meter was last compared, or else declared, by name."""
    # The newest comparison by its day: one may be recorded late.
    latest: dict[str, date] = {}
    for row in conn.execute(select(METER_COMPARISON)):
        day = date.fromisoformat(row.compared_on)
        latest[row.meter] = max(day, latest.get(row.meter, day))
    added = select(METER.c.key, METER.c.compared_on, EVENT.c.at_us).join(
        EVENT, EVENT.c.id == METER.c.event_id
    )
    names, found = shown(conn, METER), []
    for key, compared_on, at_us in conn.execute(added):
        days = [day for day in (opt_day(compared_on), latest.get(key)) if day is not None]
        last = _noon(max(days)) if days else from_us(at_us)
        found.append(Comparison(names[key], last, bool(days)))
    return sorted(found, key=lambda each: each.meter)


def _noon(day: date) -> datetime:
    # Noon UTC falls on the same calendar day from UTC-12 to UTC+11.
    return datetime.combine(day, time(12), UTC)


@dataclass(frozen=True, slots=True)
class KnownValue:
    """What a meter showed of a value known better, in the unit of the quantity."""

    quantity: Quantity
    showed: float
    actual: float


def compare_meter(
    pen: Pen, name: str, day: date, note: str = "", known: KnownValue | None = None
) -> tuple[Comparison, bool]:
    """Record that a meter was compared; also returns whether it was off by more than its accuracy.

    Raises BadData: no such meter, or a day that is not yet over.
    """
    meter = meters.meter(pen.conn, name)
    # A comparison planned is not a comparison.
    if day > pen.now.date():
        raise BadData(f"meter '{name}': {day} is in the future", "check the date")
    event_id = pen.event("meter-compared", subject=name, detail={"on": day.isoformat()}, because=note)
    row = {"meter": meters.keys(pen.conn)[name], "compared_on": day_text(day), "note": note}
    figures = {} if known is None else asdict(known)
    pen.conn.execute(METER_COMPARISON.insert().values(**row, **figures, event_id=event_id))
    done = next(c for c in comparisons(pen.conn) if c.meter == name)
    return done, known is not None and _shows_fault(pen, meter, known)


def _shows_fault(pen: Pen, meter: Meter, known: KnownValue) -> bool:
    shown_ = Reading(NEW, "", known.quantity, pen.now, known.showed, meter=meter)
    return is_off(shown_, known.actual, pen.rules.defaults)


def withdraw_faulty(
    pen: Pen, name: str, start: datetime, end: datetime, because: str
) -> tuple[list[Reading], list[Charger]]:
    """Take back all that a meter showed from `start` to `end`, because a comparison shows that it was wrong.

    Each cell it was used on, or of which a charge took its end from what it showed of a charger, is measured again
    before anything else. Raises BadData: no such meter, no comparison
    since `start` that shows a fault, nothing measured in that time.
    """
    reason = require_because(because)
    meter = meters.meter(pen.conn, name)
    key = meters.keys(pen.conn)[name]
    # Without shown figures a bad finding could be thrown away by calling the meter bad.
    if not _found_faulty(pen, meter, start):
        raise BadData(
            f"no comparison of meter '{name}' since {start:%Y-%m-%d} shows that it was wrong",
            f"compare it first: straycell meter compare '{name}' --showed 4.05V --actual 4.20V",
        )
    wrong = readings.taken_with(pen.conn, str(key), start, end)
    floats = [c for c in meters.chargers(pen.conn) if c.meter == name and start <= c.at <= end]
    if not wrong and not floats:
        raise BadData(
            f"nothing was measured with meter '{name}' in that time",
            "check --from and --to: cell history CODE",
        )
    codes = sorted({r.cell for r in wrong}.union(*(meters.ended_by(pen.conn, c) for c in floats)))
    keys = [*(r.key for r in wrong), *(c.key for c in floats)]
    detail = {"from": start.isoformat(), "to": end.isoformat(), "readings": keys}
    event_id = pen.event(METER_FAULT, codes, subject=name, detail=detail, because=reason)
    common = {"mistake": METER_FAULT, "because": reason, "event_id": event_id}
    if wrong:
        pen.conn.execute(SUPERSESSION.insert(), [{"record": r.key, **common} for r in wrong])
    meters.take_back_chargers(pen, floats, METER_FAULT, reason, event_id)
    # Whatever was decided by a wrong meter was decided blindly: those cells start over.
    if codes:
        add_upsets(pen, codes, METER_FAULT, severe=False, event_id=event_id)
    pen.kin |= siblings.siblings_of(pen.conn, codes)
    return wrong, floats


def _found_faulty(pen: Pen, meter: Meter, since: datetime) -> bool:
    key = meters.keys(pen.conn)[meter.name]
    query = select(METER_COMPARISON).where(
        METER_COMPARISON.c.meter == key,
        METER_COMPARISON.c.quantity != "",
        METER_COMPARISON.c.compared_on >= day_text(since.date()),
    )
    return any(
        _shows_fault(pen, meter, KnownValue(Quantity(row.quantity), row.showed, row.actual))
        for row in pen.conn.execute(query)
    )
