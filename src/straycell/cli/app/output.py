"""Data on stdout, talk on stderr. Rich draws tables for a terminal only; in a pipe they are plain text."""

import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TextIO

from straycell.bench.wording.plain_values import plain as plain
from straycell.bench.wording.plain_values import stamp as stamp
from straycell.bench.wording.plain_values import stamp_short as stamp_short
from straycell.cli.app import options as session
from straycell.errors import NegativeAnswer
from straycell.plain_text import json_text, one_line, screen_lines
from straycell.typed import day as day


def print_json(document: object) -> None:
    """The one JSON document of a command."""
    stream = session.current().stdout
    # On a screen that is not UTF-8 escapes keep the document whole; a replaced letter would not.
    encoding = (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", "")
    print(json_text(plain(document), ascii_only=encoding != "utf8"), file=stream)


def emit(document: object, show: Callable[[], None], *, then: str = "") -> None:
    """Print `document` with --json, else let `show` print for a person; `then` hints at what may be done next."""
    if session.current().json:
        print_json(document)
    else:
        show()
    if then:
        hint(then)


def say(*texts: str) -> None:
    """Lines of data; what is wider than a person's screen goes on in the next line, between words."""
    current = session.current()
    for line in (line for text in texts for line in screen_lines(text).split("\n")):
        lead = line[: len(line) - len(line.lstrip())]
        # A terminal itself breaks anywhere, also within a code or a figure.
        fits = not current.at_terminal or len(line) <= current.columns
        for part in [line] if fits else wrap(line.strip(), lead):
            print(part, file=current.stdout)


def talk(*texts: str) -> None:
    """Something for the person, each text wrapped; never part of the data."""
    # stderr, so that a pipe gets data alone.
    for line in (line for text in texts for line in wrap(text)):
        print(line, file=sys.stderr)


def hint(*texts: str) -> None:
    """What a person may do next, or would be glad to know: not said with --quiet. Never a danger."""
    # Never a danger: --quiet must not be able to silence one.
    if not session.current().quiet:
        talk(*texts)


def wrap(text: str, indent: str = "", hang: str = "  ") -> list[str]:
    """Lines that fit the screen."""
    return wrapped(text, session.current().line, indent, indent + hang)


def wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Lines of at most `width` behind these leads; a text that is empty gives one line all the same."""
    # Codes and options hold hyphens, and a broken one is typed wrongly.
    return textwrap.wrap(
        screen_lines(text), width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first.rstrip()]


def say_wrapped(text: str, indent: str = "", hang: str = "  ") -> None:
    """A text of data in lines that fit the screen."""
    say(*wrap(text, indent, hang))


def can_show(text: str, stream: TextIO | None = None) -> bool:
    """True where a stream (that of the data) can print these characters."""
    encoding = getattr(stream or session.current().stdout, "encoding", None) or "utf-8"
    try:
        text.encode(encoding)
    except (UnicodeError, LookupError):
        return False
    return True


def brief(text: str) -> str:
    """The text, or as many whole words of it as fit, with dots where it went on."""
    return textwrap.shorten(text, session.current().line, placeholder=" ...")


@contextmanager
def brief_answers() -> Iterator[None]:
    """A no from within has its remedy in one line: reasons are as long as they need, a terminal is not."""
    try:
        yield
    except NegativeAnswer as answer:
        raise NegativeAnswer(answer.what, brief(answer.remedy)) from None


def command_lines(command: str, *options: str) -> list[str]:
    """A command line to copy: in one line where it fits, else its options on lines that a shell joins."""
    whole = "  " + " ".join([command, *options])
    if len(whole) <= session.current().line:
        # A line joined by backslashes survives copying out of a narrow terminal.
        return [whole]
    return [
        *(f"  {'  ' * bool(n)}{part} \\" for n, part in enumerate([command, *options[:-1]])),
        f"    {options[-1]}",
    ]


def facts(pairs: Iterable[tuple[str, str | None]], *, indent: str = "") -> None:
    """`name   value` lines, aligned and wrapped; a pair without a value is left out."""
    kept = [(name, value) for name, value in pairs if value]
    width = max((len(name) for name, _ in kept), default=0) + 2
    for name, value in kept:
        lead = f"{indent}{name.ljust(width)}"
        say(*(line.rstrip() for line in wrapped(value, session.current().line, lead, " " * len(lead))))


def section(title: str) -> None:
    """A heading on a page, bold on a terminal."""
    current = session.current()
    say("")
    # Bold only, no colour: it must read the same on any background.
    for line in wrap(one_line(title), hang=""):
        print(f"\x1b[1m{line}\x1b[0m" if current.in_colour else line, file=current.stdout)


def bullets(lines: Iterable[str]) -> None:
    """One `- ` entry a line, wrapped."""
    for text in lines:
        say_wrapped(f"- {text}", "  ")


def listed(title: str, lines: Iterable[str]) -> None:
    """A heading with its entries; nothing where there are none."""
    entries = list(lines)
    if entries:
        section(title)
        bullets(entries)
