"""The calendar file, read back with a library that had no part in writing it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import vobject
from tests.acceptance.bench import Bench, day, good
from tests.safety.keeping_bench import CODES, household, kept, stored

from straycell.cells import Look, Stage
from straycell.safety.due.calendar import calendar_file
from straycell.safety.due.gather import due_now, survey
from straycell.safety.due.survey import DueItem, MeterCheck

AT = 60.0


def items() -> list[DueItem]:
    meters = (MeterCheck("blue; the one, with a comma", day(-400.0), False),)
    cells = [
        kept(good(), AT),
        kept(good(look=(Look.SWOLLEN,)), AT, code=CODES[1], stage=Stage.CONDEMNED, condemned=3.0, box=None),
        kept(stored().rest(3.85, 40.0), AT, code=CODES[2], box="back, left; 2"),
        kept(stored().rest(3.85, 40.0), AT, code=CODES[3]),
        kept(Bench().found(3.4).rest(3.4, 1.0), AT, code=CODES[4]),
    ]
    return survey(household(*cells, at=AT, meters=meters))


def written(now: datetime | None = None) -> bytes:
    return calendar_file(items(), now or day(AT), bench="A", zone=UTC)


def parsed() -> list[Any]:
    return list(vobject.readOne(written().decode("utf-8")).vevent_list)


def test_an_independent_library_reads_every_event() -> None:
    """vobject: summary, start and end of each, no parse error."""
    events = parsed()
    assert events
    for event in events:
        assert event.summary.value and event.description.value
        start, end = event.dtstart.value, event.dtend.value
        assert isinstance(start, date) and not isinstance(start, datetime)
        assert end - start == timedelta(days=1)


def test_everything_due_or_coming_is_in_it_with_what_to_do() -> None:
    """No subject is lost, commas and semicolons included."""
    text = "\n".join(event.description.value for event in parsed())
    for item in items():
        assert item.subject in text
        assert item.todo in text


def test_what_is_due_stands_on_today_and_the_rest_on_its_day() -> None:
    """Nothing is put into the past, where nobody looks."""
    today = day(AT).date()
    days = sorted(event.dtstart.value for event in parsed())
    assert days[0] == today and days[-1] > today
    late = [event for event in parsed() if event.dtstart.value == today]
    kinds = {item.kind.title for item in due_now(items(), day(AT))}
    assert {e.summary.value.split(": ")[0] for e in late} == kinds
    (recheck,) = [
        e for e in parsed() if "checked again" in e.summary.value and CODES[2] in e.description.value
    ]
    assert recheck.dtstart.value == day(130.0).date()


def test_uids_are_unique_and_stay_the_same() -> None:
    """RFC 5545 3.8.4.7: persistent, globally unique; taken in again, an entry is replaced."""
    uids = [event.uid.value for event in parsed()]
    assert len(set(uids)) == len(uids)
    later = vobject.readOne(written(day(AT) + timedelta(minutes=5)).decode("utf-8"))
    assert [event.uid.value for event in later.vevent_list] == uids


def test_lines_are_as_the_standard_wants_them() -> None:
    """RFC 5545 3.1: CRLF, at most 75 octets a line; 3.6: PRODID and VERSION; 3.6.1: UID and DTSTAMP."""
    lines = written().split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR" and lines[-2] == b"END:VCALENDAR" and lines[-1] == b""
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)
    for name in (b"PRODID:", b"VERSION:2.0"):
        assert sum(line.startswith(name) for line in lines) == 1
    events = lines.count(b"BEGIN:VEVENT")
    for name in (b"UID:", b"DTSTAMP:", b"DTSTART;VALUE=DATE:"):
        assert sum(line.startswith(name) for line in lines) == events
    assert all(line.endswith(b"Z") for line in lines if line.startswith(b"DTSTAMP"))


def test_dangers_carry_the_highest_priority_and_an_alarm() -> None:
    """RFC 5545 3.8.1.9: 1 is the highest."""
    for event in parsed():
        danger = "danger" in str(event.categories.value)
        assert (event.priority.value == "1") is danger
        assert ("valarm" in event.contents) is danger


def test_the_same_items_give_the_same_bytes() -> None:
    """Clock and zone come in as arguments."""
    assert written() == written()


def test_nothing_due_is_an_empty_calendar_that_still_parses() -> None:
    """An empty bench."""
    empty = calendar_file([], day(0), bench="A", zone=UTC)
    assert vobject.readOne(empty.decode()).version.value == "2.0"


def test_a_fold_parts_no_letter_and_unfolds_to_what_was_meant() -> None:
    """RFC 5545 3.1: CRLF and a blank are taken out again; letters of two octets stay whole."""
    cell = kept(good(), AT, box="Rücken an Rücken, süßer Käfig für Zellen; größer " * 3)
    found = survey(household(cell, at=AT))
    raw = calendar_file(found, day(AT), bench="A", zone=UTC)
    assert raw.count(b"\r\n ") > 3
    for line in raw.split(b"\r\n"):
        assert len(line) <= 75 and line.decode("utf-8") is not None
    text = raw.replace(b"\r\n ", b"").decode()
    assert "Rücken an Rücken\\, süßer Käfig für Zellen\\; größer" in text
    assert any(
        "süßer Käfig für Zellen; größer" in e.description.value
        for e in vobject.readOne(raw.decode()).vevent_list
    )
