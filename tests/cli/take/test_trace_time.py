"""When a recorded run was: its time stamps date it, unclear ones do not, and no cell runs twice at once."""

from __future__ import annotations

from typing import Any

import pytest
from tests.cli.bench import Bench

DAY = "2026-02-10"


@pytest.fixture
def cell(bench: Bench) -> str:
    """A cell that waits for its runs."""
    return str(bench.do("cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh")[0]["code"])


def run(times: list[str], volts: tuple[float, float] = (4.15, 3.3), header: str = "time,mV,mA") -> str:
    """A discharge of 0.5 A, falling evenly from one voltage to the other."""
    step = (volts[0] - volts[1]) / (len(times) - 1)
    return (
        "\n".join([header, *(f"{t},{1000 * (volts[0] - n * step):.1f},500" for n, t in enumerate(times))])
        + "\n"
    )


def stamps(pattern: str, hours: int = 4, begin: int = 8) -> list[str]:
    """A stamp every ten minutes."""
    return [pattern.format(h=begin + m // 60, m=m % 60) for m in range(0, 60 * hours + 1, 10)]


def filed(bench: Bench, cell: str, text: str, name: str = "run.csv", *more: str) -> Any:
    """The trace as filed, with what was told."""
    file = bench.store.with_name(name)
    file.write_text(text)
    return bench.run(["trace", "add", cell, str(file), *more, "--json"])


@pytest.mark.parametrize(
    ("pattern", "ended"),
    [
        (f"{DAY} {{h:02d}}:{{m:02d}}:00", f"{DAY}T12:00:00"),
        (f"{DAY}T{{h:02d}}:{{m:02d}}:00Z", f"{DAY}T12:00:00"),
        (f"{DAY}T{{h:02d}}:{{m:02d}}:00+02:00", f"{DAY}T10:00:00"),
        ("10.02.2026 {h:02d}:{m:02d}", f"{DAY}T12:00:00"),
        ("13/02/2026 {h:02d}:{m:02d}", "2026-02-13T12:00:00"),
    ],
)
def test_time_stamps_in_the_file_date_the_run(bench: Bench, cell: str, pattern: str, ended: str) -> None:
    """Local without a zone (UTC here), else of their zone; the time is that of the end."""
    answer = filed(bench, cell, run(stamps(pattern)))
    assert answer.code == 0, answer.err
    assert answer.json["at"].startswith(ended) and "dated by its time stamps" in answer.err


def test_seconds_since_1970_date_it_too(bench: Bench, cell: str) -> None:
    """2026-02-10 08:00 UTC is 1770710400 (date -u)."""
    answer = filed(bench, cell, run([str(1770710400 + 600 * n) for n in range(25)], header="unix time,mV,mA"))
    assert answer.json["at"].startswith(f"{DAY}T12:00:00")


def test_a_time_that_is_said_overrules_the_stamps(bench: Bench, cell: str) -> None:
    """The person knows that the logger's clock was wrong."""
    answer = filed(
        bench, cell, run(stamps(f"{DAY} {{h:02d}}:{{m:02d}}")), "run.csv", "--at", "2026-02-20T10:00"
    )
    assert answer.json["at"].startswith("2026-02-20T10:00") and "dated by" not in answer.err


@pytest.mark.parametrize(
    "pattern", ["3/4/2025 {h:02d}:{m:02d}", "2000-01-01 {h:02d}:{m:02d}", "{h:02d}:{m:02d}:00"]
)
def test_stamps_that_say_nothing_sure_do_not_date_it(bench: Bench, cell: str, pattern: str) -> None:
    """A day that may be a month, a clock that was never set, a time without a day: it is filed as of now."""
    answer = filed(bench, cell, run(stamps(pattern)))
    assert answer.code == 0 and answer.json["at"].startswith("2026-03-01T09:00"), answer.err


def test_stamps_in_the_future_are_refused(bench: Bench, cell: str) -> None:
    """A run that has not happened proves nothing."""
    answer = filed(bench, cell, run(stamps("2026-04-01 {h:02d}:{m:02d}")))
    assert answer.code == 3 and "in the future" in answer.err and "--at" in answer.err


def test_two_long_runs_of_one_cell_at_once_are_questioned(bench: Bench, cell: str) -> None:
    """One belongs to another cell; there it is taken, and later here too; nothing of the refused one is kept."""
    first, second = (
        run(stamps(f"{DAY} {{h:02d}}:{{m:02d}}")),
        run(stamps(f"{DAY} {{h:02d}}:{{m:02d}}", begin=10), (4.1, 3.2)),
    )
    assert filed(bench, cell, first).code == 0
    answer = filed(bench, cell, second, "other.csv")
    assert answer.code == 3 and "overlaps by 2.0 h" in answer.err and "another cell" in answer.err
    assert len(bench.do(f"trace list {cell}")) == 1
    other = bench.do("cell add --form 18650 --chemistry nmc")[0]["code"]
    assert filed(bench, other, second, "other.csv").code == 0
    third = run(stamps(f"{DAY} {{h:02d}}:{{m:02d}}", begin=13), (4.1, 3.2))
    assert filed(bench, cell, third, "third.csv").code == 0


def test_runs_without_a_time_of_their_own_are_not_questioned(bench: Bench, cell: str) -> None:
    """Filed one after the other, both are dated now, and nothing is known of when they were."""
    for name, low in (("a.csv", 3.3), ("b.csv", 3.2)):
        answer = filed(bench, cell, run([str(600 * n) for n in range(25)], (4.15, low)), name)
        assert answer.code == 0, answer.err


def test_headers_that_are_units_are_understood(bench: Bench, cell: str) -> None:
    """`time,mV,mAh`: the current follows from the counter."""
    rows = "\n".join(f"{600 * n},{4150 - 30 * n},{83.3 * n:.1f}" for n in range(25))
    answer = filed(bench, cell, f"time,mV,mAh\n{rows}\n")
    assert answer.code == 0, answer.err
    assert 1.9 < answer.json["capacity_ah"]["value"] < 2.1
