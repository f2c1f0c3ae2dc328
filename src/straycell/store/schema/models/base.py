"""What all tables share: one register, and how keys, checks and indexes are named."""

from sqlalchemy import MetaData
from sqlalchemy.orm import registry
from sqlmodel import Field, SQLModel

_NAMES = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
}
_BOOKS = registry(metadata=MetaData(naming_convention=_NAMES))


class StoreTable(SQLModel, registry=_BOOKS):
    """Base of all tables, with a register of its own. Its validators are never built: rows are checked before."""

    model_config = {"defer_build": True}


class Numbered(StoreTable):
    """Rows under numbers that only grow, in the order they were written here."""

    id: int | None = Field(default=None, primary_key=True)


class Keyed(StoreTable):
    """Things that other rows refer to: their key is the same on every bench."""

    key: str = Field(primary_key=True)


class OfCell(Numbered):
    """What was recorded of a cell, under a key that is the same on every bench."""

    key: str
    code: str = Field(foreign_key="cell.code")
