"""The walk of the README: which commands it shows, what they print today, and how the two are compared.

A `console` block holds `$ command` lines and what they print; a line `...` stands for lines left out. A block after
`<!-- file: NAME -->` is a file the walk writes. A `console` block after `<!-- keys: a | b | -->` is a session at a
terminal, those lines typed one after the other.
"""

from __future__ import annotations

import io
import os
import re
import shlex
import time
from collections.abc import Iterator, Sequence
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from pathlib import Path
from unittest import mock

from tests.cli.terminal_bench import at_terminal

from straycell.cli.app.app import main, root_command
from straycell.cli.app.noun_table import NOUNS

README = Path(__file__).parents[1] / "README.md"
GAP = "..."
_FENCE = re.compile(r"^```(\w*)$")
_NOTE = re.compile(r"^<!-- (file|keys): (.*?) ?-->$")
_NAME = re.compile(r"\b(?:[A-Z]\d{5}[0-9A-Z]|[A-Z]T\d+|(?<=#)\d+|(?<=supersede )\d+)\b")
# What changes with the rules, the version or the SQLite library, and says nothing to a reader of the README.
_PASSING = ((re.compile(r"\b[0-9a-f]{12,16}\b"), "HASH"), (re.compile(r"\b\d+( bytes\b)"), r"N\1"))


@dataclass(frozen=True)
class Step:
    """One thing the walk does, from line `start` of the README; its output on `first` up to (not with) `end`."""

    kind: str
    text: str
    start: int
    first: int
    end: int
    shown: tuple[str, ...] = ()
    keys: tuple[str, ...] = ()


def steps(lines: Sequence[str]) -> list[Step]:
    """Everything the README has a reader do, in order."""
    found: list[Step] = []
    note, at = ("", ""), 0
    while at < len(lines):
        if fence := _FENCE.match(lines[at]):
            end = next(i for i in range(at + 1, len(lines)) if lines[i] == "```")
            found += _block(lines, at + 1, end, fence[1], note)
            note, at = ("", ""), end
        elif said := _NOTE.match(lines[at]):
            note = (said[1], said[2])
        at += 1
    return found


def _block(lines: Sequence[str], at: int, end: int, language: str, note: tuple[str, str]) -> Iterator[Step]:
    kind, about = note
    if kind == "file":
        yield Step("file", about, at, at, end, tuple(lines[at:end]))
    elif language == "console":
        keys = tuple(key.strip() for key in about.split("|")) if kind == "keys" else ()
        yield from _commands(lines, at, end, keys)


def _commands(lines: Sequence[str], at: int, end: int, keys: tuple[str, ...]) -> Iterator[Step]:
    while at < end:
        assert lines[at].startswith("$ "), f"README line {at + 1} is before any command"
        words, start = lines[at][2:], at
        while words.endswith("\\"):
            at += 1
            words = f"{words[:-1].rstrip()} {lines[at].strip()}"
        last = next((i for i in range(at + 1, end) if lines[i].startswith("$ ")), end)
        yield Step("command", words, start, at + 1, last, tuple(lines[at + 1 : last]), keys)
        at = last


@dataclass
class Walk:
    """Does the steps in a folder of its own; what was exported and the last exit code stay."""

    folder: Path
    env: dict[str, str] = field(default_factory=dict)
    code: int = 0

    def __post_init__(self) -> None:
        self.env.setdefault("STRAYCELL_STATE", str(self.folder / "state"))

    def do(self, step: Step) -> list[str]:
        """Do one step; the lines it prints, both streams as a terminal shows them."""
        if step.kind == "file":
            (self.folder / step.text).write_text("\n".join([*step.shown, ""]), encoding="utf-8")
            return list(step.shown)
        words = shlex.split(step.text)
        if words[0] == "export":
            self.env.update(word.partition("=")[::2] for word in words[1:])
            return []
        if words == ["echo", "$?"]:
            return [str(self.code)]
        assert words[0] == "straycell", f"the walk cannot do: {step.text}"
        return self._at_terminal(words[1:], step.keys) if step.keys else self._run(words[1:])

    def _run(self, argv: list[str]) -> list[str]:
        both = io.StringIO()
        with surroundings(self.env), chdir(self.folder), redirect_stdout(both), redirect_stderr(both):
            self.code = main(argv)
        return [line.rstrip() for line in both.getvalue().splitlines()]

    def _at_terminal(self, argv: list[str], keys: Sequence[str]) -> list[str]:
        store = self.folder / self.env["STRAYCELL_STORE"]
        with at_terminal(store, *argv, **self.env, NO_COLOR="1", TZ="UTC") as person:
            seen = 0
            for key in keys:
                seen += len(person.await_text(": "))
                while seen < len(person.screen):  # a colon within the talk is no prompt
                    seen += len(person.await_text(": "))
                person.press(f"{key}\r")
                seen += len(person.await_text(f"{key}\n"))  # its echo
            self.code = person.leave()
        return [line.rstrip() for line in person.screen.splitlines()]


@contextmanager
def surroundings(env: dict[str, str]) -> Iterator[None]:
    """The walk's own variables only, and times in UTC."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("STRAYCELL_")}
    try:
        with mock.patch.dict(os.environ, {**kept, **env, "TZ": "UTC"}, clear=True):
            _set_zone()
            yield
    finally:
        _set_zone()


def _set_zone() -> None:
    if hasattr(time, "tzset"):  # not on Windows
        time.tzset()


def plain(line: str) -> str:
    """A line without what passes."""
    for pattern, word in _PASSING:
        line = pattern.sub(word, line)
    return line.rstrip()


def agree(shown: Sequence[str], printed: Sequence[str]) -> bool:
    """Whether the printed lines are the shown ones, a gap standing for any number of lines."""
    pattern = "".join("(?:.*\n)*?" if line == GAP else re.escape(plain(line)) + "\n" for line in shown)
    return re.fullmatch(pattern, "".join(f"{plain(line)}\n" for line in printed)) is not None


def fitted(shown: Sequence[str], printed: Sequence[str]) -> list[str]:
    """The printed lines with the gaps of the shown ones, as well as they can be placed; to be read before use."""
    if agree(shown, printed) or GAP not in shown:
        return list(shown) if agree(shown, printed) else list(printed)
    pairs = _pairs(shown, printed)
    out: list[str] = []
    at = 0
    for index, line in enumerate(shown):
        if line != GAP:
            continue
        before = max((new for old, new in pairs if old < index), default=-1) + 1
        after = min((new for old, new in pairs if old > index), default=len(printed))
        out += [*printed[at : max(at, before)], GAP]
        at = max(before, after if index + 1 < len(shown) else len(printed))
    return out + list(printed[at:])


def renames(shown: Sequence[str], printed: Sequence[str]) -> dict[str, str]:
    """Codes and numbers of readings that are others now: a fuller sample workshop gives the next ones."""
    found: dict[str, str] = {}
    for old, new in _pairs(shown, printed):
        before, after = _NAME.findall(shown[old]), _NAME.findall(printed[new])
        if len(before) == len(after):
            found |= {was: now for was, now in zip(before, after, strict=True) if was != now}
    return found


def renamed(text: str, names: dict[str, str]) -> str:
    """A command with the names of now."""
    return _NAME.sub(lambda match: names.get(match[0], match[0]), text)


def _pairs(shown: Sequence[str], printed: Sequence[str]) -> list[tuple[int, int]]:
    """Shown and printed lines that are the same or nearly, in order."""
    pairs: list[tuple[int, int]] = []
    for old, line in enumerate(shown):
        begin = pairs[-1][1] + 1 if pairs else 0
        likeness = [(SequenceMatcher(None, line, new).ratio(), -at) for at, new in enumerate(printed[begin:])]
        best, back = max(likeness, default=(0.0, 0))
        if line != GAP and best > 0.7:
            pairs.append((old, begin - back))
    return pairs


TABLE = ("<!-- commands -->", "<!-- /commands -->")


def command_table() -> list[str]:
    """Every command there is, by heading, as the README lists it."""
    rows: list[str] = []
    heading = ""
    for name, noun in NOUNS.items():
        if noun.heading != heading:
            heading = noun.heading
            rows += ["", f"**{heading}**", "", "| command | what it does |", "|---|---|"]
        rows += [f"| `{words}` | {text} |" for words, text in _commands_of(name)]
    return [*rows, ""]


def _commands_of(noun: str) -> list[tuple[str, str]]:
    command = root_command().get_command(None, noun)
    verbs = getattr(command, "commands", None)
    if verbs is None:
        return [(noun, _first_sentence(command.help))]
    return [(f"{noun} {verb}", _first_sentence(each.help)) for verb, each in verbs.items()]


def _first_sentence(text: str) -> str:
    return " ".join(text.split("\n\n")[0].split()).split(". ")[0].rstrip(".")


def table_place(lines: Sequence[str]) -> tuple[int, int]:
    """Where the table of commands stands in the README: first line, and the line after it."""
    return lines.index(TABLE[0]) + 1, lines.index(TABLE[1])


def options() -> set[str]:
    """Every option of every command."""
    known = {"--store", "--json", "--quiet", "--debug", "--version", "--help"}
    for name in NOUNS:
        command = root_command().get_command(None, name)
        for each in [command, *getattr(command, "commands", {}).values()]:
            known |= {word for option in each.params for word in [*option.opts, *option.secondary_opts]}
    return known
