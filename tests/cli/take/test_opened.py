"""When a pack was opened: as recorded, or on another day that is said; a check in its pack says nothing of one cell."""

from __future__ import annotations

import pytest
from tests.cli.bench import Bench
from tests.cli.device_bench import LATER, START, added, graded

MARKED = "--teardown AT1 --pack 1 --marking 'INR18650 2600mAh'"


def beside_a_leaker(bench: Bench, opened: str = "") -> str:
    """A cell checked from 2026-03-04 to 04-03 and looked at again, whose sibling leaked."""
    bench.now = START
    bench.prepare(f"teardown add drill --kind tool {opened}")
    code = graded(bench, MARKED)
    other = added(bench, MARKED)
    bench.prepare(f"reading add {other} --look leaking")
    bench.now = LATER.replace("T10", "T11")
    bench.prepare(f"reading add {code} --look clean")
    return code


def outcome(bench: Bench, code: str) -> str:
    """What the cell may be used for."""
    return str(bench.do(f"verdict show {code}")["outcome"])


def test_a_check_after_the_recorded_tear_down_counts(bench: Bench) -> None:
    """28 days and more, out of the pack: the cell is what it was."""
    assert outcome(bench, beside_a_leaker(bench)) == "pack"


@pytest.mark.parametrize(
    ("day", "counts"),
    # The check began on 03-04 at 9:00 UTC; of a day alone its whole length, in whichever zone, counts as closed.
    [
        ("2026-02-01", True),
        ("2026-03-02", True),
        ("2026-03-03", False),
        ("2026-03-04", False),
        ("2026-03-20", False),
    ],
)
def test_a_pack_that_was_opened_on_another_day_is_said_so(bench: Bench, day: str, counts: bool) -> None:
    """Corrected later than recorded the check was run in the pack; the hold names what is missing."""
    code = beside_a_leaker(bench)
    made = bench.do(f"teardown correct AT1 --opened {day} --because 'looked into the log'")
    assert made["opened_on"] == day
    assert outcome(bench, code) == ("pack" if counts else "hold")
    if not counts:
        assert "begun out of its pack" in " ".join(bench.run(f"verdict show {code}").out.split())
    assert f"opened  {day}" in bench.run("teardown show AT1").out


def test_what_is_recorded_late_was_open_earlier_only_when_said(bench: Bench) -> None:
    """A tear-down that is filed after its cells were checked counts as opened then: unknown takes the safe side."""
    bench.now = LATER
    for words, expected in (("", "hold"), (" --opened 2026-02-20", "pack")):
        bench.store.unlink(missing_ok=True)
        code = graded(bench)
        other = added(bench, "--marking 'INR18650 2600mAh'")
        bench.do(f"reading add {other} --look leaking")
        bench.now = LATER
        bench.do(f"teardown add drill --kind tool{words}")
        for each in (code, other):
            bench.do(f"cell correct {each} --teardown AT1 --pack 1 --because 'found the note'")
        bench.now = LATER.replace("T10", "T11")
        bench.do(f"reading add {code} --look clean")
        assert outcome(bench, code) == expected


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("--opened 2027-01-01", "future"),
        ("--opened yesterday", "ISO 8601 day"),
        ("--found 2026-02-20 --opened 2026-02-19", "before it was found"),
    ],
)
def test_a_day_that_cannot_be_is_refused(bench: Bench, line: str, words: str) -> None:
    """Not yet, not a day, or before it was found."""
    assert words in bench.refused(f"teardown add drill --kind tool {line}", 3)
