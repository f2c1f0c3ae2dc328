"""Recording one cell, saying what came of it and what comes next, taking the readings it waits for, and the way back."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from straycell.acceptance import Outcome
from straycell.bench.intake import due, store_actions, words
from straycell.bench.intake.script import (
    Answers,
    Caution,
    Key,
    NextQuestion,
    Say,
    Talk,
    Tone,
    Trail,
    act,
    asking,
    fault,
    fill,
    merged,
)
from straycell.bench.intake.state import Logged, Session
from straycell.bench.intake.store_actions import CellKept, Entry, Start
from straycell.bench.outlook import Outlook, Waiting
from straycell.bench.recording.record import lost_words
from straycell.errors import StraycellError
from straycell.quantities import show
from straycell.readings import KINDS, Charge, Quantity, Reading
from straycell.safety import Step
from straycell.typed import day

_FEWEST_LETTERS = 3
MOST_CODES = 6


def keep(session: Session, entry: Entry) -> Talk[CellKept]:
    """Record it; when the store refuses, say why and try again when the person says so: nothing is lost."""
    while True:
        try:
            return (yield from act(store_actions.keep, entry))
        # The answers are kept while the disk is full or locked: nobody measures forty cells twice.
        except StraycellError as error:
            yield fault(error)
            yield from session.ask_first(asking("refused"))


def record(
    session: Session, trail: Trail, asked_again: NextQuestion, entry_of: Callable[[Answers], Entry]
) -> Talk[CellKept]:
    """Keep what the answers say, make it what < goes back to, and tell."""
    entry = entry_of(merged(trail))
    kept = yield from keep(session, entry)
    _now_kept(session, Logged(kept, trail, asked_again, entry_of))
    yield from tell(kept, entry, session.start)
    return kept


def record_kind(session: Session, trail: Trail) -> Talk[None]:
    """Complete the cell kept last, which is out of use already, with its kind."""
    last = session.last
    assert last is not None
    whole = replace(last, trail=(*last.trail, *trail))
    kept = yield from keep(session, replace(whole.entry, items=(), is_new=False))
    # < takes back or corrects what both writes recorded.
    _now_kept(session, replace(whole, kept=replace(kept, items=last.kept.items)))
    yield Say(f"{kept.code}: {kept.facts.marking or 'nothing printed'}")


def shelve(session: Session) -> Talk[None]:
    """Lay the cell kept last into the box of this evening; one that is out of use lies with no good ones."""
    if session.last is None or session.last.kept.outcome is Outcome.DISCARD:
        return
    code = session.last.kept.code
    while session.box:
        try:
            yield from act(store_actions.shelve, code, session.box)
            return
        except StraycellError as error:
            yield fault(error)
            session.box = yield from choose_box(session, "another box", "")


def choose_box(session: Session, prompt: str, usual: str) -> Talk[str]:
    """One of the boxes there are, by a beginning that only one has; "" for none."""
    boxes = session.start.boxes
    while True:
        text = yield from session.ask_first(
            asking("box", ", ".join(boxes), prompt=prompt, default=usual or "none")
        )
        if text in ("", Key.NONE, Key.BACK, Key.DONE):
            return usual if text == "" else ""
        try:
            return words.one_of(text, boxes, "box", f"one of: {', '.join(boxes)}")
        except StraycellError as error:
            yield fault(error)


def _now_kept(session: Session, logged: Logged) -> None:
    session.last = logged
    session.kept[logged.kept.code] = logged.kept
    session.in_hand = ""
    # After a label that was out of turn, the one behind it is next.
    if session.printed or session.pending == logged.kept.code:
        session.pending = ""


def tell(kept: CellKept, entry: Entry, start: Start) -> Talk[None]:
    """One line for a cell that goes on; for one that is out, what to do with it now."""
    for line in lost_words(kept.lost):
        yield Say(line, Tone.DANGER)
    out = kept.outcome is Outcome.DISCARD
    marking = f", {kept.facts.marking}" if entry.facts is not None and kept.facts.marking else ""
    said = f"{kept.code} kept: {describe(entry)}{marking}"
    if not out:
        yield Say(f"{said}: {kept.outcome.word}", Tone.GOOD)
        return
    yield Say(f"{said}. {kept.headline}", Tone.DANGER)
    if kept.because:
        yield Say(f"because {kept.because[0]}", Tone.DANGER)
    looks = {look for item in entry.items if isinstance(item, Reading) for look in item.look}
    # A swollen or leaking cell is not pressed to write on it: the code goes on its bag.
    if start.isolating_looks & looks:
        yield Say(f"No more measuring. Do not press it: write {kept.code} on its bag or box.", Tone.DANGER)
        yield Caution((Step.LOOK_BAD,), kept.facts)
    else:
        found = [item.value for item in entry.items if item.quantity is Quantity.AS_FOUND_VOLTAGE]
        low = any(volts is not None and volts < start.floor_v for volts in found)
        yield Caution((Step.LOW_VOLTAGE, Step.DISCARD) if low else (Step.DISCARD,), kept.facts)
    yield Say("Mistyped? < puts it right, with a reason.")


def describe(entry: Entry) -> str:
    """`3.71 V, clean`."""
    parts = []
    for item in entry.items:
        dimension = KINDS[item.quantity].dimension
        if dimension is None or item.value is None:
            parts.append(" ".join(getattr(item, "look", ())))
        else:
            to = "charged to " if isinstance(item, Charge) else ""
            parts.append(to + show(item.value, dimension))
    return ", ".join(parts) or "nothing measured"


def back(session: Session) -> Talk[bool]:
    """Ask the last answer of the cell before again. What changes is superseded, and stays visible.

    True when something was changed.
    """
    last = session.last
    if last is None:
        yield Say("there is no cell before this one tonight", Tone.FAULT)
        return False
    session.correcting = last.kept.code
    changed = yield from _put_right(session, last)
    session.correcting = ""
    return changed


def _put_right(session: Session, last: Logged) -> Talk[bool]:
    yield Say(f"back to {last.kept.code}: Enter keeps what is in brackets", Tone.HEAD)
    trail = yield from fill(last.asked_again, last.trail, redo_last=True, code=last.kept.code)
    corrected = last if trail is None else replace(last, trail=trail)
    entry = corrected.entry
    if entry == last.entry:
        yield Say(f"{last.kept.code} stays as it is")
        return False
    # Asked after the right value is known: only then is it sure that something was wrong.
    because = yield from _reason(session, last.kept)
    try:
        kept = yield from act(store_actions.amend, last.kept, entry, because)
    except StraycellError as error:
        yield fault(error)
        return False
    _now_kept(session, replace(corrected, kept=kept))
    yield from tell(kept, entry, session.start)
    return True


def _reason(session: Session, kept: CellKept) -> Talk[str]:
    """A cell that was out of use comes back only with a reason in words."""
    # Bringing a condemned cell back is the most dangerous correction: it needs words that stay.
    if kept.outcome is not Outcome.DISCARD:
        return "corrected at intake, right after it was typed"
    why = f"{kept.code} was out of use; what took it out stays in its history, with your reason."
    while True:
        text = yield from session.ask_first(asking("mistake", why=why))
        # A look's letter or a figure meant for another prompt is no reason.
        if sum(map(str.isalpha, text)) >= _FEWEST_LETTERS:
            return text
        yield Say("a few words, please", Tone.FAULT)


def take_readings(session: Session, each: Waiting) -> Talk[bool]:
    """Ask for what the cell waits for and record it; False when the person went back out of it."""
    session.in_hand = each.code
    now = yield from act(store_actions.now)
    asked = due.questions(due.Taking(each, now, session.remembered, session.carry.bad_looks))
    trail = yield from fill(asked, code=each.code)
    if trail is None:
        session.in_hand = ""
        return False
    # The meter is asked after the values: with one in use all evening it is a single Enter.
    for quantity in due.measured(merged(trail)):
        yield from session.meter_for(quantity)
    entry_of = partial(due.entry_of, each.code, meters=dict(session.meters))
    session.remembered = due.remember(merged(trail), session.remembered)
    # Nothing typed is nothing recorded: an empty write would still be an event of the cell.
    if not entry_of(merged(trail)).items:
        session.in_hand = ""
        yield Say(f"{each.code}: left for later")
        return True
    kept = yield from record(session, trail, asked, entry_of)
    for line in outlook_lines([kept]):
        yield Say(f"  {line}")
    return True


def outlook_lines(kept: Sequence[CellKept]) -> list[str]:
    """What to measure next and when, the same thing said once for all cells it stands for."""
    lines: dict[str, list[str]] = {}
    for each in kept:
        for text in _outlook_texts(each.outlook):
            # Forty cells that wait for the same thing are one line, or nobody reads the list.
            lines.setdefault(text, []).append(each.code)
    return [f"{_codes(codes, len(kept))}: {text}" for text, codes in sorted(lines.items(), key=_by_first)]


def _by_first(line: tuple[str, list[str]]) -> str:
    return line[1][0]


def _outlook_texts(found: Outlook) -> Iterator[str]:
    if found.now:
        decides = f"; could decide from {day(found.decides)} on" if found.decides else ""
        yield f"now {', '.join(found.now)}{decides}"
    yield from (f"{need} from {day(at)} on" for need, at in found.later)
    yield from found.other


def _codes(codes: list[str], of: int) -> str:
    if len(codes) > MOST_CODES:
        return f"all {of}" if len(codes) == of else f"{len(codes)} cells ({codes[0]} to {codes[-1]})"
    return " ".join(codes)
