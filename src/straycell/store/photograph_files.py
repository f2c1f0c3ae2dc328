"""Photographs as files in a folder beside the store, each under the hash of its content: none is ever overwritten.

The store names them; a file that no record names does no harm, and one that is missing or altered is a fault of the
store (`store check`). What goes in is bounded, and no name of a file comes from a person.
"""

import hashlib
import os
import re
from collections.abc import Iterable
from pathlib import Path

from straycell.errors import BadData, StoreFault
from straycell.files.read import read_bytes
from straycell.files.write import part_file, second_name

SUFFIX = ".photographs"
MOST_BYTES = 4_000_000
"""A scaled photograph has a tenth of this; more was not made here."""
_JPEG = b"\xff\xd8\xff"
_HASH = re.compile("[0-9a-f]{64}")


def folder_of(store: Path) -> Path:
    """Where the photographs of a store lie; nothing is made by asking."""
    return store.with_name(store.name + SUFFIX)


def file_of(folder: Path, sha256: str) -> Path:
    """The file of one photograph. Raises BadData for what is not a hash: it could be a way out of the folder."""
    if not _HASH.fullmatch(sha256):
        raise BadData("this is not the number of a photograph", "open it from the page of its cell")
    return folder / f"{sha256}.jpg"


def keep(folder: Path, content: bytes) -> str:
    """Put a photograph into the folder, whole or not at all; returns its SHA-256. Raises BadData, StoreFault."""
    sha256 = hashlib.sha256(content).hexdigest()
    file = file_of(folder, sha256)
    if len(content) > MOST_BYTES or not content.startswith(_JPEG):
        raise BadData("this is not a photograph as it is kept", f"JPEG, {MOST_BYTES // 1_000_000} MB at most")
    if file.exists() and hashlib.sha256(file.read_bytes()).hexdigest() == sha256:
        return sha256
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        with part_file(file, mode=0o600) as part:
            with part.path.open("r+b") as stream:
                stream.write(content)
                stream.flush()
                # The record is written after it: a power cut must not leave a record without its photograph.
                os.fsync(stream.fileno())
            part.place()
    except OSError as fault:
        # The store's own trouble, as when it cannot grow: what was sent is right and may be sent again.
        raise StoreFault(
            f"cannot keep the photograph: {fault.strerror}", "make room; nothing was kept"
        ) from None
    return sha256


def read(folder: Path, sha256: str) -> bytes:
    """The content of a photograph. Raises BadData when its file is missing or is not the one that was kept."""
    file = file_of(folder, sha256)
    if not file.is_file():
        raise BadData(f"the file of photograph {sha256[:12]} is missing", f"it was {file}: take a backup's")
    content = read_bytes(file, f"photograph {file}", MOST_BYTES)
    if hashlib.sha256(content).hexdigest() != sha256:
        raise BadData(f"the file of photograph {sha256[:12]} was changed", f"it is {file}: take a backup's")
    return content


def share(source: Path, target: Path) -> None:
    """Give every photograph of one folder a second name in another: what they hold is never changed. Raises OSError."""
    for file in source.glob("*.jpg"):
        target.mkdir(mode=0o700, exist_ok=True)
        if not (target / file.name).exists():
            second_name(file, target / file.name)


def bring(source: Path, target: Path, names: Iterable[str] | None = None) -> list[str]:
    """Copy these photographs (None: all) from one folder to another; returns those that are not to be had."""
    if names is None:
        names = sorted(file.stem for file in source.glob("*.jpg") if _HASH.fullmatch(file.stem))
    lost = []
    for name in names:
        if file_of(target, name).exists():
            continue
        try:
            content = read(source, name)
        except BadData:
            lost.append(name)
        else:
            keep(target, content)
    return lost
