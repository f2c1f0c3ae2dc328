"""What has come together in an evening. It outlives an interrupt, so that the end can tell what was kept."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from straycell.bench.intake import due
from straycell.bench.intake.cell import Carry
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
    asking,
    fault,
    merged,
)
from straycell.bench.intake.store_actions import CellKept, Entry, Start, declare_meter
from straycell.bench.intake.words import one_of
from straycell.cells import CellFacts
from straycell.errors import StraycellError
from straycell.meters import Meter, meter_classes
from straycell.readings import KINDS, Quantity, Reading

_NO_METER = "none of these"
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
        self.carry = self.carry.on(facts)

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
    figures = [(start.remembered.get(of), figure) for of, asked in due.TAKEN.values() for figure in asked]
    habits = [(former, figure) for former, figure in figures if figure.field.name in _CARRIED]
    return due.remember(
        {figure.key: getattr(former, figure.field.name, None) for former, figure in habits}, {}
    )


# Currents, cut-offs and the method are a bench's habit; temperatures are of their own day.
_CARRIED = ("current_a", "discharge_current_a", "cutoff_v", "method")


def left_over(session: Session) -> list[Say]:
    """What was dropped or shown in vain, so that no code on a cell is forgotten."""
    pending, in_hand, unused = session.pending, session.in_hand, list[Say]()
    # A label that was not used is still on its sheet; only a code shown here may be on a cell.
    if pending and not session.printed:
        unused.append(Say(f"{pending} was not used. If it is on a cell, type it there next time."))
    if session.scanned:
        unused.append(Say(f"{session.scanned} was scanned last: nothing new of it is recorded."))
    if session.correcting:
        stays = f"{session.correcting} stays as it was kept: its correction was not finished."
        return [Say(stays), *unused]
    if not in_hand:
        return unused
    # A code that is on a cell and in no record would turn up months later as a mystery.
    new = "new " if in_hand in (pending, *session.kept) else ""
    there = f" If {pending} is on a cell, type it there next time." if pending else ""
    return [Say(f"{in_hand} was not finished: nothing {new}of it is recorded.{there}")]


# --- asking once what a quantity is measured with: a meter known here, or a shipped class


def choose_meter(
    known: Mapping[str, Meter], quantity: Quantity, remembered: str | None, ask: Callable[[Ask], Talk[str]]
) -> Talk[Meter | None]:
    """The meter for a quantity, declared when it is a class chosen for the first time; None for no meter."""
    choices = choices_for(known, quantity)
    listed = "\n".join(f"  {number}  {text}" for number, text in enumerate(choices.values(), 1))
    own = [name for name in choices if name in known]
    default = remembered if remembered in known else own[0] if len(own) == 1 else ""
    what = "voltages" if quantity in _VOLTAGES else f"the {quantity}"
    yield Say(f"What do you measure {what} with?")
    if not default:
        yield Say(listed)
    while True:
        text = yield from ask(asking("meter", f"\n{listed}", default=default or _NO_METER))
        if text == Key.BACK:
            yield Say("what came before it is recorded: a number, a name, or - for none", Tone.FAULT)
            continue
        try:
            name = _named(text or default or Key.NONE, list(choices))
            if name is None:
                return None
            return known.get(name) or (yield from act(declare_meter, name))
        except StraycellError as error:
            yield fault(error)


def choices_for(known: Mapping[str, Meter], quantity: Quantity) -> dict[str, str]:
    """What each meter is, by name, those of this bench first; only those that can tell the quantity."""
    own = {
        name: name if meter.like in ("", name) else f"{name}  (like {meter.like})"
        for name, meter in known.items()
        if tells(meter, quantity)
    }
    shipped = {
        name: f"{name}  {kind.text}"
        for name, kind in meter_classes().items()
        if name not in known and tells(kind.meter, quantity)
    }
    return own | shipped


def tells(meter: Meter, quantity: Quantity) -> bool:
    """Whether it is known how well a meter shows a quantity."""
    return getattr(meter, KINDS[quantity].accuracy) is not None


def _named(text: str, names: list[str]) -> str | None:
    if text in (Key.NONE, _NO_METER):
        return None
    if text.isascii() and text.isdigit() and 1 <= int(text) <= len(names):
        return names[int(text) - 1]
    return one_of(text, names, "meter", f"a number from 1 to {len(names)}, or - for none")
