"""Each file of tests/broken/projects is named after its one defect and says what the message must hold."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from straycell.errors import EXIT_DATA, BadData
from straycell.projects import ProjectFaults, faults, parse_project, read_project_file

BROKEN = Path(__file__).parent.parent / "broken" / "projects"
FILES = sorted(BROKEN.glob("*.toml"))


def expectations(path: Path) -> list[str]:
    """The `# expect:` lines of a broken file."""
    text = path.read_text(encoding="utf-8", errors="replace")
    return [match[1].strip() for match in re.finditer(r"^# expect: (.+)$", text, re.MULTILINE)]


@pytest.mark.parametrize("path", FILES, ids=[f.stem for f in FILES])
def test_a_broken_project_file_is_refused_with_what_and_remedy(path: Path) -> None:
    """Bad data (exit 3), the file named, every expected fragment present, at most three lines, a remedy."""
    with pytest.raises(BadData) as caught:
        read_project_file(path)
    lines = caught.value.lines()
    every = getattr(caught.value, "faults", ())  # more than two are counted on stderr, not told
    message = " ".join([*lines, *map(str, every)])
    assert caught.value.exit_code == EXIT_DATA
    assert path.name in message
    assert expectations(path), "the file says what it expects"
    for fragment in expectations(path):
        assert fragment in message
    assert 2 <= len(lines) <= 3
    assert all("\n" not in line for line in lines)


def test_there_are_more_than_fifteen_kinds_of_broken_files() -> None:
    """The zoo does not shrink unnoticed."""
    assert len(FILES) > 15


@pytest.mark.parametrize(
    ("make", "expected"),
    [
        (lambda folder: folder / "absent.toml", "is not there"),
        (lambda folder: folder, "is a folder"),
        (lambda folder: folder / "nul\0byte.toml", "no file can have such a name"),
    ],
    ids=["absent", "a-folder", "nul-in-the-path"],
)
def test_a_path_that_is_no_file_is_bad_data(
    tmp_path: Path, make: Callable[[Path], Path], expected: str
) -> None:
    """A missing file, a folder, an impossible name: each a message, no traceback."""
    with pytest.raises(BadData, match=expected):
        read_project_file(make(tmp_path))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a = " + "[" * 5000,
        "priority = " + "9" * 5000,
        'name = "' + "x" * 5000 + '"',
        '[load]\ncurrent = "' + "9" * 5000 + 'mA"',
        "[load]\nprofile = { time_s = [0, 1" + "0" * 400 + "], current_a = [1] }",
        "[load]\nlamps = { count = true, drop = nan, across = inf, supply = [] }",
        "[[load]]\ncurrent = 1",
        'load = { power = "1W", efficiency = nan }',
        "name = 2027-03-01\ndue = 2027-03-01T10:00:00Z",
    ],
)
def test_an_odd_text_gives_one_short_message(text: str) -> None:
    """Deep nesting, huge figures, values of the wrong type: BadData, no line over 4000 characters."""
    with pytest.raises(BadData) as caught:
        parse_project(text, source="odd.toml", base=None)
    assert all(len(line) < 4000 for line in caught.value.lines())


def test_many_faults_are_told_in_three_lines() -> None:
    """What is wrong in the first ones, then the places of the others; each line fits a screen."""
    with pytest.raises(BadData) as caught:
        read_project_file(BROKEN / "many-faults-at-once.toml")
    first, second, rest = caught.value.lines()
    assert "has 6 faults: line 8, priority" in first and "line 10, load.power" in second
    assert rest.startswith("also: ")
    assert all(len(line) <= 78 for line in (second, rest))


def test_each_of_four_faults_is_named_in_three_lines() -> None:
    """Nobody has to add the file four times to learn of the fourth."""
    text = 'name = "x"\npriority = 0\n[need]\nruntime = "2"\n[load]\ncurrent = "1V"\n'
    with pytest.raises(BadData) as caught:
        parse_project(text, source="x.toml", base=None)
    lines = caught.value.lines()
    assert len(lines) == 3 and lines[2] == "also: load.current (line 6), need.cutoff"
    assert "has 4 faults: line 2, priority" in lines[0] and "line 4, need.runtime" in lines[1]


def test_more_places_than_a_line_holds_are_counted() -> None:
    """Forty unknown keys are no wall of text, and none is passed over."""
    keys = "\n".join(f"unheard_of_{number} = 1" for number in range(40))
    with pytest.raises(ProjectFaults) as caught:
        parse_project(f'name = "x"\n{keys}\n', source="x.toml", base=None)
    rest = caught.value.lines()[2]
    shown, _, more = rest.removeprefix("also: ").partition(" and ")
    told = sum(line.count("unheard") for line in caught.value.lines()[:2])
    assert len(shown.split(", ")) + int(more.split()[0]) == len(caught.value.faults) - told
    assert len(rest) <= 78


def test_two_faults_are_both_told() -> None:
    """Nothing is left to count."""
    with pytest.raises(BadData) as caught:
        parse_project('name = "x"\n[load]\ncurrent = "1V"\n[need]\nruntime = "2h"\n', source="x", base=None)
    assert len(caught.value.lines()) == 3 and "more" not in " ".join(caught.value.lines())


def test_a_file_of_nothing_but_unknown_keys_is_not_read_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred faults are kept; the keys beyond them are not even compared with the known ones."""
    asked: list[str] = []

    def near(word: str, choices: object) -> None:
        asked.append(word)

    monkeypatch.setattr(faults, "nearest", near)
    text = "name = 'x'\n" + "".join(f"k{number} = 1\n" for number in range(5000))
    with pytest.raises(ProjectFaults, match="100 or more faults") as refused:
        parse_project(text, source="x.toml", base=None)
    assert 50 < len(asked) <= len(refused.value.faults) == faults.MOST_FAULTS
    assert [fault.line for fault in refused.value.faults[:3]] == [2, 3, 4]
