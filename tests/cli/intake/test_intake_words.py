"""Short answers of the evening: look letters, beginnings of words, numbers, moments; and the large letters."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.bench.intake import due, words
from straycell.cells import Chemistry, Form, Look, make_code
from straycell.cli.intake import command
from straycell.cli.intake.glyphs import SHAPES, large
from straycell.errors import BadData
from straycell.quantities import Dimension
from straycell.readings import Method
from straycell.shipped import shipped_table

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
SPOILT = [look for look in Look if look is not Look.CLEAN]


def test_every_look_has_one_letter_of_its_own() -> None:
    """And every letter stands in the legend, which fits a screen."""
    assert set(words.LETTERS.values()) == set(Look) and len(words.LETTERS) == len(Look)
    assert all(f"{letter} {look}" in words.legend() for letter, look in words.LETTERS.items())
    assert all(len(line) <= 80 for line in words.legend().splitlines())


@given(st.lists(st.sampled_from(SPOILT), min_size=1, unique=True), st.sampled_from(["", " ", ", ", ",", "/"]))
def test_letters_in_any_order_and_with_any_gap_name_exactly_these_looks(looks: list[Look], gap: str) -> None:
    """A letter too few or too many would keep a bad cell or lose a good one."""
    letter_of = {look: letter for letter, look in words.LETTERS.items()}
    assert set(words.read_looks(gap.join(letter_of[look] for look in looks))) == set(looks)


@given(st.sampled_from(list(Look)), st.integers(words.SHORTEST_WORD, 12))
def test_a_beginning_of_a_look_never_reads_as_letters(look: Look, length: int) -> None:
    """`bar` is a bare tab, not burnt and rust: words and letters never mix. What could be two is the worse or none."""
    begun = look.value[:length]
    if begun in ("tor", "torn", "torn-"):
        with pytest.raises(BadData):
            words.read_looks(begun)
    elif "rust".startswith(begun):
        assert words.read_looks(begun) == (Look.RUST,)
    else:
        assert words.read_looks(begun) == (look,)


@pytest.mark.parametrize(
    "text", ["", " ", "q", "z", "cs", "clean rust", "swolen", "3.7", "sq", "é", "A00001O"]
)
def test_what_is_no_look_is_refused(text: str) -> None:
    """With the way to write it; clean goes with nothing else."""
    with pytest.raises(BadData) as refused:
        words.read_looks(text)
    assert refused.value.remedy
    assert words.named_looks(text) == ()


def test_a_word_by_its_beginning_when_only_one_has_it() -> None:
    """nmc and nca share a letter; 18650 and 18350 two."""
    assert words.pick("po", Form, "form") is Form.POUCH
    assert words.pick("NM", Chemistry, "chemistry") is Chemistry.NMC
    assert words.pick("d", Method, "method") is Method.DC_PULSE
    for text, fault in (
        ("n", "could be several"),
        ("18", "could be several"),
        ("zinc", "not known"),
        ("", "not known"),
    ):
        with pytest.raises(BadData, match=fault):
            words.pick(text, Form if text == "18" else Chemistry, "it")


@given(st.floats(0.01, 4.99))
def test_a_bare_number_and_the_same_with_its_unit_are_one(volts: float) -> None:
    """The prompt names the unit."""
    text = f"{volts:.3f}"
    assert words.number(text, Dimension.VOLTAGE, "V", "it") == words.number(
        f"{text}V", Dimension.VOLTAGE, "V", "it"
    )


def test_codes_are_told_from_figures_and_prints() -> None:
    """However they are typed; a voltage or a marking is none."""
    code = make_code("A", 17)
    assert all(
        words.is_code_like(text)
        for text in (code, code.lower(), f"{code[0]} {code[1:6]} {code[6]}", "AOOO17X")
    )
    assert not any(
        words.is_code_like(text) for text in ("3.71", "INR18650", "18650", "", "A1234", "A0001712")
    )


def test_moments_ago_and_moments_named() -> None:
    """A charge is recorded hours after it ended."""
    assert words.moment("2h", NOW) == NOW - timedelta(hours=2) == words.moment("2 h ago", NOW)
    assert words.moment("1.5d", NOW) == NOW - timedelta(hours=36)
    assert words.moment("90min", NOW) == NOW - timedelta(minutes=90)
    assert words.moment("2026-03-01T12:00+00:00", NOW) == NOW - timedelta(hours=6)
    for text in ("18:30", "2h30", "tomorrow", "2026-03-02T12:00+00:00", "-2h"):
        with pytest.raises(BadData):
            words.moment(text, NOW)


def test_every_letter_of_a_code_has_a_shape_that_no_other_has() -> None:
    """0 and O, 1 and I, 5 and S, 8 and B: at least three dots apart, so a smudge does not turn one into another."""
    assert set(SHAPES) == set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    dots = {letter: "".join(rows) for letter, rows in SHAPES.items()}
    assert all(len(rows) == 7 and {len(row) for row in rows} == {5} for rows in SHAPES.values())
    assert all(set(shape) <= {"#", "."} for shape in dots.values())
    for letter, shape in dots.items():
        for other, another in dots.items():
            apart = sum(a != b for a, b in zip(shape, another, strict=True))
            assert letter == other or apart >= 3, (letter, other)


@given(st.integers(1, 99999), st.integers(40, 200))
def test_a_large_code_never_breaks_the_line(number: int, width: int) -> None:
    """Seven rows where they fit, one spaced row where not; always all seven letters."""
    code = f"A{number:05d}X"
    rows = large(code, width)
    assert all(len(row) <= width for row in rows)
    assert len(rows) == (7 if width >= 79 else 1)
    if len(rows) == 1:
        assert rows[0].replace(" ", "") == code


def test_the_large_code_reads_back_to_the_code() -> None:
    """Cut into its letters again, dot by dot."""
    code = "A0O8BZ2"
    rows = [row[2:].ljust(7 * 11) for row in large(code)]
    for place, letter in enumerate(code):
        cut = tuple(row[place * 11 : place * 11 + 10 : 2].replace(" ", ".") for row in rows)
        assert cut == SHAPES[letter]


def test_each_question_of_the_table_is_asked() -> None:
    """A question that nothing asks would rot unread, and so would a figure that the table does not know."""
    known = set(shipped_table("bench/intake/questions.toml"))
    figures = {figure.key for _, asked in due.TAKEN.values() for figure in asked}
    assert figures == {name for name in known if ": " in name}
    files = [*Path(due.__file__).parent.glob("*.py"), Path(command.__file__)]
    source = "".join(path.read_text(encoding="utf-8") for path in files)
    assert [name for name in known - figures if f'"{name}"' not in source] == []
