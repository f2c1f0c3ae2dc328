"""One cell: its code for life, its chemistry and form, what is printed on it, and its stage.

Codes: a bench letter, five digits and an ISO/IEC 7064 MOD 37,36 check character.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from stdnum.iso7064 import mod_37_36

from straycell.errors import BadData

CODE_LENGTH = 7
LAST_NUMBER = 99999
# Only where a digit must be: the check character may itself be a letter.
_DIGIT_LOOKALIKES = str.maketrans("OIL", "011")
_CHECK_LOOKALIKES = "OI"


class Chemistry(StrEnum):
    """Positive electrode, as far as it matters for a limit; `liion` is a 4.2 V cell whose kind nobody knows."""

    NMC = "nmc"
    LCO = "lco"
    NCA = "nca"
    LMO = "lmo"
    LFP = "lfp"
    LIION = "liion"
    PRIMARY = "primary"
    UNKNOWN = "unknown"


FOUR_VOLT = (Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO)
"""The 4.2 V kinds with figures of their own; a `liion` cell is one of them."""


def members(chemistry: Chemistry) -> tuple[Chemistry, ...]:
    """The kinds that a cell of this chemistry can be: itself, or each 4.2 V kind for `liion`."""
    return FOUR_VOLT if chemistry is Chemistry.LIION else (chemistry,)


class Form(StrEnum):
    """Trade sizes: diameter and height in mm, the last figure in tenths."""

    F18650 = "18650"
    F21700 = "21700"
    F26650 = "26650"
    F14500 = "14500"
    F16340 = "16340"
    F18350 = "18350"
    F13400 = "13400"
    F10440 = "10440"
    POUCH = "pouch"
    PRISMATIC = "prismatic"
    OTHER = "other"

    @property
    def round_size_mm(self) -> tuple[float, float] | None:
        """Diameter and length of a round cell; None for the others."""
        return (float(self.value[:2]), int(self.value[2:]) / 10) if self.value.isdigit() else None


class Stage(StrEnum):
    """Where a cell is in its life here."""

    RECEIVED = "received"
    SHELVED = "shelved"
    RESERVED = "reserved"
    INSTALLED = "installed"
    CONDEMNED = "condemned"
    HANDED_OVER = "handed-over"
    WITHDRAWN = "withdrawn"


LEGAL_MOVES: dict[Stage, frozenset[Stage]] = {
    Stage.RECEIVED: frozenset({Stage.SHELVED, Stage.RESERVED, Stage.CONDEMNED, Stage.WITHDRAWN}),
    Stage.SHELVED: frozenset({Stage.RECEIVED, Stage.RESERVED, Stage.CONDEMNED, Stage.WITHDRAWN}),
    Stage.RESERVED: frozenset({Stage.RECEIVED, Stage.SHELVED, Stage.INSTALLED, Stage.CONDEMNED}),
    # A cell out of a device is received and not shelved: nobody knows what was done to it there.
    Stage.INSTALLED: frozenset({Stage.RECEIVED, Stage.CONDEMNED}),
    # Back to received only when the reading behind the discard was superseded as a mistake.
    Stage.CONDEMNED: frozenset({Stage.RECEIVED, Stage.HANDED_OVER}),
    # No way back from handed over: what has left the house cannot be measured again.
    Stage.HANDED_OVER: frozenset(),
    # A record of a cell that never was; it comes back where there is one after all.
    Stage.WITHDRAWN: frozenset({Stage.RECEIVED}),
}


class Look(StrEnum):
    """What the eye and the nose say."""

    CLEAN = "clean"
    SWOLLEN = "swollen"
    LEAKING = "leaking"
    BURNT = "burnt"
    PUNCTURED = "punctured"
    VENTED = "vented"
    SMELL = "smell"
    CRUSHED = "crushed"
    DENTED = "dented"
    RUST = "rust"
    RUST_SPECKS = "rust-specks"
    TORN_SLEEVE = "torn-sleeve"
    TORN_RING = "torn-ring"
    BARE_TAB = "bare-tab"
    WET = "wet"
    STAINED = "stained"
    CORRODED = "corroded"


@dataclass(frozen=True, slots=True)
class CellFacts:
    """What is known of a cell apart from measurements. None and `unknown` are honest values.

    `rated_resistance_method` says how the maker measured it; data sheets mean a.c. 1 kHz (facts of the trade).
    """

    chemistry: Chemistry = Chemistry.UNKNOWN
    form: Form = Form.OTHER
    marking: str = ""
    maker: str = ""
    date_code: str = ""
    rated_capacity_ah: float | None = None
    rated_resistance_ohm: float | None = None
    rated_resistance_method: str = "ac-1khz"
    maker_charge_current_a: float | None = None
    maker_discharge_current_a: float | None = None
    full_voltage_v: float | None = None
    mass_g: float | None = None
    volume_cm3: float | None = None
    bought_new: bool = False
    rewrapped: bool = False
    tabs: bool = False
    protection_board: bool = False
    confirmed_rechargeable: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell as the store knows it: code, where it came from, where it lies, and the facts."""

    code: str
    facts: CellFacts
    stage: Stage = Stage.RECEIVED
    teardown: str | None = None
    pack: str | None = None
    box: str | None = None
    added_at: datetime | None = None


def check_move(code: str, old: Stage, new: Stage) -> None:
    """Refuse an illegal step of a cell's life."""
    if new != old and new not in LEGAL_MOVES[old]:
        allowed = ", ".join(sorted(LEGAL_MOVES[old])) or "nothing: it has left the house"
        raise BadData(f"cell {code} is {old} and cannot become {new}", f"from {old} it can become: {allowed}")


# --- codes -----------------------------------------------------------------------------------------


def make_code(letter: str, number: int) -> str:
    """The code of one number of one bench. Raises BadData when the number is never issued."""
    if not re.fullmatch(r"[A-Z]", letter):
        raise BadData(f"bench letter '{letter}' is not one of A to Z", "write one letter, like --bench B")
    if not 0 <= number <= LAST_NUMBER:
        raise BadData(
            f"number {number} does not fit a code (0 to {LAST_NUMBER})", "start a bench with another letter"
        )
    # MOD 37,36 finds every single wrong character, but not every swap of neighbours (ISO/IEC 7064).
    if is_confusable(letter, number):
        raise BadData(
            f"number {number} is never issued on bench {letter}: two swapped digits would turn it into another cell",
            "take the next number",
        )
    return _with_check(letter, number)


def _with_check(letter: str, number: int) -> str:
    body = f"{letter}{number:05d}"
    return body + str(mod_37_36.calc_check_digit(body))


def _swaps(code: str) -> Iterator[str]:
    """Every code that differs by one swap of two unlike neighbours."""
    for i in range(len(code) - 1):
        if code[i] != code[i + 1]:
            yield code[:i] + code[i + 1] + code[i] + code[i + 2 :]


def is_confusable(letter: str, number: int) -> bool:
    """True when a neighbouring swap gives the valid code of a smaller number, which was issued before.

    The last digit and the check character may be swapped too. 1165 of 100,000 numbers are skipped for it.
    """
    code = _with_check(letter, number)
    # Only the larger number of such a pair is skipped, so that the smaller one stays valid once issued.
    return any(
        re.fullmatch(r"[A-Z]\d{5}[0-9A-Z]", swapped) is not None
        and mod_37_36.is_valid(swapped)
        and int(swapped[1:6]) < number
        for swapped in _swaps(code)
    )


def is_issued(letter: str, number: int) -> bool:
    """False for a confusable number, and for one whose check character a hand writes like a digit.

    A code ending in O or I that was issued earlier stays valid: `parse_code` takes it.
    """
    return _with_check(letter, number)[-1] not in _CHECK_LOOKALIKES and not is_confusable(letter, number)


def next_codes(letter: str, after: int, count: int) -> list[str]:
    """The next `count` codes above the number `after` that are issued."""
    codes: list[str] = []
    number = after
    while len(codes) < count:
        number += 1
        if number > LAST_NUMBER:
            raise BadData(
                f"bench {letter} has run out of numbers",
                "start a store with another letter: store init --bench",
            )
        if is_issued(letter, number):
            codes.append(_with_check(letter, number))
    return codes


def tidy_code(text: str) -> str:
    """Upper case, without blanks and hyphens; O and I read as 0 and 1 where only a digit can be."""
    code = re.sub(r"[\s\-]+", "", text).upper()
    # The check character is left alone: reading O as 0 there would accept two codes for one cell and weaken the
    # check.
    return code[:1] + code[1:6].translate(_DIGIT_LOOKALIKES) + code[6:]


def parse_code(text: str, known: Iterable[str] = ()) -> str:
    """A cell code as typed or scanned, tidied and checked; `known` codes serve for suggestions."""
    code = tidy_code(text)
    if not re.fullmatch(r"[A-Z]\d{5}[0-9A-Z]", code):
        fault = f"'{text}' is not a cell code (a letter, five digits, a check character)"
    elif not mod_37_36.is_valid(code):
        fault = f"code '{text}' has a wrong check character: misread or mistyped"
    # A code that is never issued passes the check character, and still is a swap of another cell's.
    elif is_confusable(code[0], int(code[1:6])):
        fault = f"code '{text}' is never issued: two of its characters are swapped"
    else:
        return code
    raise BadData(fault, _suggestion(code, known))


def _suggestion(code: str, known: Iterable[str]) -> str:
    near = nearest_codes(code, known)
    if near:
        return f"nearest in the store: {', '.join(near)}; read it off the cell again"
    return "read it off the cell again"


def nearest_codes(code: str, known: Iterable[str], at_most: int = 3) -> list[str]:
    """Known codes one or two slips away (a wrong, missing or extra character, or a swap), nearest first."""
    # Here, and not with the module: it is wanted after a slip alone.
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    # No more than two slips: with three almost any code of the bench is near.
    near = process.extract_iter(code, set(known), scorer=OSA.distance, score_cutoff=2)
    return [other for _, other in sorted((slips, other) for other, slips, _ in near)][:at_most]


def position_name(group: int, place: int) -> str:
    """`2b`: where a cell sits in a pack; groups count from 1 at the minus end, places in a group from 1 (`a`).

    After `z` comes `aa`. `match`, the build sheet and the labels all use this one name.
    """
    # Counted like columns of a spreadsheet: there is no zero, hence the minus one.
    letters = ""
    while place > 0:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("a") + rest) + letters
    return f"{group}{letters}"
