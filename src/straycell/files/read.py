"""Files named on a command line, read within bounds: no device, no pipe, no bomb, no more bytes than such a file has.

In: a path, what the file is called in messages, its most bytes. Out: bytes, text or a TOML document. Every refusal
is a BadData that names the file and what to do.
"""

import os
import re
import stat
import tomllib
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from straycell.errors import BadData
from straycell.plain_text import is_plain, require_plain

MOST_TOML_BYTES = 8_000_000
MOST_DEPTH = 40
"""Tables within tables, arrays within arrays. The deepest file of ours has 3."""
MOST_RATIO = 100
"""Logs shrink to a tenth or a thirtieth; what shrinks to a thousandth is one thing repeated, made to burst."""
_CHUNK, _RATIO_FROM = 1 << 20, 10_000_000
LF = b"\n"
_LAYOUT = dict.fromkeys(map(ord, "\t\r\n"), " ")
_KEY_PART = r"(?:[A-Za-z0-9_-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+"
# Python's parser takes a key of n parts in n * n steps: such a line is refused before it sees it.
_LONG_KEY = re.compile(rf"(?<![A-Za-z0-9_-])(?:{_KEY_PART}\.[ \t]*+){{{MOST_DEPTH},}}+")
_KINDS = {
    stat.S_ISDIR: ("is a folder", "name a file in it"),
    stat.S_ISFIFO: ("is a pipe, not a file", "save it as a file, then name that"),
    stat.S_ISSOCK: ("is a socket, not a file", "name a file"),
    stat.S_ISCHR: ("is a device, not a file", "name a file"),
    stat.S_ISBLK: ("is a device, not a file", "name a file"),
}


def open_file(path: Path, named: str, most_bytes: int) -> BinaryIO:
    """A regular file of at most `most_bytes`, open for reading; `named` is its name in messages.

    Raises BadData for anything else.
    """
    try:
        # Without O_NONBLOCK the open of a pipe that nobody writes to waits for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        raise BadData(f"{named} is not there", "check the path") from None
    except OSError as fault:
        raise _unreadable(named, fault) from None
    except ValueError:
        raise BadData(f"{named}: no file can have such a name", "check it") from None
    found = os.fstat(handle)
    odd = next((words for test, words in _KINDS.items() if test(found.st_mode)), None)
    if odd is None and found.st_size > most_bytes:
        odd = (f"is larger than {_size(most_bytes)}", "split it, or name the right file")
    if odd is not None:
        os.close(handle)
        raise BadData(f"{named} {odd[0]}", odd[1])
    return os.fdopen(handle, "rb")


def read_bytes(path: Path, named: str, most_bytes: int) -> bytes:
    """The bytes of a file, also of one that grows meanwhile: never more than `most_bytes`. Raises BadData."""
    with open_file(path, named, most_bytes) as file:
        try:
            # One byte more than allowed: a file may grow after its size was asked.
            raw = file.read(most_bytes + 1)
        except OSError as fault:
            raise _unreadable(named, fault) from None
    if len(raw) > most_bytes:
        raise BadData(f"{named} is larger than {_size(most_bytes)}", "split it, or name the right file")
    return raw


def read_text(path: Path, named: str, most_bytes: int) -> str:
    """UTF-8 text without its byte order mark. Raises BadData, for characters that steer a screen too."""
    # Editors on some systems put a byte order mark before UTF-8 text, and TOML takes none.
    raw = read_bytes(path, named, most_bytes).removeprefix(b"\xef\xbb\xbf")
    remedy = "save it as plain text in UTF-8"
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise BadData(
            f"{named} is not UTF-8 text (line {raw.count(LF, 0, fault.start) + 1})", remedy
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise BadData(f"{named} holds a NUL character (line {line})", remedy)
    # Escape sequences in a file's text could steer the terminal that shows its fault.
    if not is_plain(text.translate(_LAYOUT)):
        for number, part in enumerate(text.split("\n"), 1):
            require_plain(f"{named} line {number}", part.translate(_LAYOUT))
    return text


def toml_document(text: str) -> dict[str, Any]:
    """A TOML document. Raises BadData for one that is not TOML, nested too deeply or too large."""
    remedy = 'write lines like name = "reed-bed gauge"'
    if len(text) > MOST_TOML_BYTES:
        raise BadData(f"it is larger than {_size(MOST_TOML_BYTES)}", "name the right file")
    long = _LONG_KEY.search(text)
    if long is not None:
        line = text.count("\n", 0, long.start()) + 1
        raise BadData(f"not TOML for this job: line {line} has a key of over {MOST_DEPTH} parts", remedy)
    try:
        document = tomllib.loads(text.removeprefix("\ufeff"))
    except ValueError as fault:
        raise BadData(f"not TOML: {fault}", remedy) from None
    except RecursionError:
        raise BadData("not TOML for this job: it is nested too deeply", remedy) from None
    if _too_deep(document):
        raise BadData("not TOML for this job: it is nested too deeply", remedy)
    return document


def _too_deep(document: object) -> bool:
    level: list[object] = [document]
    for _ in range(MOST_DEPTH):
        level = [item for holder in level for item in _inside(holder)]
        if not level:
            return False
    return True


def _inside(holder: object) -> Iterator[object]:
    items = holder.values() if isinstance(holder, dict) else holder if isinstance(holder, list) else ()
    return (item for item in items if isinstance(item, dict | list))


def unpacked_gz(raw: bytes, most_bytes: int) -> bytes:
    """What a gz file holds, its members joined.

    Raises BadData for one that unpacks to more than `most_bytes`, EOFError(lines before its end) for one that was cut
    off, zlib.error for a damaged one.
    """
    parts, size, rest = list[bytes](), 0, raw
    while rest:
        # wbits 31: gzip header and checksum are demanded (zlib manual), so a damaged file says so.
        stream = zlib.decompressobj(wbits=31)
        while not stream.eof:
            # In pieces: a bomb is met after megabytes and not after filling the memory.
            part = stream.decompress(rest, _CHUNK)
            rest = stream.unconsumed_tail
            size += len(part)
            if size > most_bytes:
                raise BadData(f"the gz file unpacks to more than {_size(most_bytes)}", "split it")
            if size > max(MOST_RATIO * len(raw), _RATIO_FROM):
                raise BadData(f"the gz file unpacks to over {MOST_RATIO} times its size", "unpack it by hand")
            parts.append(part)
            if not part and not rest and not stream.eof:
                raise EOFError(sum(whole.count(LF) for whole in parts))
        # gzip files may be joined end to end (RFC 1952 2.2), and tapes pad them with zeros.
        rest = stream.unused_data.lstrip(b"\0")
    return b"".join(parts)


def _unreadable(named: str, fault: OSError) -> BadData:
    why = fault.strerror or "the system refuses"
    return BadData(f"{named} cannot be read: {why}", "check the path and its permissions")


def _size(size: int) -> str:
    return f"{size // 1_000_000} MB" if size >= 1_000_000 else f"{size // 1000} kB"
