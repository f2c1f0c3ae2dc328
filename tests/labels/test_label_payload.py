"""What the QR symbol holds, against the capacities of ISO/IEC 18004."""

import pytest
import qrcode
from hypothesis import given
from hypothesis import strategies as st
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData
from tests.labels.label_bench import CODES

from straycell.cells import CODE_LENGTH, is_confusable, make_code
from straycell.errors import BadData, UsageFault
from straycell.labels.payload import (
    ALPHANUMERIC,
    CODE_CAPACITY,
    LINK_CAPACITY,
    MODULES,
    QUIET_MODULES,
    SIDE_MODULES,
    cell_payload,
    code_in,
    link_payload,
)
from straycell.labels.render import qr_matrix, symbol_matrix

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


# Bytes by version at level Q: the same table.
ISO_18004_BYTES_Q = {1: 11, 2: 20, 3: 32, 4: 46}


def test_our_capacities_and_sizes_are_those_of_the_standard() -> None:
    """Version 1: 21 modules, quiet zone of 4, 10 characters at H; addresses at Q by version."""
    assert ISO_18004[1]["H"] == CODE_CAPACITY
    assert [LINK_CAPACITY[v - 1] for v in ISO_18004] == [
        (ISO_18004[v]["Q"], ISO_18004_BYTES_Q[v]) for v in ISO_18004
    ]
    assert (MODULES, QUIET_MODULES, SIDE_MODULES) == (17 + 4 * 1, 4, 29)
    assert len(ALPHANUMERIC) == 45


hosts = st.from_regex(r"[a-z0-9]{1,12}(\.[a-z0-9]{1,10}){0,3}(:[0-9]{2,5})?", fullmatch=True)


@given(hosts, st.sampled_from(["", "/", "/cell", "/CELL/"]), st.sampled_from(["http", "https"]))
def test_an_address_takes_the_smallest_version_and_is_read_as_its_code(
    host: str, path: str, scheme: str
) -> None:
    """The QR library agrees on the version; capitals mean the same host; the code comes back."""
    try:
        payload = link_payload(f"{scheme}://{host}{path}", CODES[0])
    except UsageFault:
        assert len(host) > 40
        return
    mode = MODE_ALPHA_NUM if payload.alphanumeric else MODE_8BIT_BYTE
    symbol = qrcode.QRCode(error_correction=LEVELS["Q"])
    symbol.add_data(QRData(payload.text, mode=mode), optimize=0)
    symbol.make(fit=True)
    assert (int(symbol.version), payload.level) == (payload.version, "Q")
    assert payload.text.lower() == f"{scheme}://{host}{path.rstrip('/')}/{CODES[0]}".lower()
    assert code_in(payload.text) == CODES[0]
    assert len(symbol_matrix(payload)) == payload.modules == 17 + 4 * payload.version


@pytest.mark.parametrize(
    "base", ["bench.local", "ftp://b.lan", "http://", "http://b.lan?x=1", "http://b.lan#a", ""]
)
def test_what_is_not_the_address_of_a_page_is_wrong_usage(base: str) -> None:
    """The message shows how it is written."""
    with pytest.raises(UsageFault) as fault:
        link_payload(base, CODES[0])
    assert "http://" in fault.value.remedy


def test_an_address_no_symbol_holds_is_refused() -> None:
    """Two hundred letters of host."""
    with pytest.raises(UsageFault, match="too long"):
        link_payload("http://" + "a" * 200 + ".example", CODES[0])


@pytest.mark.parametrize(
    "text", ["hello", "https://example.org/", "https://example.org/T99999A", "T00301", ""]
)
def test_a_foreign_text_stands_for_no_code(text: str) -> None:
    """Neither a word nor somebody else's address nor a code with a wrong check character."""
    assert code_in(text) is None


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
