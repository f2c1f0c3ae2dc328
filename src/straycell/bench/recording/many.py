"""Many cells in one write: which ones, and every refusal in one message that names each."""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from straycell.bench.cell_list import cells_at
from straycell.bench.context import Reader
from straycell.bench.outlook import IN_HOUSE
from straycell.cells import Stage
from straycell.errors import BadData, StraycellError, UsageFault

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Which:
    """Cells by their codes as typed, or all that lie in a box, come from a tear-down, or both."""

    codes: tuple[str, ...] = ()
    box: str | None = None
    teardown: str | None = None

    def find(self, reader: Reader, stages: Collection[Stage] = IN_HOUSE) -> list[str]:
        """The codes, each once. Of a box or tear-down those in one of `stages`. Raises UsageFault, BadData."""
        chosen = self.box is not None or self.teardown is not None
        # Both at once could mean either or both: a wrong guess would write to cells nobody meant.
        if chosen == bool(self.codes):
            raise UsageFault(
                "cells are named, and a box or a tear-down too" if chosen else "no cell is named",
                "give the codes, or --box BOX, or --teardown CODE",
            )
        if self.codes:
            return list(dict.fromkeys(each(self.codes, reader.find_code)))
        found = [c.code for c in cells_at(reader, self.box, self.teardown) if c.stage in stages]
        if not found:
            where = " and ".join(
                part
                for part in (
                    f"box '{self.box}'" if self.box is not None else "",
                    f"tear-down {self.teardown}" if self.teardown is not None else "",
                )
                if part
            )
            raise BadData(
                f"no cell of {where} is {' or '.join(s.value for s in stages)}", "see: straycell cell list"
            )
        return found


def each(names: Iterable[str], work: Callable[[str], T]) -> list[T]:
    """What `work` gives for each name. Where it refuses some, all refusals in one, so that nothing is written."""
    listed = list(names)
    made: list[T] = []
    faults: list[tuple[str, StraycellError]] = []
    for name in listed:
        try:
            made.append(work(name))
        except (BadData, UsageFault) as fault:
            faults.append((name, fault))
    if faults:
        raise _joined(faults, len(listed))
    return made


def _joined(faults: Sequence[tuple[str, StraycellError]], of: int) -> StraycellError:
    """One fault of them all; one that is the same for every name is said once."""
    first = faults[0][1]
    whats = list(dict.fromkeys(fault.what for _, fault in faults))
    if of == 1 or (len(whats) == 1 and len(faults) == of):
        return first
    kind = UsageFault if all(isinstance(fault, UsageFault) for _, fault in faults) else BadData
    each_fault = "; ".join(
        fault.what if name in fault.what else f"{name}: {fault.what}" for name, fault in faults
    )
    remedies = list(dict.fromkeys(fault.remedy for _, fault in faults if fault.remedy))
    remedy = (
        remedies[0] if len(remedies) == 1 else "put these right or leave them out, then enter the line again"
    )
    return kind(f"nothing was recorded: {len(faults)} of {of} refused", remedy, besides=each_fault)
