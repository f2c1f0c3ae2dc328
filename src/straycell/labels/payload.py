"""What the QR symbol of a label holds: the bare cell code, or the address of the cell's bench page.

A version 1 symbol in alphanumeric mode (ISO/IEC 18004) is the smallest there is, so its modules are the
largest that fit a label. An address is longer and takes the smallest version that holds it.
"""

from dataclasses import dataclass
from urllib.parse import urlsplit, urlunsplit

from straycell.cells import parse_code
from straycell.errors import BadData, UsageFault

ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
"""The 45 characters of alphanumeric mode (ISO/IEC 18004)."""

# Level H restores 30 % of the symbol: labels rub against each other in a drawer.
CODE_CAPACITY = 10
"""Characters a version 1 symbol takes at level H in alphanumeric mode (ISO/IEC 18004)."""

LINK_CAPACITY = ((16, 11), (29, 20), (47, 32), (67, 46), (87, 60), (108, 74), (125, 86), (157, 108))
"""By version from 1 on, at level Q: characters in alphanumeric and in byte mode (ISO/IEC 18004)."""

MODULES = 21
"""Modules along one side of a version 1 symbol; each version adds four (ISO/IEC 18004)."""

QUIET_MODULES = 4
"""Light modules that must surround the symbol on every side (ISO/IEC 18004)."""

SIDE_MODULES = MODULES + 2 * QUIET_MODULES
LAST_SMALL_VERSION = 3
"""Beyond it the modules get too small for a round cell; such addresses go on flags and boxes."""


@dataclass(frozen=True, slots=True)
class Payload:
    """The text of one symbol, its version, and its error correction level, `H` (30 %) or `Q` (25 %)."""

    text: str
    version: int
    level: str

    @property
    def modules(self) -> int:
        """Modules along one side, without the quiet zone."""
        return MODULES + 4 * (self.version - 1)

    @property
    def alphanumeric(self) -> bool:
        return set(self.text) <= ALPHANUMERIC


def cell_payload(code: str) -> Payload:
    """The symbol for a bare cell code, tidied and checked. Raises BadData on a code that is not valid."""
    # Version 1 has the fewest modules, so each is as large as the label allows.
    return Payload(parse_code(code), 1, "H")


def link_payload(base: str, code: str) -> Payload:
    """The symbol for the address of a cell's page below `base`: `HTTP://BENCH:8000/CELL/W00410H`.

    Scheme and host are written in capitals where that makes the symbol smaller: they mean the same (RFC 3986, 6.2.2.1).
    Raises UsageFault for a base that is not an http address or too long.
    """
    parts = urlsplit(base)
    if parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment:
        raise UsageFault(
            f"'{base}' is not the address of a bench page", "write it like --link http://bench.local:8000"
        )
    path = f"{parts.path.rstrip('/')}/{parse_code(code)}"
    # Alphanumeric mode needs 5.5 bits a character, byte mode 8 (ISO/IEC 18004): capitals make a smaller
    # symbol.
    capital = urlunsplit((parts.scheme.upper(), parts.netloc.upper(), path, "", ""))
    text = capital if set(capital) <= ALPHANUMERIC else urlunsplit((parts.scheme, parts.netloc, path, "", ""))
    return address_payload(text)


def address_payload(text: str) -> Payload:
    """The smallest symbol that holds an address. Raises UsageFault for one that is too long."""
    place = 0 if set(text) <= ALPHANUMERIC else 1
    # Level Q and not H: an address at H would need a version whose modules are too small for a round cell.
    for version, most in enumerate(LINK_CAPACITY, 1):
        if len(text.encode()) <= most[place]:
            return Payload(text, version, "Q")
    raise UsageFault(
        f"the address '{text[:60]}...' is too long for a label", "use a shorter host name or path"
    )


def code_in(text: str) -> str | None:
    """The cell code a symbol's text stands for, bare or at the end of an address; None for a foreign text."""
    parts = urlsplit(text.strip())
    # Labels printed with --link must stay readable when the bench's address has changed: only the code
    # counts.
    if parts.scheme.lower() in ("http", "https"):
        text = parts.path.rstrip("/").rpartition("/")[2]
    try:
        return parse_code(text)
    except BadData:
        return None
