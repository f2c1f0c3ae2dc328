"""What the store does for a dialogue: one transaction a cell, with everything of it.

Each function raises StraycellError, and then nothing was written.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from enum import StrEnum

from straycell.acceptance import Outcome
from straycell.bench import verdict_words
from straycell.bench.context import Bench, Reader, Writer
from straycell.bench.intake.words import ending_in
from straycell.bench.outlook import Outlook, outlook, what_waits
from straycell.bench.recording.record import Lost
from straycell.cells import CellFacts, Look, Stage, parse_code
from straycell.errors import BadData
from straycell.meters import Meter, meter_like
from straycell.readings import KINDS, Charge, Item, Mistake, Quantity, Reading

MOST_TO_COUNT = 2000
"""In a larger store the number of waiting cells is not counted before the first question."""
_OUT_OF_USE = {
    Stage.CONDEMNED: "out of use for good; keep it apart, never charge it",
    Stage.HANDED_OVER: "was handed over; if it is here, check the code",
    Stage.WITHDRAWN: "was withdrawn as recorded by mistake; if it is here: straycell cell withdraw --back",
}


UNSET = datetime.min.replace(tzinfo=UTC)
"""The time of an item that gets the time of its writing."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What is to be recorded of one cell, in one transaction. `facts` None: they stay as they are.

    Items bear the cell's code and no number. Those with the time `UNSET` get that of the write.
    """

    code: str
    facts: CellFacts | None = None
    items: tuple[Item, ...] = ()
    teardown: str | None = None
    pack: str | None = None
    is_new: bool = False


Bearer = StrEnum("Bearer", "CELL BLANK NOTHING")
"""What a code stands for."""


@dataclass(frozen=True, slots=True)
class Found:
    """A code that can be right, and what it stands for."""

    code: str
    bearer: Bearer
    facts: CellFacts = field(default_factory=CellFacts)
    has: frozenset[Quantity] = frozenset()
    out_of_use: str = ""


@dataclass(frozen=True, slots=True)
class Opened:
    """A tear-down of so many objects, and what the last cell out of it was."""

    code: str
    title: str
    pack: str = "1"
    facts: CellFacts | None = None
    box: str = ""
    objects: int = 1


@dataclass(frozen=True, slots=True)
class CellKept:
    """A cell as recorded: its numbered items, its verdict now, and the projects that lost it."""

    code: str
    facts: CellFacts
    items: tuple[Item, ...]
    outcome: Outcome
    headline: str
    because: tuple[str, ...] = ()
    outlook: Outlook = field(default_factory=Outlook)
    lost: Lost = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Start:
    """What is known before the first question. After a bad look nothing more is asked; an isolating one is danger."""

    bad_looks: frozenset[Look]
    isolating_looks: frozenset[Look]
    floor_v: float
    meters: Mapping[str, Meter] = field(default_factory=dict)
    remembered: Mapping[Quantity, Item] = field(default_factory=dict)
    teardown: str | None = None
    last_teardown: tuple[str, str, str] | None = None
    boxes: tuple[str, ...] = ()
    waiting: int = 0
    due: bool = False


def start(bench: Bench, *, teardown: str | None, due: bool) -> Start:
    """What is known before the first question. An evening may begin without a store, unless it names one."""
    rules = bench.rules
    damaged, deformed = (
        frozenset(Look(word) for word in rules.limit(name).words) for name in ("look-damage", "look-deformed")
    )
    blank = Start(
        damaged | deformed, damaged, rules.figure("voltage-floor", "4.2V"), teardown=teardown, due=due
    )
    # Looking makes no store: an evening that ends at the first question leaves nothing behind.
    if not (due or teardown) and not bench.path.exists():
        return blank
    with bench.reading() as reader:
        if teardown is not None:
            reader.teardown(teardown)
        last = next(reversed(reader.teardowns()), None)
        known = replace(
            blank,
            meters={meter.name: meter for meter in reader.meters()},
            remembered={q: item for q in Quantity if (item := reader.latest(q)) is not None},
            boxes=tuple(box.name for box in reader.boxes()),
            last_teardown=None if last is None else (last.code, last.title, last.kind),
        )
        few = len(reader.codes()) <= MOST_TO_COUNT
    return replace(known, waiting=len(what_waits(bench)) if few else 0)


def now(bench: Bench) -> datetime:
    """The time."""
    return bench.now


# --- looking -------------------------------------------------------------------------------------------


def find_code(bench: Bench, text: str) -> Found:
    """Whose code is this? The last digits are enough where only one code of the store ends in them. Raises BadData."""
    with bench.reading() as reader:
        code = _code_meant(reader, text)
        if code in reader.blank_codes():
            return Found(code, Bearer.BLANK)
        cell = next(iter(reader.cells(wanted=[code])), None)
        if cell is None:
            return Found(code, Bearer.NOTHING)
        items = [recorded.item for recorded in reader.recorded(code, with_superseded=False)]
        has = frozenset(item.quantity for item in items)
        return Found(code, Bearer.CELL, cell.facts, has, _OUT_OF_USE.get(cell.stage, ""))


def _code_meant(reader: Reader, text: str) -> str:
    """The code typed or scanned, or the only one that ends so. Raises BadData with the nearest ones."""
    try:
        return parse_code(text)
    except BadData:
        # The codes of the store are only loaded for a refusal, to name the nearest ones.
        known = [*reader.codes(), *reader.blank_codes()]
        ending = ending_in(text, known)
        if len(ending) == 1:
            return ending[0]
        if ending:
            raise BadData(f"'{text}' could be {', '.join(ending[:4])}", "type more of the code") from None
        return parse_code(text, known)


def find_teardown(bench: Bench, code: str) -> Opened:
    """The tear-down of this code. Raises BadData."""
    with bench.reading() as reader:
        found = reader.teardown(code)
        own = [cell for cell in reader.cells() if cell.teardown == found.code]
    # What comes out next is most likely of the kind that came out last.
    known = [cell for cell in own if cell.facts != CellFacts()]
    pack = own[-1].pack if own and own[-1].pack else "1"
    box = next((cell.box for cell in reversed(own) if cell.box), None)
    facts = known[-1].facts if known else None
    return Opened(found.code, found.title, pack, facts, box or "", found.objects)


# --- writing -------------------------------------------------------------------------------------------


def next_code(bench: Bench) -> tuple[str, bool]:
    """The code of the next cell, and whether it is on a label: the printed blank after the one used last, else a new one."""
    if bench.path.exists():
        with bench.reading() as reader:
            if blank := reader.next_blank():
                return blank, True
    # Set aside at once: the code is on the cell before its first reading is typed.
    with bench.writing(create=True) as writer:
        return writer.set_aside_codes(1, printed=False)[0], False


def shelve(bench: Bench, code: str, box: str) -> None:
    """Lay a cell into a box. Raises BadData when it may not lie there."""
    with bench.writing() as writer:
        writer.move_cell(code, box)


def open_teardown(bench: Bench, title: str, kind: str, objects: int) -> Opened:
    """Record a tear-down of so many objects opened together."""
    with bench.writing(create=True) as writer:
        made = writer.add_teardown(title, kind, objects=objects)
    return Opened(made.code, made.title, objects=made.objects)


def declare_meter(bench: Bench, kind: str) -> Meter:
    """A meter like a shipped class, named after it."""
    with bench.writing(create=True) as writer:
        return writer.add_meter(meter_like(kind, kind))


def keep(bench: Bench, entry: Entry) -> CellKept:
    """Record an entry."""
    # One transaction a cell: a power cut loses at most the cell in hand.
    with bench.writing(create=True) as writer:
        if entry.is_new:
            facts = entry.facts or CellFacts()
            writer.add_cells(facts, code=entry.code, teardown=entry.teardown, pack=entry.pack)
        elif entry.facts is not None and entry.facts != writer.cell(entry.code).facts:
            _correct(writer, entry.code, entry.facts, "completed at intake", None)
        made = _record(writer, entry.items, bench.now)
        return _kept(bench, writer, entry.code, made)


def _record(writer: Writer, items: tuple[Item, ...], now: datetime) -> list[Item]:
    timed = [_timed(item, now) for item in items]
    made: list[Item] = [writer.add_charge(item) for item in timed if isinstance(item, Charge)]
    readings = [item for item in timed if isinstance(item, Reading)]
    return [*made, *(writer.add_readings(readings) if readings else [])]


def _timed(item: Item, now: datetime) -> Item:
    return replace(item, at=now) if item.at == UNSET else item


def _correct(writer: Writer, code: str, facts: CellFacts, because: str, mistake: str | None) -> None:
    before, after = asdict(writer.cell(code).facts), asdict(facts)
    changes = {name: after[name] for name in after if after[name] != before[name]}
    # A correction that changes nothing would be an event that says nothing.
    if changes:
        writer.correct_cell(code, changes, because, mistake)


def _kept(bench: Bench, writer: Writer, code: str, items: list[Item]) -> CellKept:
    """The cell as it is at the end of this transaction."""
    # Settled before it is read: what is shown is the verdict that this very write leads to.
    writer.settle()
    verdict = writer.verdict(code, bench.rules, bench.now)
    return CellKept(
        code,
        writer.cell(code).facts,
        tuple(items),
        verdict.outcome,
        verdict_words.headline(verdict),
        tuple(verdict_words.why(verdict)),
        outlook(verdict, writer.evidence(code), bench.rules, bench.now),
        dict(writer.lost),
    )


def amend(bench: Bench, former: CellKept, entry: Entry, because: str) -> CellKept:
    """Put an entry in the place of what was kept.

    What differs is superseded as mistyped; what is no longer there is taken back; what is new is added.
    """
    with bench.writing() as writer:
        # A kind that was taken back becomes unknown again, not what stood there before by accident.
        facts = entry.facts if entry.facts is not None else (CellFacts() if entry.is_new else former.facts)
        _correct(writer, entry.code, facts, because, Mistake.MISTYPED.value)
        new = {item.quantity: item for item in entry.items}
        made: list[Item] = []
        for old in former.items:
            made += _amend_item(writer, old, new.pop(old.quantity, None), because)
        made += _record(writer, tuple(new.values()), bench.now)
        return _kept(bench, writer, entry.code, made)


def _amend_item(writer: Writer, old: Item, new: Item | None, because: str) -> list[Item]:
    if new is None:
        # What was never there is no typing mistake with a right value, so it is taken back without one.
        mistake = Mistake.BAD_CONTACT if KINDS[old.quantity].by_contact else Mistake.WRONG_CELL
        writer.supersede(old.id, mistake.value, because)
        return []
    placed = replace(new, at=old.at) if new.at == UNSET else new
    if replace(placed, id=old.id) == old:
        return [old]
    return list(writer.supersede(old.id, Mistake.MISTYPED.value, because, None, [placed]))
