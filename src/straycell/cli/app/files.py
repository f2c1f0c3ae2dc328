"""Files that commands write: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from straycell.errors import BadData


def write_whole(path: Path, content: bytes) -> None:
    """Write beside the target and move into place, so that Ctrl-C leaves no half file. Raises BadData."""
    if path.is_dir():
        raise BadData(f"{path} is a folder", "name a file")
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


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
