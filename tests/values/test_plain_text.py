"""What may reach a screen: letters and signs of every script, and nothing that steers it."""

from __future__ import annotations

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.errors import BadData
from straycell.plain_text import is_plain, json_text, one_line, require_plain, screen_lines

STEERS = "\x00\x07\x08\x1b\r\n\x7f\x85\x9b\u061c\u200b\u200e\u202e\u2066\u2069\u2028\u2029\ufeff\ud800\ue000"
PLAIN = ["Łódź Жук", "電池 5 kΩ", "a\u00a0b", "α±β × ½ „gut“", "👍"]


@pytest.mark.parametrize("character", STEERS)
def test_each_character_that_steers_a_screen_is_seen_refused_and_replaced(character: str) -> None:
    """C0, C1, bidi, invisible and line-breaking ones, lone surrogates; each within a text."""
    text = f"a{character}b"
    assert not is_plain(text)
    with pytest.raises(BadData, match=f"U\\+{ord(character):04X}"):
        require_plain("title", text)
    assert one_line(text) == "a?b"
    assert screen_lines(text) == ("a\nb" if character == "\n" else "a?b")


@pytest.mark.parametrize("text", PLAIN)
def test_letters_of_every_script_pass(text: str) -> None:
    """With their blanks."""
    assert is_plain(text) and require_plain("title", text) == one_line(text) == text


documents = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=8,
)


@given(documents)
def test_json_says_the_same_and_steers_nothing(document: object) -> None:
    """Any document comes back as it was; its text has line breaks and no other control or format character."""
    text = json_text(document)
    assert json.loads(text) == document
    assert all(c == "\n" or unicodedata.category(c)[0] not in "C" for c in text)
    assert all(c == "\n" or ord(c) < 128 for c in json_text(document, ascii_only=True))
