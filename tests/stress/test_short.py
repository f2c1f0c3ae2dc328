"""The short form of each stress program; the long one is `python -m tests.stress`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from tests.stress.__main__ import SHORT


@pytest.mark.skipif(sys.platform == "win32", reason="it forks")
@pytest.mark.parametrize("name", SHORT)
def test_a_stress_program_in_its_short_form(name: str) -> None:
    """In a process of its own, because it forks; its one line says what held."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.stress", name, "--short", "--here"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
        timeout=500,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    assert done.stdout.startswith(f"{name}: {SHORT[name]}" if name != "writers" else "writers: 8 writers x")
