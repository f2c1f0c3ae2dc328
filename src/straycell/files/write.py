"""Files that commands write: whole or not at all, and in the place of nothing that somebody would miss.

A file grows under a name that cannot be guessed, in the folder it is meant for, and takes its place by rename. A run
that was killed leaves that part behind; the next write of the same name takes it away.
"""

import os
import re
import secrets
import shutil
import stat
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from straycell.errors import BadData, UsageFault

try:
    import fcntl
except ImportError:  # another system: parts are not locked there, and not swept
    fcntl = None  # type: ignore[assignment]

_SQLITE = b"SQLite format 3\0"
# The first bytes of a rollback journal and of a write-ahead log (sqlite.org/fileformat2.html).
_SQLITE_HELPERS = (b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7", b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")
# A journal that is overwritten cannot be rolled back: the database beside it is then torn.
_SQLITE_SUFFIXES = ("-journal", "-wal", "-shm")
_KINDS = {b"%PDF": "a PDF", b"\x89PNG": "a PNG", b"BEGIN:VCALENDAR": "an iCalendar file", b"<svg": "an SVG"}
_SUFFIXES = {"a PDF": ".pdf", "a PNG": ".png", "an iCalendar file": ".ics", "an SVG": ".svg"}
# A name that cannot be guessed: in a shared folder nobody can put a link there beforehand.
_PART = ".straycell-{name}-{token}.part"
_HEAD, _SHOWN, _TRIES = 64, 40, 5


@dataclass(slots=True)
class Part:
    """A file or folder in the making. `place` gives it its name; one that was not placed is removed."""

    path: Path
    target: Path
    placed: bool = field(default=False, init=False)

    def place(self) -> None:
        """Put it where it belongs, for good. Raises BadData; the part is then removed and what was there stays."""
        try:
            # rename(2) is atomic: a reader sees the old file or the new one, never half of one.
            self.path.replace(self.target)
        except OSError as fault:
            raise cannot_write(self.target, fault) from None
        self.placed = True
        _keep_entry(self.target.parent)


def second_name(source: Path, target: Path) -> None:
    """Give a file one more name, or copy it where the file system has no links. Raises OSError."""
    try:
        target.hardlink_to(source)
    except FileExistsError:
        raise
    except OSError:
        shutil.copy2(source, target)


def write_whole(path: Path, content: bytes, *, force: bool = False, kept: Iterable[Path] = ()) -> None:
    """Write `content` under `path`, whole or not at all. Raises as `target_of` does."""
    with prepared(path, content, force=force, kept=kept) as part:
        part.place()


@contextmanager
def prepared(path: Path, content: bytes, *, force: bool = False, kept: Iterable[Path] = ()) -> Iterator[Part]:
    """`content` on the disk beside `path`, to be placed by the caller when all else is done.

    Raises as `target_of`, and, without `force`, UsageFault for a suffix that belongs to another kind of file: programs go by it.
    """
    target = target_of(path, content, force=force, kept=kept)
    if not force:
        _require_suffix(path, content)
    with part_file(target) as part:
        try:
            with part.path.open("r+b") as stream:
                stream.write(content)
                stream.flush()
                # Without it a power cut after the rename may leave a file of zero bytes under the right name.
                os.fsync(stream.fileno())
        except OSError as fault:
            raise cannot_write(part.target, fault) from None
        yield part


@contextmanager
def part_file(target: Path, mode: int = 0o666) -> Iterator[Part]:
    """An empty file beside `target` for the caller to fill; `mode` as `open` has it, less the umask.

    Raises BadData when the folder takes no file.
    """
    with _part(target, lambda path: os.close(os.open(path, _NEW, mode)), _remove_file) as part:
        with suppress(OSError):
            # The replaced file's permissions were somebody's decision.
            part.path.chmod(stat.S_IMODE(target.stat().st_mode))
        yield part


@contextmanager
def part_folder(target: Path) -> Iterator[Part]:
    """A new folder beside `target`, which is missing or an empty folder, for the caller to fill. Raises BadData."""
    target = _followed(target)
    try:
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            raise BadData(f"{target} is there already and not an empty folder", "name a new folder")
        # The folder a shell is in would vanish under it.
        if target.exists() and (target.samefile(Path.cwd()) or target.is_mount()):
            raise BadData(f"{target} is the folder you are in", "name a new folder")
    except OSError as fault:
        raise cannot_write(target, fault) from None
    with _part(target, lambda path: path.mkdir(), shutil.rmtree) as part:
        yield part


def target_of(path: Path, content: bytes, *, force: bool, kept: Iterable[Path]) -> Path:
    """The file that a write to `path` would make or replace; a link is followed.

    Raises BadData for a folder, a device, a pipe, a link to nothing, a database or a file in `kept` with what lies
    beside it, and, without `force`, for a file of another kind than `content`.
    """
    target = _followed(path)
    if _kept(target, kept):
        raise BadData(f"{path} belongs to the store", "name another file: it would be destroyed")
    try:
        found = target.lstat()
    except FileNotFoundError:
        if not target.parent.is_dir():
            raise BadData(
                f"the folder {target.parent} does not exist", "make it first, or name another"
            ) from None
        return target
    except OSError as fault:
        raise cannot_write(target, fault) from None
    if stat.S_ISDIR(found.st_mode):
        raise BadData(f"{path} is a folder", "name a file")
    # Renaming over /dev/null or a pipe would replace the device for every program.
    if not stat.S_ISREG(found.st_mode):
        raise BadData(f"{path} is a device or a pipe, not a file", "name a file")
    _require_kind(path, target, content, force)
    return target


def cannot_write(path: Path, fault: OSError) -> BadData:
    """What the system said of a write, as a fault of that file."""
    why = fault.strerror or "the system refuses"
    return BadData(f"{path} cannot be written: {why}", "check the folder, its permissions and the space left")


def _followed(path: Path) -> Path:
    try:
        # A link is a person's choice of place: its target is written, and the link stays.
        target = Path(os.path.realpath(path))
        if path.is_symlink() and not target.exists():
            raise BadData(f"{path} is a link to nothing ({target})", "name the file itself")
    except OSError as fault:
        raise cannot_write(path, fault) from None
    except ValueError:
        raise BadData(f"{path}: no file can have such a name", "name another file") from None
    return target


def _kept(target: Path, kept: Iterable[Path]) -> bool:
    for path in kept:
        real = Path(os.path.realpath(path))
        if target in (real, *(real.with_name(real.name + suffix) for suffix in _SQLITE_SUFFIXES)):
            return True
        # The same file may have two names (hard links), which only device and inode tell.
        with suppress(OSError):
            if target.samefile(real):
                return True
    return False


def _require_kind(path: Path, target: Path, content: bytes, force: bool) -> None:
    try:
        with target.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as fault:
        raise cannot_write(target, fault) from None
    if head.startswith((_SQLITE, *_SQLITE_HELPERS)) or (
        target.name.endswith(_SQLITE_SUFFIXES) and _beside_database(target)
    ):
        raise BadData(f"{path} is a database, or belongs to one", "name another file: it would be destroyed")
    wanted = _kind(content)
    # A mistyped name must not cost a photograph: only its own kind of file is replaced unasked.
    if head and not force and (wanted is None or _kind(head) != wanted):
        what = wanted or "what goes there"
        raise BadData(f"{path} is there already and is not {what}", "name another file, or add --force")


def _require_suffix(path: Path, content: bytes) -> None:
    """A name without any suffix promises nothing and is taken."""
    kind = _kind(content)
    if kind is not None and path.suffix.lower() not in ("", _SUFFIXES[kind]):
        raise UsageFault(
            f"{path.name} does not fit: this command writes {kind}", f"name it {path.stem}{_SUFFIXES[kind]}"
        )


def _beside_database(target: Path) -> bool:
    base = next(target.name.removesuffix(s) for s in _SQLITE_SUFFIXES if target.name.endswith(s))
    try:
        with target.with_name(base).open("rb") as file:
            return file.read(len(_SQLITE)) == _SQLITE
    except (OSError, ValueError):
        return False


def _kind(content: bytes) -> str | None:
    return next((kind for sign, kind in _KINDS.items() if content.startswith(sign)), None)


_NEW = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)


@contextmanager
def _part(target: Path, make: Callable[[Path], object], remove: Callable[[Path], object]) -> Iterator[Part]:
    _sweep(target)
    for _ in range(_TRIES):
        part = Part(
            target.with_name(_PART.format(name=target.name[:_SHOWN], token=secrets.token_hex(8))), target
        )
        try:
            make(part.path)
        except OSError as fault:
            raise cannot_write(target, fault) from None
        # The kernel drops a lock with its process, so a lock that is free marks a part whose run is dead.
        lock = _locked(part.path)
        # Before its lock was taken another run may have swept it away.
        if part.path.exists():
            break
    try:
        yield part
    finally:
        if not part.placed:
            with suppress(OSError):
                remove(part.path)
        if lock is not None:
            os.close(lock)


def _remove_file(path: Path) -> None:
    path.unlink(missing_ok=True)


def _locked(path: Path) -> int | None:
    """A handle whose lock says that the run which makes this part lives; None when it cannot be had."""
    if fcntl is None:
        return None
    handle = None
    with suppress(OSError):
        # O_NOFOLLOW: a link planted under the name must not lock, and later remove, another file.
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return handle
    if handle is not None:
        os.close(handle)
    return None


def _sweep(target: Path) -> None:
    """Remove parts of this name whose run was killed: nobody holds their lock any more."""
    name = re.escape(_PART.format(name=target.name[:_SHOWN], token="TOKEN")).replace("TOKEN", "[0-9a-f]{16}")
    with suppress(OSError):
        for path in [p for p in target.parent.iterdir() if re.fullmatch(name, p.name)]:
            lock = _locked(path)
            if lock is None:
                continue
            # In a shared folder other people's parts are theirs.
            if os.fstat(lock).st_uid == os.getuid():
                with suppress(OSError):
                    shutil.rmtree(path) if path.is_dir() else path.unlink()
            os.close(lock)


def _keep_entry(folder: Path) -> None:
    """A rename lasts through a power cut only when its folder is on the disk too (fsync(2))."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
