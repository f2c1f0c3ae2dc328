"""Builds the sample store from the text beside this file: `python sample_db/build.py OUT.sqlite`.

Says how long it took and which cells, if any, did not come out as the text expects (exit 1 then).
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from straycell.acceptance import load_rules
from straycell.errors import StraycellError
from straycell.store.reader import open_reader
from straycell.store.sample.build import build_sample, surprises
from straycell.store.sample.text import read_sample


def main(arguments: list[str]) -> int:
    """Build the store named on the command line; returns the exit code."""
    if len(arguments) != 1:
        print("usage: python sample_db/build.py OUT.sqlite", file=sys.stderr)
        return 2
    path, rules, started = Path(arguments[0]), load_rules(), time.perf_counter()
    try:
        sample = build_sample(path, rules, read_sample(Path(__file__).parent))
    except StraycellError as fault:
        print(*fault.lines(), sep="\n  ", file=sys.stderr)
        return fault.exit_code
    seconds = time.perf_counter() - started
    with open_reader(path) as reader:
        found = surprises(sample, reader.verdicts(rules, sample.now))
    print(f"{path}: {len(sample.cells)} cells of {len(sample.teardowns)} tear-downs in {seconds:.1f} s")
    for line in found:
        print(line)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
