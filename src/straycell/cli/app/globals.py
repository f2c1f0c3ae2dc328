"""What the words of a line lead to; the global options are taken off it anywhere, `--` and the values of others apart."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from straycell.cli.app.options import Session
from straycell.errors import UsageFault


@dataclass(slots=True)
class Place:
    """Where the words so far have led. `command`: the click command they name, None for one that does not exist.

    `found` are the globals among them and `rest` the others; `waiting` is the option whose value comes next, `given` how
    many arguments came; behind `--` there are `only_values`.
    """

    command: Any
    noun: str = ""
    found: dict[str, Any] = field(default_factory=dict)
    rest: list[str] = field(default_factory=list)
    waiting: Any = None
    given: int = 0
    only_values: bool = False

    def take(self, word: str) -> None:
        """Go on by a word."""
        if self.waiting == STORE:
            self.found["store"], self.waiting = word, None
        elif not (self.only_values or self.waiting is not None) and self._is_global(word):
            return
        else:
            self.rest.append(word)
            self._lead(word)

    def _is_global(self, word: str) -> bool:
        if word in ("--json", "--debug", "--quiet"):
            self.found[word.removeprefix("--")] = True
        elif word in ("--version", "-V") and not self.noun:
            self.found["version"] = True
        elif word == STORE:
            self.waiting = STORE
        elif word.startswith(f"{STORE}="):
            self.found["store"] = word.removeprefix(f"{STORE}=")
        else:
            return False
        return True

    def _lead(self, word: str) -> None:
        # The value of an option may look like one: `--note --json` is a note.
        if self.waiting is not None:
            self.waiting = None
        # Behind -- everything is a value, also a file called --json.
        elif self.only_values or word == "--":
            self.given, self.only_values = self.given + self.only_values, True
        elif word.startswith("-") and len(word) > 1:
            self.waiting = _valued_option(self.command, word)
        elif hasattr(self.command, "get_command"):
            self.noun, self.command = self.noun or word, self.command.get_command(None, word)
        else:
            self.given += 1


STORE = "--store"


def _valued_option(command: Any, word: str) -> Any:
    """The option of that name if the next word is its value."""
    named = (param for param in getattr(command, "params", ()) if word in param.opts)
    return next((p for p in named if not (getattr(p, "is_flag", False) or getattr(p, "count", False))), None)


def take_globals(argv: Sequence[str], root: Any) -> Session:
    """The session that a command line asks for, with the rest of the line.

    --store, --json, --quiet and --debug are taken out of it, and --version where no noun is before it.
    `root` is the click command of the app; its nouns say which options take a value.
    """
    line = Place(root)
    for word in argv:
        line.take(word)
    if line.waiting == STORE:
        raise UsageFault("--store needs a FILE or URL behind it", "write it like --store bench.sqlite")
    return Session(**line.found, rest=line.rest)


def refuse_unreadable(argv: Sequence[str]) -> None:
    """Raise UsageFault for arguments that are not text: bytes outside UTF-8, or a NUL."""
    # Python keeps bytes that are not UTF-8 as lone surrogates (PEP 383), which no file or database takes.
    for word in argv:
        if "\0" in word or any("\ud800" <= c <= "\udfff" for c in word):
            raise UsageFault(f"argument '{word[:60]}' is not readable text", "write it in UTF-8")
