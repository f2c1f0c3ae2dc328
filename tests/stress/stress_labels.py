"""2,000 photographed labels, all read; 10,000 spoilt ones, none taken for another cell.

python -m tests.stress.stress_labels [READABLE [SPOILT [SEED]]]

A picture's number and the seed make it again: tests.labels.photo_bench.photograph.
"""

from __future__ import annotations

import sys
import time

from tests.labels.photo_bench import photograph, spoilt

from straycell.cells import next_codes
from straycell.labels.reading import find_symbols
from straycell.labels.stocks.files import shipped

BATCH = 100


def read_all(count: int, seed: int) -> list[int]:
    """The numbers of the readable photographs that did not give their code, and it alone."""
    known, begun, missed = shipped(), time.perf_counter(), []
    for number, code in enumerate(next_codes("W", 10_000, count)):
        found = [symbol.code for symbol in find_symbols(photograph(code, number, known, seed))]
        if found != [code]:
            missed.append(number)
            print(f"photograph {number} of seed {seed}: {code} read as {found}", flush=True)
    print(f"{count} photographs, {len(missed)} missed, {time.perf_counter() - begun:.0f} s", flush=True)
    return missed


def spoil_all(count: int, seed: int) -> list[int]:
    """The numbers of the spoilt photographs that gave another code."""
    stock, begun, wrong, read = shipped()["plain-wrap"], time.perf_counter(), [], 0
    codes = next_codes("W", 40_000, count)
    for first in range(0, count, BATCH):
        batch = spoilt(codes[first : first + BATCH], stock, seed, first)
        for number, (code, picture) in enumerate(batch, first):
            found = {symbol.code for symbol in find_symbols(picture)} - {None}
            read += code in found
            if found - {code}:
                wrong.append(number)
                print(f"spoilt {number} of seed {seed}: {code} read as {found}", flush=True)
        done, seconds = min(first + BATCH, count), time.perf_counter() - begun
        print(f"{done} spoilt, {read} read, {len(wrong)} wrong, {seconds:.0f} s", flush=True)
    return wrong


def main(count: int, spoilt_count: int, seed: int) -> int:
    """1 when a readable label was missed or a spoilt one gave another code."""
    return 1 if read_all(count, seed) + spoil_all(spoilt_count, seed) else 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*(numbers + [2_000, 10_000, 1][len(numbers) :])))
