"""What the QR symbol of a label holds: the bare cell code, and nothing else.

A version 1 symbol in alphanumeric mode (ISO/IEC 18004) is the smallest there is, so its modules are the
largest that fit a label.
"""

from __future__ import annotations

from dataclasses import dataclass

from straycell.cells import parse_code
from straycell.errors import BadData

ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
"""The 45 characters of alphanumeric mode (ISO/IEC 18004)."""

CAPACITY = {"H": 10, "Q": 16}
"""Characters a version 1 symbol takes in alphanumeric mode, by level (ISO/IEC 18004), the strongest first."""

MODULES = 21
"""Modules along one side of a version 1 symbol (ISO/IEC 18004)."""

QUIET_MODULES = 4
"""Light modules that must surround the symbol on every side (ISO/IEC 18004)."""

SIDE_MODULES = MODULES + 2 * QUIET_MODULES


@dataclass(frozen=True, slots=True)
class Payload:
    """The text of one symbol and its error correction level, `H` (30 %) or `Q` (25 %)."""

    text: str
    level: str


def payload_of(text: str) -> Payload:
    """The symbol for a text, at the strongest level it fits. Raises BadData when none holds it."""
    odd = sorted(set(text) - ALPHANUMERIC)
    if odd or not text:
        raise BadData(
            f"'{text}' cannot stand in a label's QR symbol",
            "only capital letters, digits, space and $%*+-./: can",
        )
    for level, most in CAPACITY.items():
        if len(text) <= most:
            return Payload(text, level)
    raise BadData(
        f"'{text}' is too long for a label's QR symbol", f"at most {max(CAPACITY.values())} characters"
    )


def cell_payload(code: str) -> Payload:
    """The symbol for a cell code, tidied and checked. Raises BadData on a code that is not valid."""
    return payload_of(parse_code(code))
