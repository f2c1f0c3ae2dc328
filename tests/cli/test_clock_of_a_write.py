"""Without a pinned clock: what is recorded now is not in the future of the write that records it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path


def straycell(store: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = {k: v for k, v in os.environ.items() if k != "STRAYCELL_NOW"} | {"STRAYCELL_STORE": str(store)}
    return subprocess.run(
        [sys.executable, "-m", "straycell", *words], env=env, capture_output=True, text=True
    )


def test_readings_and_charges_are_recorded_now_by_the_real_clock(tmp_path: Path) -> None:
    """The moment a person leaves out is the write's own."""
    store = tmp_path / "s.sqlite"
    assert straycell(store, "cell", "add", "--chemistry", "nmc", "--form", "18650").returncode == 0
    read = straycell(
        store, "--json", "reading", "add", "A00001O", "--as-found-voltage", "3.4V", "--look", "clean"
    )
    assert read.returncode == 0, read.stderr
    assert {reading["quantity"] for reading in json.loads(read.stdout)} == {"as-found-voltage", "look"}
    charged = straycell(store, "charge", "add", "A00001O", "--current", "0.5A", "--until", "4.2V")
    assert charged.returncode == 0, charged.stderr
