"""Long trials that the suite only samples: python -m tests.stress [NAME ...]"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

names = sorted(path.stem.removeprefix("stress_") for path in Path(__file__).parent.glob("stress_*.py"))


def main(wanted: list[str]) -> int:
    """Each in a process of its own; the worst exit code."""
    unknown = [name for name in wanted if name not in names]
    if unknown:
        print(f"no trial {unknown[0]!r}: take one of {', '.join(names)}", file=sys.stderr)
        return 2
    worst = 0
    for name in wanted or names:
        print(f"== {name}", flush=True)
        worst = max(worst, subprocess.run([sys.executable, "-m", f"tests.stress.stress_{name}"]).returncode)
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
