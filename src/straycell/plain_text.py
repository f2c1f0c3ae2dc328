"""Text that cannot steer a screen: what of a string is a letter, and what would move the cursor or turn the line.

Not plain are control characters (C0 with ESC, C1), bidi and other format characters, lone surrogates, and private
or unassigned characters: Python's `str.isprintable`, after the Unicode character database (UAX 44, general category).
"""

import json
import unicodedata
from typing import Any

from straycell.errors import BadData

_INSTEAD = "?"


def is_plain(text: str) -> bool:
    """True when nothing in it steers a screen; blanks of other scripts are letters, line breaks are not."""
    return text.isprintable() or all(map(_plain, text))


def _plain(character: str) -> bool:
    return character.isprintable() or unicodedata.category(character) == "Zs"


def require_plain(what: str, text: str) -> str:
    """The text itself. Raises BadData naming the first character that steers a screen."""
    odd = "" if is_plain(text) else next(c for c in text if not _plain(c))
    if odd:
        raise BadData(
            f"{what} holds the control character U+{ord(odd):04X}", "take it out: write letters and signs"
        )
    return text


def steering(text: str) -> str:
    """The first character that steers a screen, layout (line break, tab) aside; empty where there is none."""
    if text.isprintable():
        return ""
    return next((c for c in text if not _plain(c) and c not in "\n\r\t"), "")


def one_line(text: str) -> str:
    """For a screen: one line, `?` for what would steer it."""
    return text if text.isprintable() else "".join(c if _plain(c) else _INSTEAD for c in text)


def screen_lines(text: str) -> str:
    """The same where line breaks are meant."""
    return "\n".join(map(one_line, text.split("\n")))


def json_text(document: Any, *, ascii_only: bool = False) -> str:
    """A JSON document of which no string can steer a screen: C1 and bidi characters are escaped as C0 ones are."""
    text = json.dumps(document, indent=2, ensure_ascii=ascii_only, allow_nan=False)
    return "\n".join(
        line if line.isprintable() else "".join(c if _plain(c) else json.dumps(c)[1:-1] for c in line)
        for line in text.split("\n")
    )
