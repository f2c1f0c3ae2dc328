"""What has come together in an evening. It outlives an interrupt, so that the end can tell what was kept."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace

from straycell.bench.intake import due
from straycell.bench.intake.cell import Carry
from straycell.bench.intake.figures import TAKEN
from straycell.bench.intake.script import (
    Answers,
    Ask,
    Key,
    NextQuestion,
    Say,
    Scanned,
    Talk,
    Tone,
    Trail,
    act,
    ask,
    fault,
    merged,
)
from straycell.bench.intake.store_actions import CellKept, Entry, Start, use_meter
from straycell.bench.intake.words import begun
from straycell.cells import CellFacts
from straycell.errors import BadData, StraycellError
from straycell.meters import Accuracy, Meter, meter_classes
from straycell.readings import KINDS, Quantity, Reading

_NO_METER = "none of these"
_WHY = (
    "A meter's accuracy decides how near to a limit a cell may be. A number or a name; Enter for what is "
    "in brackets; - for none: then cautious figures hold. Your own meter's sheet is better: straycell meter add."
)
_VOLTAGES = (Quantity.AS_FOUND_VOLTAGE, Quantity.VOLTAGE)


@dataclass(frozen=True, slots=True)
class Logged:
    """A cell as kept, with what is needed to ask its last answer again and to record what comes of it."""

    kept: CellKept
    trail: Trail
    asked_again: NextQuestion
    entry_of: Callable[[Answers], Entry]

    @property
    def entry(self) -> Entry:
        """What the answers say is to be recorded."""
        return self.entry_of(merged(self.trail))


@dataclass(slots=True)
class Session:
    """`kept` has every cell's latest state, in order; `pending` is a code shown and not yet borne by a cell;
    `objects` how many alike ones were opened together; `in_hand` the cell whose questions are open;
    `correcting` the kept cell whose answers are asked again; `usual_typed` what was typed when
    it was asked what most cells are (None: it was not); `printed`: the pending code is on a label; `scanned` is a code
    that came too early and is next; `box` is where the cells go; `packs` has the voltages as found by pack and code, `odd` the
    cells pointed out as unlike the rest of theirs.
    """

    start: Start
    teardown: str | None = None
    pack: str = "1"
    objects: int = 1
    meters: dict[Quantity, Meter | None] = field(default_factory=dict)
    known_meters: dict[str, Meter] = field(default_factory=dict)
    carry: Carry = field(default_factory=Carry)
    remembered: dict[str, str] = field(default_factory=dict)
    kept: dict[str, CellKept] = field(default_factory=dict)
    last: Logged | None = None
    usual: Trail = ()
    usual_typed: dict[str, str] | None = None
    pending: str = ""
    printed: bool = False
    scanned: str = ""
    box: str = ""
    in_hand: str = ""
    packs: dict[str, dict[str, float]] = field(default_factory=dict)
    odd: set[str] = field(default_factory=set)
    correcting: str = ""

    def __post_init__(self) -> None:
        self.carry = Carry(bad_looks=self.start.bad_looks, floor_v=self.start.floor_v)
        self.known_meters = dict(self.start.meters)
        self.remembered = remembered_from(self.start)

    def carry_on(self, facts: CellFacts) -> None:
        """This kind is the next cell's default from here on."""
        self.carry = replace(self.carry, facts=facts, kinds=self.carry.seen(facts))

    def meter_for(self, quantity: Quantity, *, again: bool = False) -> Talk[Meter | None]:
        """The meter of a quantity, asked for once a session, or `again`; both kinds of voltage share theirs."""
        # Asked once: an Enter more for each of forty cells would be pressed without reading.
        if quantity not in self.meters or again:
            alike = _VOLTAGES if quantity in _VOLTAGES else (quantity,)
            former = self.meters.get(quantity)
            name = former.name if former is not None else self._last_meter(alike)
            meter = yield from choose_meter(self.known_meters, quantity, name, self.ask_first)
            if meter is not None:
                self.known_meters[meter.name] = meter
            # One instrument shows both kinds of voltage: it is not asked for twice.
            self.meters.update(dict.fromkeys(alike, meter))
        return self.meters[quantity]

    def ask_first(self, question: Ask) -> Talk[str]:
        """Ask; a code that comes meanwhile is kept, and its cell is the next."""
        while True:
            try:
                return (yield from ask(question))
            except Scanned as seen:
                # Kept and not refused: the other cell is in the hand already, and its label was found.
                self.scanned = seen.code
                yield Say(f"{seen.code} comes next. First this:")

    def switch(self, code: str) -> None:
        """Leave the cell in hand: the next one is this."""
        self.scanned, self.in_hand, self.correcting = code, "", ""

    def _last_meter(self, quantities: Collection[Quantity]) -> str | None:
        items = [item for quantity, item in self.start.remembered.items() if quantity in quantities]
        last = max(items, key=lambda item: (item.at, item.id), default=None)
        return last.meter.name if isinstance(last, Reading) and last.meter is not None else None


def remembered_from(start: Start) -> dict[str, str]:
    """The conditions of the last readings on record, as a person would type them."""
    answers: dict[str, object] = {}
    for need, taken in TAKEN.items():
        for figure in taken.figures:
            if figure.field.name in _CARRIED:
                answers[due.key_of(need, figure)] = getattr(
                    start.remembered.get(taken.quantity), figure.field.name, None
                )
    return due.remember(answers, {})


# Currents, cut-offs and the method are a bench's habit; temperatures are of their own day.
_CARRIED = ("current_a", "discharge_current_a", "cutoff_v", "method")


# --- asking once what a quantity is measured with: a meter known here, or a shipped class


def choose_meter(
    known: Mapping[str, Meter], quantity: Quantity, remembered: str | None, ask: Callable[[Ask], Talk[str]]
) -> Talk[Meter | None]:
    """The meter for a quantity, declared when it is a class chosen for the first time; None for no meter."""
    choices = choices_for(known, quantity)
    listed = "\n".join(f"  {number}  {text}" for number, (_, text) in enumerate(choices, 1))
    default = remembered if remembered in known else _only(known, quantity)
    yield Say(f"What do you measure {_what(quantity)} with?")
    if not default:
        yield Say(listed)
    while True:
        text = yield from ask(Ask("meter", default or _NO_METER, f"{_WHY}\n{listed}"))
        if text == Key.BACK:
            yield Say("what came before it is recorded: a number, a name, or - for none", Tone.FAULT)
            continue
        try:
            name = _named(text or default or Key.NONE, [name for name, _ in choices])
            if name is None:
                return None
            return (yield from act(use_meter, name, "" if name in known else name))
        except StraycellError as error:
            yield fault(error)


def choices_for(known: Mapping[str, Meter], quantity: Quantity) -> list[tuple[str, str]]:
    """(name, what it is), meters of this bench first; only those that can tell the quantity."""
    own = [
        (meter.name, meter.name + (f"  (like {meter.like})" if meter.like not in ("", meter.name) else ""))
        for meter in known.values()
        if accuracy(meter, quantity) is not None
    ]
    shipped = [
        (kind.name, f"{kind.name}  {kind.text}")
        for kind in meter_classes().values()
        if kind.name not in known and accuracy(kind.meter, quantity) is not None
    ]
    return own + shipped


def accuracy(meter: Meter, quantity: Quantity) -> Accuracy | None:
    """What a meter is known to be good for."""
    found: Accuracy | None = getattr(meter, KINDS[quantity].accuracy)
    return found


def _what(quantity: Quantity) -> str:
    return "voltages" if quantity in (Quantity.VOLTAGE, Quantity.AS_FOUND_VOLTAGE) else f"the {quantity}"


def _only(known: Mapping[str, Meter], quantity: Quantity) -> str:
    fit = [meter.name for meter in known.values() if accuracy(meter, quantity) is not None]
    return fit[0] if len(fit) == 1 else ""


def _named(text: str, names: list[str]) -> str | None:
    if text in (Key.NONE, _NO_METER):
        return None
    if text.isascii() and text.isdigit() and 1 <= int(text) <= len(names):
        return names[int(text) - 1]
    found = begun(text, names)
    if len(found) == 1:
        return found[0]
    raise BadData(f"meter '{text[:40]}' is not known", f"a number from 1 to {len(names)}, or - for none")
