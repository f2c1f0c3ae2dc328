"""The short form of each stress program; the long one is `python -m tests.stress`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from tests.stress.__main__ import SHORT


@pytest.mark.skipif(sys.platform == "win32", reason="it forks")
def test_each_stress_program_in_its_short_form() -> None:
    """In a process of their own, because they fork; the one line of each says what held."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.stress", *SHORT, "--short"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
        timeout=500,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    for line, (name, count) in zip(done.stdout.splitlines(), SHORT.items(), strict=True):
        assert line.startswith(f"{name}: {count} " if name != "writers" else f"writers: 8 writers x {count}:")
