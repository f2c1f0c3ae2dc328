"""Very many verdicts: judged by several processes where the caller has them to spare, else here.

A verdict follows from its evidence alone, so who judges it makes no difference to what is recorded.
"""

from __future__ import annotations

import gc
import signal
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any

from straycell.acceptance import Evidence, Finding, Outcome, RuleSet, Verdict, judge
from straycell.acceptance.reasons import is_final
from straycell.store.verdicts.recorded import row_of

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

WORTH_HELP = 20_000
"""Cells from which on it pays to start other processes."""
Judged = tuple[list[dict[str, Any]], dict[str, str], list[Finding]]
"""(rows to record, why by code of those that are condemned, what was found)."""


def why_condemned(verdict: Verdict) -> str:
    """The findings and the person's word that put a cell out of use; empty where there are none.

    What only a person's stricter rules condemn stays in the house: put away, they leave nothing behind.
    """
    final = [r for r in verdict.deciding if verdict.outcome is Outcome.DISCARD and is_final(r)]
    return "; ".join(reason.text for reason in final[:3])


def judge_all(evidence: Iterable[Evidence], rules: RuleSet, now: datetime) -> Judged:
    """Judge them one after the other."""
    made = [judge(each, rules, now) for each in evidence]
    whys = {each.verdict.code: why for each in made if (why := why_condemned(each.verdict))}
    return [row_of(each.verdict) for each in made], whys, [f for each in made for f in each.found]


def judged(chunks: Iterable[list[Evidence]], rules: RuleSet, now: datetime, helpers: int) -> Iterator[Judged]:
    """Each chunk judged, in order. Where helpers cannot be started or die, the rest is done here."""
    waiting: deque[tuple[list[Evidence], Future[Judged] | None]] = deque()
    with _pool(rules, now, helpers) as pool:
        for chunk in chunks:
            # Bounded: chunks read far ahead of the judges would hold the whole store in memory.
            waiting.append((chunk, _handed_over(pool, chunk)))
            if len(waiting) > 2 * helpers or pool is None:
                yield _result(*waiting.popleft(), rules, now)
        while waiting:
            yield _result(*waiting.popleft(), rules, now)


def _handed_over(pool: ProcessPoolExecutor | None, chunk: list[Evidence]) -> Future[Judged] | None:
    try:
        return None if pool is None else pool.submit(_help, chunk)
    except (OSError, RuntimeError):  # a pool that lost a process takes no more
        return None


def _result(chunk: list[Evidence], future: Future[Judged] | None, rules: RuleSet, now: datetime) -> Judged:
    from concurrent.futures.process import BrokenProcessPool

    if future is not None:
        try:
            return future.result()
        except (BrokenProcessPool, OSError):
            pass
    # A helper that was killed costs time and no verdict.
    return judge_all(chunk, rules, now)


@contextmanager
def _pool(rules: RuleSet, now: datetime, helpers: int) -> Iterator[ProcessPoolExecutor | None]:
    if helpers < 2:
        yield None
        return
    # Spawn and not fork: an open SQLite connection must not be carried over a fork
    # (sqlite.org/howtocorrupt.html 2.6).
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    try:
        pool = ProcessPoolExecutor(helpers, get_context("spawn"), _begin, (rules, now, gc.get_threshold()))
    except (OSError, ImportError, NotImplementedError):  # no semaphores here
        yield None
        return
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


_TASK: list[tuple[RuleSet, datetime]] = []


def _begin(rules: RuleSet, now: datetime, collect_after: tuple[int, int, int]) -> None:
    gc.set_threshold(*collect_after)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that writes
    _TASK[:] = [(rules, now)]


def _help(chunk: list[Evidence]) -> Judged:
    return judge_all(chunk, *_TASK[0])
