"""What lies where: per box its cells, their energy, the oldest check, and what needs attention."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from straycell.cells import Stage
from straycell.readings import Quantity
from straycell.safety.due.survey import DueItem, Household, Kept
from straycell.safety.energy import Amount, Held, energy_wh, total

IN_THE_HOUSE = (Stage.RECEIVED, Stage.SHELVED, Stage.RESERVED, Stage.CONDEMNED)


@dataclass(frozen=True, slots=True)
class BoxStock:
    """One box (name None: cells in no box). `attention` counts what is due by title, worst first."""

    name: str | None
    kind: str
    limit_wh: float | None
    cells: int
    condemned: int
    energy: Amount
    oldest_check: datetime | None
    never_checked: int
    outcomes: Mapping[str, int]
    attention: tuple[tuple[str, int], ...]

    @property
    def over_limit(self) -> bool:
        # Sums of decimal Wh miss the limit by the last bit, and 100 of 100 Wh is allowed.
        return self.limit_wh is not None and self.energy.value > self.limit_wh + 1e-9


def take_stock(
    household: Household, limits: Mapping[str, float | None], due: Sequence[DueItem]
) -> list[BoxStock]:
    """Every box by name, empty ones too, and last the cells that lie in none. `due` is what is due now."""
    by_box: dict[str | None, list[Kept]] = {name: [] for name in sorted(household.box_kinds)}
    loose: list[Kept] = []
    for kept in household.kept:
        # A built-in cell lies in its device, not in a box; what left the house burns elsewhere.
        if kept.cell.stage in IN_THE_HOUSE and kept.build is None:
            by_box.get(kept.cell.box, loose).append(kept)
    if loose:
        by_box[None] = loose
    return [_box(name, found, household, limits, due) for name, found in by_box.items()]


def _box(
    name: str | None,
    found: Sequence[Kept],
    household: Household,
    limits: Mapping[str, float | None],
    due: Sequence[DueItem],
) -> BoxStock:
    codes = {kept.code for kept in found}
    # A condemned cell is not checked any more, it is waiting to leave: counting it would cry wolf.
    checks = [_last_check(kept) for kept in found if kept.cell.stage is not Stage.CONDEMNED]
    told = [at for at in checks if at is not None]
    titles = Counter(
        title for title, _ in {(item.kind.title, item.subject) for item in due if item.subject in codes}
    )
    order = {item.kind.title: item.kind.rank for item in due}
    limit_wh = limits.get(name) if name is not None else None
    stock = BoxStock(
        name=name,
        kind=household.box_kinds.get(name, "") if name is not None else "",
        limit_wh=limit_wh,
        cells=len(found),
        condemned=sum(kept.cell.stage is Stage.CONDEMNED for kept in found),
        energy=total(energy_wh(Held(kept.cell.facts, _capacity(kept))) for kept in found),
        oldest_check=min(told, default=None),
        never_checked=len(checks) - len(told),
        outcomes=dict(sorted(Counter(kept.verdict.outcome.word for kept in found).items())),
        attention=tuple(sorted(titles.items(), key=lambda entry: order[entry[0]])),
    )
    return stock


def _last_check(kept: Kept) -> datetime | None:
    rests = kept.case.rest_voltages
    return rests[-1].at if rests else None


def _capacity(kept: Kept) -> float | None:
    runs = [r.value for r in kept.case.of(Quantity.CAPACITY) if r.value]
    return runs[-1] if runs else None
