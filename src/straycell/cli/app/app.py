"""The root of the command line: global options, the nouns, and the one place where errors end."""

import io
import os
import re
import shutil
import sys
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stdout, suppress
from functools import lru_cache
from typing import Annotated, Any, TextIO

import typer

from straycell import __version__
from straycell.cli.app import faults, options, output, verbs
from straycell.cli.app.globals import refuse_unreadable, take_globals
from straycell.cli.app.noun_table import NOUNS
from straycell.errors import EXIT_DONE, StraycellError
from straycell.plain_text import one_line, screen_lines

_HELP = """Intake, grading and matching of lithium cells recovered from dead gear.

Quantities carry their unit: 3.71V 2010mAh 48mohm 0.5A 24h 22C. Times are ISO 8601; without a zone they are
local. A cell of unknown history stays outside every published reuse standard: you decide, at your own risk.

A bare code shows the cell, a bare noun lists or explains: straycell H00001K, straycell box.

STRAYCELL_STORE names the store, STRAYCELL_RULES a rule file of your own. STRAYCELL_NOW (a time with its zone)
pins the clock, for tests and demonstrations only. NO_COLOR is respected.
"""

app = verbs.root_app(NOUNS, _HELP)
LONGEST_LINE = 600


@app.callback()
def _root(
    store: Annotated[
        str | None,
        typer.Option(metavar="FILE|URL", help="The store (else STRAYCELL_STORE, else your data folder)."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")] = False,
    quiet: Annotated[
        bool,
        typer.Option("--quiet", help="Print less on stderr: no hints, cautions shortened but never dropped."),
    ] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
    version: Annotated[bool, typer.Option("--version", "-V", help="Print the version.")] = False,
) -> None:
    """Shown in --help; `take_globals` has already taken these off the line."""


@lru_cache(maxsize=1)
def root_command() -> Any:
    """The click command of the whole app."""
    return typer.main.get_command(app)


def main(argv: Sequence[str]) -> int:
    """Run one command line in this process and return its exit code; nothing but a bug in here can raise."""
    # Before anything is printed: also the refusal of unreadable words must reach the screen.
    _forgive_encoding()
    found, stdout = options.Session(debug="--debug" in argv), sys.stdout
    try:
        refuse_unreadable(argv)
        found = take_globals(argv, root_command())
        with options.use(found), _damage_named():
            code = _dispatch(found)
        # A pipe that broke shows itself only when the buffer is written.
        stdout.flush()
        return code
    # `| head` has what it wanted: for the person that is success.
    except BrokenPipeError:
        _drop_stdout(stdout)
        return EXIT_DONE
    except (Exception, KeyboardInterrupt) as error:
        return _report(error, debug=found.debug)


@contextmanager
def _damage_named() -> Iterator[None]:
    """What falls over a value of the store after it was closed is reported as its damage; see `store.check`."""
    try:
        yield
    except StraycellError:
        raise
    except Exception:
        # A command that never opened the store cannot have fallen over its values.
        if "straycell.store.reader" not in sys.modules:
            raise
        from straycell.cli.app.context import store_path
        from straycell.store.check import damage_named

        if not store_path().is_file():
            raise
        with damage_named(store_path(), AssertionError):
            raise


def _dispatch(found: options.Session) -> int:
    """Run what the line asks for. With --json nothing but one document reaches stdout, help included."""
    if found.version:
        output.emit({"version": __version__}, lambda: output.say(f"straycell {__version__}"))
        return EXIT_DONE
    words = spelled_out(found.rest, root_command())
    if not found.json:
        return _invoke(words)
    # A script that asked for JSON must never have to parse a page of help.
    stray = io.StringIO()
    with redirect_stdout(stray):
        code = _invoke(words)
    if stray.getvalue():
        output.print_json({"help": stray.getvalue()})
    return code


def _invoke(words: list[str]) -> int:
    root = root_command()
    try:
        with root.make_context("straycell", words) as context:
            root.invoke(context)
    except typer.Exit as leaving:
        return leaving.exit_code
    return EXIT_DONE


def _report(error: BaseException, *, debug: bool) -> int:
    fault = faults.explain(error)
    # With a closed stderr nobody hears it, and the exit code still says it.
    with suppress(OSError, ValueError):
        if debug:
            print(screen_lines("".join(traceback.format_exception(error))), file=sys.stderr)
        # What a person typed or a file holds may be part of it: cleaned here, and of a length that can be read.
        first, *others = [
            one_line(line if len(line) <= LONGEST_LINE else f"{line[:LONGEST_LINE]} ...")
            for line in fault.lines
        ]
        lines = [f"straycell: {first}", *(f"  {line}" for line in others)]
        # In a log one fault is one line; only a terminal has a width.
        if sys.stderr.isatty():
            lines = faults.on_terminal(lines, shutil.get_terminal_size().columns)
        print(*lines, sep="\n", file=sys.stderr)
    return fault.exit_code


def _forgive_encoding() -> None:
    """A screen that cannot show a character gets a question mark, not a crash."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _drop_stdout(stdout: TextIO) -> None:
    """The reader left (`| head`): keep the interpreter's last flush from failing."""
    # Python flushes stdout once more at exit and would print a traceback (docs.python.org, signal, "Note on
    # SIGPIPE").
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stdout.fileno())


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
