"""What is out of use, or held for a sibling, is not let go by a correction of something else."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import NOW, Shelf, look

from straycell.acceptance.reasons import Outcome
from straycell.cells import Look
from straycell.errors import BadData


@pytest.mark.parametrize("to", ["2", None])
def test_a_cell_does_not_leave_the_pack_of_a_leaking_one_without_a_mistake(
    shelf: Shelf, to: str | None
) -> None:
    """Said to be mistyped it may; the hold then goes with the pack."""
    with shelf.writing(NOW) as writer:
        torn = writer.add_teardown("garden lantern", "lamp")
        kept, leaking = (c.code for c in writer.add_cells(NMC, count=2, teardown=torn.code, pack="1"))
        writer.add_readings([look(leaking, Look.LEAKING)])
    with pytest.raises(BadData, match=f"same pack as {leaking}"), shelf.writing(NOW) as writer:
        writer.correct_cell(kept, {}, "other pack", None, pack=to)
    with shelf.writing(NOW) as writer:
        writer.correct_cell(kept, {}, "other pack", "mistyped", pack=to)
        assert writer.cell(kept).pack == to


def test_an_uncertainty_typed_into_a_list_takes_no_guard_band_off(shelf: Shelf, tmp_path: Path) -> None:
    """2.0000 V with u = 0 and no meter is within the cautious error of the floor, so it is no pass."""
    with shelf.writing(NOW) as writer:
        (code,) = [c.code for c in writer.add_cells(NMC)]
    file = tmp_path / "found.csv"
    file.write_text(f"code,at,quantity,value,unit,u\n{code},{NOW.isoformat()},as-found-voltage,2.0000,V,0\n")
    with shelf.writing(NOW + timedelta(minutes=1)) as writer:
        assert writer.import_readings(file).refused == ()
    with shelf.reading() as reader:
        assert reader.verdict(code, shelf.rules, NOW + timedelta(minutes=2)).outcome is Outcome.DISCARD
