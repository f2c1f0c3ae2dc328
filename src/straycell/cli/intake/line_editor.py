"""One line from a person at a terminal, with editing and a history for each kind of question."""

from __future__ import annotations

import sys
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


class LineEditor:
    """Remembers what was typed by the kind of question: a voltage is not proposed as a title."""

    def __init__(self) -> None:
        self._typed: dict[str, list[str]] = {}
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
            return sys.stdin.readline() or None
        sys.stderr.flush()
        readline.clear_history()
        for text in self._typed.get(kind, []) if kind else []:
            readline.add_history(text)
        try:
            line = input(prompt)
        except EOFError:
            return None
        if kind and line.strip():
            self._typed[kind] = [*(text for text in self._typed.get(kind, []) if text != line), line]
        return line
