"""What lies in each box, and one box against what was scanned in it."""

from collections.abc import Sequence
from dataclasses import dataclass

from straycell.bench.context import Bench, Reader
from straycell.safety.due.gather import due_now, survey
from straycell.safety.stock import BoxStock, take_stock


def boxes_now(bench: Bench, *, with_due: bool = True) -> list[BoxStock]:
    """Every box as it is now; without what is due in it where only its energy is looked at."""
    with bench.reading() as reader:
        household = reader.household(bench.rules, bench.now)
        limits = {box.name: box.limit_wh for box in reader.boxes()}
    # The same survey as `due`: a box must not look calm here and urgent there.
    return take_stock(household, limits, due_now(survey(household), bench.now) if with_due else ())


@dataclass(frozen=True, slots=True)
class Inventory:
    """Codes by what the scan says: in the box as recorded, recorded there and not scanned, scanned and recorded
    elsewhere (with that box, None: in no box), and not cells of this store.
    """

    box: str
    here: tuple[str, ...]
    missing: tuple[str, ...]
    not_expected: tuple[tuple[str, str | None], ...]
    not_known: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        return not (self.missing or self.not_expected or self.not_known)


def take_inventory(reader: Reader, box: str, scanned: Sequence[str]) -> Inventory:
    """Compare the scanned codes with what the store says lies in the box. Changes nothing. Raises BadData."""
    reader.box(box)
    expected = {cell.code for cell in reader.cells(box=box)}
    # By name: a withdrawn cell is in no list, and is no stranger.
    boxes = {cell.code: cell.box for cell in reader.cells(wanted=scanned)}
    seen = list(dict.fromkeys(scanned))
    return Inventory(
        box,
        here=tuple(code for code in seen if code in expected),
        missing=tuple(sorted(expected - set(seen))),
        not_expected=tuple((code, boxes[code]) for code in seen if code in boxes and code not in expected),
        not_known=tuple(code for code in seen if code not in boxes),
    )
