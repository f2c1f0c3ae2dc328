"""The tables of identity: what was written when, by which bench, on top of which writes; facts and findings."""

from sqlalchemy import ForeignKeyConstraint, Index, UniqueConstraint, text
from sqlmodel import Field

from straycell.readings import Mistake
from straycell.store.schema.checks import check, code_shape, moment, one_of, said, within
from straycell.store.schema.models.base import Numbered, StoreTable


class BenchRow(Numbered, table=True):
    """The one row of the bench itself: its letter, the last numbers it gave out, the writes nothing follows yet.

    Numbers never go back: not by a restore either, or two records would bear one number.
    """

    __tablename__ = "bench"
    __table_args__ = (
        check("one_row", "id = 1"),
        check("letter", "letter GLOB '[A-Z]'"),
        within("last_cell", 0, 99999),
        within("last_teardown", 0, 9999999),
        *(
            check(f"last_{of}", f"last_{of} >= 0")
            for of in ("reading", "trace", "handover", "record", "write")
        ),
    )
    letter: str
    last_cell: int = 0
    last_teardown: int = 0
    last_reading: int = 0
    last_trace: int = 0
    last_handover: int = 0
    last_record: int = 0
    last_write: int = 0
    heads: str = ""
    created_at_us: int


class WriteRow(Numbered, table=True):
    """One transaction. Append-only. `key` is the hash of its parents' keys and of all its rows.

    A merge belongs to no bench (empty letter, number 0): it has the same key on whichever side it is made.
    """

    __tablename__ = "write"
    __table_args__ = (
        check("bench", "bench GLOB '[A-Z]' OR bench = ''"),
        check("number", "(number > 0) = (bench <> '') AND number >= 0"),
        check("key", "length(key) = 64"),
        moment("at_us"),
        said("verb"),
        UniqueConstraint("key"),
        Index("ux_write_number", "bench", "number", unique=True, sqlite_where=text("bench <> ''")),
    )
    bench: str
    number: int
    key: str
    parents: str = ""
    at_us: int
    verb: str
    detail: str = "{}"


class EventRow(Numbered, table=True):
    """One thing done, as a person reads it; a write holds one or more. Append-only."""

    __tablename__ = "event"
    # The hash of a write needs all its rows, so its own row comes last: the key is checked at the commit.
    __table_args__ = (
        moment("at_us"),
        said("verb"),
        ForeignKeyConstraint(["write_id"], ["write.id"], deferrable=True, initially="DEFERRED"),
        Index(None, "write_id"),
    )
    write_id: int
    at_us: int
    verb: str
    subject: str = ""
    detail: str = "{}"
    because: str = ""


class EventCellRow(StoreTable, table=True):
    """Which cells a write concerned. Append-only."""

    __tablename__ = "event_cell"
    __table_args__ = (Index(None, "code", "event_id"), {"sqlite_with_rowid": False})
    event_id: int = Field(primary_key=True, foreign_key="event.id")
    code: str = Field(primary_key=True, foreign_key="cell.code")


class FactRow(Numbered, table=True):
    """One field of one thing (a cell, a tear-down, a project, a build, a hand-over) said again. Append-only.

    What it was born with is in the thing's own row. `entry` is this entry's number, `over` the entries it
    takes the place of ("born" the first): of two benches that correct apart, neither is over the other.
    """

    __tablename__ = "fact"
    __table_args__ = (
        said("subject"),
        said("field"),
        check("entry", "entry GLOB '[A-Z]-[1-9]*' OR entry GLOB '+*'"),
        said("over"),
        one_of("mistake", ("", Mistake.MISTYPED)),
        UniqueConstraint("subject", "field", "entry"),
        Index(None, "field"),
    )
    subject: str
    field: str
    entry: str
    value: str
    mistake: str = ""
    over: str
    event_id: int = Field(foreign_key="event.id")


class FindingRow(Numbered, table=True):
    """A shipped rule condemned a cell. Append-only. `digest` is the hash of cell, rule, limit and basis.

    Two benches may have found the same apart: then it is here twice, in the write of each.

    `basis` is a JSON list of the keys of all it rests on; `observed` and `bound` are JSON: a number or a word.
    `at_us` is when the newest record of the basis was taken.
    """

    __tablename__ = "finding"
    __table_args__ = (
        check("digest", "length(digest) = 64"),
        code_shape(),
        said("rule"),
        check("expanded_uncertainty", "expanded_uncertainty >= 0"),
        moment("at_us"),
        Index(None, "digest"),
        Index(None, "code"),
        ForeignKeyConstraint(["write_id"], ["write.id"], deferrable=True, initially="DEFERRED"),
    )
    digest: str
    code: str = Field(foreign_key="cell.code")
    rule: str
    basis: str
    words: str
    observed: str = "null"
    expanded_uncertainty: float | None = None
    bound: str = "null"
    unit: str = ""
    source: str = ""
    safety: bool = False
    at_us: int
    write_id: int


class FindingFellRow(Numbered, table=True):
    """A finding is void: `key`, which it rests on, was withdrawn as a mistake. Append-only."""

    __tablename__ = "finding_fell"
    __table_args__ = (
        check("digest", "length(digest) = 64"),
        said("key"),
        Index(None, "digest"),
        ForeignKeyConstraint(["write_id"], ["write.id"], deferrable=True, initially="DEFERRED"),
    )
    digest: str
    key: str
    write_id: int
