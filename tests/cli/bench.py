"""A bench for tests of the command line: a store in a folder, a pinned clock, one line in, one answer out."""

from __future__ import annotations

import io
import json
import os
import shlex
import shutil
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from straycell.cli.app.app import main

START = "2026-03-01T09:00:00+00:00"


@dataclass(frozen=True)
class Answer:
    """What one command line left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON document on stdout."""
        return json.loads(self.out)


@dataclass(frozen=True)
class Prepared:
    """What a line and all before it left: the answer's document and the store, packed."""

    document: Any
    store: bytes


@contextmanager
def _environment(env: dict[str, str]) -> Iterator[None]:
    """These variables for a while; `mock.patch.dict` writes all there are twice, ten times what these take."""
    before = {name: os.environ.get(name) for name in env}
    os.environ.update(env)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


_PREPARED: dict[tuple[str, ...], Prepared] = {}


@dataclass
class Bench:
    """Runs command lines in this process; `now` moves when a test says so."""

    _path: Path
    now: str = START
    env: dict[str, str] = field(default_factory=dict)
    _trail: tuple[str, ...] = ()
    _left: tuple[int, int] | None = None
    _owed: bytes | None = None

    @property
    def store(self) -> Path:
        """The file. What lines prepared one after the other left is written when somebody asks for it, not before."""
        if self._owed is not None:
            self._path.write_bytes(zlib.decompress(self._owed))
            self._owed, self._left = None, self._state()
        return self._path

    @store.setter
    def store(self, path: Path) -> None:
        self._path, self._owed = path, None

    def prepare(self, line: str) -> Any:
        """`do` for what a test starts from: typed once in a run, after that the store it left is copied.

        That holds for a store that only prepared lines have touched, a fresh one or one begun with another; any other
        store is typed into.
        """
        if self._state() != self._left:
            return self.do(line)
        around = {name: value for name, value in os.environ.items() if name.startswith("STRAYCELL_")}
        self._trail = (*self._trail, repr((self.now, around | self.env, line)))
        known = _PREPARED.get(self._trail)
        if known is None:
            document = self.do(line)
            _PREPARED[self._trail] = Prepared(document, zlib.compress(self.store.read_bytes(), 1))
        else:
            document, self._owed = known.document, known.store
        self._left = self._state()
        return deepcopy(document)

    def begin_with(self, store: Path) -> None:
        """A copy of a store that this run changes nowhere, from which `prepare` goes on."""
        shutil.copyfile(store, self.store)
        self._trail, self._left = (str(store),), self._state()

    def _state(self) -> tuple[int, int] | None:
        """Tells whether somebody else has written."""
        if not self._path.exists():
            return None
        found = self._path.stat()
        return found.st_mtime_ns, found.st_size

    def run(self, line: str | list[str]) -> Answer:
        """One command line, as a shell would split it."""
        argv = shlex.split(line) if isinstance(line, str) else line
        out, err = io.StringIO(), io.StringIO()
        env = {"STRAYCELL_STORE": str(self.store), "STRAYCELL_NOW": self.now, "TZ": "UTC", **self.env}
        with _environment(env), redirect_stdout(out), redirect_stderr(err):
            code = main(argv)
        return Answer(code, out.getvalue(), err.getvalue())

    def do(self, line: str) -> Any:
        """A command line that must succeed, with --json: its document."""
        answer = self.run([*shlex.split(line), "--json"])
        assert answer.code == 0, answer.err
        return answer.json

    def refused(self, line: str, code: int) -> str:
        """A command line that must fail with this exit code: its words on stderr."""
        answer = self.run(line)
        assert answer.code == code, (answer.code, answer.out, answer.err)
        assert answer.out == ""
        lines = answer.err.splitlines()
        assert 1 <= len(lines) <= 3 and lines[0].startswith("straycell: "), answer.err
        assert "Traceback" not in answer.err and "internal fault" not in answer.err
        return answer.err
