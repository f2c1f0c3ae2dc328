"""The long form of the stress programs, one line each: python -m tests.stress [--short] [NAME ...]

Each runs in a process of its own. The short form is what pytest runs (test_short.py).
"""

from __future__ import annotations

import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path

LONG = {"kills": 500, "disks": 200, "writers": 2000, "zoo": 300, "files": 250, "lines": 20_000}
SHORT = {"kills": 50, "disks": 30, "writers": 6, "zoo": 36, "files": 60, "lines": 400}
SEED = 13


def one(name: str, count: int) -> int:
    """Run one program here; print its line."""
    from tests.stress.rig import warm

    warm()
    began = time.monotonic()
    try:
        said, code = import_module(f"tests.stress.{name}").run(count, SEED), 0
    except AssertionError as fault:
        said, code = f"FAILED: {fault}", 1
    print(f"{name}: {said} ({time.monotonic() - began:.0f} s)", flush=True)
    return code


def main(words: list[str]) -> int:
    """The worst exit code of the programs named, of all without names."""
    trials = sorted(path.stem for path in Path(__file__).parent.glob("stress_*.py"))
    counts = SHORT if "--short" in words else LONG
    names = [word for word in words if not word.startswith("--")]
    own = [name for name in names if f"stress_{name}" in trials]
    if unknown := [name for name in names if name not in (*LONG, *own)]:
        known = (*LONG, *(name.removeprefix("stress_") for name in trials))
        print(f"no program {unknown[0]!r}: take one of {', '.join(known)}", file=sys.stderr)
        return 2
    if "--here" in words:
        return max(one(name, counts[name]) for name in names)
    flags = [word for word in words if word.startswith("--")]
    shared = [name for name in names if name in LONG] if names else list(LONG)
    started = [[sys.executable, "-m", "tests.stress", name, *flags, "--here"] for name in shared]
    alone = [f"stress_{name}" for name in own] if names else trials
    started += [[sys.executable, "-m", f"tests.stress.{name}"] for name in alone]
    return max(subprocess.run(command, check=False).returncode for command in started)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
