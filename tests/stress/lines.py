"""Command lines at random, files and store full of traps: no internal fault, no raw control character."""

from __future__ import annotations

import contextlib
import io
import os
from unittest import mock

from tests.cli.grammar import BAD, Grammar, stop_at_once
from tests.stress.rig import Outcome, check_told, rig

from straycell.cli.app.app import main

RAW = ("x\x1b]0;owned\x07", "\x9b31m", "\u202egnp", "a\u2066b", "a\x7f\x08", "a\rb", "\u2028")


def run(count: int, seed: int) -> str:
    """`count` lines; a line that sums them up."""
    codes_seen: dict[int, int] = {}
    with rig(seed) as used:
        used.do("teardown", "add", "lamp", "--kind", "lamp")
        used.do("meter", "add", "blue", "--like", "good-multimeter")
        used.do("box", "add", "tin")
        used.do("cell", "add", "--teardown", "AT1", "--pack", "1", "--count", "6", "--form", "18650")
        codes = sorted(used.codes())
        (used.folder / "rules.toml").write_text('name = "mine"\n')
        (used.folder / "broken.toml").write_text('name = ["\x9b31m\n')
        (used.folder / "raw\x9b.csv").write_text("form,\x9b31m\n\u202e,1\n")
        files = ["rules.toml", "broken.toml", "raw\x9b.csv", "copy.sqlite", "no/such/place", "."]
        os.environ.update(used.env)
        BAD.extend(word for word in RAW if word not in BAD)
        grammar = Grammar(seed, codes, files)
        for _ in range(count):
            argv = grammar.line()
            out, err = io.StringIO(), io.StringIO()
            with (
                contextlib.redirect_stdout(out),
                contextlib.redirect_stderr(err),
                mock.patch("uvicorn.Server.run", stop_at_once),
            ):
                code = main(argv)
            codes_seen[code] = codes_seen.get(code, 0) + 1
            debugged = "--debug" in argv
            told = err.getvalue().replace("Traceback", "") if debugged else err.getvalue()
            check_told(argv, Outcome(code, out.getvalue(), told, 0.0, 0))
        used.require_sound("lines")
    counts = ", ".join(f"{number} ended with {code}" for code, number in sorted(codes_seen.items()))
    return f"{count} lines: no internal fault, nothing raw ({counts})"
