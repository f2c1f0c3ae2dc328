"""The global options, taken anywhere on the line; `--` and the values of other options are left alone."""

from collections.abc import Sequence
from typing import Any

from straycell.cli.app.options import Session
from straycell.errors import UsageFault


def take_globals(argv: Sequence[str], root: Any) -> Session:
    """The session that a command line asks for, with the rest of the line.

    --store, --json, --quiet and --debug are taken out of it, and --version where no noun is before it.
    `root` is the click command of the app; its nouns say which options take a value.
    """
    found: dict[str, Any] = {}
    rest: list[str] = []
    command, words = root, list(argv)
    while words:
        word = words.pop(0)
        # Behind -- everything is a value, also a file called --json.
        if word == "--":
            rest += [word, *words]
            break
        if _take(found, word, words, at_root=command is root):
            continue
        rest.append(word)
        if word.startswith("-") and len(word) > 1:
            # The value of an option may look like one: `--note --json` is a note.
            if word in _valued(command) and words:
                rest.append(words.pop(0))
        elif hasattr(command, "get_command"):
            command = command.get_command(None, word) or _Unknown()
    return Session(**found, rest=rest)


class _Unknown:
    """Stands for a noun or verb that does not exist: it has no options."""

    params: tuple[Any, ...] = ()


def _take(found: dict[str, Any], word: str, words: list[str], *, at_root: bool) -> bool:
    if word in ("--json", "--debug", "--quiet"):
        found[word.removeprefix("--")] = True
    elif word in ("--version", "-V") and at_root:
        found["version"] = True
    elif word == "--store":
        if not words:
            raise UsageFault("--store needs a FILE or URL behind it", "write it like --store bench.sqlite")
        found["store"] = words.pop(0)
    elif word.startswith("--store="):
        found["store"] = word.removeprefix("--store=")
    else:
        return False
    return True


def _valued(command: Any) -> set[str]:
    """The options of a command that take the next word as their value."""
    return {
        opt
        for param in command.params
        if not getattr(param, "is_flag", False) and not getattr(param, "count", False)
        for opt in param.opts
        if opt.startswith("-")
    }


def refuse_unreadable(argv: Sequence[str]) -> None:
    """Raise UsageFault for arguments that are not text: bytes outside UTF-8, or a NUL."""
    # Python keeps bytes that are not UTF-8 as lone surrogates (PEP 383), which no file or database takes.
    for word in argv:
        if "\0" in word or any("\ud800" <= c <= "\udfff" for c in word):
            raise UsageFault(f"argument '{word[:60]}' is not readable text", "write it in UTF-8")
