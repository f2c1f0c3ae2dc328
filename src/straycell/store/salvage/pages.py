"""The rows on each page of an SQLite file, read without SQLite, which gives up at the first page that is wrong.

In: the bytes of a file of which any part may be missing or overwritten. Out: rows. The layout is that of
sqlite.org/fileformat2.html: 1.3 the header, 1.5 pages of B-trees, 1.6 overflow, 2.1 the format of a record.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

MAGIC = b"SQLite format 3\0"
INDEX_INTERIOR, TABLE_INTERIOR, INDEX_LEAF, TABLE_LEAF = 2, 5, 10, 13
_USUAL_SIZE = 4096
_WIDTHS = (0, 1, 2, 3, 4, 6, 8)
"""Bytes of an integer by its serial type 1 to 6; 0 is NULL."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row as it lies in the file; `rowid` is None in a table that has none."""

    rowid: int | None
    values: tuple[Any, ...]


class Pages:
    """The pages of a file by their number, from 1. What is not there reads as zeros."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        stated = int.from_bytes(raw[16:18], "big") or _USUAL_SIZE
        size = 65536 if stated == 1 else stated
        whole = (
            len(raw) >= 100 and raw[: len(MAGIC)] == MAGIC and 512 <= size <= 65536 and size & (size - 1) == 0
        )
        # Every store of ours has SQLite's usual page; only a header that is whole may say otherwise.
        self.size = size if whole else _USUAL_SIZE
        self.usable = self.size - (raw[20] if whole else 0)
        self.count = -(-len(raw) // self.size)
        self.promised = int.from_bytes(raw[28:32], "big") if whole else 0

    def page(self, number: int) -> bytes:
        """One page, as long as every page."""
        return self.raw[(number - 1) * self.size : number * self.size].ljust(self.size, b"\0")

    def kind(self, number: int) -> int:
        """What a page says that it is."""
        return self.page(number)[_start(number)]

    def children(self, number: int) -> list[int]:
        """The pages below one, none for a leaf or for what is not a page of a tree."""
        page, at = self.page(number), _start(number)
        if page[at] not in (INDEX_INTERIOR, TABLE_INTERIOR):
            return []
        below = [page[place : place + 4] for place in self._places(page, at)] + [page[at + 8 : at + 12]]
        return [int.from_bytes(each, "big") for each in below if len(each) == 4]

    def rows(self, number: int) -> Iterator[Row | None]:
        """The rows on a page, None for each that cannot be read."""
        page, at = self.page(number), _start(number)
        kind = page[at]
        if kind not in (INDEX_INTERIOR, INDEX_LEAF, TABLE_LEAF):
            return
        for place in self._places(page, at):
            try:
                yield self._row(page, place + (4 if kind == INDEX_INTERIOR else 0), kind)
            except (ValueError, IndexError, struct.error):
                yield None

    def _places(self, page: bytes, at: int) -> list[int]:
        first = at + (12 if page[at] in (INDEX_INTERIOR, TABLE_INTERIOR) else 8)
        count = min(int.from_bytes(page[at + 3 : at + 5], "big"), (self.size - first) // 2)
        return list(struct.unpack(f">{count}H", page[first : first + 2 * count]))

    def _row(self, page: bytes, place: int, kind: int) -> Row:
        length, place = _varint(page, place)
        rowid = None
        if kind == TABLE_LEAF:
            rowid, place = _varint(page, place)
        return Row(rowid, _record(self._payload(page, place, length, kind)))

    def _payload(self, page: bytes, place: int, length: int, kind: int) -> bytes:
        if length > len(self.raw):
            raise ValueError("longer than the file")
        usable = self.usable
        most = usable - 35 if kind == TABLE_LEAF else (usable - 12) * 64 // 255 - 23
        if length <= most:
            return page[place : place + length]
        least = (usable - 12) * 32 // 255 - 23
        here = least + (length - least) % (usable - 4)
        here = here if here <= most else least
        parts, left = [page[place : place + here]], length - here
        following = int.from_bytes(page[place + here : place + here + 4], "big")
        # Bounded by the length: a chain that was overwritten may run in a circle.
        while left > 0:
            if not 1 <= following <= self.count:
                raise ValueError("its continuation is missing")
            more = self.page(following)
            parts.append(more[4 : min(usable, 4 + left)])
            left -= usable - 4
            following = int.from_bytes(more[:4], "big")
        return b"".join(parts)


def _start(number: int) -> int:
    return 100 if number == 1 else 0  # behind the header of the file


def _varint(page: bytes, place: int) -> tuple[int, int]:
    value = 0
    for _ in range(8):
        byte = page[place]
        place += 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place
    value = value << 8 | page[place]
    return value - (1 << 64) if value >= 1 << 63 else value, place + 1


def _record(payload: bytes) -> tuple[Any, ...]:
    size, place = _varint(payload, 0)
    serials = []
    while place < size:
        serial, place = _varint(payload, place)
        serials.append(serial)
    values = []
    for serial in serials:
        value, place = _value(payload, place, serial)
        values.append(value)
    # Bytes left over or missing: the row was overwritten, and none of its values can be believed.
    if place != len(payload) or not serials:
        raise ValueError("not as long as it says")
    return tuple(values)


def _value(payload: bytes, place: int, serial: int) -> tuple[Any, int]:
    if serial >= 12:
        length = (serial - 12) // 2
        raw = payload[place : place + length]
        return raw if serial % 2 == 0 else raw.decode("utf-8"), place + length
    if serial in (8, 9):
        return serial - 8, place
    if serial == 7:
        return struct.unpack(">d", payload[place : place + 8])[0], place + 8
    if not 0 <= serial <= 6:
        raise ValueError("no such kind of value")
    width = _WIDTHS[serial]
    number = int.from_bytes(payload[place : place + width], "big", signed=True)
    return (number if width else None), place + width
