"""What a kill can meet beside a command line: a migration to an invented next version, and a page that records."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from tests.cli.bench import Bench
from tests.store.schema.test_schema import INVENTED
from tests.stress.rig import NOW
from tests.web.rig import Page

from straycell.cli.app.app import main
from straycell.store.schema import create
from straycell.store.schema.migrations import run

NEXT = create.VERSION + 1


def upgrading(folder: Path) -> Callable[[], int]:
    """A child that knows one version more and brings the store up to it."""
    migrations = folder / "migrations"
    migrations.mkdir(exist_ok=True)
    (migrations / "next.py").write_text(INVENTED.format(old=create.VERSION, new=NEXT), encoding="utf-8")

    def work() -> int:
        run.LOCATIONS.append(migrations)
        create.VERSION = NEXT
        return main(["store", "upgrade"])

    return work


def recording(store: Path, code: str, grams: list[float], told: Path) -> Callable[[], int]:
    """A child that serves the page and records a mass after the other; what the phone was told of is in `told`."""

    def work() -> int:
        page = Page(Bench(store, NOW))
        page.pair()
        with told.open("w") as heard:
            for mass_g in grams:
                answer = page.send(f"/cell/{code}/record/mass", mass_g=str(mass_g))
                if answer.url.path != f"/cell/{code}":
                    return 5
                heard.write(f"{mass_g}\n")
                heard.flush()
        return 0

    return work


def version_and_rows(store: Path) -> tuple[int, dict[str, list[tuple[object, ...]]]]:
    """The version, and what no migration may lose; to open it is also to finish what a killed one left."""
    with closing(sqlite3.connect(store)) as conn:
        rows = {
            table: conn.execute(f"SELECT {columns} FROM {table} ORDER BY 1").fetchall()
            for table, columns in {
                "cell": "code, stage, born",
                "upset": "key, code, kind",
                "reading": "key, code, value",
                "write": "key",
            }.items()
        }
        assert conn.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return int(conn.execute("PRAGMA user_version").fetchone()[0]), rows
