"""Two cells whose labels were mixed up: what was measured of one was measured of the other."""

from __future__ import annotations

from datetime import datetime

from straycell.bench.context import Bench
from straycell.bench.recording.record import Recorded, followed
from straycell.errors import BadData, UsageFault
from straycell.readings import Item, Mistake


def swap_cells(
    bench: Bench, first: str, second: str, because: str, since: datetime | None = None
) -> Recorded:
    """Move every reading and charge of two cells to the other one, each as taken on the wrong cell.

    Only those taken from `since` (UTC) on, where given. Findings fall and arise by the ordinary rule of a
    supersession. Raises UsageFault, BadData.
    """
    with bench.writing() as writer:
        a, b = writer.find_code(first), writer.find_code(second)
        if a == b:
            raise UsageFault(f"{a} cannot be mixed up with itself", "name two cells")
        # Gathered before anything moves, or the second cell would get back what it just received.
        moves = [
            (entry.item, there)
            for here, there in ((a, b), (b, a))
            for entry in writer.recorded(here, with_superseded=False)
            if since is None or entry.item.at >= since
        ]
        if not moves:
            raise BadData(f"nothing was measured of {a} and {b}", "check the codes and --since")
        made: list[Item] = []
        for item, there in moves:
            # Each by its own supersession: findings fall and arise by the one ordinary rule.
            made += writer.supersede(item.id, Mistake.WRONG_CELL.value, because, there, [])
        return followed(bench, writer, made, [a, b])
