"""What the global options said, for the command that runs now."""

import os
import shutil
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TextIO


@dataclass(frozen=True, slots=True)
class Session:
    """One command line's globals and the `rest` of it. `stdout` is where data goes, whatever `sys.stdout` is meanwhile."""

    store: str | None = None
    json: bool = False
    debug: bool = False
    quiet: bool = False
    version: bool = False
    rest: list[str] = field(default_factory=list)
    env: Mapping[str, str] = field(default_factory=lambda: os.environ)
    stdout: TextIO = field(default_factory=lambda: sys.stdout)

    @property
    def at_terminal(self) -> bool:
        """True when data goes to a person's screen and not into a pipe or a file."""
        return bool(getattr(self.stdout, "isatty", lambda: False)()) and self.env.get("TERM") != "dumb"

    @property
    def in_colour(self) -> bool:
        """True on a screen unless NO_COLOR asks for plain text, and anywhere with FORCE_COLOR (https://no-color.org)."""
        if self.env.get("NO_COLOR"):
            return False
        return self.at_terminal or bool(self.env.get("FORCE_COLOR"))

    @property
    def columns(self) -> int:
        """How wide a table may be: the terminal within 40 to 200 columns; in a pipe or a file COLUMNS, else 80."""
        wide = shutil.get_terminal_size((80, 24)).columns if self.at_terminal else 80
        if not self.at_terminal and self.env.get("COLUMNS", "").isdecimal():
            wide = int(self.env["COLUMNS"][:4])
        return min(200, max(40, wide))

    @property
    def line(self) -> int:
        """How long a line of prose may be: past 100 columns an eye loses the next line."""
        return min(100, self.columns)


_CURRENT: ContextVar[Session | None] = ContextVar("straycell_session", default=None)


def current() -> Session:
    """The session of the running command (a plain one outside of any)."""
    return _CURRENT.get() or Session()


@contextmanager
def use(session: Session) -> Iterator[Session]:
    """Make `session` the current one for the time of the block."""
    token = _CURRENT.set(session)
    try:
        yield session
    finally:
        _CURRENT.reset(token)
