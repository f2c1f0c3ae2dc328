"""A tear-down: one recovered object that was opened, and what came out of it."""

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from straycell.errors import BadData


@dataclass(frozen=True, slots=True)
class Teardown:
    """What was opened, where and when it was found, in what state. `objects` counts alike objects opened.

    `opened_on` None: on the day of `added_at`, when it was recorded.
    """

    code: str
    title: str
    kind: str
    found_on: date | None = None
    place: str = ""
    note: str = ""
    objects: int = 1
    added_at: datetime | None = None
    opened_on: date | None = None


def surely_open(opened_on: date | None, added_at: datetime) -> datetime:
    """The moment from which its packs surely were open: as recorded, unless another day is on record."""
    if opened_on is None or opened_on == added_at.date():
        return added_at
    # A day of which the zone is not known is over twelve hours after it is in UTC.
    return datetime.combine(opened_on, time(12), tzinfo=added_at.tzinfo) + timedelta(days=1)


def make_teardown_code(letter: str, number: int) -> str:
    """`AT7`: the bench letter, T, a running number. Cell codes have a digit after the letter."""
    return f"{letter}T{number}"


def parse_teardown_code(text: str) -> str:
    """A tear-down code as typed; upper case, blanks and hyphens forgiven."""
    code = re.sub(r"[\s\-]+", "", text).upper()
    if not re.fullmatch(r"[A-Z]T[1-9][0-9]{0,6}", code):
        raise BadData(
            f"'{text}' is not a tear-down code (a letter, T, a number, like AT3)",
            "see: straycell teardown list",
        )
    return code
