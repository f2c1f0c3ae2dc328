"""What is due as an iCalendar file (RFC 5545): one all-day event for each kind of work and day.

What is due already is on today's page. The same items give the same bytes; an event keeps its UID, so that
taking the file in again moves no entry twice.
"""

import hashlib
from collections.abc import Sequence
from datetime import date, datetime, timedelta, tzinfo

from icalendar import Alarm, Calendar, Event

from straycell.safety.due.survey import DueItem, DueKind

_LISTED = 60
_PRIORITY = {True: 1, False: 5}  # RFC 5545 3.8.1.9: 1 is the highest, 5 medium


def calendar_file(
    items: Sequence[DueItem], now: datetime, *, bench: str, zone: tzinfo | None = None
) -> bytes:
    """The calendar of these items. `zone` is where the days are counted (None: where this computer stands)."""
    calendar = Calendar()
    calendar.add("prodid", "-//straycell//due//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    # PUBLISH asks nobody for an answer (RFC 5546); a request would.
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"straycell bench {bench}")
    today = now.astimezone(zone).date()
    for (day, rank), found in sorted(_by_day(items, today, zone).items(), key=lambda entry: entry[0]):
        calendar.add_component(_event(day, rank, found, now, bench))
    return bytes(calendar.to_ical())


def _by_day(
    items: Sequence[DueItem], today: date, zone: tzinfo | None
) -> dict[tuple[date, int], list[DueItem]]:
    days: dict[tuple[date, int], list[DueItem]] = {}
    for item in sorted(items, key=lambda i: i.order):
        # A calendar does not remind of days gone by: what is overdue is on today.
        day = max(today, item.at.astimezone(zone).date())
        days.setdefault((day, item.kind.rank), []).append(item)
    return days


def _event(day: date, rank: int, found: Sequence[DueItem], now: datetime, bench: str) -> Event:
    kind = found[0].kind
    event = Event()
    # The same bench, kind and day give the same UID, by which a calendar replaces an entry (RFC 5545
    # 3.8.4.7).
    key = f"{bench}/{kind.id}/{day.isoformat()}"
    event.add("uid", f"{hashlib.sha256(key.encode()).hexdigest()[:24]}@straycell.invalid")
    event.add("dtstamp", now)
    event.add("dtstart", day)
    # RFC 5545: the end of an all-day event is the first day after it.
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", _summary(kind, found))
    event.add("description", _description(found))
    event.add("categories", ["straycell", "danger" if kind.danger else "care"])
    event.add("priority", _PRIORITY[kind.danger])
    # A check on the shelf does not make a person unavailable.
    event.add("transp", "TRANSPARENT")
    if kind.danger:
        event.add_component(_alarm(kind))
    return event


def _alarm(kind: DueKind) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", kind.title)
    # An all-day event begins at midnight, and an alarm at that hour is switched off unread.
    alarm.add("trigger", timedelta(hours=9))
    return alarm


def _summary(kind: DueKind, found: Sequence[DueItem]) -> str:
    names = [item.subject for item in found]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"{kind.title}: {', '.join(names[:3])}{more}"


def _description(found: Sequence[DueItem]) -> str:
    lines = [
        f"{item.subject}{f' in {item.box}' if item.box else ''}: {item.why}\n  {item.todo}"
        for item in found[:_LISTED]
    ]
    rest = [item.subject for item in found[_LISTED:]]
    return "\n".join([*lines, *([", ".join(rest)] if rest else [])])
