"""All benchmarks, one after the other, on a quiet machine: python -m tests.benchmarks [NAME ...]"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

names = sorted(path.stem.removeprefix("bench_") for path in Path(__file__).parent.glob("bench_*.py"))


def main(wanted: list[str]) -> int:
    """Each in a process of its own, so that none inherits what another has loaded; the worst exit code."""
    unknown = [name for name in wanted if name not in names]
    if unknown:
        print(f"no benchmark {unknown[0]!r}: take one of {', '.join(names)}", file=sys.stderr)
        return 2
    worst = 0
    for name in wanted or names:
        print(f"== {name}", flush=True)
        worst = max(
            worst, subprocess.run([sys.executable, "-m", f"tests.benchmarks.bench_{name}"]).returncode
        )
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
