"""A bench for tests of the command line: a store in a folder, a pinned clock, one line in, one answer out."""

from __future__ import annotations

import io
import json
import os
import shlex
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

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


@dataclass
class Bench:
    """Runs command lines in this process; `now` moves when a test says so."""

    store: Path
    now: str = START
    env: dict[str, str] = field(default_factory=dict)

    def run(self, line: str | list[str]) -> Answer:
        """One command line, as a shell would split it."""
        argv = shlex.split(line) if isinstance(line, str) else line
        out, err = io.StringIO(), io.StringIO()
        env = {"STRAYCELL_STORE": str(self.store), "STRAYCELL_NOW": self.now, "TZ": "UTC", **self.env}
        with mock.patch.dict(os.environ, env), redirect_stdout(out), redirect_stderr(err):
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
