"""Builds the sample store from the text beside this file: `python sample_db/build.py OUT.sqlite`.

Says how long it took and which cells, if any, did not come out as the text expects (exit 1 then).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from pathlib import Path

from straycell.acceptance import Status, Verdict, load_rules
from straycell.errors import StraycellError
from straycell.store.reader import open_reader
from straycell.store.sample.build import build_sample
from straycell.store.sample.text import Sample, read_sample


def deciding(verdict: Verdict) -> tuple[str, ...]:
    """The reasons that keep an outcome from being better, as `rule status`, in order."""
    return tuple(sorted({f"{r.rule} {r.status}" for r in verdict.deciding if r.status is not Status.MET}))


def surprises(sample: Sample, verdicts: Mapping[str, Verdict]) -> list[str]:
    """Every cell whose verdict is not what its text expects, in a line each; none is as it should be."""
    found = []
    for cell in sample.cells:
        verdict = verdicts[cell.code]
        expected, by = tuple(sorted(cell.because)), deciding(verdict)
        if (verdict.outcome, by) != (cell.expect, expected):
            found.append(
                f"{cell.code}: {verdict.outcome.word} by {', '.join(by) or 'nothing'}; "
                f"the text expects {cell.expect.word} by {', '.join(expected) or 'nothing'}"
            )
    return found


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
