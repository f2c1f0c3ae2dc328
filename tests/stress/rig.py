"""What the stress programs share: a command in a forked child that can be killed, starved of disk, or left alone.

Each program works in a temporary folder of its own and touches nothing outside it: no device, no mount. A full disk is
a limit on the size of files (RLIMIT_FSIZE), so that a write ends in an error in the middle of whatever it was.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import resource
import signal
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

import straycell.labels.render
from straycell.cli.app.app import main
from straycell.labels.render import Part
from straycell.plain_text import is_plain

NOW = "2026-03-01T09:00:00+00:00"


Work = Sequence[str] | Callable[[], int]


@dataclass(frozen=True)
class Outcome:
    """What became of a command: its exit code (negative: the signal that ended it) and what it printed."""

    code: int
    out: str
    err: str
    seconds: float
    most_bytes: int

    @property
    def json(self) -> Any:
        """The one document of a command that was done."""
        return json.loads(self.out)


class Rig:
    """A folder, a seeded dice, and the store in it."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.store = folder, folder / "bench.sqlite"
        self.dice = random.Random(seed)
        self.env = {"HOME": str(folder), "XDG_DATA_HOME": str(folder / "data"), "TZ": "UTC"}
        self.env |= {"STRAYCELL_STORE": str(self.store), "STRAYCELL_NOW": NOW, "STRAYCELL_STATE": ""}

    def start(self, work: Work, limit_bytes: int | None = None) -> int:
        """Fork a child that runs a command line, or a function, and leaves with its exit code; its number."""
        child = os.fork()
        if child:
            return child
        code = 99
        try:
            os.environ.update(self.env)
            for name, handle in (("out", 1), ("err", 2)):
                os.dup2(os.open(self._file(os.getpid(), name), os.O_WRONLY | os.O_CREAT | os.O_TRUNC), handle)
            if limit_bytes is not None:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))
            with (
                open(1, "w", closefd=False) as out,
                open(2, "w", closefd=False) as err,
                contextlib.redirect_stdout(out),
                contextlib.redirect_stderr(err),
            ):
                code = work() if callable(work) else main(work)
        finally:
            os._exit(code)

    def end(self, child: int, began: float) -> Outcome:
        """Wait for a child and collect what it left."""
        _, status, usage = os.wait4(child, 0)
        texts = []
        for name in ("out", "err"):
            path = self._file(child, name)
            texts.append(path.read_text(errors="replace") if path.exists() else "")
            path.unlink(missing_ok=True)
        code = os.waitstatus_to_exitcode(status)
        return Outcome(code, texts[0], texts[1], time.monotonic() - began, usage.ru_maxrss * 1024)

    def here(self, *argv: str) -> Outcome:
        """A command to its end in this process, told in plain words: a fork costs five times as much as a look."""
        began, out, err = time.monotonic(), io.StringIO(), io.StringIO()
        with (
            mock.patch.dict(os.environ, self.env),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            code = main(argv)
        done = Outcome(code, out.getvalue(), err.getvalue(), time.monotonic() - began, 0)
        check_told(argv, done)
        return done

    def run(self, *argv: str, limit_bytes: int | None = None) -> Outcome:
        """A command to its end in a child; whatever comes of it, it must be told in plain words."""
        began = time.monotonic()
        done = self.end(self.start(argv, limit_bytes), began)
        check_told(argv, done)
        return done

    def do(self, *argv: str) -> Any:
        """A command that must succeed: its document."""
        done = self.here(*argv, "--json")
        assert done.code == 0, (argv, done.err)
        return done.json

    def killed(self, work: Work, within_s: float) -> Outcome:
        """What is killed at some moment of its life, unless it is faster."""
        began = time.monotonic()
        child = self.start(work)
        time.sleep(self.dice.uniform(0, within_s))
        os.kill(child, signal.SIGKILL)
        return self.end(child, began)

    def require_sound(self, what: object) -> None:
        """`store check` finds nothing: this also finishes what a killed writer left."""
        if self.store.exists():
            checked = self.here("store", "check", "--json")
            assert checked.code == 0, (what, checked.out, checked.err)

    def codes(self) -> set[str]:
        """The cells of the store."""
        return {cell["code"] for cell in self.do("cell", "list")} if self.store.exists() else set()

    def _file(self, child: int, name: str) -> Path:
        return self.folder / f".child-{child}.{name}"


def check_told(argv: Sequence[str], done: Outcome) -> None:
    """What holds for any command: a known exit code, no internal fault, nothing raw on the screen."""
    said = (argv, done.code, done.out[-500:], done.err[-1500:])
    assert done.code in (0, 1, 2, 3, 4), said
    assert "internal fault" not in done.err and "Traceback" not in done.err, said
    assert all(is_plain(line) for line in (done.out + done.err).split("\n")), said


@contextlib.contextmanager
def rig(seed: int) -> Iterator[Rig]:
    """A rig in a temporary folder that is removed at the end, its current folder too."""
    with tempfile.TemporaryDirectory(prefix="straycell-stress-") as name:
        before = Path.cwd()
        os.chdir(name)
        try:
            yield Rig(Path(name), seed)
        finally:
            os.chdir(before)


def warm() -> None:
    """Load in the parent what every child needs: a fork is then as fast as the command itself."""
    with rig(0) as used, contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        os.environ.update(used.env)
        for line in ("cell add --form 18650 --chemistry nmc", "cell list --json", "store check"):
            assert main(line.split()) == 0
        main(["label", "blank", "--count", "1", "--out", "warm.pdf"])
        main(["export", "warm"])


def draw_plainly() -> None:
    """In place of the drawing of labels, which has tests of its own: a sheet whose codes can be read back."""
    setattr(straycell.labels.render, "sheet_pdf", _plain_sheet)  # noqa: B010


def _plain_sheet(parts: Sequence[Part], *_: object, **__: object) -> bytes:
    codes = [content.code for _, contents in parts for content in contents]
    return ("%PDF " + " ".join(codes)).encode()
