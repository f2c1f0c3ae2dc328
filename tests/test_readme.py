"""The README is true: its walk prints what it shows, its table holds every command, its set-up lines are those of CI."""

from __future__ import annotations

import re
import subprocess
from difflib import unified_diff
from importlib.util import find_spec
from pathlib import Path

import pytest
from tests.readme_walk import (
    README,
    Walk,
    agree,
    command_table,
    fitted,
    options,
    renamed,
    renames,
    steps,
    table_place,
)
from tests.sample.sample_store import built_already

from straycell.cli.app.noun_table import NOUNS

TEXT = README.read_text(encoding="utf-8")
LINES = TEXT.splitlines()
JOB = [
    *(
        "teardown add",
        "cell add",
        "reading add",
        "reading supersede",
        "charging",
        "charge add",
        "verdict show",
    ),
    *(
        "box add",
        "label sheet",
        "label read",
        "runtime",
        "project add",
        "match",
        "build reserve",
        "build finish",
    ),
    *(
        "build dismantle",
        "discard",
        "rules check",
        "store check",
        "store backup",
        "store restore",
        "intake",
        "due",
        "handover close",
    ),
]
BLESS = "bless it with: python -m tests.bless_readme, then read the diff"


def set_up(marker: str) -> str:
    """The command after a marker, read as .ci/run reads it."""
    script = f"sed -n '/<!-- {marker} -->/,/```$/p' '{README}' | grep -vE '^(<!--|```)' | head -n 1"
    return subprocess.run(
        ["bash", "-c", script], capture_output=True, text=True, check=True, timeout=60
    ).stdout.strip()


# --- the walk --------------------------------------------------------------------------------------


@pytest.mark.skipif(find_spec("pty") is None, reason="the guided evening needs pseudo-terminals")
def test_every_command_of_the_walk_prints_what_the_readme_shows(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """One after the other, in a folder of its own, against the sample workshop."""
    walk, wrong = Walk(tmp_path), []
    for step in steps(LINES):
        with built_already(tmp_path_factory):
            printed = walk.do(step)
        if not agree(step.shown, printed):
            diff = unified_diff(step.shown, printed, "README", "printed", lineterm="")
            wrong.append("\n".join([f"README line {step.start + 1}: {step.text}", *diff]))
    assert not wrong, f"{BLESS}\n\n" + "\n\n".join(wrong)


def test_nothing_shown_is_wider_than_a_terminal() -> None:
    """80 columns, commands and output."""
    for step in steps(LINES):
        for number in range(step.start, step.end):
            assert len(LINES[number]) <= 80, f"README line {number + 1}"


def test_the_walk_goes_through_the_whole_job() -> None:
    """From a tear-down to a discard, each step shown with real output."""
    walked = {tuple(step.text.split()[1:3]) for step in steps(LINES) if step.text.startswith("straycell")}
    assert {tuple(line.split()) for line in JOB} <= walked | {words[:1] for words in walked}


# --- the commands ----------------------------------------------------------------------------------


def test_the_table_holds_every_command_there_is() -> None:
    """Made from the program, each noun and verb with what its help says."""
    first, end = table_place(LINES)
    assert LINES[first:end] == command_table(), BLESS
    rows = re.findall(r"^\| `([a-z -]+)` \|", "\n".join(LINES[first:end]), re.MULTILINE)
    assert list(dict.fromkeys(row.split()[0] for row in rows)) == list(NOUNS)
    assert {"cell show", "reading supersede", "build dismantle", "demo", "match"} <= set(rows)


def test_no_command_is_named_that_is_not_there() -> None:
    """`straycell NOUN VERB` anywhere in the text is in the table, and every --option is an option of some command."""
    first, end = table_place(LINES)
    rows = set(re.findall(r"^\| `([a-z -]+)` \|", "\n".join(LINES[first:end]), re.MULTILINE))
    verbs = {row for row in rows if " " in row}
    for noun, verb in re.findall(r"`straycell ([a-z]+)(?: ([a-z-]+))?", TEXT):
        assert noun in NOUNS and (f"{noun} {verb}" in verbs or noun in rows or not verb), (noun, verb)
    prose = re.sub(r"```sh.*?```", "", TEXT, flags=re.DOTALL)
    assert set(re.findall(r"(?<![\w<!-])--[a-z][a-z-]+", prose)) <= options()


def test_the_set_up_lines_are_what_ci_runs() -> None:
    """A fresh environment in one line each; the demo comes first, the tests install what they need."""
    assert set_up("demo") == (
        "python3 -m venv .venv && .venv/bin/python -m pip install -q . && .venv/bin/straycell demo"
    )
    assert set_up("tests") == (
        "python3 -m venv .venv && .venv/bin/python -m pip install -q -e '.[dev]' && .venv/bin/python -m pytest"
    )
    assert TEXT.index("<!-- demo -->") < TEXT.index("<!-- tests -->") < TEXT.index("```console")
    assert "<!-- tests -->" in (README.parent / ".ci" / "run").read_text(encoding="utf-8")


def test_every_link_leads_somewhere() -> None:
    """Files and folders that are there, headings that are there."""
    headings = {
        re.sub(r"[^\w -]", "", h).lower().replace(" ", "-") for h in re.findall(r"^#+ (.+)$", TEXT, re.M)
    }
    for target in re.findall(r"\]\(([^)]+)\)", TEXT):
        if target.startswith("#"):
            assert target[1:] in headings, target
        else:
            assert (README.parent / target).exists(), target


# --- the comparison itself -------------------------------------------------------------------------

PRINTED = ["one", "two", "three", "four"]


@pytest.mark.parametrize(
    "shown",
    [PRINTED, ["..."], ["one", "...", "four"], ["...", "four"], ["one", "two", "...", "three", "four"]],
)
def test_a_gap_stands_for_any_number_of_lines(shown: list[str]) -> None:
    """None too."""
    assert agree(shown, PRINTED)


@pytest.mark.parametrize(
    "shown", [[], ["one"], ["one", "...", "three"], ["four", "...", "one"], ["one", "two", "three", "for"]]
)
def test_what_is_not_printed_does_not_agree(shown: list[str]) -> None:
    """Lines missing, in another order, or other lines."""
    assert not agree(shown, PRINTED)


def test_an_indented_ellipsis_is_no_gap() -> None:
    """It is the end of a wrapped line of output."""
    assert not agree(["one", "  ...", "four"], PRINTED)


def test_a_hash_and_a_size_in_bytes_may_change() -> None:
    """They tell the reader nothing; figures do."""
    assert agree(["rules: shipped (85e7627065d5)"], ["rules: shipped (9d73a1740a83)"])
    assert agree(["written, 2916352 bytes"], ["written, 2916353 bytes"])
    assert not agree(["1605 mAh"], ["1606 mAh"])


def test_blessing_keeps_the_gaps_where_they_were() -> None:
    """The lines around a gap are found again by their likeness."""
    printed = ["head", "value 7 mAh of it", "noise", "more noise", "the end of it all"]
    shown = ["head", "value 6 mAh of it", "...", "the end of it all"]
    assert fitted(shown, printed) == ["head", "value 7 mAh of it", "...", "the end of it all"]
    assert fitted(["head", "..."], printed) == ["head", "..."]
    assert fitted(["gone"], printed) == printed


def test_blessing_follows_codes_and_numbers_that_moved() -> None:
    """A fuller sample workshop gives the next cell another code, and the next reading another number."""
    names = renames(["#618  H00101C  voltage  3.5 V"], ["#640  H001054  voltage  3.5 V"])
    assert names == {"618": "640", "H00101C": "H001054"}
    assert renamed("straycell reading supersede 618 --right-cell H00101C --voltage 618mV", names) == (
        "straycell reading supersede 640 --right-cell H001054 --voltage 618mV"
    )
