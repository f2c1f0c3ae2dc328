"""The long walk of three benches: `python -m tests.stress.store_walk [STEPS] [SEED]`, one summary line at its end.

Seeds differ from run to run unless one is given; it is printed, so that a failing walk can be kept as a case.
"""

from __future__ import annotations

import secrets
import sys
import tempfile
from pathlib import Path

from tests.laws.store_walk import Walk
from tests.laws.test_store_laws import LAWS

LEAST = 50


def main(steps: int = 20_000, seed: int | None = None) -> int:
    """Walk, at most twice as far where a law's premise is rare; exit 1 where it stays so (a law that breaks raises)."""
    chosen = secrets.randbelow(2**32) if seed is None else seed
    print(f"seed {chosen}, {steps} steps")
    with tempfile.TemporaryDirectory() as folder:
        walk = Walk(Path(folder), chosen)
        for number in range(2 * steps):
            if number >= steps and not _seldom(walk):
                break
            walk.step()
            print(f"\r{number + 1} of {steps} steps ", end="", file=sys.stderr, flush=True)
            if number % 500 == 499:
                walk.sound()
    print(file=sys.stderr)
    seldom = _seldom(walk)
    print(f"{number} steps, premises {dict(walk.premises)}" + (f"; too seldom: {seldom}" if seldom else ""))
    return 1 if seldom else 0


def _seldom(walk: Walk) -> list[str]:
    return [law for law in LAWS if walk.premises[law] < LEAST]


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
