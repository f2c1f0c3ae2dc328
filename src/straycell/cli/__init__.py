"""The command line: one file a noun. `run` is the entry point; everything heavy is loaded behind it."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import NoReturn


def run(argv: Sequence[str] | None = None) -> NoReturn:
    """Run one command line and leave the process with its exit code."""
    from straycell.cli.app import main

    sys.exit(main(sys.argv[1:] if argv is None else argv))
