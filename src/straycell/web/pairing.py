"""The pairing code: shown at the terminal, good for one device, replaced when it is used or guessed at."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from threading import Lock

ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without characters that are taken for each other."""
LENGTH = 8
"""30^8 codes: with five tries a code, one guess in 10^11 opens (NIST SP 800-63B, 5.1.3.2 asks for 10^6)."""
TRIES = 5


def draw_code() -> str:
    """A fresh code."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


class Pairing:
    """The code of the moment. `announce` is called with every new one; nothing else shows it."""

    def __init__(self, announce: Callable[[str], None], draw: Callable[[], str] = draw_code) -> None:
        self._announce, self._draw = announce, draw
        self._lock = Lock()
        self._code, self._wrong = "", 0

    def open(self) -> None:
        """Draw a code and announce it."""
        with self._lock:
            self._renew()

    def take(self, typed: str) -> bool:
        """True when this is the code; it is spent then. Blanks, dashes and small letters are forgiven."""
        tidy = "".join(typed.upper().split()).replace("-", "")
        with self._lock:
            right = bool(self._code) and hmac.compare_digest(tidy.encode(), self._code.encode())
            self._wrong = 0 if right else self._wrong + 1
            if right or self._wrong >= TRIES:
                self._renew()
        return right

    def _renew(self) -> None:
        self._code, self._wrong = self._draw(), 0
        self._announce(self._code)
