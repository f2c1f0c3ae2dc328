"""What can be typed where the cursor is on a half-typed command line: nouns, verbs, options, words, names in the store."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from straycell.cli.app.globals import STORE, Place
from straycell.store.sqlite.completion_names import Names

_GLOBALS = ("--json", "--quiet", "--debug", "--store", "--help")
_OPTIONS: dict[str, Names] = {
    "--teardown": Names.TEARDOWN,
    "--box": Names.BOX,
    "--meter": Names.METER,
    "--code": Names.BLANK,
    "--right-cell": Names.CELL,
    "--cells": Names.CELL,
}
_PROJECT_NOUNS = frozenset({"project", "match", "build"})
Look = Callable[[Names, str, str | None], list[str]]
"""(whose names, how they begin, the store named on the line) -> names."""


def suggestions(words: Sequence[str], root: Any, look: Look) -> list[str]:
    """What the last of `words` (maybe empty) could become. `root` is the click command of the app."""
    # The word under the cursor is not finished: it selects, and never leads on.
    *before, start = words or [""]
    line = Place(root)
    for word in before:
        line.take(word)
    if line.command is None:
        return []
    return sorted(found for found in set(_candidates(line, start, look)) if _fits(found, start))


def _candidates(line: Place, start: str, look: Look) -> Iterator[str]:
    if line.waiting == STORE:
        return
    if line.waiting is not None:
        yield from _values(line.waiting, line, start, look)
    elif start.startswith("-") and not line.only_values:
        yield from _GLOBALS
        yield from (opt for param in line.command.params for opt in param.opts if opt.startswith("--"))
        yield from (opt for param in line.command.params for opt in param.secondary_opts)
    elif hasattr(line.command, "list_commands"):
        yield from line.command.list_commands(None)
    else:
        places = [param for param in line.command.params if not _is_option(param) and not param.hidden]
        if places:
            place = places[min(line.given, len(places) - 1)]
            if line.given < len(places) or place.nargs == -1:
                yield from _values(place, line, start, look)


def _is_option(param: Any) -> bool:
    return any(opt.startswith("-") for opt in param.opts)


def _values(param: Any, line: Place, start: str, look: Look) -> Iterator[str]:
    """The words a value can be: an enumeration from its help, or names from the store."""
    option = next((opt for opt in param.opts if opt.startswith("--")), "")
    shown = str(param.metavar or "").strip("[].")
    whose = _OPTIONS.get(option) if option else _place(shown, line.noun)
    if whose is not None:
        yield from look(whose, start, line.found.get("store"))
    elif shown == "WORD":
        yield from str(param.help).partition("One of: ")[2].rstrip(".").split()


def _place(shown: str, noun: str) -> Names | None:
    if "CODE" in shown:
        return Names.TEARDOWN if noun == "teardown" else Names.CELL
    if shown == "BOX":
        return Names.BOX
    return Names.PROJECT if shown == "NAME" and noun in _PROJECT_NOUNS else None


def _fits(found: str, start: str) -> bool:
    """Codes may be typed in lower case; everything else begins as typed."""
    # Typed with gloves on: lower case, with blanks and hyphens, as codes are read off a label.
    return found.startswith(start) or found.startswith(start.replace("-", "").replace(" ", "").upper())
