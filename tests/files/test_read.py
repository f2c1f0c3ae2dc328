"""What is named on a command line is read within bounds, and refused with what it is."""

from __future__ import annotations

import gzip
import os
import socket
import stat
import time
import zlib
from pathlib import Path

import pytest

from straycell.errors import BadData
from straycell.files.read import MOST_DEPTH, read_bytes, read_text, toml_document, unpacked_gz


def refusal(path: Path, most: int = 100) -> str:
    """What is said of a file that is refused."""
    with pytest.raises(BadData) as fault:
        read_bytes(path, f"list {path}", most)
    assert fault.value.remedy
    return fault.value.what


def test_a_file_within_bounds_is_read(tmp_path: Path) -> None:
    """To the last byte that is allowed; a byte more is not."""
    (tmp_path / "a").write_bytes(b"x" * 100)
    (tmp_path / "b").write_bytes(b"x" * 101)
    assert len(read_bytes(tmp_path / "a", "a", 100)) == 100
    assert "is larger than" in refusal(tmp_path / "b")


def test_what_is_no_file_is_named_and_nothing_waits(tmp_path: Path) -> None:
    """A folder, a pipe that nobody writes to, a socket, nothing, an impossible name."""
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as plug:
        plug.bind(str(tmp_path / "plug"))
    assert "is a folder" in refusal(tmp_path)
    assert "is a pipe" in refusal(tmp_path / "pipe")
    assert "cannot be read" in refusal(tmp_path / "plug")
    assert "is not there" in refusal(tmp_path / "none")
    assert "no file can have such a name" in refusal(tmp_path / "a\0b")
    assert "cannot be read" in refusal(tmp_path / ("x" * 300))


@pytest.mark.parametrize("kind", [stat.S_IFCHR, stat.S_IFBLK])
def test_a_device_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: int) -> None:
    """By what the system says of the open handle; no device is touched here."""
    (tmp_path / "a").write_bytes(b"")
    monkeypatch.setattr(os, "fstat", lambda handle: os.stat_result((kind | 0o600, *[0] * 9)))
    assert "is a device" in refusal(tmp_path / "a")


def test_a_file_that_grows_while_it_is_read_is_bounded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its size at the start is a promise and no bound."""
    (tmp_path / "a").write_bytes(b"x" * 101)
    monkeypatch.setattr(os, "fstat", lambda handle: os.stat_result((stat.S_IFREG | 0o600, *[0] * 9)))
    assert "is larger than" in refusal(tmp_path / "a")


@pytest.mark.parametrize(
    ("raw", "said"),
    [(b"a\nb\xff", "is not UTF-8 text (line 2)"), (b"a\nb\0", "holds a NUL character (line 2)")],
)
def test_what_is_no_text_is_refused_with_its_line(tmp_path: Path, raw: bytes, said: str) -> None:
    """A byte order mark is taken off."""
    (tmp_path / "a").write_bytes(raw)
    with pytest.raises(BadData) as fault:
        read_text(tmp_path / "a", "list", 100)
    assert said in fault.value.what
    (tmp_path / "b").write_bytes(b"\xef\xbb\xbfa")
    assert read_text(tmp_path / "b", "list", 100) == "a"


DEEP = 20_000
BOMBS = {
    "arrays": "a = " + "[" * DEEP + "]" * DEEP,
    "inline tables": "a = " + "{b = " * DEEP + "1" + "}" * DEEP,
    "a dotted key": ".".join(["a"] * DEEP) + " = 1",
    "a dotted table": "[" + " . ".join(["'a'"] * DEEP) + "]",
    "a dotted key in an inline table": "a = {" + ".".join(['"b"'] * DEEP) + " = 1}",
    "a dotted table of tables": "[[" + ".".join(["a-1"] * DEEP) + "]]",
    "just too deep": "a = " + "[" * (MOST_DEPTH + 1) + "]" * (MOST_DEPTH + 1),
}


@pytest.mark.parametrize("text", BOMBS.values(), ids=BOMBS)
def test_deep_toml_is_refused_at_once(text: str) -> None:
    """Python's parser would take a key of n parts in n * n steps: minutes here."""
    began = time.monotonic()
    with pytest.raises(BadData, match="not TOML for this job"):
        toml_document(text)
    assert time.monotonic() - began < 5


def test_ordinary_toml_is_not_taken_for_a_bomb() -> None:
    """A long word, many dots in a text, many numbers."""
    text = f'a = "{"x." * 30}"\nb = "{"y" * 1_000_000}"\nc = [{"1.5, " * 10_000}]\n[d.e.f]\ng.h = 1\n'
    found = toml_document(text)
    assert found["d"]["e"]["f"]["g"]["h"] == 1 and len(found["c"]) == 10_000


def test_a_gz_bomb_is_refused_before_it_is_unpacked() -> None:
    """A gigabyte of zeros in a megabyte; several members are joined."""
    bomb = gzip.compress(b"\0" * 50_000_000)
    with pytest.raises(BadData, match="unpacks to more than"):
        unpacked_gz(bomb * 20, 10_000_000)
    with pytest.raises(BadData, match="100 times its size"):
        unpacked_gz(bomb, 100_000_000)
    assert unpacked_gz(gzip.compress(b"a\n") + gzip.compress(b"b\n"), 100) == b"a\nb\n"


def test_a_gz_file_that_is_cut_off_says_after_which_line() -> None:
    """And a damaged one fails its check."""
    whole = gzip.compress(b"".join(b"%d\n" % n for n in range(100_000)))
    with pytest.raises(EOFError) as cut:
        unpacked_gz(whole[: len(whole) // 2], 10_000_000)
    assert 10_000 < cut.value.args[0] < 100_000
    damaged = whole[:-8] + bytes(4) + whole[-4:]
    with pytest.raises(zlib.error):
        unpacked_gz(damaged, 10_000_000)
