"""Draw the pictures of the README from the sample workshop: `python -m tests.bless_pictures`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from straycell.acceptance import shipped_rules
from straycell.bench.context import Bench
from straycell.bench.paper.charts import yield_chart_of
from straycell.bench.paper.curves_of import rest_curves_of
from straycell.bench.paper.prints import stock_scatter
from straycell.store.sample.build import build_sample

FOLDER = Path(__file__).parents[1] / "sample_db"
SHOWN = "H00001K"
"""A cell that kept its charge, with nine siblings."""

PICTURES: dict[str, Callable[[Bench], bytes]] = {
    "stock.png": lambda bench: stock_scatter(bench).picture(dpi=100),
    "yield.png": lambda bench: yield_chart_of(bench).picture(dpi=100),
    "rest.png": lambda bench: rest_curves_of(bench, SHOWN).picture(dpi=100),
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
