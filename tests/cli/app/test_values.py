"""Values on the command line: what is taken, what is refused, and with which words."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.cli.bench import Bench

from straycell.cells import Chemistry, Look
from straycell.cli.app.values import parse_whole, parse_word
from straycell.errors import BadData, UsageFault
from straycell.typed import parse_day, parse_line, parse_time

NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def bangkok(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A bench seven hours east of UTC, without summer time."""
    monkeypatch.setenv("TZ", "Etc/GMT-7")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_a_time_without_a_zone_is_local_and_stored_in_utc(bangkok: None) -> None:
    """18:30 at the bench is 11:30 UTC."""
    assert parse_time("2026-05-01T18:30", NOW) == datetime(2026, 5, 1, 11, 30, tzinfo=UTC)


def test_a_time_with_a_zone_keeps_its_instant(bangkok: None) -> None:
    """An offset or a Z on the line wins over the bench's own zone."""
    assert parse_time("2026-05-01T09:00+02:00", NOW) == datetime(2026, 5, 1, 7, 0, tzinfo=UTC)
    assert parse_time("2026-05-01T09:00Z", NOW) == datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


def test_a_future_time_is_refused() -> None:
    """Nothing can have been measured tomorrow."""
    with pytest.raises(BadData, match="in the future"):
        parse_time("2026-05-01T12:00:01Z", NOW)
    assert parse_time("2026-05-01T12:00:00Z", NOW) == NOW


@pytest.mark.parametrize(
    "text", ["yesterday", "", "2026-13-01", "2026-02-30T10:00", "12:30", "0001-01-01", "9999"]
)
def test_what_is_no_iso_time_is_refused(text: str) -> None:
    """Each gets an error of ours, never one of Python's."""
    with pytest.raises(BadData):
        parse_time(text, NOW)


def test_a_time_before_there_were_such_cells_is_refused() -> None:
    """A slip in the year."""
    with pytest.raises(BadData, match="before 1990"):
        parse_time("1026-05-01T10:00Z", NOW)


@given(st.text(max_size=30))
def test_any_text_as_a_time_is_a_time_or_bad_data(text: str) -> None:
    """No other exception leaves the parser, and what leaves it is UTC and not in the future."""
    try:
        at = parse_time(text, NOW)
    except BadData:
        return
    assert at.utcoffset() == timedelta(0) and at <= NOW


@given(st.integers(0, 35 * 365 * 86400), st.integers(-14 * 60, 14 * 60))
def test_every_past_instant_survives_being_written_with_any_offset(seconds: int, minutes: int) -> None:
    """ISO 8601 out and in again is the same instant."""
    instant = datetime(1991, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
    written = instant.astimezone(timezone(timedelta(minutes=minutes))).isoformat()
    assert parse_time(written, NOW) == instant


def test_a_day_is_iso_and_not_in_the_future() -> None:
    """The day an object was found."""
    assert parse_day("2026-04-30", NOW) == date(2026, 4, 30)
    for text in ("2026-05-03", "30.4.2026", "1889-01-01"):
        with pytest.raises(BadData):
            parse_day(text, NOW)


def test_a_word_forgives_capitals_and_blanks() -> None:
    """As people write."""
    assert parse_word(" NMC ", Chemistry, "--chemistry") is Chemistry.NMC
    assert parse_word("torn sleeve", Look, "--look") is Look.TORN_SLEEVE


def test_a_mistyped_word_is_refused_with_the_nearest_one_and_all_of_them() -> None:
    """The person sees what was meant."""
    with pytest.raises(UsageFault) as caught:
        parse_word("swolen", Look, "--look")
    assert caught.value.what == "look: 'swolen' is not known"
    assert caught.value.remedy.startswith("nearest: swollen;")
    assert "bare-tab" in caught.value.remedy


@given(st.text(max_size=20))
def test_any_text_as_a_word_is_a_word_or_wrong_usage(text: str) -> None:
    """No other exception leaves the parser."""
    try:
        assert parse_word(text, Look, "--look") in Look
    except UsageFault as fault:
        assert "one of:" in fault.remedy


@pytest.mark.parametrize("text", ["", "x", "1.5", "-1", "1e3", "٣", "99999999999999999999", "0", "6"])
def test_what_is_no_whole_number_in_range_is_refused(text: str) -> None:
    """Arabic-Indic digits too: they are digits to Python, not to a bench."""
    with pytest.raises(BadData):
        parse_whole(text, "--count", low=1, high=5)


@pytest.mark.parametrize(("text", "told"), [("-3", "it must be 0 or more"), ("9", "write 0 to 5")])
def test_a_number_out_of_range_is_told_the_bound_it_breaks(text: str, told: str) -> None:
    """-3 is a whole number, and what it must be is said."""
    with pytest.raises(BadData) as caught:
        parse_whole(text, "--ahead", low=0, high=5)
    assert f"ahead: {text} is out of range" == caught.value.what and caught.value.remedy == told


@pytest.mark.parametrize(
    "line",
    [
        "cell list --sort colour",
        "cell list --outcome perhaps",
        "verdict list --outcome perhaps",
        "cell list --stage lost",
        "cell add --form brick",
        "cautions --step dance",
        "due --ahead soon",
        "due --ahead -3",
        "label sheet --stock none --out x.pdf",
        "label sheet --skip -1 --out x.pdf",
        "meter add mine --like none",
    ],
)
def test_a_word_or_a_count_that_is_no_choice_of_its_option_is_wrong_usage(line: str, bench: Bench) -> None:
    """The same exit code wherever it happens; the choices are named."""
    bench.do("cell add --form 18650")
    assert bench.refused(line, 2)


def test_a_whole_number_may_carry_the_hash_of_a_reading() -> None:
    """`#12`, as the lists show it."""
    assert parse_whole("#12", "id", low=1, high=99) == 12


@pytest.mark.parametrize("text", ["", "   ", "a\x1b[31mb", "x" * 501])
def test_a_line_of_text_must_be_plain_and_short(text: str) -> None:
    """Empty, with an escape sequence, too long."""
    with pytest.raises(BadData):
        parse_line(text, "title")


def test_a_line_of_text_is_tidied() -> None:
    """Blanks at the ends and line breaks inside go."""
    assert parse_line("  two\nlines ", "title") == "two lines"
