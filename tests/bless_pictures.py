"""Draw the pictures of the README from the sample workshop: `python -m tests.bless_pictures`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from straycell.acceptance import shipped_rules
from straycell.bench.cell_list import Listed, Wanted, cell_list
from straycell.bench.paper.prints import points_of
from straycell.pictures.stock import stock_picture
from straycell.store.reader import open_reader
from straycell.store.sample.build import build_sample

FOLDER = Path(__file__).parents[1] / "sample_db"


def sample_listed(folder: Path) -> list[Listed]:
    """The cells of the sample workshop on its own evening."""
    store = folder / "sample.sqlite"
    sample = build_sample(store, shipped_rules())
    with open_reader(store) as reader:
        return cell_list(reader, shipped_rules(), sample.now, Wanted())


def main() -> int:
    """Write the pictures; exit 0."""
    with tempfile.TemporaryDirectory() as folder:
        listed = sample_listed(Path(folder))
    points = points_of(listed)
    picture = FOLDER / "stock.png"
    picture.write_bytes(stock_picture(points, len(listed) - len(points), dpi=110))
    print(f"{picture}: written", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
