"""Keeps a small store of the present version for all later ones: python -m tests.store.keep_version

Once a version is released its file is never written again. Until the first release a change of the schema writes it
anew, and the commit says so.
"""

from __future__ import annotations

import gzip
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.store.store_bench import NOW, Shelf, fill, look

from straycell.cells import Look
from straycell.store.schema.create import VERSION

FOLDER = Path(__file__).parent / "kept"


def kept(version: int) -> tuple[Path, Path]:
    """The store of a version, packed, and what it must go on saying."""
    return FOLDER / f"version-{version}.sqlite.gz", FOLDER / f"version-{version}.json"


def summary(shelf: Shelf) -> dict[str, Any]:
    """What no later version may lose: cells and their facts, all that was recorded, what is out of use, the chain."""
    with shelf.reading() as reader, shelf.bare() as conn:
        return {
            "cells": {c.code: [c.facts.chemistry, c.facts.form, c.stage] for c in reader.cells()},
            "records": {
                code: [str(r.item.id) + (f" {r.mistake}" if r.mistake else "") for r in reader.recorded(code)]
                for code in reader.codes()
            },
            "out_of_use": reader.out_of_use(),
            "histories": {code: [e.verb for e in reader.history(code)] for code in reader.codes()},
            "writes": [key for (key,) in conn.execute('SELECT key FROM "write" ORDER BY id')],
        }


def main() -> int:
    """Write both files of the present version."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        shelf = Shelf(Path(name) / "kept.sqlite")
        fill(shelf)
        (leaking,) = shelf.good_cells(1)
        shelf.add(look(leaking, Look.LEAKING))
        packed, words = kept(VERSION)
        words.write_text(json.dumps(summary(shelf), indent=1) + "\n", encoding="utf-8")
        # Without a time in its header the same store is the same file.
        packed.write_bytes(gzip.compress(shelf.path.read_bytes(), mtime=0))
        with shelf.reading() as reader:
            assert reader.check(shelf.rules, NOW) == []
    print(f"{packed}: {packed.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
