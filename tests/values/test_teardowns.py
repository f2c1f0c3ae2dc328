"""Tear-down codes: never mistaken for a cell's."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.cells import parse_code
from straycell.errors import BadData
from straycell.teardowns import Teardown, make_teardown_code, parse_teardown_code


@given(st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ"), st.integers(1, 9_999_999))
def test_a_teardown_code_reads_back_and_is_no_cell_code(letter: str, number: int) -> None:
    """The letter T in second place tells the two kinds apart."""
    code = make_teardown_code(letter, number)
    assert parse_teardown_code(f" {code[0].lower()}-{code[1:].lower()} ") == code
    with pytest.raises(BadData):
        parse_code(code)


@pytest.mark.parametrize(
    "text", ["", "AT", "AT0", "AT01", "T7", "A7", "AT-", "ATX", "AT٣", "AT123456789", "1T7"]
)
def test_what_is_no_teardown_code_is_refused(text: str) -> None:
    """The message shows one and says where to look."""
    with pytest.raises(BadData, match="like AT3") as fault:
        parse_teardown_code(text)
    assert "teardown list" in fault.value.remedy


@given(st.text(max_size=10))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    """Any text gives a code that reads back as itself, or the fault."""
    try:
        code = parse_teardown_code(text)
    except BadData:
        return
    assert parse_teardown_code(code) == code


def test_a_teardown_knows_only_what_was_said() -> None:
    """No date, no place: none is made up."""
    teardown = Teardown("AT1", "weather post", "sensor")
    assert teardown.found_on is None and teardown.place == "" and teardown.objects == 1
