"""A disk that is full at any point of a write: told in plain words, nothing lost, nothing half."""

from __future__ import annotations

import shutil

from tests.stress.rig import Rig, rig

LINES = (
    "cell add --form 18650 --chemistry nmc --count 20",
    "label blank --count 30 --out blank.pdf",
    "export out",
    "import cells cells.csv",
    "store backup copy.sqlite",
    "store merge other.sqlite",
    "teardown add lamp --kind lamp",
)


def run(count: int, seed: int) -> str:
    """`count` points; a line that sums them up."""
    refused = 0
    with rig(seed) as used:
        used.do("store", "init")
        used.do(*["cell", "add", "--form", "18650", "--chemistry", "nmc", "--count", "5"])
        other = str(used.folder / "other.sqlite")
        used.do("--store", other, "store", "init", "--bench", "B")
        used.do("--store", other, *["cell", "add", "--form", "21700", "--chemistry", "nmc", "--count", "30"])
        (used.folder / "cells.csv").write_text("form,chemistry\n" + "18650,nmc\n" * 30)
        for number in range(count):
            refused += _point(used, LINES[number % len(LINES)])
    return f"{count} full-disk points, {refused} refused a write: nothing lost or half"


def _point(used: Rig, line: str) -> bool:
    """One command with so much room; whether it failed for want of it."""
    kept = used.folder / "kept.sqlite"
    shutil.copy(used.store, kept)
    before = used.codes()
    room = used.dice.choice(
        (used.dice.randint(0, 40_000), used.dice.randint(0, 2 * used.store.stat().st_size))
    )
    done = used.run(*line.split(), limit_bytes=room)
    used.require_sound(line)
    after = used.codes()
    assert before <= after, ("lost", line, room)
    # A command that failed after its commit (the answer found no room) has written all of it.
    assert done.code == 0 or not after - before or len(after - before) in (20, 30), ("half", line, room)
    for name in ("out", "blank.pdf", "copy.sqlite"):
        path = used.folder / name
        if path.is_dir():
            assert len(list(path.glob("*.csv"))) >= 15, ("half an export", room)
            shutil.rmtree(path)
        elif path.exists():
            whole = path.read_bytes()
            assert whole.rstrip().endswith(b"%%EOF") if name.endswith("pdf") else _sound(used, name), (
                line,
                room,
            )
            path.unlink()
    left = [path.name for path in used.folder.iterdir() if path.name.endswith(".part")]
    assert not left, ("left behind", left, line, room)
    shutil.copy(kept, used.store)
    return done.code != 0


def _sound(used: Rig, name: str) -> bool:
    return used.here("--store", str(used.folder / name), "store", "check").code == 0
