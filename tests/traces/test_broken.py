"""Every damaged file answers with its own message, names the line, and never with a traceback."""

from __future__ import annotations

import tomllib

import pytest
from tests.traces.helpers import BROKEN, Reduce

from straycell.errors import BadData
from straycell.traces import read_trace

MESSAGES = tomllib.loads((BROKEN / "messages.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", MESSAGES["refused"])
def test_a_damaged_file_is_refused_with_its_line(name: str) -> None:
    """The refusal has the words of the table, a remedy, and no line break."""
    with pytest.raises(BadData) as caught:
        read_trace(BROKEN / name)
    said = caught.value.lines()
    assert len(said) == 2
    assert not [words for words in MESSAGES["refused"][name] if words not in " ".join(said)]


@pytest.mark.parametrize("name", MESSAGES["warned"])
def test_a_doubtful_file_is_taken_with_its_warning(name: str, reduce: Reduce) -> None:
    """One warning has all the words of the table; the figure says so where it is only a lower bound."""
    result = reduce(read_trace(BROKEN / name))
    wanted = MESSAGES["warned"][name]
    assert any(all(words in warning for words in wanted) for warning in result.warnings)
    if "at least" in wanted or "nothing was discharged" in wanted:
        assert result.at_least


@pytest.mark.parametrize("name", [n for n in MESSAGES["warned"] if "at least" not in MESSAGES["warned"][n]])
def test_what_is_left_out_does_not_falsify_the_capacity(name: str, reduce: Reduce) -> None:
    """1 A from 30 s to 630 s is 166.7 mAh, whatever single rows were damaged."""
    result = reduce(read_trace(BROKEN / name))
    assert result.capacity is None or result.capacity.value == pytest.approx(600 / 3600, rel=0.02)


def test_the_table_and_the_folder_agree() -> None:
    """Every file has a message, every message a file, and there are at least 25 damaged ones."""
    files = {path.name for path in BROKEN.iterdir()} - {"messages.toml", "README.md"}
    assert files == {*MESSAGES["refused"], *MESSAGES["warned"]}
    assert len(files) >= 25


def test_a_missing_file_and_a_folder_are_refused(tmp_path: object) -> None:
    """A name that leads nowhere is the user's error, not a traceback."""
    for path in ("no/such/file.csv", str(tmp_path)):
        with pytest.raises(BadData, match=r"is not there|is a folder"):
            read_trace(path)
