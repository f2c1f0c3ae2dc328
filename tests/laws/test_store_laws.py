"""Laws of several stores: merging commutes, associates and is idempotent; dangers survive merges and restores."""

from __future__ import annotations

from pathlib import Path

from tests.laws.store_walk import Walk

STEPS = 1500
LAWS = ("commuted", "associated", "idempotent", "discards", "restored")


def test_three_benches_agree_whatever_happens(tmp_path: Path) -> None:
    """A walk of 1,500 steps through real stores; every law had its premise at least fifty times."""
    walk = Walk(tmp_path, seed=1)
    for number in range(STEPS):
        walk.step()
        if number % 150 == 149:
            walk.sound()
    for law in LAWS:
        assert walk.premises[law] >= 50, (law, walk.premises)
