"""How far long work has come, on one line of a terminal; nothing in a pipe, and nothing when it is soon done."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

PATIENCE_S = 0.5
"""Work that is done by then says nothing."""
_EVERY_S = 0.1


@contextmanager
def counting(things: str) -> Iterator[Callable[[int, int], None]]:
    """A function called with (done, of how many, 0: not known); its line is wiped at the end."""
    # A line that flashes for a moment is noise; half a second is when people begin to wonder.
    shown, started, last = False, time.monotonic(), 0.0

    def progress(done: int, of: int) -> None:
        nonlocal shown, last
        now = time.monotonic()
        if sys.stderr.isatty() and now - started >= PATIENCE_S and now - last >= _EVERY_S:
            shown, last = True, now
            line = f"{things}: {done}" + (f" of {of} ({100 * done // of} %)" if of else "")
            print(f"\r{line}", end="", file=sys.stderr, flush=True)

    try:
        yield progress
    finally:
        # Wiped, or the last count would be before the answer.
        if shown:
            print(f"\r{' ' * 60}\r", end="", file=sys.stderr, flush=True)
