"""The answers about the sample workshop stay what they are until somebody changes one on purpose."""

from __future__ import annotations

from difflib import unified_diff
from pathlib import Path

from tests.freeze.workshop import FROZEN, answers


def test_the_sample_workshop_answers_as_before(tmp_path: Path) -> None:
    """A changed answer is a bug, or it is blessed with a reason: `python -m tests.bless_freeze`, then read the diff."""
    kept = FROZEN.read_text(encoding="utf-8").splitlines()
    changed = list(unified_diff(kept, answers(tmp_path), "frozen", "now", n=1, lineterm=""))
    assert not changed, "\n".join(["the sample workshop answers otherwise:", *changed[:60]])
