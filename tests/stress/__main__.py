"""The long form of the stress programs, one line each: python -m tests.stress [--short] [NAME ...]

Each runs in a process of its own. The short form is what pytest runs (test_short.py).
"""

from __future__ import annotations

import gc
import os
import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path

from tests import disk
from tests.drawing import part

LONG = {"kills": 500, "disks": 200, "writers": 2000, "zoo": 300, "files": 250, "lines": 20_000}
SHORT = {
    **{"kills": part(50, least=9), "disks": part(30, least=7), "writers": part(6, least=2)},
    **{"zoo": part(36, least=31), "files": part(60, least=25), "lines": part(400)},
}
"""`least`: each command killed, on a full disk; each defect of a store, each hostile file."""
SEED = 13


def one(name: str, count: int) -> int:
    """Run one program in a child, which finds loaded what it needs; it prints its line."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    began = time.monotonic()
    if name != "kills":  # what is to be killed in its middle must last
        disk.never_wait()
    try:
        said, code = import_module(f"tests.stress.{name}").run(count, SEED), 0
    except BaseException as fault:
        said, code = f"FAILED: {fault!r}", 1
    print(f"{name}: {said} ({time.monotonic() - began:.0f} s)", flush=True)
    os._exit(code)


def main(words: list[str]) -> int:
    """The worst exit code of the programs named, of all without names."""
    trials = sorted(path.stem for path in Path(__file__).parent.glob("stress_*.py"))
    counts = SHORT if "--short" in words else LONG
    names = [word for word in words if not word.startswith("--")]
    own = [f"stress_{name}" for name in names if f"stress_{name}" in trials]
    if unknown := [name for name in names if name not in LONG and f"stress_{name}" not in own]:
        known = (*LONG, *(name.removeprefix("stress_") for name in trials))
        print(f"no program {unknown[0]!r}: take one of {', '.join(known)}", file=sys.stderr)
        return 2
    if shared := [name for name in names if name in LONG] if names else list(LONG):
        from tests.stress.rig import warm

        warm()
        gc.collect()
        gc.freeze()
    codes = [one(name, counts[name]) for name in shared]
    started = [[sys.executable, "-m", f"tests.stress.{name}"] for name in (own if names else trials)]
    codes += [subprocess.run(command, check=False).returncode for command in started]
    return max(codes)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
