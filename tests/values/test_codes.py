"""Cell codes: ISO/IEC 7064 MOD 37,36 against its published examples, and what a slip of the hand does."""

from __future__ import annotations

from string import ascii_uppercase, digits

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from straycell.cells import (
    CODE_LENGTH,
    LAST_NUMBER,
    is_confusable,
    is_issued,
    make_code,
    nearest_codes,
    next_codes,
    parse_code,
    tidy_code,
)
from straycell.errors import BadData

ALPHABET = digits + ascii_uppercase
SAMPLES = ["A00001", "A00010", "B12345", "K90817", "Z99998"]


def by_the_rule(body: str) -> str:
    """The check character, worked out from the rule of ISO/IEC 7064 for hybrid systems, not by the library."""
    product = 36
    for char in body:
        total = (product + ALPHABET.index(char)) % 36 or 36
        product = total * 2 % 37
    return ALPHABET[(37 - product) % 36]


def test_the_published_example_comes_out() -> None:
    """`A12425GABC1234002` has the check character M (an example of the MOD 37,36 module of python-stdnum)."""
    assert by_the_rule("A12425GABC1234002") == "M"
    assert mod_37_36.calc_check_digit("A12425GABC1234002") == "M"
    assert mod_37_36.is_valid("A12425GABC1234002M")


@given(st.sampled_from(ascii_uppercase), st.integers(0, LAST_NUMBER))
def test_our_codes_carry_the_check_character_of_the_standard(letter: str, number: int) -> None:
    """make_code against the rule worked out here; the confusable numbers are refused."""
    if is_confusable(letter, number):
        with pytest.raises(BadData, match="never issued"):
            make_code(letter, number)
        return
    code = make_code(letter, number)
    assert code == f"{letter}{number:05d}{by_the_rule(code[:6])}"
    assert len(code) == CODE_LENGTH
    assert parse_code(code) == code


@pytest.mark.parametrize("body", SAMPLES)
def test_every_single_wrong_character_is_refused(body: str) -> None:
    """All places, all 36 characters: none of them is taken for another cell."""
    code = make_code(body[0], int(body[1:]))
    for place in range(CODE_LENGTH):
        for char in ALPHABET:
            wrong = code[:place] + char + code[place + 1 :]
            if tidy_code(wrong) == code:
                continue  # the character itself, or O, I and L read as the digits they stand for
            with pytest.raises(BadData):
                parse_code(wrong)


def _valid(codes: np.ndarray) -> np.ndarray:
    """The rule of ISO/IEC 7064 once more, on columns of character values."""
    product = np.full(len(codes), 36)
    for column in range(CODE_LENGTH - 1):
        total = (product + codes[:, column]) % 36
        product = np.where(total == 0, 36, total) * 2 % 37
    return np.asarray((product + codes[:, -1]) % 36 == 1)


def _whole_bench(letter: str) -> np.ndarray:
    """Every number of one bench with its check character, one row a code, one column a character value."""
    number = np.arange(LAST_NUMBER + 1)
    body = [np.full_like(number, ALPHABET.index(letter))]
    body += [number // 10**power % 10 for power in (4, 3, 2, 1, 0)]
    codes = np.column_stack([*body, np.zeros_like(number)])
    for check in range(36):
        codes[~_valid(codes), -1] = check
    return codes


def test_every_swap_of_neighbours_of_an_issued_code_is_refused() -> None:
    """A whole bench: no swap of two neighbours leads from one issued code to another accepted one."""
    codes = _whole_bench("B")
    assert _valid(codes).all()
    confusable: set[int] = set()
    for left in range(CODE_LENGTH - 1):
        swapped = codes.copy()
        swapped[:, [left, left + 1]] = codes[:, [left + 1, left]]
        unlike = codes[:, left] != codes[:, left + 1]
        numeric = (swapped[:, 1:6] < 10).all(axis=1) & (swapped[:, 0] >= 10)
        for number in np.flatnonzero(unlike & numeric & _valid(swapped)):
            partner = int("".join(str(d) for d in swapped[number, 1:6]))
            accepted = [n for n in (int(number), partner) if not is_confusable("B", n)]
            assert len(accepted) <= 1
            confusable.add(max(int(number), partner))
    assert {n for n in range(LAST_NUMBER + 1) if is_confusable("B", n)} == confusable
    assert 0 < len(confusable) < LAST_NUMBER // 50, "the skipped numbers must stay few"


def test_a_swap_that_would_be_another_cell_is_named_as_a_swap() -> None:
    """The later number of a confusable pair is refused although its check character is right."""
    number = next(n for n in range(LAST_NUMBER) if is_confusable("B", n))
    text = f"B{number:05d}"
    with pytest.raises(BadData, match=r"never issued.*swapped"):
        parse_code(text + by_the_rule(text))


def test_no_code_that_ends_in_o_or_i_is_issued_any_more_and_older_ones_stay_valid() -> None:
    """By hand an O is a 0 and an I a 1: one number in eighteen is left out."""
    bench = next_codes("B", -1, 80_000)
    assert not {code[-1] for code in bench} & set("OI")
    assert len({code[-1] for code in bench}) == 34
    older = next(
        n for n in range(LAST_NUMBER) if by_the_rule(f"B{n:05d}") == "O" and not is_confusable("B", n)
    )
    assert not is_issued("B", older)
    assert parse_code(make_code("B", older)) == f"B{older:05d}O"


@pytest.mark.parametrize("written", ["b12345{}", " B12 345 {} ", "B-12345-{}", "b 123-45{}"])
def test_case_blanks_and_hyphens_are_forgiven(written: str) -> None:
    """As read from a cell with a marker pen on it."""
    check = by_the_rule("B12345")
    assert parse_code(written.format(check.lower())) == f"B12345{check}"


def test_o_and_i_are_read_as_digits_where_only_a_digit_can_stand() -> None:
    """The bench letter and the check character keep their letters."""
    assert tidy_code("oOoIl1o") == "O001110"[:6] + "O"
    assert parse_code(f"Bl2O45{by_the_rule('B12045')}") == make_code("B", 12045)


def test_a_wrong_check_character_names_the_nearest_codes_of_the_store() -> None:
    """The person sees what was probably meant, nearest first."""
    known = next_codes("B", 12340, 30)
    right = make_code("B", 12345)
    wrong = right[:3] + "9" + right[4:]
    with pytest.raises(BadData, match="wrong check character") as fault:
        parse_code(wrong, known)
    assert right in fault.value.remedy
    assert nearest_codes(wrong, known)[0] == right


@given(
    st.integers(0, 5000), st.integers(0, CODE_LENGTH - 1), st.sampled_from("drsi"), st.sampled_from(ALPHABET)
)
def test_the_code_meant_is_among_the_suggestions_after_one_slip(
    number: int, at: int, slip: str, char: str
) -> None:
    """A dropped, replaced, swapped or inserted character: one slip never hides the code."""
    known = next_codes("C", number, 3)
    code = known[1]
    wrong = {
        "d": code[:at] + code[at + 1 :],
        "r": code[:at] + char + code[at + 1 :],
        "s": code[:at] + code[at : at + 2][::-1] + code[at + 2 :],
        "i": code[:at] + char + code[at:],
    }[slip]
    assert code in nearest_codes(wrong, known)


@given(st.integers(0, 5000), st.lists(st.tuples(st.integers(0, 6), st.sampled_from(ALPHABET)), max_size=2))
def test_a_code_with_two_wrong_characters_is_found_among_very_many(
    number: int, slips: list[tuple[int, str]]
) -> None:
    """Two wrong characters at any two places are the most that a suggestion reaches."""
    (code,) = next_codes("C", number, 1)
    wrong = list(code)
    for at, char in slips:
        wrong[at] = char
    assert nearest_codes("".join(wrong), [code]) == [code]


@pytest.mark.parametrize("text", ["", "Q", "A" * 9, "A" * 10_000, "\x00\n€", "A0000 1O"])
def test_any_text_may_be_asked_for(text: str) -> None:
    """What a scanner or a cat types is at most not found, and quickly."""
    known = next_codes("A", 0, 50)
    assert set(nearest_codes(text, known)) <= set(known)


def test_far_codes_are_not_suggested() -> None:
    """More than two slips away is a guess, not a help."""
    assert nearest_codes("B123450", ["K90817Q"]) == []
    with pytest.raises(BadData) as fault:
        parse_code("what is this", ["K90817Q"])
    assert "K90817Q" not in fault.value.remedy


@given(st.sampled_from(ascii_uppercase), st.integers(-1, LAST_NUMBER - 200), st.integers(0, 40))
def test_the_next_codes_rise_and_skip_what_is_not_issued(letter: str, after: int, count: int) -> None:
    """No code twice, none below the last, none that a swap would turn into another."""
    codes = next_codes(letter, after, count)
    numbers = [int(code[1:6]) for code in codes]
    assert len(codes) == count
    assert numbers == sorted(set(numbers))
    assert all(n > after and is_issued(letter, n) for n in numbers)
    skipped = set(range(after + 1, numbers[-1] if numbers else 0)) - set(numbers)
    assert not any(is_issued(letter, n) for n in skipped)


def test_a_bench_that_has_run_out_says_so() -> None:
    """There is no 100,000th number."""
    with pytest.raises(BadData, match="run out"):
        next_codes("B", LAST_NUMBER - 1, 5)


@pytest.mark.parametrize(
    ("letter", "number"), [("b", 1), ("BB", 1), ("", 1), ("1", 1), ("Ä", 1), ("B", -1), ("B", 100000)]
)
def test_a_letter_or_number_that_fits_no_code_is_refused(letter: str, number: int) -> None:
    """One letter A to Z, one number of five digits."""
    with pytest.raises(BadData):
        make_code(letter, number)


def test_two_benches_never_share_a_code() -> None:
    """The letter is part of the code, so stores of two benches can be merged."""
    assert not set(next_codes("A", -1, 500)) & set(next_codes("B", -1, 500))


@given(st.text(max_size=12))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    """Any text gives a code that reads back as itself, or a fault with a remedy."""
    try:
        code = parse_code(text)
    except BadData as fault:
        assert fault.remedy
    else:
        assert parse_code(code) == code
