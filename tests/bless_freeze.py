"""Write today's answers about the sample workshop: `python -m tests.bless_freeze`, then read the diff."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.freeze.workshop import FROZEN, answers
from tests.sample.sample_store import NAME, build


def main() -> int:
    """Bless the answers; exit 0."""
    before = FROZEN.read_text(encoding="utf-8") if FROZEN.exists() else ""
    with tempfile.TemporaryDirectory() as folder:
        build(Path(folder))
        now = "\n".join([*answers(Path(folder) / NAME), ""])
    FROZEN.write_text(now, encoding="utf-8")
    print(f"{FROZEN}: {'as it was' if now == before else 'changed, read the diff'}", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
