"""How commands grow with the store, each beside what another program takes for the same, in the same run.

Run: python -m tests.benchmarks.bench_store [--rounds 5] [--sizes 100 10000 100000] [--keep FOLDER]

Commands are whole processes, as a person starts them; their peers run in turn with them, and the medians are
compared. Judged: `cell show` on the largest store at most 1.5 times importing sqlmodel, typer and rich;
`verdict refresh` of all its verdicts at most 10 times pandas.read_sql of the rows that takes.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.benchmarks.bulk_store import NOW, build_store

MOST_SHOW, MOST_REFRESH = 1.5, 10.0
SLOW_FROM = 50_000
PYTHON, CLI = [sys.executable], [sys.executable, "-m", "straycell"]
IMPORTS = [*PYTHON, "-c", "import sqlmodel, typer, rich"]
READ_SQL = """
import sqlite3, sys, time, pandas
conn = sqlite3.connect(sys.argv[1])
start = time.perf_counter()
for query in sys.argv[2:]:
    pandas.read_sql(query, conn)
print(time.perf_counter() - start)
"""
EVIDENCE = (  # what a refresh looks at: the recorded verdicts' heads, the cells, their facts and readings
    "SELECT id, code, at_us, rules_hash, outcome, last_reading, valid_until_us FROM verdict",
    "SELECT * FROM cell",
    "SELECT * FROM cell ORDER BY code",
    "SELECT * FROM reading WHERE key NOT IN (SELECT record FROM supersession) ORDER BY code, at_us, id",
)
LISTED = ("SELECT * FROM cell WHERE box = (SELECT key FROM box WHERE name = 'shelf 3')",)
STRICTER = """
name = "bench {number}"
[[limit]]
id = "capacity"
values = {{ light = 0.6{number} }}
"""
Timed = Callable[[], float]


class Bench:
    """One store, and a folder for what the commands need beside it."""

    def __init__(self, folder: Path, size: int) -> None:
        self.size, self.folder = size, folder
        self.store = folder / f"store-{size}.sqlite"
        self.codes = build_store(self.store, size)
        self.env = {
            **os.environ,
            "STRAYCELL_STORE": str(self.store),
            "STRAYCELL_NOW": NOW.isoformat(),
            "PYTHONPATH": os.pathsep.join(sys.path),
            "PYTHONPYCACHEPREFIX": str(folder / "bytecode"),  # every side runs from compiled files
        }
        self.env.pop("PYTHONDONTWRITEBYTECODE", None)
        self._rules = 0

    def timed(self, command: Sequence[str], may_say_no: bool = False, **env: str) -> float:
        """Seconds of one run. The first line of what went wrong ends the benchmark."""
        start = time.perf_counter()
        done = subprocess.run(command, env={**self.env, **env}, capture_output=True, text=True)
        taken = time.perf_counter() - start
        if done.returncode not in ((0, 1) if may_say_no else (0,)):
            raise SystemExit(f"{' '.join(command)[:80]}: {done.stderr[:300]}")
        return taken

    def show(self) -> float:
        return self.timed([*CLI, "cell", "show", self.codes[-1]])

    def mistyped(self) -> float:
        """A code with two slips, whose nearest are looked for: refused with exit 3."""
        start = time.perf_counter()
        code = self.codes[-1]
        wrong = f"{code[:2]}{(int(code[2]) + 1) % 10}{code[3:6]}?"
        done = subprocess.run([*CLI, "cell", "show", wrong], env=self.env, capture_output=True, text=True)
        assert done.returncode == 3 and "nearest" in done.stderr, done.stderr
        return time.perf_counter() - start

    def list_box(self) -> float:
        return self.timed([*CLI, "--json", "cell", "list", "--box", "shelf 3", "--outcome", "pack"])

    def refresh(self) -> float:
        """All verdicts, made stale by a stricter rule file, on a fresh copy of the store."""
        self._rules = self._rules % 4 + 1
        rules, copy = self.folder / "rules.toml", self.folder / "copy.sqlite"
        rules.write_text(STRICTER.format(number=self._rules))
        shutil.copyfile(self.store, copy)
        taken = self.timed(
            [*CLI, "verdict", "refresh"], STRAYCELL_RULES=str(rules), STRAYCELL_STORE=str(copy)
        )
        copy.unlink()
        return taken

    def match(self) -> float:
        return self.timed([*CLI, "--json", "match", "wash-house lamp"], may_say_no=True)

    def imports(self) -> float:
        return self.timed(IMPORTS)

    def read_sql(self, queries: Sequence[str]) -> Timed:
        """pandas.read_sql of some rows, without starting Python and importing pandas."""
        command = [*PYTHON, "-c", READ_SQL, str(self.store), *queries]
        return lambda: float(subprocess.check_output(command, env=self.env, text=True))


def compared(ours: Timed, peer: Timed, rounds: int) -> tuple[float, float]:
    """Medians of runs in turn, after one of each that is not counted."""
    ours(), peer()
    pairs = [(ours(), peer()) for _ in range(rounds)]
    return statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs)


def report(bench: Bench, rounds: int) -> dict[str, float]:
    """Print a block of lines for one store; returns the ratios by name."""
    rows: list[tuple[str, Timed, str, Timed, float | None]] = [
        ("cell show", bench.show, "importing sqlmodel, typer, rich", bench.imports, MOST_SHOW),
        ("cell show, mistyped", bench.mistyped, "importing sqlmodel, typer, rich", bench.imports, None),
        ("cell list, filtered", bench.list_box, "read_sql of the box", bench.read_sql(LISTED), None),
        ("verdict refresh", bench.refresh, "read_sql of its rows", bench.read_sql(EVIDENCE), MOST_REFRESH),
        ("match", bench.match, "read_sql of the same rows", bench.read_sql(EVIDENCE), None),
    ]
    print(f"\n{bench.size} cells, {bench.store.stat().st_size / 1e6:.1f} MB", flush=True)
    ratios = {}
    for name, ours, against, peer, most in rows:
        slow = bench.size >= SLOW_FROM and name in ("verdict refresh", "match")
        ours_s, peer_s = compared(ours, peer, min(rounds, 3) if slow else rounds)
        ratios[name] = ours_s / peer_s
        limit = f"  (at most {most:g})" if most is not None else ""
        print(
            f"  {name:20} {ours_s:8.3f} s   {against:32} {peer_s:8.3f} s   {ratios[name]:6.2f} times{limit}"
        )
        sys.stdout.flush()
    return ratios


def main() -> None:
    """Build the stores, one after the other, and print how they compare."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--sizes", type=int, nargs="+", default=[100, 10_000, 100_000])
    options.add_argument("--keep", type=Path, help="an empty folder to leave the stores in")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        for size in chosen.sizes:
            report(Bench(chosen.keep or Path(scratch), size), chosen.rounds)


if __name__ == "__main__":
    main()
