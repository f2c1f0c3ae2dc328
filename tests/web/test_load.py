"""Several phones at one store at a time; the long form is `python -m tests.web.load` (50 clients, 30 s)."""

from __future__ import annotations

from pathlib import Path

from tests.web.load import run


def test_nothing_is_lost_or_doubled_when_many_read_and_write(tmp_path: Path) -> None:
    """What was acknowledged is there, once, though some forms are sent twice; no answer is a failure."""
    found = run(tmp_path, clients=6, seconds=2.0)
    assert found["wrong"] == [] and found["requests"] >= 6 and found["writes"] >= 1
    assert (found["lost"], found["doubled"], found["strange"], found["check"]) == ([], 0, [], 0)
