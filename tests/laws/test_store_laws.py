"""Laws of several stores: merging commutes, associates and is idempotent; dangers survive merges and restores."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from tests.drawing import FULL, part
from tests.laws.store_walk import Walk

FIRST = (1, 101, 201) if FULL else (101,)
WALKS, STEPS = part(5, least=2), 100
"""Three tests of five walks are 1,500 steps; many short walks meet more different cases than one through large stores."""
LAWS = ("commuted", "associated", "idempotent", "discards", "restored", "findings")
LEAST, MOST_WALKS = part(17, least=6), 2 * WALKS
"""Of the premise of each law in each of the three tests, which makes fifty of all 1,500 steps; where chance spreads them
unevenly, a few walks more."""


@pytest.mark.parametrize("first", FIRST)
def test_three_benches_agree_whatever_happens(tmp_path: Path, first: int) -> None:
    """Random walks through real stores; `python -m tests.stress.store_walk` goes on for longer."""
    seen: Counter[str] = Counter()
    for seed in range(first, first + MOST_WALKS):
        if seed >= first + WALKS and all(seen[law] >= LEAST for law in LAWS):
            break
        folder = tmp_path / str(seed)
        folder.mkdir()
        walk = Walk(folder, seed)
        for _ in range(STEPS):
            walk.step()
        walk.sound()
        seen += walk.premises
    for law in LAWS:
        assert seen[law] >= LEAST, (law, seen)
