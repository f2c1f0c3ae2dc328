"""What is out of use, or held for a sibling, is not let go by a correction of something else."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import NOW, Shelf, look

from straycell.acceptance.reasons import Outcome
from straycell.cells import Look
from straycell.store.exchange.readings import import_readings


@pytest.mark.parametrize("to", ["2", None])
def test_a_cell_that_leaves_the_pack_of_a_leaking_one_takes_the_hold_along(
    shelf: Shelf, to: str | None
) -> None:
    """Said to be mistyped it never was there, and the hold stays behind."""
    with shelf.writing(NOW) as writer:
        torn = writer.add_teardown("garden lantern", "lamp")
        made = writer.add_cells(NMC, count=3, teardown=torn.code, pack="1")
        moved, never_there, leaking = (cell.code for cell in made)
        writer.add_readings([look(leaking, Look.LEAKING)])
        writer.correct_cell(moved, {}, "other pack", None, pack=to)
        writer.correct_cell(never_there, {}, "never was there", "mistyped", pack=to)
        assert [sign.code for sign in writer.evidence(moved).sibling_signs] == [leaking]
        assert writer.evidence(never_there).sibling_signs == ()


def test_an_uncertainty_typed_into_a_list_takes_no_guard_band_off(shelf: Shelf, tmp_path: Path) -> None:
    """2.0000 V with u = 0 and no meter is within the cautious error of the floor, so it is no pass."""
    with shelf.writing(NOW) as writer:
        (code,) = [c.code for c in writer.add_cells(NMC)]
    file = tmp_path / "found.csv"
    file.write_text(f"code,at,quantity,value,unit,u\n{code},{NOW.isoformat()},as-found-voltage,2.0000,V,0\n")
    with shelf.writing(NOW + timedelta(minutes=1)) as writer:
        assert writer.write(import_readings, file).refused == ()
    with shelf.reading() as reader:
        assert reader.verdict(code, shelf.rules, NOW + timedelta(minutes=2)).outcome is Outcome.DISCARD
