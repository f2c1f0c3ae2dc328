"""The number of a record: its bench's letter and that bench's running number, for life.

A store that takes another bench's records in renumbers nothing, so a number on paper stays true.
"""

import re
from dataclasses import dataclass

from straycell.errors import BadData


@dataclass(frozen=True, slots=True, order=True)
class RecordKey:
    """`H-613`. In the order of recording within one bench; between benches the letter decides."""

    bench: str
    number: int

    def __str__(self) -> str:
        return f"{self.bench}-{self.number}"


NEW = RecordKey("", 0)
"""What is not yet recorded."""


def key_of(text: str) -> RecordKey:
    """The key of a stored text, which is known to be one."""
    return RecordKey(text[0], int(text[2:]))


# --- names that a bench gives its own things -----------------------------------------------------------

_APART = re.compile(r"(.+) \(bench ([A-Z])\)", re.DOTALL)


def apart(name: str, bench: str) -> str:
    """The name with its bench's letter behind it, the same on every bench; one that has a letter keeps that."""
    return name if _APART.fullmatch(name) else f"{name} (bench {bench})"


def named_here(name: str, bench: str = "") -> str:
    """A name as bench `bench` calls it: its own without the letter; without a bench none has one."""
    found = _APART.fullmatch(name)
    return found[1] if found and bench in ("", found[2]) else name


_TYPED = re.compile(r"#?\s*(?:([A-Za-z])\s*-?\s*)?([1-9][0-9]{0,11})")


def typed_key(text: str, what: str) -> tuple[str | None, int]:
    """(letter or None, number) as a person types it: H-613, h613, #613. Raises BadData."""
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        raise BadData(f"'{text[:40]}' is not the number of a {what}", "write it like H-613, or 613")
    return (found[1].upper() if found[1] else None), int(found[2])
