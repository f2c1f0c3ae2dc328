"""2,000 photographed labels, all read; 10,000 spoilt ones, none taken for another cell.

python -m tests.stress.stress_labels [READABLE [SPOILT [SEED]]]
"""

from __future__ import annotations

import sys
import time

import numpy as np
from tests.labels.photo_bench import readable, spoilt

from straycell.cells import next_codes
from straycell.labels.reading import find_symbols
from straycell.labels.stocks.files import shipped

BATCH = 100


def main(count: int, spoilt_count: int, seed: int) -> int:
    """Print both tallies; 1 when a readable label was missed or a spoilt one gave another code."""
    known, dice, begun = shipped(), np.random.default_rng(seed), time.perf_counter()
    missed = [
        code
        for code, picture in readable(next_codes("W", 10_000, count), known, dice)
        if [symbol.code for symbol in find_symbols(picture)] != [code]
    ]
    print(
        f"{count} photographs, {len(missed)} missed {missed[:5]}, {time.perf_counter() - begun:.0f} s",
        flush=True,
    )
    wrong, read, codes = [], 0, next_codes("W", 40_000, spoilt_count)
    for start in range(0, spoilt_count, BATCH):
        for code, picture in spoilt(codes[start : start + BATCH], known["plain-wrap"], dice):
            found = {symbol.code for symbol in find_symbols(picture)} - {None}
            wrong += [(code, sorted(map(str, found)))] if found - {code} else []
            read += code in found
    print(
        f"{spoilt_count} spoilt, {read} read, {len(wrong)} wrong {wrong[:5]}, {time.perf_counter() - begun:.0f} s"
    )
    return 1 if missed or wrong else 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*(numbers + [2_000, 10_000, 1][len(numbers) :])))
