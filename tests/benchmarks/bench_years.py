"""Twenty years of one bench beside its first: what each cell costs in a store twenty times as large.

Run: python -m tests.benchmarks.bench_years [--cells 20000] [--rounds 3] [--keep FOLDER]

The small store has 1,000 cells, the large one 20,000; each cell has 50 readings and each bench 25 events a cell, so
the large one holds a million readings and half a million events. Judged: what a command takes for each cell in the
large store is at most 1.5 times what it takes in the small one; `cell show` shows one, and is compared whole.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import select
from tests.benchmarks.bulk_store import A_CHUNK, NOW, build_store

from straycell.acceptance import load_rules
from straycell.store.column_values import to_us
from straycell.store.schema.tables import EVENT, EVENT_CELL, READING
from straycell.store.session import Pen
from straycell.store.writer import open_writer

SMALL, YEARS = 1_000, 20
READINGS, EVENTS = 50, 25
"""Of each cell, in its life here."""
MOST = 1.5
COMMANDS = {
    "cell show": ("cell", "show", "CODE"),
    "due": ("--json", "due"),
    "verdict list": ("--json", "verdict", "list"),
    "store check": ("store", "check"),
    "store backup": ("store", "backup", "COPY"),
}
ONE_CELL = frozenset({"cell show"})
_YEAR_US = 365 * 86_400_000_000


def build_years(path: Path, cells: int) -> str:
    """A store of so many cells with a long life; the code of one in its middle."""
    codes = build_store(path, cells, verdicts=False)
    with open_writer(path, now=NOW, rules=load_rules(), create=False) as writer:
        _fill(writer.pen, codes)
    with open_writer(path, now=NOW, rules=load_rules(), create=False) as writer:
        writer.refresh_verdicts(helpers=os.cpu_count() or 1)
    return codes[cells // 2]


def _fill(pen: Pen, codes: list[str]) -> None:
    """Look after look over the years, one event for every two of them: the dullest history there is."""
    clean = pen.conn.execute(select(READING).where(READING.c.quantity == "look").limit(1)).one()._asdict()
    first = pen.event("readings-added", codes[:1]) + 1
    events = ({"id": first + n, "code": codes[n % len(codes)]} for n in range(EVENTS * len(codes)))
    while chunk := list(islice(events, A_CHUNK)):
        common = {"write_id": pen.write_id, "at_us": pen.event_us, "verb": "readings-added"}
        rest = {"subject": "", "detail": "{}", "because": ""}
        pen.conn.execute(EVENT.insert(), [{**common, **rest, "id": each["id"]} for each in chunk])
        pen.conn.execute(
            EVENT_CELL.insert(), [{"event_id": each["id"], "code": each["code"]} for each in chunk]
        )
    rows = _looks(clean | {"look": "clean"}, codes, first)
    while part := list(islice(rows, A_CHUNK)):
        numbers = pen.numbers("reading", len(part))
        pen.conn.execute(
            READING.insert(), [{**row, "key": str(n)} for row, n in zip(part, numbers, strict=True)]
        )


def _looks(like: dict[str, Any], codes: list[str], first: int) -> Iterator[dict[str, Any]]:
    dice = random.Random(7)
    # The bulk store has measured each cell five times on average; looks fill up the rest.
    for number in range((READINGS - 5) * len(codes)):
        at_us = to_us(NOW) - dice.randrange(_YEAR_US * YEARS)
        event = first + number * EVENTS // (READINGS - 5)
        yield {**like, "id": None, "code": codes[number % len(codes)], "at_us": at_us, "event_id": event}


def timed(store: Path, code: str, words: tuple[str, ...]) -> float:
    """Seconds of one command as a person starts it."""
    copy = store.with_name("copy.sqlite")
    copy.unlink(missing_ok=True)
    line = [{"CODE": code, "COPY": str(copy)}.get(word, word) for word in words]
    env = {**os.environ, "STRAYCELL_STORE": str(store), "STRAYCELL_NOW": NOW.isoformat()}
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "straycell", *line], env=env, capture_output=True, text=True)
    taken = time.perf_counter() - start
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(line)}: {done.stdout[:300]}{done.stderr[:300]}")
    return taken


def main() -> int:
    """Build both stores and print a line a command; 1 when one is dearer than it may be."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--cells", type=int, default=SMALL * YEARS)
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--keep", type=Path, help="an empty folder to leave the stores in")
    chosen = options.parse_args()
    worst = 0.0
    with tempfile.TemporaryDirectory() as scratch:
        folder = chosen.keep or Path(scratch)
        stores = [(folder / f"years-{cells}.sqlite", cells) for cells in (SMALL, chosen.cells)]
        codes = [build_years(*each) for each in stores]
        print(f"{chosen.cells} cells, {stores[1][0].stat().st_size / 1e6:.0f} MB, beside {SMALL}", flush=True)
        for name, words in COMMANDS.items():
            small, large = (
                statistics.median(timed(path, code, words) for _ in range(chosen.rounds))
                for (path, _), code in zip(stores, codes, strict=True)
            )
            ratio = large / small / (1 if name in ONE_CELL else chosen.cells / SMALL)
            worst = max(worst, ratio)
            print(f"  {name:14} {small:8.2f} s  {large:8.2f} s  {ratio:5.2f} times for each cell", flush=True)
    return int(worst > MOST)


if __name__ == "__main__":
    sys.exit(main())
