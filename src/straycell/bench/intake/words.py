"""Short answers: looks by one letter, several at once; words by their beginning; plain numbers in the prompt's unit."""

import re
from collections.abc import Iterable
from datetime import datetime, timedelta

from straycell.cells import Look
from straycell.errors import BadData
from straycell.quantities import Dimension, Window, parse_quantity
from straycell.safety.incidents import find_incident
from straycell.typed import Word, nearest_words, parse_time

LETTERS: dict[str, Look] = {
    "c": Look.CLEAN,
    "s": Look.SWOLLEN,
    "l": Look.LEAKING,
    "b": Look.BURNT,
    "p": Look.PUNCTURED,
    "v": Look.VENTED,
    "m": Look.SMELL,
    "x": Look.CRUSHED,
    "d": Look.DENTED,
    "r": Look.RUST,
    "k": Look.RUST_SPECKS,
    "t": Look.TORN_SLEEVE,
    "g": Look.TORN_RING,
    "n": Look.BARE_TAB,
    "w": Look.WET,
    "i": Look.STAINED,
    "y": Look.CORRODED,
}
"""No beginning of three letters or more of any look is made of these letters alone, so the two never mix."""
SHORTEST_WORD = 3
_CODE_SHAPE = re.compile(r"[A-Za-z][\s-]?[0-9OILoil]{5}[\s-]?[0-9A-Za-z]")


def legend() -> str:
    """All looks with their letters, on three lines of a screen."""
    named = [f"{letter} {look}" for letter, look in LETTERS.items()]
    third = -(-len(named) // 3)
    return "\n".join(f"  {'  '.join(named[i : i + third])}" for i in range(0, len(named), third))


def read_looks(text: str) -> tuple[Look, ...]:
    """`sl`, `s l`, `swo, rust`: the looks named, each once, in the order of the legend. Raises BadData."""
    found: set[Look] = set()
    for word in re.split(r"[\s,;+/]+", text.strip().casefold()):
        found |= _looks_of(word) if word else set()
    if not found:
        raise BadData("no look was named", "type letters, several at once, or words: s, rt, swollen")
    # Clean beside damage is a slip, and which of the two is meant decides about the cell.
    if Look.CLEAN in found and len(found) > 1:
        raise BadData(f"look '{text.strip()[:40]}': clean and something else", "leave c out")
    return tuple(look for look in LETTERS.values() if look in found)


def _looks_of(word: str) -> set[Look]:
    # Words before letters: "rust" must not be read as four looks.
    if len(word) >= SHORTEST_WORD:
        begun = {look for look in Look if look.value.startswith(word)}
        # `rus` is rust, which rust-specks only begins with; `tor` could be either and is refused.
        shortest = {look for look in begun if all(other.value.startswith(look.value) for other in begun)}
        if shortest:
            return shortest
    if all(letter in LETTERS for letter in word):
        return {LETTERS[letter] for letter in word}
    if happened := find_incident(word):
        raise BadData(
            f"'{word[:40]}' is not a look", f"straycell incident add --kind {happened.id} CODE records it"
        )
    near = nearest_words(word, [look.value for look in Look])
    raise BadData(
        f"look '{word[:40]}' is not known",
        f"nearest: {', '.join(near)}" if near else "type letters, several at once, or words: s, rt, swollen",
    )


def named_looks(text: str) -> tuple[Look, ...]:
    """The same, but empty for what is not a look."""
    try:
        return read_looks(text)
    except BadData:
        return ()


def is_yes(text: str) -> bool:
    """Only an explicit yes: Enter is none."""
    return text.casefold() in ("y", "yes")


def begun(text: str, names: Iterable[str]) -> list[str]:
    """The names that begin with what was typed; a name that is typed in full is the only one."""
    tidy = text.strip().casefold()
    found = [name for name in names if name.casefold().startswith(tidy)] if tidy else []
    # A word that another one begins with must stay sayable.
    return [name for name in found if name.casefold() == tidy] or found


def one_of(text: str, names: Iterable[str], name: str, remedy: str = "") -> str:
    """The name typed in full or by a beginning that only one has. Raises BadData."""
    found = begun(text, names)
    if len(found) == 1:
        return found[0]
    why = "could be several" if found else "is not known"
    raise BadData(f"{name}: '{text.strip()[:40]}' {why}", remedy or f"one of: {' '.join(found or names)}")


def pick(text: str, kind: type[Word], name: str) -> Word:
    """A word by itself or by a beginning that only one word has. Raises BadData."""
    return kind(one_of(text, kind, name))


def number(
    text: str, dimension: Dimension, unit: str | None, name: str, window: Window | None = None
) -> float:
    """A number in the unit that the prompt names (None: none), or with a unit of its own. Raises BadData."""
    if not text.strip():
        raise BadData(f"{name}: nothing was typed", "type the figure, or ? for what it is for")
    return parse_quantity(
        _point(text, dimension, unit, window), dimension, bare=unit, name=name, window=window
    )


def _point(text: str, dimension: Dimension, unit: str | None, window: Window | None) -> str:
    """A decimal comma as a point: where one number is asked for, a comma can only part its figures."""
    comma = re.fullmatch(r"\s*([+-]?\d+),(\d+)(\s*[^\d,.]*)", text)
    if comma is None:
        return text
    whole, part, tail = comma.groups()
    point, thousands = f"{whole}.{part}{tail}", f"{whole}{part}{tail}"
    if len(part) != 3 or not whole.lstrip("+-0") or not _fits(thousands, dimension, unit, window):
        return point
    # "12,450" mAh is 12450 to some and 12.45 to others: where both could be, neither is taken.
    if _fits(point, dimension, unit, window):
        raise BadData(f"'{text.strip()}' could be {thousands} or {point}", "type it without the comma")
    return thousands


def _fits(text: str, dimension: Dimension, unit: str | None, window: Window | None) -> bool:
    try:
        parse_quantity(text, dimension, bare=unit, window=window)
    except BadData:
        return False
    return True


# Not one or two digits alone: a stray `24`, meant as hours or degrees, must not open a cell.
_LAST_DIGITS = re.compile(r"(?![0-9]{1,2}\Z)[0-9]{1,5}[0-9A-Za-z]?")


def ending_in(text: str, codes: Iterable[str]) -> list[str]:
    """The codes that end in what was typed, with the check character or without it; none for what is no such end."""
    tidy = text.strip().upper()
    if not _LAST_DIGITS.fullmatch(tidy):
        return []
    return [code for code in codes if code.endswith(tidy) or code[:-1].endswith(tidy)]


def is_code_like(text: str) -> bool:
    """True for what a scanner or a person types for a cell's code, right or wrong."""
    # By shape alone: a misread code must not pass as a number either.
    return _CODE_SHAPE.fullmatch(text.strip()) is not None


def moment(text: str, now: datetime) -> datetime:
    """`2h` (ago), `90min`, `1d`, or an ISO 8601 time; never in the future. Raises BadData."""
    tidy = text.strip().casefold().removesuffix("ago").strip()
    if re.fullmatch(r"\d+(\.\d*)?\s*(s|min|h|d)", tidy):
        ago = parse_quantity(tidy, Dimension.DURATION, name="how long ago")
        return now - timedelta(seconds=ago)
    # After midnight "23:30" was yesterday; rests and ages count from it.
    if re.fullmatch(r"\d{1,2}:\d{2}", tidy):
        raise BadData(f"'{text.strip()}' names no day", "write 2h for two hours ago, or 2026-05-01T18:30")
    return parse_time(text, now)
