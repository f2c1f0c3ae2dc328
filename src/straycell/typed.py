"""What a person types: one line of text, a word of a list, a time, a day; and a stored time as a local day."""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from difflib import get_close_matches
from enum import StrEnum
from typing import TypeVar

from straycell.errors import BadData
from straycell.plain_text import require_plain

Word = TypeVar("Word", bound=StrEnum)
FIRST_DAY = date(1990, 1, 1)
"""Nothing here can be older: lithium-ion cells were first sold in 1991 (histories of the trade)."""
TEXT_LIMIT = 500


def nearest_words(word: str, known: Sequence[str]) -> list[str]:
    """Known words that a slip would turn into this one, nearest first."""
    return get_close_matches(word[:80].casefold(), known, n=3, cutoff=0.55)


def parse_word(value: str, kind: type[Word]) -> Word:
    """A member of `kind` by its word, capitals and blanks forgiven. Raises BadData naming the nearest."""
    tidy = value.strip().casefold().replace("_", "-").replace(" ", "-")
    words = [member.value for member in kind]
    if tidy in words:
        return kind(tidy)
    raise unknown_word(value, words)


def unknown_word(value: str, words: Sequence[str]) -> BadData:
    """A word that is none of these, with the nearest ones and all of them."""
    near = nearest_words(value.strip(), words)
    hint = f"nearest: {', '.join(near)}; " if near else ""
    return BadData(f"'{value[:60]}' is not known", f"{hint}one of: {' '.join(words)}")


def parse_line(value: str, name: str) -> str:
    """One line of text without control characters, blanks at the ends cut off."""
    tidy = " ".join(value.split())
    if not tidy:
        raise BadData(f"{name} is empty", "write a few words")
    if len(tidy) > TEXT_LIMIT:
        raise BadData(f"{name} has {len(tidy)} characters", f"at most {TEXT_LIMIT}")
    return require_plain(name, tidy)


def parse_time(value: str, now: datetime) -> datetime:
    """An ISO 8601 time in UTC; without a zone it is local. A time in the future is refused."""
    try:
        at = datetime.fromisoformat(value.strip()).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        raise BadData(
            f"'{value[:60]}' is not an ISO 8601 time",
            "write it like 2026-05-01T18:30 (local) or with its zone",
        ) from None
    if at > now:
        raise BadData(
            f"the time {at.astimezone().isoformat(timespec='seconds')} is in the future",
            f"it is {now.astimezone().isoformat(timespec='seconds')}: check the date and the zone",
        )
    if at.date() < FIRST_DAY:
        raise BadData(f"the time '{value}' is before {FIRST_DAY.year}", "check the year")
    return at


def parse_day(value: str, now: datetime) -> date:
    """An ISO 8601 day, not in the future."""
    try:
        found = date.fromisoformat(value.strip())
    except ValueError:
        raise BadData(f"'{value[:60]}' is not an ISO 8601 day", "write it like 2026-05-01") from None
    if found > now.astimezone().date():
        raise BadData(f"the day {found} is in the future", "check the date")
    if found < FIRST_DAY:
        raise BadData(f"the day {found} is before {FIRST_DAY.year}", "check the year")
    return found


def day(at: datetime | date | None) -> str:
    """The local day, for tables; `-` when there is none."""
    if at is None:
        return "-"
    return (at.astimezone().date() if isinstance(at, datetime) else at).isoformat()
