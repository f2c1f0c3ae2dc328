"""Every way a command can fail, as one to three lines on stderr and an exit code."""

import errno
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import typer

from straycell.errors import EXIT_DATA, EXIT_STORE, EXIT_USAGE, StraycellError

EXIT_INTERRUPTED = 130
MOST_LINES = 3
# Typer carries its own copy of click or uses the installed one; the family is found either way.
_USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[1]
_CLICK_ERROR: type[Exception] = typer.BadParameter.__mro__[2]


@dataclass(frozen=True, slots=True)
class Fault:
    """What to print and with which code to leave."""

    lines: tuple[str, ...]
    exit_code: int


def explain(error: BaseException) -> Fault:
    """The fault that stands for an error; anything unforeseen is an internal fault (exit 3)."""
    if isinstance(error, StraycellError):
        return Fault(tuple(error.lines()), error.exit_code)
    if isinstance(error, _CLICK_ERROR):
        return _usage(error)
    # Whoever pressed Ctrl-C wants to know one thing: is something half written.
    if isinstance(error, KeyboardInterrupt | typer.Abort):
        return Fault(("stopped: a command is recorded as a whole or not at all",), EXIT_INTERRUPTED)
    # By module name: importing either here would slow down commands without a store.
    if type(error).__module__.startswith(("sqlite3", "sqlalchemy")):
        return Fault((f"the store failed: {_first_line(error)}", "run: straycell store check"), EXIT_STORE)
    if isinstance(error, OSError) and error.strerror:
        unnamed = "the output cannot be written: " if error.errno in _FULL else ""
        name = f"{error.filename}: " if error.filename else unnamed
        remedy = _DISK.get(error.errno or 0, "check the path and its permissions")
        return Fault((f"{name}{error.strerror}", remedy), EXIT_DATA)
    kind = type(error).__name__
    return Fault(
        (
            f"internal fault, not yours ({kind}: {_first_line(error)[:160]})",
            "--debug shows the traceback, please report it; a command is recorded as a whole or not at all",
        ),
        EXIT_DATA,
    )


_FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
_DISK = {
    **dict.fromkeys(_FULL, "the place it goes to is full: make room there, then run it again"),
    errno.EISDIR: "that is a folder: name a file",
    errno.EIO: "check the disk, then run it again",
}
"""What to do, by what the system said."""


def on_terminal(lines: Sequence[str], width: int) -> list[str]:
    """A fault's lines for a terminal: broken between words only, what goes on is indented further.

    Where that makes more than three lines, one paragraph of all of it is shorter.
    """
    apart = [part for line in lines for part in _broken(line, width)]
    if len(apart) <= MOST_LINES:
        return apart
    # Three lines are what a person reads of an error before looking away.
    joined = _broken("; ".join(line.strip() for line in lines), width)
    return joined if len(joined) <= MOST_LINES else apart


def _broken(line: str, width: int) -> list[str]:
    # A path or command that is broken in two cannot be copied.
    lead = line[: len(line) - len(line.lstrip())]
    return textwrap.wrap(
        line,
        max(width, 20),
        initial_indent="",
        subsequent_indent=lead + "    ",
        break_long_words=False,
        break_on_hyphens=False,
    ) or [line]


def _first_line(error: BaseException) -> str:
    return next(iter(str(error).splitlines()), "") or type(error).__name__


def _usage(error: Exception) -> Fault:
    message = str(getattr(error, "format_message", error.__str__)())
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else "straycell"
    # Of a group click refuses one thing itself, that the verb is missing; which verbs there are helps more.
    if context is not None and type(error) is _USAGE_ERROR and hasattr(context.command, "list_commands"):
        verbs = ", ".join(context.command.list_commands(context))
        return Fault((f"'{path}' needs a verb", f"one of: {verbs}"), EXIT_USAGE)
    option = getattr(error, "option_name", None)
    if option is not None and hasattr(error, "possibilities"):  # click's NoSuchOption alone has them
        return Fault((f"'{path}' has no option {option}", _near_option(option, context, path)), EXIT_USAGE)
    message = " ".join(message.split()).rstrip(".")
    return Fault((message[:1].lower() + message[1:], f"see: {path} --help"), EXIT_USAGE)


def _near_option(option: str, context: typer.Context | None, path: str) -> str:
    params = context.command.params if context is not None else []
    known = [opt for param in params for opt in param.opts if opt.startswith("--")]
    near = get_close_matches(option, known, n=2, cutoff=0.6)
    return f"nearest: {', '.join(near)}; see: {path} --help" if near else f"see: {path} --help"
