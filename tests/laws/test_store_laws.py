"""Laws of several stores: merging commutes, associates and is idempotent; dangers survive merges and restores."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.laws.store_walk import Walk

STEPS = 100
LAWS = ("commuted", "associated", "idempotent", "discards", "restored", "findings")
LEAST = 4
"""Of each of the three walks; the long form asks for fifty."""


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_three_benches_agree_whatever_happens(tmp_path: Path, seed: int) -> None:
    """Three walks of 100 steps through real stores; `python -m tests.stress.store_walk` goes on for longer."""
    walk = Walk(tmp_path, seed)
    for number in range(STEPS):
        walk.step()
        if number % 50 == 49:
            walk.sound()
    for law in LAWS:
        assert walk.premises[law] >= LEAST, (law, walk.premises)
