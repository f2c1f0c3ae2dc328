"""A cell that is out of use is laid apart: nobody is told to store and measure it, and none to hand over what has left."""

from __future__ import annotations

import pytest
from tests.cli.bench import Bench


@pytest.fixture
def two(bench: Bench) -> tuple[str, str]:
    """A swollen cell and one that nothing is known of, and a box."""
    bad, new = (c["code"] for c in bench.prepare("cell add --form 18650 --chemistry nmc --count 2"))
    bench.prepare(f"reading add {bad} --look swollen")
    bench.prepare("box add tin --kind 'metal box'")
    return str(bad), str(new)


def test_a_swollen_cell_in_its_box_is_not_measured_again(bench: Bench, two: tuple[str, str]) -> None:
    """Moved by code or by scanner; a sound one beside it keeps the words of storing."""
    bad, new = two
    said = " ".join(bench.run(f"cell move {bad} tin").err.split())
    assert "every three months" not in said and "in dry sand" in said and "Tape" in said
    bench.prepare("box add shelf")
    assert "every three months" in " ".join(bench.run(f"cell move {new} shelf").err.split())


def test_what_has_left_the_house_asks_for_nothing(bench: Bench, two: tuple[str, str]) -> None:
    """Its page says that it is gone, and proposes no hand-over; before that it did."""
    bad, _ = two
    assert "handover add" in bench.run(f"cell show {bad}").out
    bench.do("handover add yard")
    bench.do("handover close 1")
    page = bench.run(f"cell show {bad}").out
    assert "it has left the house with a hand-over" in page and "handover add" not in page
