"""A person at a real terminal: a pseudo-terminal of 80 by 24, keys in, screen out. Only the standard library."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0
CTRL_C, CTRL_D, ENTER = "\x03", "\x04", "\r"
_SEQUENCE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
# The child makes the terminal its own, so that Ctrl-C reaches it as a person's does.
_CHILD = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "os.execv(sys.executable, [sys.executable, '-m', 'straycell', *sys.argv[1:]])"
)


class Person:
    """Types, reads, and counts the keys."""

    def __init__(self, master: int, child: subprocess.Popen[bytes]) -> None:
        self._master, self._child = master, child
        self.raw = ""
        self.keys = 0
        self._seen = 0

    @property
    def screen(self) -> str:
        """Everything shown so far, without colours."""
        return _SEQUENCE.sub("", self.raw).replace("\r\n", "\n")

    def await_text(self, wanted: str) -> str:
        """Wait until `wanted` is shown after what was awaited before; returns what was shown up to it."""
        deadline = time.monotonic() + PATIENCE_S
        while (at := self.screen.find(wanted, self._seen)) < 0:
            if time.monotonic() > deadline or not self._read():
                raise AssertionError(f"never saw {wanted!r} after:\n{self.screen[self._seen :]}")
        shown = self.screen[self._seen : at + len(wanted)]
        self._seen = at + len(wanted)
        return shown

    def press(self, keys: str) -> None:
        """Press keys, each counted."""
        self.keys += len(keys)
        os.write(self._master, keys.encode())

    def answer(self, prompt: str, text: str) -> str:
        """Wait for a prompt, type a line and Enter; returns what was shown up to the prompt."""
        shown = self.await_text(prompt)
        self.press(text + ENTER)
        return shown

    def leave(self) -> int:
        """Read to the end; the exit code."""
        while self._read():
            pass
        return self._child.wait(PATIENCE_S)

    def _read(self) -> bool:
        """Take what is there, waiting a little; False at the end."""
        if not select.select([self._master], [], [], 0.2)[0]:
            return self._child.poll() is None
        try:
            data = os.read(self._master, 65536)
        except OSError:  # Linux says EIO when the other side is closed
            return False
        self.raw += data.decode("utf-8", "replace")
        return bool(data)


@contextmanager
def at_terminal(store: Path, *argv: str, **env: str) -> Iterator[Person]:
    """A straycell process on a terminal of its own; killed at the end if it still runs."""
    import fcntl
    import pty
    import struct
    import termios

    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    surroundings = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "COLUMNS")}
    child = subprocess.Popen(
        [sys.executable, "-c", _CHILD, *argv],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
        cwd=store.parent,
        env={
            **surroundings,
            "PYTHONPATH": str(ROOT / "src"),
            "STRAYCELL_STORE": str(store),
            "TERM": "xterm",
            "PYTHONUTF8": "1",
            **env,
        },
    )
    os.close(slave)
    try:
        yield Person(master, child)
    finally:
        with suppress(ProcessLookupError):
            child.kill()
        child.wait()
        os.close(master)
