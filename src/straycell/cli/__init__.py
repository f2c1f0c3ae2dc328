"""The command line: one file a noun. `run` is the entry point; everything heavy is loaded behind it."""

from __future__ import annotations

import gc
import signal
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from sys import UnraisableHookArgs

COLLECT_AFTER = 100_000
"""New objects before garbage is looked for. Imports and bulk reading make no cycles: looking costs a tenth."""


def run(argv: Sequence[str] | None = None) -> NoReturn:
    """Run one command line and leave the process with its exit code."""
    gc.set_threshold(COLLECT_AFTER, 20, 20)
    sys.unraisablehook = _interrupt_again
    try:
        from straycell.cli.app.app import main

        code = main(sys.argv[1:] if argv is None else argv)
    except KeyboardInterrupt:  # while the program itself was being loaded
        sys.stderr.write("straycell: stopped: a command is recorded as a whole or not at all\n")
        code = 130
    sys.exit(code)


def _interrupt_again(lost: UnraisableHookArgs) -> None:
    """Repeat a Ctrl-C that Python dropped because it arrived inside a destructor: the person did press it."""
    if lost.exc_type is KeyboardInterrupt:
        import threading

        threading.Timer(0.01, signal.pthread_kill, (threading.main_thread().ident, signal.SIGINT)).start()
    else:
        sys.__unraisablehook__(lost)
