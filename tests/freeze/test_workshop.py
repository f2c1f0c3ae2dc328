"""The answers about the sample workshop stay what they are until somebody changes one on purpose."""

from __future__ import annotations

from difflib import unified_diff

import pytest
from tests.freeze.workshop import FROZEN, answers
from tests.sample.sample_store import sample_store


def test_the_sample_workshop_answers_as_before(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A changed answer is a bug, or it is blessed with a reason: `python -m tests.bless_freeze`, then read the diff."""
    kept = FROZEN.read_text(encoding="utf-8").splitlines()
    now = answers(sample_store(tmp_path_factory))
    changed = list(unified_diff(kept, now, "frozen", "now", n=1, lineterm=""))
    assert not changed, "\n".join(["the sample workshop answers otherwise:", *changed[:60]])
