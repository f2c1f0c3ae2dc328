"""What can be typed where the cursor is on a half-typed command line: nouns, verbs, options, words, names in the store."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

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


@dataclass(slots=True)
class _Line:
    """Where the words before the cursor have led."""

    command: Any
    noun: str = ""
    store: str | None = None
    waiting: Any = None
    waits_for_store: bool = False
    given: int = 0
    only_values: bool = False


def suggestions(words: Sequence[str], root: Any, look: Look) -> list[str]:
    """What the last of `words` (maybe empty) could become. `root` is the click command of the app."""
    # The word under the cursor is not finished: it selects, and never leads on.
    *before, start = words or [""]
    line = _Line(root)
    for word in before:
        _take(line, word)
        if line.command is None:
            return []
    return sorted(found for found in set(_candidates(line, start, look)) if _fits(found, start))


def _take(line: _Line, word: str) -> None:
    if line.waits_for_store:
        line.store, line.waits_for_store = word, False
    elif line.waiting is not None:
        line.waiting = None
    elif line.only_values:
        line.given += 1
    elif word == "--":
        line.only_values = True
    elif word == "--store":
        line.waits_for_store = True
    elif word.startswith("--store="):
        line.store = word.removeprefix("--store=")
    elif word.startswith("-") and len(word) > 1:
        line.waiting = _valued_option(line.command, word)
    elif hasattr(line.command, "get_command"):
        line.noun = line.noun or word
        line.command = line.command.get_command(None, word)
    else:
        line.given += 1


def _valued_option(command: Any, word: str) -> Any:
    """The option of that name if the next word is its value."""
    for param in command.params:
        if word in param.opts and not getattr(param, "is_flag", False):
            return param
    return None


def _candidates(line: _Line, start: str, look: Look) -> Iterator[str]:
    if line.waits_for_store:
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


def _values(param: Any, line: _Line, start: str, look: Look) -> Iterator[str]:
    """The words a value can be: an enumeration from its help, or names from the store."""
    option = next((opt for opt in param.opts if opt.startswith("--")), "")
    shown = str(param.metavar or "").strip("[].")
    whose = _OPTIONS.get(option) if option else _place(shown, line.noun)
    if whose is not None:
        yield from look(whose, start, line.store)
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
