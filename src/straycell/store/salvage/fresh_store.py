"""`store salvage BROKEN NEW`: what is readable of a damaged file goes into a fresh store, and what was lost is listed."""

import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from string import ascii_uppercase

from sqlalchemy import Connection

from straycell.acceptance import RuleSet
from straycell.errors import BadData, StoreFault
from straycell.files.write import part_file
from straycell.store.carry import Former
from straycell.store.check import MOST
from straycell.store.photograph_files import bring, folder_of
from straycell.store.reader import open_reader
from straycell.store.salvage.fill import Filled, fill
from straycell.store.salvage.gather import TABLES, Gathered, gather
from straycell.store.schema.ddl import STATEMENTS
from straycell.store.sqlite.engine import connected, os_faults, require_file, store_faults, writing_engine
from straycell.store.sqlite.file import first_pages, roll_back
from straycell.store.writer import open_writer


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What the fresh store holds, and in words what was lost."""

    bench: str
    cells: int
    readings: int
    findings: int
    lost: tuple[str, ...]


def salvage_store(broken: Path, new: Path, *, now: datetime, rules: RuleSet) -> Salvaged:
    """Make the store `new` of what can be read of `broken`, which is not changed. Every cell is on hold there.

    Raises StoreFault (nothing can be read), BadData (`new` is there already, or cannot be).
    """
    require_file(broken)
    if new.exists():
        raise BadData(f"{new} is there already", "name a new file: what is salvaged replaces nothing")
    if not new.parent.is_dir():
        raise BadData(f"the folder {new.parent} does not exist", "make it first, or name another")
    with part_file(new, mode=0o600) as part, part_file(new.with_name(f"{new.name}.rows"), mode=0o600) as heap:
        with _rolled_back(broken, new) as file, store_faults(heap.path), _staging(heap.path) as staging:
            with os_faults(broken):
                gathered = gather(file, first_pages(STATEMENTS), staging)
            if not any(gathered.rows[name] for name in ("cell", "reading", "event_cell")):
                raise StoreFault("holds no cell that can be read", "take an older copy of it", file=broken)
            former = _former(staging)
            letter = former.letter or _unused_letter(staging)
            with open_writer(part.path, now=now, rules=rules, bench=letter) as writer:
                filled = fill(writer.pen, staging, former)
            lost = tuple(_lost(staging, gathered, filled, former.letter, letter))
        with open_reader(part.path) as reader:
            # Before the check, which names what is missing of them.
            bring(folder_of(broken), folder_of(new))
            faults = reader.check(rules, now, new)
        part.place()
    left = tuple(f"left to put right: {fault}" for fault in faults)
    return Salvaged(letter, filled.held, filled.put["reading"], filled.put["finding"], lost + left)


@contextmanager
def _staging(path: Path) -> Iterator[Connection]:
    """Tables without constraints in a file that goes away with the transaction."""
    with connected(writing_engine(path, create=True)) as conn, conn.begin() as transaction:
        yield conn
        transaction.rollback()


@contextmanager
def _rolled_back(broken: Path, new: Path) -> Iterator[Path]:
    """The damaged file as its last complete write left it, where a journal beside it still says how."""
    journal = broken.with_name(broken.name + "-journal")
    if not journal.exists():
        yield broken
        return
    with part_file(new.with_name(f"{new.name}.copy"), mode=0o600) as copy, os_faults(broken):
        beside = copy.path.with_name(copy.path.name + "-journal")
        shutil.copyfile(broken, copy.path)
        shutil.copyfile(journal, beside)
        roll_back(copy.path)
        beside.unlink(missing_ok=True)
        yield copy.path


def _former(staging: Connection) -> Former:
    """The bench's letter and its last numbers, where its row is whole."""
    row = staging.exec_driver_sql("SELECT * FROM bench").first()
    if row is None or row.letter not in set(ascii_uppercase):
        return Former()
    counters = {name: value for name, value in row._mapping.items() if name.startswith("last_")}
    if (
        not all(isinstance(n, int) and 0 <= n <= 9_999_999 for n in counters.values())
        or row.last_cell > 99_999
    ):
        return Former()
    return Former(row.letter, counters)


def _unused_letter(staging: Connection) -> str:
    """A letter that nothing in the file begins with: nobody knows which numbers the lost one has given out."""
    used = set[str]()
    for name, table in TABLES.items():
        for column in ("code", "key", "bench", "record"):
            if column in table.columns:
                rows = staging.exec_driver_sql(f'SELECT DISTINCT substr("{column}", 1, 1) FROM "{name}"')
                used |= {str(row[0]) for row in rows}
    free = [letter for letter in ascii_uppercase if letter not in used]
    if not free:
        raise StoreFault("the bench's own row is lost, and every letter is in use", "take an older copy")
    return free[0]


# --- what was lost ---------------------------------------------------------------------------------


def _lost(staging: Connection, gathered: Gathered, filled: Filled, former: str, letter: str) -> Iterator[str]:
    if gathered.promised > gathered.pages:
        yield f"the file is cut off: {gathered.pages} of its {gathered.promised} pages are there"
    if not former:
        yield f"the row of the bench: the new store is bench {letter}, so that no number is given out twice"
    for name, table in TABLES.items():
        if name != "event_cell":
            yield from _gaps(staging, name, table.name.replace("_", " "))
    for name, count in gathered.unreadable.items():
        if count:
            yield f"{count} rows of {name.replace('_', ' ')} that are there and cannot be read"
    if gathered.loose:
        yield f"{gathered.loose} pages with rows of which nothing says what they are"
    yield from _some(filled.refused)
    yield from _some(f"{what}: only its code is left" for what in filled.bare)
    yield from _some(f"{what} is not known any more" for what in filled.unknown)
    yield from _some(filled.writes)
    if filled.uncounted:
        yield (
            f"{filled.uncounted} readings and charges are kept and do not count: something that was recorded of "
            "the same cells is lost"
        )


def _some(listed: Iterable[str]) -> Iterator[str]:
    found = iter(listed)
    yield from islice(found, MOST)
    if (more := sum(1 for _ in found)) > 0:
        yield f"and {more} more of this kind"


def _gaps(staging: Connection, name: str, words: str) -> Iterator[str]:
    """Rows are numbered one after the other and never removed, so a number that is not there was lost."""
    query = f'SELECT rowid, coalesce(lag(rowid) OVER (ORDER BY rowid), 0) FROM "{name}"'
    gaps = [
        (before + 1, at - 1)
        for at, before in staging.exec_driver_sql(f"SELECT * FROM ({query}) AS found WHERE 1")
        if at > before + 1
    ]
    if gaps and name != "bench":
        missing = sum(last - first + 1 for first, last in gaps)
        listed = ", ".join(f"{first} to {last}" if last > first else str(first) for first, last in gaps[:10])
        yield f"{missing} rows of {words} (row {listed}{', ...' if len(gaps) > 10 else ''})"
