"""Files are written whole or not at all, and nothing that somebody would miss is replaced."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from straycell.errors import BadData
from straycell.files.write import part_file, part_folder, prepared, write_whole

PDF = b"%PDF-1.4 new"


def left(folder: Path) -> list[str]:
    """What lies in a folder."""
    return sorted(path.name for path in folder.iterdir())


def test_a_new_file_has_the_mode_of_any_new_file(tmp_path: Path) -> None:
    """As `open` makes them: the umask counts."""
    plain = tmp_path / "plain"
    plain.write_bytes(b"x")
    write_whole(tmp_path / "a.pdf", PDF)
    assert (tmp_path / "a.pdf").read_bytes() == PDF
    assert stat.S_IMODE((tmp_path / "a.pdf").stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)
    assert left(tmp_path) == ["a.pdf", "plain"]


def test_a_file_of_the_same_kind_is_replaced_and_keeps_its_mode(tmp_path: Path) -> None:
    """Yesterday's sheet gives way to today's."""
    sheet = tmp_path / "a.pdf"
    sheet.write_bytes(b"%PDF-1.4 old")
    sheet.chmod(0o640)
    write_whole(sheet, PDF)
    assert sheet.read_bytes() == PDF and stat.S_IMODE(sheet.stat().st_mode) == 0o640


@pytest.mark.parametrize("there", [b"my notes", b"\x89PNG\r\n\x1a\n", b"BEGIN:VCALENDAR"])
def test_a_file_of_another_kind_needs_force(tmp_path: Path, there: bytes) -> None:
    """It may be somebody's only copy."""
    file = tmp_path / "a.pdf"
    file.write_bytes(there)
    with pytest.raises(BadData, match="is there already and is not a PDF") as fault:
        write_whole(file, PDF)
    assert "--force" in fault.value.remedy and file.read_bytes() == there
    write_whole(file, PDF, force=True)
    assert file.read_bytes() == PDF and left(tmp_path) == ["a.pdf"]


def database(path: Path) -> Path:
    """A small SQLite file that is not one of ours."""
    conn = sqlite3.connect(path)
    conn.execute("CREATE TABLE t (x)")
    conn.close()
    return path


@pytest.mark.parametrize("suffix", ["", "-journal", "-wal", "-shm"])
def test_no_database_is_replaced_nor_what_belongs_to_one(tmp_path: Path, suffix: str) -> None:
    """Not with --force either, and not through a link."""
    database(tmp_path / "other.db")
    file = tmp_path / f"other.db{suffix}"
    if suffix:
        file.write_bytes(b"")
    before = file.read_bytes()
    link = tmp_path / "sheet.pdf"
    link.symlink_to(file)
    for name in (file, link):
        with pytest.raises(BadData, match="database"):
            write_whole(name, PDF, force=True)
    assert file.read_bytes() == before and link.is_symlink()


@pytest.mark.parametrize("suffix", ["", "-journal", "-wal", "-shm"])
def test_the_store_is_refused_before_it_exists_too(tmp_path: Path, suffix: str) -> None:
    """A journal written there would be rolled back into it."""
    with pytest.raises(BadData, match="belongs to the store"):
        write_whole(tmp_path / f"s.sqlite{suffix}", PDF, force=True, kept=[tmp_path / "s.sqlite"])
    assert left(tmp_path) == []


def test_a_hard_link_to_the_store_is_the_store(tmp_path: Path) -> None:
    """The file counts, not its name."""
    store = tmp_path / "s.sqlite"
    store.write_bytes(b"")
    (tmp_path / "a.pdf").hardlink_to(store)
    with pytest.raises(BadData, match="belongs to the store"):
        write_whole(tmp_path / "a.pdf", PDF, force=True, kept=[store])


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    """The sheet goes where it points; one that points to nothing is refused."""
    real = tmp_path / "real" / "sheet.pdf"
    real.parent.mkdir()
    real.write_bytes(b"%PDF old")
    link, loose = tmp_path / "link.pdf", tmp_path / "loose.pdf"
    link.symlink_to(real)
    loose.symlink_to(tmp_path / "nothing")
    write_whole(link, PDF)
    assert link.is_symlink() and real.read_bytes() == PDF
    with pytest.raises(BadData, match="link to nothing"):
        write_whole(loose, PDF, force=True)
    assert loose.is_symlink() and not (tmp_path / "nothing").exists()


def test_a_folder_a_pipe_and_a_socket_are_refused(tmp_path: Path) -> None:
    """None of them is opened, so nothing waits."""
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as plug:
        plug.bind(str(tmp_path / "plug"))
    for path in (tmp_path, tmp_path / "pipe", tmp_path / "plug"):
        with pytest.raises(BadData, match=r"folder|device or a pipe"):
            write_whole(path, PDF, force=True)


@pytest.mark.parametrize("name", ["no/such/folder/a.pdf", "x" * 300, "a\0b", "file/a.pdf"])
def test_a_name_that_cannot_be_is_a_clear_refusal(tmp_path: Path, name: str) -> None:
    """What the system says becomes words."""
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(BadData):
        write_whole(tmp_path / name, PDF)


def test_what_is_not_placed_leaves_nothing(tmp_path: Path) -> None:
    """An error between the two steps, for a file and a folder."""
    with pytest.raises(ZeroDivisionError), prepared(tmp_path / "a.pdf", PDF):
        raise ZeroDivisionError
    with pytest.raises(ZeroDivisionError), part_folder(tmp_path / "out") as part:
        (part.path / "inside").write_bytes(b"x")
        raise ZeroDivisionError
    assert left(tmp_path) == []


def test_the_names_of_parts_cannot_be_foreseen(tmp_path: Path) -> None:
    """Two runs, two names, neither the target's with a suffix that a link could be planted under."""
    names = set()
    for _ in range(2):
        with part_file(tmp_path / "a.pdf") as part:
            names.add(part.path.name)
    assert len(names) == 2 and all(len(name) > len("a.pdf") + 16 for name in names)


KILLED = """
import os, signal, sys
from pathlib import Path
from straycell.files.write import part_folder, prepared
folder = Path(sys.argv[1])
with prepared(folder / "a.pdf", b"%PDF"), part_folder(folder / "out"):
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_a_killed_run_left_is_cleaned_by_the_next(tmp_path: Path) -> None:
    """And only that: the part of a run that lives keeps its place, so do files of other names."""
    stranger = tmp_path / ".straycell-b.pdf-0123456789abcdef.part"
    stranger.write_bytes(b"%PDF")
    killed = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], check=False)
    assert killed.returncode == -signal.SIGKILL and len(left(tmp_path)) == 3
    with prepared(tmp_path / "a.pdf", PDF) as alive:
        write_whole(tmp_path / "a.pdf", b"%PDF other")
        assert alive.path.read_bytes() == PDF
        alive.place()
    with part_folder(tmp_path / "out") as part:
        part.place()
    assert left(tmp_path) == [stranger.name, "a.pdf", "out"]
    assert (tmp_path / "a.pdf").read_bytes() == PDF


def test_a_disk_that_is_full_leaves_the_old_file(tmp_path: Path) -> None:
    """Run with a limit on the size of files, as a full disk would."""
    old = tmp_path / "a.pdf"
    old.write_bytes(b"%PDF old")
    code = (
        "import resource, signal, sys; from pathlib import Path\n"
        "from straycell.errors import BadData; from straycell.files.write import write_whole\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "try: write_whole(Path(sys.argv[1]), b'%PDF' + b'x' * 5000)\n"
        "except BadData as fault: print(fault.what)\n"
    )
    said = subprocess.run([sys.executable, "-c", code, str(old)], check=True, capture_output=True, text=True)
    assert "cannot be written" in said.stdout
    assert old.read_bytes() == b"%PDF old" and left(tmp_path) == ["a.pdf"]
