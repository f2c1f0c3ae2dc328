"""Writes the generated half of the schema: `python -m straycell.store.schema.generate` after a change of the models.

Generated and committed, because reflecting the tables costs every command 50 to 90 ms and loading the models more.
A test compares the files with what this would write.
"""

import json
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Column
from sqlalchemy.dialects import sqlite
from sqlalchemy.schema import CreateIndex, CreateTable

from straycell.store.schema.models import METADATA

_HERE = Path(__file__).parent
_DIALECT = sqlite.dialect()
_KINDS = {
    "INTEGER": "Integer",
    "FLOAT": "Float",
    "BOOLEAN": "Boolean",
    "VARCHAR": "String",
    "BLOB": "LargeBinary",
}
_NOTICE = (
    "\n\nGenerated from schema/models: change those, then run `python -m straycell.store.schema.generate`.\n"
)


def tables_text() -> str:
    """The tables as queries see them: plain SQLAlchemy, without keys to other tables or checks."""
    lines = [f'"""The tables as queries see them.{_NOTICE}"""', ""]
    lines.append(
        "from sqlalchemy import Boolean, Column, Float, Integer, LargeBinary, MetaData, String, Table"
    )
    lines += ["", "_BOOK = MetaData()", ""]
    for table in METADATA.sorted_tables:
        lines += [f"{table.name.upper()} = Table(", f'    "{table.name}",', "    _BOOK,"]
        lines += [f"    {_column(column)}," for column in table.columns]
        lines.append(")")
    return "\n".join(lines) + "\n"


def _column(column: Column[object]) -> str:
    more = ", primary_key=True" if column.primary_key else ""
    default = getattr(column.default, "arg", None)
    if default is not None:
        more += f", default={json.dumps(default) if isinstance(default, str) else default}"
    return f'Column("{column.name}", {_KINDS[column.type.compile(_DIALECT)]}{more})'


def ddl_text() -> str:
    """The statements that make the tables and indexes of a new store."""
    lines = [
        f'"""The statements a new store is made with.{_NOTICE}"""',
        "",
        "# ruff: noqa: E501 - the statements are as the database keeps them",
        "STATEMENTS = (",
    ]
    for statement in statements():
        lines += ['    """', statement, '    """,']
    return "\n".join([*lines, ")"]) + "\n"


def statements() -> Iterator[str]:
    """Each table followed by its indexes, in an order that never changes."""
    for table in METADATA.sorted_tables:
        yield _tidy(str(CreateTable(table).compile(dialect=_DIALECT)))
        for index in sorted(table.indexes, key=lambda found: str(found.name)):  # a set: its order is chance
            yield _tidy(str(CreateIndex(index).compile(dialect=_DIALECT)))


def _tidy(text: str) -> str:
    # Blanks at line ends depend on the SQLAlchemy version, and the text is compared.
    return "\n".join(line.rstrip() for line in text.replace("\t", "    ").strip().splitlines())


FILES = {_HERE / "tables.py": tables_text, _HERE / "ddl.py": ddl_text}


def main() -> None:
    """Write both files."""
    for path, text in FILES.items():
        path.write_text(text(), encoding="utf-8")


if __name__ == "__main__":
    main()
