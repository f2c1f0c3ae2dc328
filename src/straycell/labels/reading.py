"""Cell codes back from a picture: a scan, a photograph, or a label made here."""

from __future__ import annotations

from pathlib import Path

from straycell.cells import parse_code
from straycell.errors import BadData, UsageFault
from straycell.files.read import read_bytes

MOST_BYTES = 100_000_000


def read_codes(path: Path | str) -> list[str]:
    """The cell codes in a picture's QR symbols, each once, sorted.

    Raises UsageFault when the reader is not installed, BadData when the file is no picture, shows no QR symbol,
    or only symbols that hold no cell code.
    """
    try:
        import zxingcpp
    except ImportError:
        raise UsageFault(
            "reading a picture needs the package zxing-cpp, which belongs to straycell and is not there",
            "install it with: pip install zxing-cpp, or type the code instead",
        ) from None
    from straycell.labels.render import grey_picture

    raw = read_bytes(Path(path), f"picture {path}", MOST_BYTES)
    if raw.startswith(b"%PDF-"):
        raise BadData(
            f"{path} is a PDF, not a picture",
            "make a picture of the page first (PNG or JPEG), then read that",
        )
    found = zxingcpp.read_barcodes(grey_picture(raw, str(path)))
    texts = [symbol.text for symbol in found if symbol.format == zxingcpp.BarcodeFormat.QRCode]
    if not texts:
        raise BadData(
            f"no QR symbol found in {path}", "closer, sharper, evenly lit; or type the code instead"
        )
    codes = sorted({code for code in map(_cell_code, texts) if code is not None})
    if not codes:
        shown = texts[0][:40]
        raise BadData(f"the QR symbol in {path} holds no cell code: '{shown}'", "show a label printed here")
    return codes


def _cell_code(text: str) -> str | None:
    """The code, or None for a symbol that is not ours."""
    try:
        return parse_code(text)
    except BadData:
        return None
