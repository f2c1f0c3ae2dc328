"""Recording what was measured or seen of a cell, taking it back, and what follows from it.

Each function is one transaction; what it returns was read in that same transaction.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from straycell.acceptance import Case, Verdict
from straycell.bench.context import Bench, Reader, Writer
from straycell.bench.recording.many import Which, each
from straycell.bench.recording.reading_form import Correction, Said, check_form, readings_of, require_rest
from straycell.bench.uncounted_capacity import doubted, remedy
from straycell.cells import Cell
from straycell.errors import BadData, UsageFault
from straycell.keys import RecordKey, key_of
from straycell.readings import (
    KINDS,
    Item,
    Mistake,
    Quantity,
    Reading,
    by_charger,
    charge_of,
    find_charger,
    reading_of,
)
from straycell.store.book.records import Photograph, RecordedReading

Lost = Mapping[str, tuple[str, bool]]
"""Projects that lost a cell to a discard: (the cell, whether it is built in)."""


@dataclass(frozen=True, slots=True)
class After:
    """A cell and its verdict at the end of a write."""

    cell: Cell
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Recorded:
    """What a write recorded, and what followed.

    `doubts` says why a capacity among the items does not count, `remedy` what one must be to count.
    """

    items: tuple[Item, ...]
    after: tuple[After, ...]
    lost: Lost = field(default_factory=dict)
    doubts: Mapping[RecordKey, str] = field(default_factory=dict)
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Superseded:
    """What is in the place of the readings taken back.

    `rest_of_group`: it was recorded for a group whose other cells still hold theirs. `same_trace` has the numbers of
    the other readings out of its trace.
    """

    recorded: Recorded
    taken_back: tuple[RecordedReading, ...]
    rest_of_group: bool
    same_trace: tuple[RecordKey, ...]


@dataclass(frozen=True, slots=True)
class LastOf:
    """The reading or charge of this kind that was recorded last, of each of these cells."""

    quantity: Quantity
    which: Which

    def find(self, reader: Reader) -> list[RecordedReading]:
        """One of each cell. Raises UsageFault, BadData: a cell of which there is none."""
        return each(self.which.find(reader), lambda code: self._of(reader, code))

    def _of(self, reader: Reader, code: str) -> RecordedReading:
        kept = reader.recorded(code, with_superseded=False)
        found = [r for r in kept if r.item.quantity is self.quantity]
        if not found:
            raise BadData(f"cell {code} has no {self.quantity}", f"see: straycell cell show {code}")
        return max(found, key=lambda r: r.event_id)


def record_readings(
    bench: Bench, code: str, said: Said, *, meter: str | None = None, at: datetime | None = None
) -> Recorded:
    """Record what was measured or seen: one reading a quantity. `said` is by the names of `readings.fields`.

    With `as_group` the as-found voltage is recorded for every cell of the pack. Raises UsageFault, BadData.
    """
    # Before the lock: a wrong form must not keep others from writing.
    check_form(said)
    with bench.writing() as writer:
        cell = writer.cell(writer.find_code(code))
        own = readings_of(said, cell.code, at or bench.now, None if meter is None else writer.meter(meter))
        # Looked up under the write lock: a charge recorded a moment ago decides what a stated rest is worth.
        evidence = writer.evidence(cell.code)
        case = Case(evidence, evidence.facts, bench.rules, bench.now)
        for reading in own:
            require_rest(case, reading)
        group = group_of(writer, cell) if "as_group" in said else []
        return followed(bench, writer, writer.add_readings([*own, *_for_group(own, group)]), [cell.code])


def record_charge(bench: Bench, which: Which | str, said: Said, *, at: datetime | None = None) -> Recorded:
    """Record a charge that ended `at`, of one cell or of each of many; a charger of known float ends it there.

    Raises UsageFault, BadData.
    """
    moment = at or bench.now
    which = Which((which,)) if isinstance(which, str) else which
    with bench.writing() as writer:
        codes = which.find(writer)
        # A slot holds one cell: of several in it, at most one was there.
        if len(codes) > 1 and said.get("slot") is not None:
            raise UsageFault(
                f"--slot {said['slot']} holds one cell, {len(codes)} are named", "leave --slot out"
            )
        name = said.get("charger", "")
        # Written otherwise than before it is not found, and a missing --until would be asked for instead.
        writer.require_chargers([name] if name else [])
        known = writer.chargers() if name else []
        charger = find_charger(known, name, said.get("slot"), moment)
        until_said = "until_v" in said
        if not until_said:
            # What a charger is set to says little: ± 1.5 % (data sheet) is the whole margin to an over-
            # charge.
            if charger is None or charger.float_v is None:
                raise UsageFault(
                    "--until is missing",
                    "give the voltage it was charged to, or name a --charger whose float was measured lately",
                )
            said = {**said, "until_v": charger.float_v.value}

        def add(code: str) -> Item:
            return writer.add_charge(by_charger(known, charge_of(said, code, moment), until_said=until_said))

        return followed(bench, writer, each(codes, add), codes)


def record_let_down(bench: Bench, code: str, said: Said, *, at: datetime | None = None) -> Recorded:
    """Record that a load brought a cell to storage voltage. Raises BadData."""
    with bench.writing() as writer:
        item = reading_of(KINDS[Quantity.LET_DOWN], said, writer.find_code(code), at or bench.now)
        return followed(bench, writer, writer.add_readings([item]), [item.cell])


def supersede(
    bench: Bench,
    records: Sequence[str] | LastOf,
    correction: Correction,
    because: str,
    *,
    right_cell: str | None = None,
    as_group: bool = False,
) -> Superseded:
    """Take readings or charges back as mistakes, and record the right ones in their place if there are any.

    `records` are numbers as typed. `as_group` takes back the as-found voltage of a whole group. Raises UsageFault,
    BadData; nothing is taken back then.
    """
    correction.check(right_cell)
    made: list[Item] = []
    with bench.writing() as writer:
        right = None if right_cell is None else writer.find_code(right_cell)
        if isinstance(records, LastOf):
            olds = records.find(writer)
        else:
            olds = each(records, lambda number: writer.reading(writer.reading_number(number)))
        found = {old.item.id: old for old in olds}
        if as_group:
            found = {other.item.id: other for old in olds for other in _group_readings(writer, old)}

        def take_back(number: str) -> None:
            old = found[key_of(number)].item
            placed = correction.replacements(old, right, writer)
            made.extend(writer.supersede(old.id, correction.mistake.value, because, right, placed))

        each([str(number) for number in found], take_back)
        codes = list(
            dict.fromkeys([*(old.item.cell for old in found.values()), *(item.cell for item in made)])
        )
        traces = {old.item.trace for old in found.values()} - {None}
        # One mistake in a trace (wrong cell, wrong meter) falsifies all that came out of it.
        others = [n for trace in traces if trace is not None for n in writer.trace_readings(trace)[0]]
        of_group = any(isinstance(old.item, Reading) and old.item.as_group for old in found.values())
        return Superseded(
            followed(bench, writer, made, codes),
            tuple(found.values()),
            not as_group and of_group,
            tuple(number for number in others if number not in found),
        )


def followed(bench: Bench, writer: Writer, items: Sequence[Item], codes: Sequence[str]) -> Recorded:
    """What these items did to these cells, seen at the end of the write that recorded them."""
    # The person should read now, cell still in hand, what the reading did to it.
    writer.settle()
    doubts, what_to_do = dict[RecordKey, str](), ""
    for code in codes if any(item.quantity is Quantity.CAPACITY for item in items) else ():
        evidence, numbers = writer.evidence(code), {item.id for item in items}
        found = doubted(evidence, bench.rules, bench.now)
        doubts |= {number: why for number, why in found.items() if number in numbers}
        what_to_do = what_to_do or (remedy(evidence, bench.rules, bench.now) if doubts else "")
    after = [After(writer.cell(code), writer.verdict(code, bench.rules, bench.now)) for code in codes]
    return Recorded(tuple(items), tuple(after), dict(writer.lost), doubts, what_to_do)


def lost_words(lost: Lost) -> list[str]:
    """What to do about each project that lost a cell."""
    return [
        f"{code} sits in '{project}': stop using that; straycell build dismantle '{project}'"
        if inside
        else f"project '{project}' has lost {code} and waits for another: straycell match '{project}'"
        for project, (code, inside) in sorted(lost.items())
    ]


def _for_group(own: list[Reading], cells: list[Cell]) -> list[Reading]:
    """The as-found voltage again for every other cell of the group: welded in parallel, they share only that."""
    # Cells welded in parallel are at one voltage; resistance and capacity measured there are the group's.
    shared = [reading for reading in own if reading.quantity is Quantity.AS_FOUND_VOLTAGE]
    return [
        replace(reading, cell=cell.code) for cell in cells for reading in shared if cell.code != reading.cell
    ]


def group_of(reader: Reader, cell: Cell) -> list[Cell]:
    """Every cell of the same tear-down and pack. Raises BadData when the cell has no pack on record."""
    if cell.teardown is None or cell.pack is None:
        raise BadData(
            f"cell {cell.code} has no pack on record, so its group is not known",
            f"straycell cell correct {cell.code} --teardown CODE --pack K --because TEXT",
        )
    # Pack names are only unique within a tear-down: every gadget has a pack 1.
    return [other for other in reader.cells() if (other.teardown, other.pack) == (cell.teardown, cell.pack)]


def _group_readings(reader: Reader, old: RecordedReading) -> list[RecordedReading]:
    """The readings that were recorded together with `old` for the whole group."""
    item = old.item
    if not isinstance(item, Reading) or not item.as_group:
        raise UsageFault(f"{item.id} was not recorded for a group", "leave --as-group out")
    same = []
    for cell in group_of(reader, reader.cell(item.cell)):
        for recorded in reader.recorded(cell.code, with_superseded=False):
            other = recorded.item
            alike = isinstance(other, Reading) and other.as_group
            if alike and (other.at, other.value) == (item.at, item.value):
                same.append(recorded)
    return same or [old]


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


def keep_photograph(bench: Bench, code: str, file: Path) -> Photograph:
    """Scale a picture file, leave out what the camera added, and keep it with the cell. Raises BadData, StoreFault."""
    from straycell.labels.picture import small_photograph

    # Before the write lock is taken: unpacking a large picture takes a second.
    content = small_photograph(file)
    with bench.writing() as writer:
        return writer.add_photograph(writer.find_code(code), content)
