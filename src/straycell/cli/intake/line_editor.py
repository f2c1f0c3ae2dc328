"""One line from a person at a terminal, with editing and a history for each kind of question."""

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType

readline: ModuleType | None
try:
    import readline
except ImportError:  # Windows and some builds have none
    readline = None

_SETTINGS = (
    # Both send sequences to the terminal that a plain or logged one shows as rubbish.
    "set enable-bracketed-paste off",
    "set enable-meta-key off",
)


_AGAIN_S = 0.1


class _Interrupts:
    """Sees to it that a Ctrl-C during a prompt ends it.

    Python looks whether a signal came and then waits for a key, without a time limit (CPython, readline.c): a Ctrl-C
    between the two is seen at the next key only. So it is sent again while the prompt still waits.
    """

    def __init__(self) -> None:
        self._waiting = False
        here = threading.current_thread() is threading.main_thread()
        if here and hasattr(signal, "pthread_kill") and sys.stdin.isatty():
            woken, wakes = os.pipe()
            os.set_blocking(wakes, False)
            signal.set_wakeup_fd(wakes, warn_on_full_buffer=False)
            threading.Thread(target=self._watch, args=(woken,), daemon=True).start()

    @contextmanager
    def seen(self) -> Iterator[None]:
        """Within it a prompt waits for a person."""
        self._waiting = True
        try:
            yield
        finally:
            self._waiting = False

    def _watch(self, woken: int) -> None:
        while came := os.read(woken, 1):
            time.sleep(_AGAIN_S)
            if self._waiting and came[0] == signal.SIGINT:
                signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)


class LineEditor:
    """Remembers what was typed by the kind of question: a voltage is not proposed as a title."""

    def __init__(self) -> None:
        self._typed: dict[str, list[str]] = {}
        self._interrupts = _Interrupts()
        # Editing works only where both ends are the terminal; a redirected stdout gets plain lines.
        self._edits = readline is not None and sys.stdin.isatty() and sys.stdout.isatty()
        if self._edits and readline is not None:
            readline.set_auto_history(False)
            for setting in _SETTINGS:
                readline.parse_and_bind(setting)

    def read(self, prompt: str, kind: str) -> str | None:
        """The line typed; None at the end of the input (Ctrl-D on an empty line)."""
        if not self._edits or readline is None:
            print(prompt, end="", file=sys.stderr, flush=True)
            # readline and not input: Ctrl-D at the start of a line has to be told from an empty answer.
            with self._interrupts.seen():
                return sys.stdin.readline() or None
        sys.stderr.flush()
        readline.clear_history()
        for text in self._typed.get(kind, []) if kind else []:
            readline.add_history(text)
        try:
            with self._interrupts.seen():
                line = input(prompt)
        except EOFError:
            return None
        if kind and line.strip():
            self._typed[kind] = [*(text for text in self._typed.get(kind, []) if text != line), line]
        return line
