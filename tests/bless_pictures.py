"""Draw the pictures of the README from the sample workshop: `python -m tests.bless_pictures`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from straycell.acceptance import shipped_rules
from straycell.bench.context import Bench
from straycell.bench.paper.prints import rest_picture, stock_png, yield_picture
from straycell.store.sample.build import build_sample

FOLDER = Path(__file__).parents[1] / "sample_db"
SHOWN = "H00001K"
"""A cell that kept its charge, with nine siblings."""

PICTURES: dict[str, Callable[[Bench], bytes]] = {
    "stock.png": stock_png,
    "yield.png": lambda bench: yield_picture(bench, "png"),
    "rest.png": lambda bench: rest_picture(bench, SHOWN, "png"),
}


def sample_bench(folder: Path) -> Bench:
    """The sample workshop on its own evening."""
    store, rules = folder / "sample.sqlite", shipped_rules()
    sample = build_sample(store, rules)
    return Bench(store, rules, sample.now)


def main() -> int:
    """Write the pictures; exit 0."""
    with tempfile.TemporaryDirectory() as folder:
        bench = sample_bench(Path(folder))
        for name, draw in PICTURES.items():
            (FOLDER / name).write_bytes(draw(bench))
            print(f"{FOLDER / name}: written", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
