"""Write what the commands print today into the README's blocks: `python -m tests.bless_readme`, then read the diff.

Lines `...` stay where they can be placed; the table of commands is written anew.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from tests.readme_walk import README, Step, Walk, command_table, fitted, renamed, renames, steps, table_place


def blessed(lines: list[str], folder: Path) -> list[str]:
    """The README's lines with every block as it is printed now."""
    walk, names = Walk(folder), dict[str, str]()
    fresh: list[tuple[Step, list[str]]] = []
    for step in steps(lines):
        command = [renamed(line, names) for line in lines[step.start : step.first]]
        printed = walk.do(replace(step, text=renamed(step.text, names)))
        fresh.append((step, [*command, *fitted(step.shown, printed)]))
        names |= renames(step.shown, printed)
    out = list(lines)
    for step, block in reversed(fresh):
        out[step.start : step.end] = block
    first, end = table_place(out)
    out[first:end] = command_table()
    return out


def main() -> int:
    """Bless the README; exit 0."""
    lines = README.read_text(encoding="utf-8").splitlines()
    with tempfile.TemporaryDirectory() as folder:
        new = blessed(lines, Path(folder))
    README.write_text("\n".join([*new, ""]), encoding="utf-8")
    print(f"{README}: {'as it was' if new == lines else 'changed, read the diff'}", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
