"""The embedded faces: how wide a text is, and which characters they lack.

`text` has Latin, Greek, Cyrillic and the usual signs; `code` is for codes alone: a slashed zero, unlike 1, I and L.
Licence and origin: fonts/LICENSE. Made by labels/make_fonts.py.
"""

import unicodedata
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from straycell.shipped import PACKAGE

CODE_ADVANCE = 0.602
"""Width of any letter of the code face over the size (hmtx table)."""

_FILES = {"text": "text.ttf", "text-bold": "text-bold.ttf", "code": "code.ttf"}


def face_name(bold: bool, mono: bool = False) -> str:
    return "code" if mono else "text-bold" if bold else "text"


def face_file(name: str) -> Path:
    """The font file of `text`, `text-bold` or `code`."""
    return PACKAGE / "labels/fonts" / _FILES[name]


@lru_cache(maxsize=4)
def advances(name: str) -> dict[int, float]:
    """Width of every character the face has, as a share of the size."""
    from fontTools.ttLib import TTFont

    with TTFont(face_file(name), lazy=True) as font:
        widths, unit = font["hmtx"], font["head"].unitsPerEm
        return {code: widths[glyph][0] / unit for code, glyph in font.getBestCmap().items()}


def text_width(text: str, size_mm: float, bold: bool) -> float:
    """Width in mm as printed."""
    return size_mm * _width_share(text, bold)


@lru_cache(maxsize=4096)
def _width_share(text: str, bold: bool) -> float:
    known = advances(face_name(bold))
    return sum(known[ord(letter)] for letter in shown(text))


def wrapped(text: str, size: float, width: float, tail: str = "") -> list[str]:
    """The text broken between words into lines no wider than `width` with a `tail` behind them.

    A word that is longer is broken where it must be.
    """
    lines: list[str] = []
    for word in _pieces(text, size, width):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer + tail, size, False) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _pieces(text: str, size: float, width: float) -> Iterator[str]:
    for word in text.split():
        rest = word
        while text_width(rest, size, False) > width and len(rest) > 1:
            end = next(
                n for n in range(len(rest) - 1, 0, -1) if n == 1 or text_width(rest[:n], size, False) <= width
            )
            yield rest[:end]
            rest = rest[end:]
        yield rest


def code_width(code: str, size_mm: float) -> float:
    return CODE_ADVANCE * size_mm * len(code)


@lru_cache(maxsize=4096)
def shown(text: str) -> str:
    """The text as it can be printed: a character the face lacks becomes its number, `[U+5BB9]`."""
    known = advances("text")
    return "".join(
        letter if ord(letter) in known else " " if letter.isspace() else f"[U+{ord(letter):04X}]"
        for letter in unicodedata.normalize("NFC", text)
    )


def missing_glyphs(printed: object) -> list[str]:
    """Every character of a paper's content that the face lacks, with its name: `容 U+5BB9 CJK UNIFIED IDEOGRAPH-5BB9`."""
    known = advances("text")
    letters = {letter for text in _texts_in(printed) for letter in unicodedata.normalize("NFC", text)}
    lacking = sorted(letter for letter in letters if not letter.isspace() and ord(letter) not in known)
    return [
        f"{c if c.isprintable() else ''} U+{ord(c):04X} {unicodedata.name(c, 'no name')}".strip()
        for c in lacking
    ]


def _texts_in(printed: Any) -> Iterator[str]:
    """Every text in the values, tuples and lists that make up a paper."""
    if isinstance(printed, str):
        yield printed
    elif isinstance(printed, list | tuple):
        for each in printed:
            yield from _texts_in(each)
    elif is_dataclass(printed):
        for field in fields(printed):
            yield from _texts_in(getattr(printed, field.name))
