"""Very many verdicts: judged by other processes they are the same, and no process is needed."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from multiprocessing import active_children

import pytest
from tests.acceptance.bench import NMC, Bench, good
from tests.store.store_bench import NOW, Shelf, found

from straycell.acceptance import Evidence, load_rules
from straycell.cells import Stage
from straycell.store.verdicts import rejudge, rejudge_parallel

CELLS = 30


def evidence() -> list[list[Evidence]]:
    """Good, low and unmeasured cells, in chunks."""
    kinds = (good(), good(found=1.2), Bench(NMC), good(capacity=0.5))
    return [
        [replace(kinds[(n + m) % 4].evidence(), code=f"A{n:03}{m:02}X") for m in range(5)]
        for n in range(CELLS // 5)
    ]


def judged(helpers: int, chunks: list[list[Evidence]] | None = None) -> list[rejudge_parallel.Judged]:
    return list(rejudge_parallel.judged(chunks or evidence(), load_rules(), NOW, helpers))


def test_other_processes_judge_as_this_one_does() -> None:
    """Row for row, in the order asked for."""
    assert judged(2) == judged(1)


def test_a_helper_that_dies_loses_nothing() -> None:
    """Killed for want of memory, say: its cells are judged here, those before and after too."""

    killed: list[int] = []

    def chunks() -> Iterator[list[Evidence]]:
        for number, chunk in enumerate(evidence()):
            if number == 2:
                killed.extend(child.pid for child in active_children() if child.pid)
                for child in killed:
                    os.kill(child, signal.SIGKILL)
            yield chunk

    assert list(rejudge_parallel.judged(chunks(), load_rules(), NOW, 2)) == judged(1)
    assert killed


def test_where_no_process_can_be_started_the_work_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some boxes have no semaphores to share."""

    def none(*_: object) -> None:
        raise OSError("no semaphores")

    monkeypatch.setattr("concurrent.futures.ProcessPoolExecutor", none)
    assert judged(2) == judged(1)


def test_a_refresh_with_helpers_records_what_one_without_would(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Verdicts, stages and what is told on the way."""
    shelf.good_cells(3)
    low = shelf.cells(1)[0]
    shelf.add(found(low, 1.2))
    later = NOW + timedelta(days=400)
    monkeypatch.setattr(rejudge, "WORTH_HELP", 1)
    told: list[tuple[int, int]] = []
    with shelf.writing(later) as writer:
        assert writer.refresh_verdicts(lambda done, of: told.append((done, of)), helpers=2) == 3
    assert told == [(3, 3)]
    with shelf.reading() as reader:
        assert reader.check(shelf.rules) == []
        assert reader.cell(low).stage is Stage.CONDEMNED


def test_condemned_cells_each_have_their_event_and_reason(shelf: Shelf) -> None:
    """Written in one go, told one by one; a cell that is condemned already is not condemned again."""
    codes = shelf.cells(3)
    shelf.add(*(found(code, 1.2) for code in codes))
    with shelf.writing(NOW + timedelta(days=1)) as writer:
        writer.add_readings([found(codes[0], 1.3)])
    with shelf.reading() as reader:
        for code in codes:
            (event,) = [e for e in reader.history(code) if e.verb == "condemned"]
            assert "deeply discharged" in event.because
            assert event.cells == (code,)
