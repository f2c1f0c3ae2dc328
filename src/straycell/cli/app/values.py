"""Values on the command line: quantities with their unit, times, words of a list, whole numbers, texts.

A word that is no choice and a count that is none are wrong usage (UsageFault, exit 2), as is the shape of the line
itself, which is click's business. A quantity, a time or a text that cannot be taken is BadData (exit 3).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any, TypeVar

import typer

from straycell.cli.app import clock
from straycell.cli.app.faults import nearest_words
from straycell.errors import BadData, UsageFault
from straycell.plain_text import require_plain
from straycell.quantities import Dimension, Window, parse_quantity

_Word = TypeVar("_Word", bound=StrEnum)
FIRST_DAY = date(1990, 1, 1)
"""Nothing here can be older: lithium-ion cells were first sold in 1991 (from memory)."""
TEXT_LIMIT = 500


def quantity(
    flag: str, dimension: Dimension, text: str, *, window: Window | None = None, example: str = ""
) -> Any:
    """An option that takes one quantity and gives it in the base unit of its dimension."""

    def parse(value: str) -> float:
        return parse_quantity(value, dimension, window=window, name=flag.removeprefix("--").replace("-", " "))

    return typer.Option(
        flag, parser=parse, metavar=example or dimension.value.example, help=text, show_default=False
    )


def word(flag: str, kind: type[StrEnum], text: str, *, listed: bool = True) -> Any:
    """An option that takes one word of an enumeration (or several options, for a list)."""
    words = " ".join(member.value for member in kind)
    return typer.Option(
        flag,
        parser=lambda value: parse_word(value, kind, flag),
        metavar="WORD",
        help=f"{text} One of: {words}." if listed else text,
        show_default=False,
    )


def parse_word(value: str, kind: type[_Word], name: str) -> _Word:
    """A member of `kind` by its word, capitals and blanks forgiven. Raises UsageFault."""
    tidy = value.strip().casefold().replace("_", "-").replace(" ", "-")
    for member in kind:
        if member.value == tidy:
            return member
    words = [member.value for member in kind]
    near = nearest_words(tidy, words)
    hint = f"nearest: {', '.join(near)}; " if near else ""
    raise UsageFault(
        f"{name.removeprefix('--')}: '{value[:60]}' is not known", f"{hint}one of: {' '.join(words)}"
    )


def text_option(flag: str, help_text: str, *, metavar: str = "TEXT") -> Any:
    """An option that takes one line of text."""
    return typer.Option(flag, parser=_line_parser(flag), metavar=metavar, help=help_text, show_default=False)


def text_argument(metavar: str, help_text: str) -> Any:
    """A positional text that must not be empty."""
    return typer.Argument(parser=_line_parser(metavar), metavar=metavar, help=help_text, show_default=False)


def _line_parser(name: str) -> Callable[[str], str]:
    return lambda value: parse_line(value, name.removeprefix("--").lower())


def parse_line(value: str, name: str) -> str:
    """One line of text without control characters, blanks at the ends cut off."""
    tidy = " ".join(value.split())
    if not tidy:
        raise BadData(f"{name} is empty", "write a few words")
    if len(tidy) > TEXT_LIMIT:
        raise BadData(f"{name} has {len(tidy)} characters", f"at most {TEXT_LIMIT}")
    return require_plain(name, tidy)


def whole(flag: str, text: str, *, low: int, high: int) -> Any:
    """An option that takes a whole number from low to high; another is wrong usage."""

    def parse(value: str) -> int:
        try:
            return parse_whole(value, flag, low=low, high=high)
        except BadData as fault:
            raise UsageFault(fault.what, fault.remedy) from fault

    return typer.Option(flag, parser=parse, metavar="N", help=text, show_default=False)


def parse_whole(value: str, name: str, *, low: int, high: int) -> int:
    """A whole number from low to high, written in plain digits. Raises BadData."""
    tidy = value.strip().removeprefix("#")
    label = name.removeprefix("--").lower()
    digits = tidy.removeprefix("-")
    if not (digits.isascii() and digits.isdigit() and len(digits) < 12):
        raise BadData(f"{label}: '{value[:60]}' is no whole number", f"write {low} to {high}")
    if int(tidy) < low:
        raise BadData(f"{label}: {tidy} is out of range", f"it must be {low} or more")
    if int(tidy) > high:
        raise BadData(f"{label}: {tidy} is out of range", f"write {low} to {high}")
    return int(tidy)


def at_option(text: str = "When it was done (default: now).") -> Any:
    """`--at TIME`; gives a UTC time."""
    return typer.Option(
        "--at",
        parser=lambda value: parse_time(value, clock.now()),
        metavar="TIME",
        help=text,
        show_default=False,
    )


def parse_time(value: str, now: datetime) -> datetime:
    """An ISO 8601 time in UTC; without a zone it is local. A time in the future is refused."""
    try:
        at = datetime.fromisoformat(value.strip()).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        raise BadData(
            f"'{value[:60]}' is no ISO 8601 time", "write it like 2026-05-01T18:30 (local)"
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
        raise BadData(f"'{value[:60]}' is no ISO 8601 day", "write it like 2026-05-01") from None
    if found > now.astimezone().date():
        raise BadData(f"the day {found} is in the future", "check the date")
    if found < FIRST_DAY:
        raise BadData(f"the day {found} is before {FIRST_DAY.year}", "check the year")
    return found


def energy_limit(flag: str, text: str) -> Any:
    """An option whose name holds its unit: watt-hours, bare or written out."""

    def parse(value: str) -> float:
        name = flag.removeprefix("--")
        return parse_quantity(value, Dimension.ENERGY, window=Window(0.1, 1e6, "a box"), bare="Wh", name=name)

    return typer.Option(flag, parser=parse, metavar="N", help=text, show_default=False)
