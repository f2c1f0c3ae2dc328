"""Files that commands write: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from straycell.errors import BadData, UsageFault

_KINDS = ((b"%PDF-", ".pdf"), (b"\x89PNG", ".png"), (b"BEGIN:VCALENDAR", ".ics"))
"""What a file begins with, and the suffix under which programs look for such a file."""


def write_whole(path: Path, content: bytes) -> None:
    """Write beside the target and move into place, so that Ctrl-C leaves no half file.

    Raises BadData, and UsageFault when the suffix belongs to another kind of file.
    """
    if path.is_dir():
        raise BadData(f"{path} is a folder", "name a file")
    _require_suffix(path, content)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", dir=path.parent)
    except OSError as fault:
        raise BadData(
            f"{path} cannot be written: {fault.strerror}", "check the folder and its permissions"
        ) from None
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        part.chmod(0o666 & ~_umask())
        part.replace(path)
    except OSError as fault:
        raise BadData(
            f"{path} cannot be written: {fault.strerror}", "check the folder and the space left"
        ) from None
    finally:
        part.unlink(missing_ok=True)


def _require_suffix(path: Path, content: bytes) -> None:
    """A name without any suffix promises nothing and is taken."""
    right = next((suffix for start, suffix in _KINDS if content.startswith(start)), path.suffix.lower())
    if path.suffix and path.suffix.lower() != right:
        raise UsageFault(
            f"{path.name} does not fit: this command writes a {right[1:].upper()} file",
            f"name it {path.stem}{right}",
        )


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
