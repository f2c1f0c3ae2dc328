"""One `runtime` on the sample workshop, beside the bare import of its libraries: medians of interleaved runs.

Run: python -m tests.benchmarks.bench_runtime. It prints the ratio, and ends with 1 above 1.5 times.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS, MOST = 15, 1.5
LIBRARIES = [sys.executable, "-c", "import sqlmodel, typer, rich"]


def seconds(command: list[str]) -> float:
    """One run in a process of its own, which must end well."""
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - begin


def main() -> int:
    """The ratio on stdout."""
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "workshop.sqlite")
        tool = [sys.executable, "-m", "straycell", "--store", store, "--json"]
        subprocess.run([*tool, "demo", "--keep", store], check=True, capture_output=True)
        solo = subprocess.run([*tool, "cell", "list", "--outcome", "solo"], check=True, capture_output=True)
        asked = [*tool, "runtime", json.loads(solo.stdout)[0]["code"], "--current", "75mA", "--until", "3.0V"]
        pairs = [(seconds(asked), seconds(LIBRARIES)) for _ in range(RUNS)]
    ours, theirs = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"runtime {ours:.3f} s, importing its libraries {theirs:.3f} s: {ours / theirs:.2f} times")
    return int(ours > MOST * theirs)


if __name__ == "__main__":
    sys.exit(main())
