"""Three benches: in whatever order they meet, they say the same of a cell, also of a finding that a mistake voids."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from tests.acceptance.bench import FINE, NMC, Bench, day, good
from tests.laws.store_walk import said
from tests.store.store_bench import NOW, Shelf, charge, found

from straycell.cells import Stage
from straycell.keys import NEW
from straycell.store.merge.take_in import merge_store
from straycell.store.writer import Writer

LATER = NOW + timedelta(days=60)
Deed = Callable[[Writer, str], object]


def benches(first: Shelf, folder: Path) -> dict[str, Shelf]:
    """Benches A, B and C, each with a copy of the first store."""
    made = {"A": first}
    for letter in "BC":
        made[letter] = Shelf(folder / f"{letter}.sqlite", first.rules)
        shutil.copyfile(first.path, made[letter].path)
        with made[letter].writing(NOW) as writer:
            writer.take_letter(letter)
    return made


def merged(folder: Path, *shelves: Shelf) -> Shelf:
    """A copy of the first that takes in the others, one after the other."""
    made = Shelf(folder / "-".join(["m", *(s.path.stem for s in shelves)]), shelves[0].rules)
    shutil.copyfile(shelves[0].path, made.path)
    for other in shelves[1:]:
        with made.writing(LATER) as writer:
            writer.write(merge_store, other.path)
    return made


def rest(days: float, volt: float) -> Deed:
    """A rest voltage with a good meter, so many days after the tear-down."""
    (reading,) = Bench().rest(volt, days).readings
    return lambda writer, code: writer.add_readings([replace(reading, cell=code, id=NEW)])


def low(writer: Writer, code: str) -> None:
    """Found far below what such a cell bears."""
    writer.add_readings([found(code, 1.2, day(0.0))])


def mistyped(writer: Writer, code: str) -> None:
    """What rests on the chemistry falls."""
    writer.correct_cell(code, {"chemistry": "lco"}, "read it again", "mistyped")


@pytest.mark.parametrize("first", [1, -1], ids=["A writes first", "C writes first"])
@pytest.mark.parametrize(
    ("deeds", "falls"),
    [
        # A leak that only the rest voltages of both benches show, while C corrects the chemistry.
        ({"A": rest(3.2, 4.18), "B": rest(18.2, 4.05), "C": mistyped}, set()),
        # One that a bench found by itself: whoever corrects it elsewhere, the cell is tested again.
        ({"A": low, "B": rest(18.2, 4.17), "C": mistyped}, {"voltage-floor"}),
        ({"A": rest(18.2, 4.17), "B": low, "C": mistyped}, {"voltage-floor"}),
    ],
)
def test_a_finding_that_a_mistake_voids_is_the_same_in_every_order_of_merges(
    shelf: Shelf, tmp_path: Path, deeds: dict[str, Deed], falls: set[str], first: int
) -> None:
    """What only a merge found, and another voids, asks for nothing; what a bench found asks for new tests."""
    with shelf.writing(NOW) as writer:
        (code,) = (cell.code for cell in writer.add_cells(NMC))
        writer.add_meter(FINE)
        evidence = good(first=None, second=None).evidence()
        writer.add_readings([replace(each, cell=code, id=NEW) for each in evidence.readings])
        writer.add_charge(replace(evidence.charges[-1], cell=code, id=NEW))
    three = benches(shelf, tmp_path)
    for number, (letter, deed) in enumerate(deeds.items()):
        with three[letter].writing(NOW + timedelta(days=40, hours=first * number)) as writer:
            deed(writer, code)
    a, b, c = three.values()
    both = merged(tmp_path, a, b)
    with both.reading() as reader:
        assert reader.cell(code).stage is Stage.CONDEMNED
    orders = [
        merged(tmp_path, both, c),
        merged(tmp_path, a, merged(tmp_path, b, c)),
        merged(tmp_path, merged(tmp_path, c, a), b),
    ]
    one, *others = [said(each, when_found=False) for each in orders]
    assert all(other == one for other in others)
    with orders[0].reading() as reader:
        assert {fall.rule for fall in reader.evidence(code).falls} == falls


def test_a_chemistry_that_two_benches_corrected_alike_condemns_by_the_word_of_each(
    shelf: Shelf, tmp_path: Path
) -> None:
    """Charged to 4.20 V, and lfp after all: one of the two corrections taken back, the other still condemns."""
    (code,) = shelf.cells()
    three = benches(shelf, tmp_path)
    with three["C"].writing() as writer:
        writer.add_charge(charge(code))
    for letter in "AB":
        with three[letter].writing(NOW + timedelta(days=ord(letter))) as writer:
            writer.correct_cell(code, {"chemistry": "lfp"}, "read the sleeve", "mistyped")
    a, b, c = three.values()
    orders = [merged(tmp_path, merged(tmp_path, a, b), c), merged(tmp_path, b, merged(tmp_path, a, c))]
    left, right = (said(each, when_found=False) for each in orders)
    assert left == right
    with orders[0].reading() as reader:
        found = [f for f in reader.evidence(code).findings if f.rule == "voltage-over-full"]
    assert len({frozenset(f.basis) for f in found}) == 2
