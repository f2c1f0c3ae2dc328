"""Tables that a person can use: filters, orders, eighty columns; and how far long work has come."""

from __future__ import annotations

import io
import os
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from itertools import pairwise
from unittest import mock

import pytest
from tests.cli.bench import Bench

from straycell.acceptance import load_rules
from straycell.cli.app import progress
from straycell.cli.app.app import main
from straycell.store.writer import open_writer


@pytest.fixture
def shelf(bench: Bench) -> Bench:
    """Four cells of several kinds, one out of use, one in a box with a long name."""
    long = "the tall grey cupboard behind the door, second shelf from the top, left hand side"
    bench.prepare(f"box add '{long}'")
    bench.prepare("box add attic")
    bench.prepare(f"cell add --form 21700 --chemistry lfp --box '{long}' --marking '{'INR21700 ' * 20}'")
    bench.prepare("cell add --form 18650 --chemistry nmc --marking 'ICR18650 2600mAh'")
    bench.prepare("cell add --form pouch --chemistry unknown --box attic")
    bench.prepare("cell add --form 18650 --chemistry lco")
    swollen = bench.prepare("cell list")[1]["code"]
    bench.prepare(f"reading add {swollen} --look swollen")
    return bench


def column(bench: Bench, line: str, key: str) -> list[object]:
    """One key of every entry of a list."""
    return [entry[key] for entry in bench.do(line)]


def test_cells_are_listed_in_the_order_asked_for_and_equal_ones_by_code(shelf: Bench) -> None:
    """Words in the order of their lists, outcomes best first, nothing last."""
    codes = column(shelf, "cell list", "code")
    assert codes == sorted(str(code) for code in codes)
    assert column(shelf, "cell list --sort form", "form") == ["18650", "18650", "21700", "pouch"]
    assert column(shelf, "cell list --sort form", "code")[:2] == [codes[1], codes[3]]
    assert column(shelf, "cell list --sort chemistry", "chemistry") == ["nmc", "lco", "lfp", "unknown"]
    assert column(shelf, "cell list --sort outcome", "outcome") == ["hold", "hold", "hold", "discard"]
    assert column(shelf, "cell list --sort box", "box")[0] == "attic"
    assert column(shelf, "cell list --sort box", "box")[2:] == [None, None]
    assert column(shelf, "cell list --sort stage --form 18650", "stage") == ["received", "condemned"]
    assert column(shelf, "cell list --sort marking", "marking")[-1] == ""


def test_verdicts_are_filtered_and_sorted(shelf: Bench) -> None:
    """Only the discards; the best first."""
    assert column(shelf, "verdict list --outcome discard", "outcome") == ["discard"]
    assert column(shelf, "verdict list --sort outcome", "outcome")[-1] == "discard"
    assert len(column(shelf, "verdict list --sort until", "code")) == 4
    assert shelf.run("verdict list --outcome pack").err.startswith("no cell fits")


def test_an_unknown_order_is_refused_with_the_known_ones(shelf: Bench) -> None:
    """What can be written."""
    assert "one of: code form" in shelf.refused("cell list --sort colour", 2)
    assert "one of: code outcome until" in shelf.refused("verdict list --sort colour", 2)


def test_a_mistyped_box_or_tear_down_is_not_an_empty_list(shelf: Bench) -> None:
    """It is named; a tear-down's code is understood as everywhere."""
    assert "'attik'" in shelf.refused("cell list --box attik", 3)
    assert "AT7" in shelf.refused("cell list --teardown at7", 3)
    assert len(shelf.do("cell list --box attic")) == 1


@pytest.mark.parametrize("line", ["cell list", "cell list --sort box", "verdict list"])
def test_tables_fit_eighty_columns_whatever_they_hold(line: str, shelf: Bench) -> None:
    """A long box and a long marking both give way; the code never does."""
    shown = shelf.run(line).out.splitlines()
    assert max(map(len, shown)) <= 80
    codes = column(shelf, "cell list", "code")
    assert sum(any(str(code) in text for code in codes) for text in shown) == 4


class _Screen(io.StringIO):
    def isatty(self) -> bool:
        return True


PAGES = (
    "cell list",
    "cell show {code}",
    "verdict list",
    "verdict show {code}",
    "due",
    "stock",
    "log",
    "box list",
    "handover show A-1",
)


def on_screen(bench: Bench, line: str, columns: int) -> list[str]:
    """The lines of a page on a terminal of this width, without colour."""
    screen = _Screen()
    env = {
        "STRAYCELL_STORE": str(bench.store),
        "STRAYCELL_NOW": bench.now,
        "TERM": "xterm",
        "COLUMNS": str(columns),
        "NO_COLOR": "1",
        "PAGER": "cat",
    }
    with mock.patch.dict(os.environ, env), redirect_stdout(screen), redirect_stderr(io.StringIO()):
        assert main(line.split()) == 0
    return screen.getvalue().splitlines()


def test_in_a_pipe_a_page_is_80_wide_or_as_wide_as_columns_says(shelf: Bench) -> None:
    """A long place is cut at 80 and whole at 120; what is not a number or too large changes nothing dangerous."""
    place = "in the third shed behind the allotments beside the old tram depot"
    shelf.do(f"teardown add crate --kind crate --place '{place}'")
    widths = {}
    for columns in ("", "80", "120", "wide", "9" * 30):
        shelf.env["COLUMNS"] = columns
        widths[columns] = place in shelf.run("teardown list").out
    assert widths == {"": False, "80": False, "120": True, "wide": False, "9" * 30: True}


@pytest.mark.parametrize("columns", [40, 60, 80, 120])
@pytest.mark.parametrize("page", PAGES)
def test_no_word_of_a_page_is_lost_or_broken_on_a_narrow_screen(
    page: str, columns: int, shelf: Bench
) -> None:
    """Every word, code and figure of the widest screen is there whole, and no line is wider than the screen."""
    codes = [cell["code"] for cell in shelf.do("cell list")]
    shelf.do(f"reading add {codes[0]} --look clean --resistance 62mohm --resistance-method unknown")
    shelf.do(f"discard {codes[2]} --because 'sat on'")
    shelf.do("handover add yard")
    line = page.format(code=codes[0])
    wide, narrow = on_screen(shelf, line, 200), on_screen(shelf, line, columns)
    assert max(map(len, narrow)) <= columns
    # A card has no headings over its columns.
    heads = {text for text, under in pairwise(wide) if under.startswith("──")}
    words = {
        word
        for text in wide
        if text not in heads
        for word in text.split()
        if any(letter.isalnum() for letter in word)
    }
    assert words <= {word for text in narrow for word in text.split()}


def test_long_work_tells_how_far_it_is_on_a_terminal_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a moment's patience; wiped at the end; silent in a pipe."""
    for screen, shown in ((_Screen(), True), (io.StringIO(), False)):
        clock = iter([0.0, 0.1, 1.0, 1.01, 2.0])
        monkeypatch.setattr("sys.stderr", screen)
        monkeypatch.setattr("straycell.cli.app.progress.time.monotonic", lambda clock=clock: next(clock))
        with progress.counting("verdicts") as told:
            for done in (10, 20, 30, 40):
                told(done, 40)
        text = screen.getvalue()
        assert ("verdicts: 20 of 40 (50 %)" in text) is shown
        assert "10 of 40" not in text and "30 of 40" not in text
        assert not shown or text.endswith("\r")


def test_refresh_counts_what_it_records_anew(shelf: Bench) -> None:
    """Under the same rules nothing, under tighter ones every cell; and it says how far it is."""
    assert shelf.do("verdict refresh")["refreshed"] == 0
    mine = shelf.store.with_name("rules.toml")
    mine.write_text(
        'name = "mine"\n[[limit]]\nid = "look-mend"\nwords = ["torn-sleeve", "torn-ring", "bare-tab", "rust"]\n'
    )
    heard: list[tuple[int, int]] = []
    with open_writer(shelf.store, now=datetime.now(UTC), rules=load_rules(mine), create=False) as writer:
        assert writer.refresh_verdicts(lambda done, of: heard.append((done, of))) == 4
    assert heard == [(4, 4)]
