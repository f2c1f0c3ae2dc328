"""No list of arguments may yield a traceback, an internal fault or a stray line on stdout."""

from __future__ import annotations

import io
import json
import os
import shutil
import zlib
from pathlib import Path

import pytest
from tests.cli.bench import Answer, Bench
from tests.cli.grammar import Grammar
from tests.drawing import NEW, drawn

LINES_EACH = drawn(400)
# Where new lines are drawn, the test's name says the seed, on which all workers must agree.
RUN = zlib.crc32(os.environ.get("PYTEST_XDIST_TESTRUNUID", "").encode()) if NEW else 0
SEEDS = range(RUN, RUN + 8)


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A small store, and a folder that lines may litter."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    bench = Bench(tmp_path / "bench.sqlite")
    bench.prepare("teardown add lamp --kind lamp")
    bench.prepare("meter add blue --like good-multimeter")
    bench.prepare("box add tin")
    bench.prepare("cell add --teardown AT1 --pack 1 --count 6 --form 18650 --chemistry nmc")
    bench.prepare("cell add --form pouch --chemistry lfp --count 2")
    return bench


def check(argv: list[str], answer: Answer) -> None:
    """What must hold for any line at all."""
    said = f"{argv!r}\n{answer.code}\n{answer.out[:500]}\n{answer.err[:2000]}"
    assert answer.code in (0, 1, 2, 3, 4), said
    assert "internal fault" not in answer.err, said
    if "--debug" not in argv:
        assert "Traceback" not in answer.out + answer.err, said
        if answer.code > 1:
            lines = answer.err.splitlines()
            assert 1 <= len(lines) <= 3 and lines[0].startswith("straycell: "), said
    # A refused import or project file names every fault on stdout: that list is what was asked for.
    listed = ": nothing taken, " in answer.err or " faults: " in answer.err
    if answer.code > 1 and not listed:
        assert answer.out == "", said
    elif asks_for_json(argv):
        json.loads(answer.out)


def asks_for_json(argv: list[str]) -> bool:
    """True when --json is surely a global here: it is there, and nothing could have swallowed it."""
    at = argv.index("--json") if "--json" in argv else -1
    if at < 0 or "--" in argv[:at]:
        return False
    return at == 0 or not argv[at - 1].startswith("-")


@pytest.mark.parametrize("seed", SEEDS)
def test_no_list_of_arguments_yields_a_traceback(
    seed: int, workshop: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Several thousand lines over the real grammar and beyond, in one store that lives through them."""
    codes = [cell["code"] for cell in workshop.do("cell list")]
    keep = workshop.store.with_name("keep.sqlite")
    shutil.copy(workshop.store, keep)
    Path("rules.toml").write_text('name = "mine"\n')
    Path("broken.toml").write_text("name = [\n")
    files = ["rules.toml", "broken.toml", "copy.sqlite", "keep.sqlite", "no/such/place", "."]
    grammar = Grammar(seed, codes, files)
    seen: set[int] = set()
    for _ in range(LINES_EACH):
        argv = grammar.line()
        # `scan` reads codes from standard input: one it knows, one it does not.
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{codes[0]}\nnonsense\n"))
        answer = workshop.run(argv)
        check(argv, answer)
        seen.add(answer.code)
    assert {0, 2, 3} <= seen, "the grammar no longer reaches far enough"
    assert workshop.do("store check")["faults"] == []
