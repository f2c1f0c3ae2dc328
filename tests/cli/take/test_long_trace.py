"""A million rows: progress at a terminal, and Ctrl-C in the middle leaves nothing half-written."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.drawing import FULL

ROOT = Path(__file__).parents[3]
ROWS = 1_000_000
CELL = "A00001O"


@pytest.fixture(scope="module")
def long_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """50 mA from 4.1 V to 2.95 V in 50,000 s, rows 50 ms apart, after 100 s of rest."""
    file = tmp_path_factory.mktemp("long") / "million.csv"
    rows = (
        f"{k / 20:.2f},{4.18 if k < 2000 else 4.1 - 1.15 * k / ROWS:.4f},{0 if k < 2000 else -0.05}"
        for k in range(ROWS)
    )
    file.write_text("time_s,voltage_v,current_a\n" + "\n".join(rows) + "\n")
    return file


class Watched:
    """`trace add` as a process of its own whose stderr is a terminal."""

    def __init__(self, bench: Bench, file: Path) -> None:
        self.screen, terminal = pty.openpty()
        env = {
            **os.environ,
            "PYTHONPATH": str(ROOT / "src"),
            "STRAYCELL_STORE": str(bench.store),
            "STRAYCELL_NOW": bench.now,
            "TZ": "UTC",
        }
        line = [sys.executable, "-m", "straycell", "trace", "add", CELL, str(file), "--json"]
        self.process = subprocess.Popen(
            line,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=terminal,
            env=env,
            start_new_session=True,
        )
        os.close(terminal)
        self.seen = ""

    def read_until(self, words: str) -> None:
        """What the terminal shows, up to some words or to the end."""
        while words not in self.seen:
            try:
                piece = os.read(self.screen, 4096)
            except OSError:  # the other end is closed
                return
            if not piece:
                return
            self.seen += piece.decode(errors="replace")

    def finish(self) -> tuple[int, bytes]:
        self.read_until("\0")
        out, _ = self.process.communicate(timeout=120)
        os.close(self.screen)
        return self.process.returncode, out


@pytest.fixture
def cell(bench: Bench) -> Bench:
    bench.prepare(f"cell add --form 18650 --chemistry nmc --rated-capacity 1000mAh --code {CELL}")
    return bench


def content(bench: Bench) -> dict[str, bytes]:
    """Every file of the store's folder, byte for byte."""
    return {path.name: path.read_bytes() for path in bench.store.parent.iterdir()}


@pytest.mark.parametrize("later_s", [0.0, 0.1, 0.3, 0.5] if FULL else [0.0, 0.3])
def test_ctrl_c_on_a_million_rows_leaves_all_or_nothing(later_s: float, cell: Bench, long_file: Path) -> None:
    """While it is read: exit 130, not a byte changed. Later it may be too late to stop: then the trace is whole."""
    before = content(cell)
    watched = Watched(cell, long_file)
    watched.read_until("reading the file:")
    time.sleep(later_s)
    watched.process.send_signal(signal.SIGINT)
    code, _ = watched.finish()
    assert "Traceback" not in watched.seen
    if later_s == 0:
        assert (code, content(cell)) == (130, before)
    assert cell.do("store check")["ok"] is True
    filed = cell.do("trace list")
    assert [t["file"] for t in filed] in ([], [long_file.name])
    recorded = [r["quantity"] for r in cell.do(f"cell show {CELL}")["readings"]]
    assert ("capacity" in recorded) is bool(filed)


def test_a_million_rows_show_their_progress_and_become_figures(cell: Bench, long_file: Path) -> None:
    """The share rises to 100 %, its line is wiped, and the figures are those of the file."""
    watched = Watched(cell, long_file)
    code, out = watched.finish()
    assert code == 0, watched.seen
    shares = [
        int(part.strip()[:-1])
        for part in watched.seen.replace("\x1b[K", "").split("reading the file:")
        if part.strip()[:-1].isdigit()
    ]
    assert len(shares) >= 3 and shares == sorted(shares) and shares[-1] == 100
    assert "100%\r\x1b[K" in watched.seen and out
    found, rows_to_3_v = cell.do("trace show 1"), ROWS * 1.1 / 1.15
    assert found["capacity_ah"]["value"] == pytest.approx(0.05 * (rows_to_3_v - 2000) / 20 / 3600, rel=1e-3)
