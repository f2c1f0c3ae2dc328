"""The command line: one file a noun. `run` is the entry point; everything heavy is loaded behind it."""

from __future__ import annotations

import gc
import sys
from collections.abc import Sequence
from typing import NoReturn

COLLECT_AFTER = 100_000
"""New objects before garbage is looked for. Imports and bulk reading make no cycles: looking costs a tenth."""


def run(argv: Sequence[str] | None = None) -> NoReturn:
    """Run one command line and leave the process with its exit code."""
    gc.set_threshold(COLLECT_AFTER, 20, 20)
    from straycell.cli.app.app import main

    sys.exit(main(sys.argv[1:] if argv is None else argv))
