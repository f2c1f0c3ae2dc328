"""What a person types before knowing the grammar: a bare code, a bare noun, `help`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

# By their shape alone: a code that was misread is refused by the command, with the nearest ones in the store.
_CELL = re.compile(r"[A-Za-z][0-9OIL]{5}[0-9A-Za-z]", re.IGNORECASE)
_TEARDOWN = re.compile(r"[A-Za-z]T[1-9][0-9]*", re.IGNORECASE)


def spelled_out(words: Sequence[str], root: Any) -> list[str]:
    """The command line that is meant: `H00001K` is `cell show`, `box` is `box list`, `help box` is `box --help`."""
    match list(words):
        case []:
            return ["--help"]
        case ["help", *rest]:
            return [*rest, "--help"]
        case [noun] if (known := root.get_command(None, noun)) is not None:
            verbs = getattr(known, "commands", None)
            bare = next((verb for verb in ("list", "start") if verb in (verbs or ())), "--help")
            return [noun] if verbs is None else [noun, bare]
        # `serve --lan` is `serve start --lan`: what can be started is started by its name alone.
        case [noun, option, *rest] if option.startswith("--") and option != "--help" and _starts(root, noun):
            return [noun, "start", option, *rest]
        # A scanned label types a bare code and Enter.
        case [word] if _CELL.fullmatch(word):
            return ["cell", "show", word]
        case [word] if _TEARDOWN.fullmatch(word):
            return ["teardown", "show", word]
        case typed:
            return typed


def _starts(root: Any, noun: str) -> bool:
    return "start" in getattr(root.get_command(None, noun), "commands", ())
