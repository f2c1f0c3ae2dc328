"""What the QR symbol holds, against the capacities of ISO/IEC 18004."""

import pytest
import qrcode
from hypothesis import given
from hypothesis import strategies as st
from qrcode.util import MODE_ALPHA_NUM, QRData
from tests.labels.label_bench import CODES

from straycell.cells import CODE_LENGTH, is_confusable, make_code
from straycell.errors import BadData
from straycell.labels.payload import (
    ALPHANUMERIC,
    CAPACITY,
    MODULES,
    QUIET_MODULES,
    SIDE_MODULES,
    cell_payload,
    payload_of,
)
from straycell.labels.render import qr_matrix

# Alphanumeric characters by version and level: ISO/IEC 18004:2006 table 7 (versions 1 to 4).
ISO_18004 = {
    1: {"L": 25, "M": 20, "Q": 16, "H": 10},
    2: {"L": 47, "M": 38, "Q": 29, "H": 20},
    3: {"L": 77, "M": 61, "Q": 47, "H": 35},
    4: {"L": 114, "M": 90, "Q": 67, "H": 50},
}
LEVELS = {
    "L": qrcode.ERROR_CORRECT_L,
    "M": qrcode.ERROR_CORRECT_M,
    "Q": qrcode.ERROR_CORRECT_Q,
    "H": qrcode.ERROR_CORRECT_H,
}


def version_chosen(length: int, level: str) -> int:
    """The smallest version the QR library takes for that many alphanumeric characters."""
    symbol = qrcode.QRCode(error_correction=LEVELS[level])
    symbol.add_data(QRData("W" * length, mode=MODE_ALPHA_NUM), optimize=0)
    symbol.make(fit=True)
    return int(symbol.version)


@pytest.mark.parametrize("version", ISO_18004)
@pytest.mark.parametrize("level", LEVELS)
def test_the_library_changes_version_exactly_where_the_standard_does(version: int, level: str) -> None:
    """A text of the printed capacity fits the version, one character more does not."""
    most = ISO_18004[version][level]
    assert version_chosen(most, level) == version
    assert version_chosen(most + 1, level) == version + 1


def test_our_capacities_and_sizes_are_those_of_the_standard() -> None:
    """Version 1: 21 modules, quiet zone of 4, 10 characters at H and 16 at Q."""
    assert {level: ISO_18004[1][level] for level in "HQ"} == CAPACITY
    assert (MODULES, QUIET_MODULES, SIDE_MODULES) == (17 + 4 * 1, 4, 29)
    assert len(ALPHANUMERIC) == 45


@pytest.mark.parametrize(("length", "level"), [(1, "H"), (7, "H"), (10, "H"), (11, "Q"), (16, "Q")])
def test_the_strongest_level_that_holds_the_text_is_taken(length: int, level: str) -> None:
    """H up to 10 characters, Q up to 16."""
    assert payload_of("A" * length).level == level


@pytest.mark.parametrize("text", ["", "A" * 17, "t00301k", "T00301Ä", "T00\n301"])
def test_a_text_no_version_1_symbol_holds_is_refused(text: str) -> None:
    """Empty, too long, or with characters alphanumeric mode lacks."""
    with pytest.raises(BadData) as fault:
        payload_of(text)
    assert fault.value.remedy


@given(st.characters(), st.integers(0, 20))
def test_only_the_45_characters_pass(letter: str, more: int) -> None:
    """Whatever else stands in the text, one odd character refuses it."""
    text = letter + "A" * more
    if letter in ALPHANUMERIC and more < 16:
        assert payload_of(text).text == text
    else:
        with pytest.raises(BadData):
            payload_of(text)


@given(st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ"), st.integers(0, 99999))
def test_every_code_there_can_be_fits_at_the_strongest_level(letter: str, number: int) -> None:
    """Seven characters of the alphanumeric set: level H."""
    if is_confusable(letter, number):
        return
    code = make_code(letter, number)
    assert cell_payload(code).level == "H"
    assert cell_payload(code).text == code
    assert len(code) == CODE_LENGTH


def test_a_typed_code_is_tidied_and_a_wrong_one_never_printed() -> None:
    """Lower case and hyphens are forgiven; a wrong check character is not."""
    code = CODES[0]
    assert cell_payload(f"{code[:3].lower()}-{code[3:]}").text == code
    wrong = code[:-1] + ("A" if code[-1] != "A" else "B")
    with pytest.raises(BadData):
        cell_payload(wrong)


def test_the_symbol_is_version_1_with_three_finder_patterns() -> None:
    """ISO/IEC 18004: 7 x 7 finders (dark ring, light ring, dark 3 x 3) in three corners, a dark module at (13, 8)."""
    matrix = qr_matrix(CODES[0])
    assert len(matrix) == MODULES
    assert {len(row) for row in matrix} == {MODULES}
    for top, left in ((0, 0), (0, 14), (14, 0)):
        for row in range(7):
            for column in range(7):
                ring = max(abs(row - 3), abs(column - 3))
                assert matrix[top + row][left + column] is (ring != 2)
    assert matrix[13][8]
