"""Cell after cell out of one tear-down: its code first, then what is asked of it."""

from dataclasses import replace
from functools import partial

from straycell.acceptance import Outcome
from straycell.bench.intake import cell as cells
from straycell.bench.intake import words
from straycell.bench.intake.cell import Carry
from straycell.bench.intake.records import back, record, record_kind, shelve, take_readings
from straycell.bench.intake.script import (
    Answered,
    Caution,
    Key,
    Say,
    Talk,
    Tone,
    Trail,
    act,
    ask,
    asking,
    fill,
    found_by,
    merged,
)
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import Bearer, Found, next_code
from straycell.bench.outlook import what_waits
from straycell.cells import CellFacts, Look, tidy_code
from straycell.quantities import Dimension, show
from straycell.readings import Quantity
from straycell.safety import Step
from straycell.safety.due.trends import odd_in_pack


def next_cell(session: Session) -> Talk[bool]:
    """One cell from its code to its record; False when the evening is over."""
    if session.scanned:
        text, session.scanned = session.scanned, ""
        if (yield from _by_code(session, text)):
            return True
    if not session.pending:
        # One code shown and not used stays the next one: a gap in the numbers looks like a lost cell.
        session.pending, session.printed = yield from act(next_code)
    code = session.in_hand = session.pending
    if not session.printed:
        yield Say(code, Tone.LARGE)
    prompt = (
        f"stick {code} on the cell, then Enter or scan it"
        if session.printed
        else f"write {code} on the cell, then Enter"
    )
    while True:
        text = yield from ask(asking("code", prompt=prompt), for_code=True)
        if text == Key.DONE:
            session.in_hand = ""
            return False
        if text == "" or tidy_code(text) == code:
            yield from _log(session, code)
        elif text == Key.BACK:
            yield from _back(session)
        elif text == Key.NEXT:
            session.pack = next_pack(session.pack)
            yield Say(f"pack {session.pack} of {session.teardown} from here on", Tone.HEAD)
            continue
        # Writing on a swollen or leaking cell means holding and pressing it.
        elif session.carry.bad_looks & set(words.named_looks(text)):
            yield from _keep_damaged(session, code, words.named_looks(text))
        elif not (yield from _by_code(session, text)):
            continue
        return True


def usual_kind(session: Session) -> Talk[None]:
    """What is printed on most cells; asked again, it shows what was answered. The meter comes before it."""
    session.usual_typed = session.usual_typed or {}
    while True:
        # Most cells of a pack bear one print: asked once, each cell then takes an Enter.
        again = session.usual != ()
        carry = replace(session.carry, facts=None, review=again, wanted=frozenset({cells.MARKING}))
        trail = yield from fill(
            cells.questions(carry),
            session.usual,
            redo_last=again,
            former=session.usual_typed,
            asker=session.ask_first,
        )
        if trail is not None:
            session.usual = trail
            session.carry_on(cells.kind_of(merged(trail)))
            return
        session.usual = ()
        yield from session.meter_for(Quantity.AS_FOUND_VOLTAGE, again=True)


def _back(session: Session) -> Talk[None]:
    """The last answer: of the cell before, or, before the first cell, of what most are, or the meter."""
    if session.last is not None:
        if (yield from back(session)):
            _carry_from_last(session)
            # A slip that was put right must not leave another cell of the pack as the odd one.
            yield from _odd_one(session)
    elif session.usual_typed is not None:
        yield from usual_kind(session)
    else:
        yield Say("no cell before this one tonight: the meter, then this code again", Tone.HEAD)
        yield from session.meter_for(Quantity.AS_FOUND_VOLTAGE, again=True)


def next_pack(pack: str) -> str:
    """`1` to `2`; a pack with a name gets a number behind it."""
    return str(int(pack) + 1) if pack.isascii() and pack.isdigit() else f"{pack} 2"


def _by_code(session: Session, text: str) -> Talk[bool]:
    """A typed or scanned code; False when it is none, and the question is as before."""
    found = yield from found_by(text)
    if found is None:
        return False
    if found.bearer is Bearer.CELL:
        # The label of a neighbour was read: what is typed next would be filed under a cell that is finished.
        if not missing_of_intake(found) and not found.out_of_use:
            yield Say(f"{found.code} is logged already: {cells.describe_kind(found.facts)}", Tone.FAULT)
            text = yield from ask(asking("logged"), for_code=True)
            if text.casefold() != "m":
                return False
        yield from resume(session, found)
        return True
    nowhere, skips = found.bearer is Bearer.NOTHING, session.printed and found.code != session.pending
    if nowhere or skips:
        why = (
            "stands for no cell and was not set aside here"
            if nowhere
            else f"is not {session.pending}, the next label"
        )
        yield Say(f"{found.code} {why}.", Tone.FAULT)
        # A code read twice alike is on the cell; a misread one seldom is misread alike twice.
        again = yield from ask(asking("doubted-code"), for_code=True)
        if tidy_code(again) != found.code:
            return False
    yield from _log(session, found.code)
    return True


def _log(session: Session, code: str) -> Talk[None]:
    """The questions of a new cell, then its record."""
    session.in_hand = code
    if not (yield from _which_object(session, code)):
        return
    carry = replace(session.carry, code=code)
    trail = yield from fill(cells.questions(carry), code=code)
    if trail is not None:
        yield from _keep_new(session, carry, trail)


def _which_object(session: Session, code: str) -> Talk[bool]:
    """Of several objects opened together, the one a cell is from is its pack; False when the person goes back."""
    # Four devices are four packs: taken for one, a leak in any of them would hold the cells of all.
    if session.objects > 1:
        asked = f"{code} is from which of the {session.objects} objects?"
        text = yield from ask(asking("object", prompt=asked, default=session.pack))
        if text == Key.BACK:
            return False
        session.pack = next_pack(session.pack) if text == Key.NEXT else text or session.pack
    return True


def _keep_damaged(session: Session, code: str, seen: tuple[Look, ...]) -> Talk[None]:
    if not (yield from _which_object(session, code)):
        return
    answers = {cells.VOLTAGE: None, cells.LOOK: seen}
    trail = (Answered(cells.VOLTAGE, "".join(f"{look} " for look in seen).strip(), answers),)
    yield from _keep_new(session, replace(session.carry, code=code), trail)


def _keep_new(session: Session, carry: Carry, trail: Trail) -> Talk[None]:
    # The pack and meter of this moment, even if the person goes back to this cell later.
    entry_of = partial(
        cells.entry_of,
        carry.code,
        meter=session.meters.get(Quantity.AS_FOUND_VOLTAGE),
        teardown=session.teardown,
        pack=session.pack,
        is_new=True,
    )
    yield from record(session, trail, cells.questions(replace(carry, review=True)), entry_of)
    yield from _odd_one(session)
    # What a damaged cell is decides its mass and energy at the hand-over; asked only once it is put away.
    if cells.is_bad(merged(trail), carry.bad_looks):
        yield Say("What is printed on it, if that can be read without touching it?")
        kind = yield from fill(cells.print_questions(carry))
        if kind is not None:
            yield from record_kind(session, kind)
        return
    _carry_from_last(session)
    yield from shelve(session)


def _odd_one(session: Session) -> Talk[None]:
    """Point out a cell that lay far from the others of the pack of the cell kept last, once."""
    last = session.last
    if last is None or last.entry.pack is None:
        return
    # By pack: cells of another object were discharged by another device, and may well differ.
    pack, answers = session.packs.setdefault(last.entry.pack, {}), merged(last.trail)
    pack.pop(last.kept.code, None)
    # A voltage shared by a welded group says nothing of the one cell.
    if answers.get(cells.VOLTAGE) is None or answers.get(cells.AS_GROUP):
        return
    pack[last.kept.code] = answers[cells.VOLTAGE]
    for odd, middle in odd_in_pack(pack).items():
        # A cell that is out of use already is not measured again.
        if odd not in session.odd and session.kept[odd].outcome is not Outcome.DISCARD:
            session.odd.add(odd)
            found = (
                f"{odd} lay at {show(pack[odd], Dimension.VOLTAGE)} among {show(middle, Dimension.VOLTAGE)}"
            )
            yield Say(
                f"{found}: the odd one of its pack. Measure it again; it may lose charge by itself.",
                Tone.FAULT,
            )


def _carry_from_last(session: Session) -> None:
    """The cell just kept is what the next one starts from."""
    answers = merged(session.last.trail) if session.last is not None else {}
    if answers.get(cells.VOLTAGE) is not None:
        session.carry = replace(session.carry, voltage_v=answers[cells.VOLTAGE])
    if cells.MARKING in answers:
        session.carry_on(cells.kind_of(answers))


# --- a cell logged before ------------------------------------------------------------------------------


def resume(session: Session, found: Found) -> Talk[None]:
    """What of a cell's intake is missing, then the readings it waits for."""
    # A cell condemned before may lie among the good ones again: said before anything is asked.
    if found.out_of_use:
        yield Say(f"{found.code}: {found.out_of_use}", Tone.DANGER)
        yield Caution((Step.DISCARD,), found.facts)
        return
    yield Say(f"{found.code} goes on: {cells.describe_kind(found.facts)}", Tone.HEAD)
    wanted = missing_of_intake(found)
    if wanted:
        session.in_hand = found.code
        meter = (yield from session.meter_for(Quantity.AS_FOUND_VOLTAGE)) if cells.VOLTAGE in wanted else None
        carry = replace(session.carry, code=found.code, wanted=wanted)
        trail = yield from fill(cells.questions(carry), code=found.code)
        if trail is None:
            session.in_hand = ""
            return

        again = cells.questions(replace(carry, review=True))
        entry_of = partial(cells.entry_of, found.code, meter=meter)
        if (yield from record(session, trail, again, entry_of)).outcome is Outcome.DISCARD:
            return
    waiting = yield from act(what_waits, found.code)
    if not waiting:
        yield Say(f"{found.code} waits for no reading today")
    for each in waiting:
        yield from take_readings(session, each)


def missing_of_intake(found: Found) -> frozenset[str]:
    """Which of the three questions were never answered. As found is past once a cell was charged or run."""
    wanted = set()
    # After a charge or a run the voltage as found can no longer be known.
    past = {Quantity.CHARGE, Quantity.CAPACITY, Quantity.AS_FOUND_VOLTAGE} & found.has
    if not past and not found.facts.bought_new:
        wanted.add(cells.VOLTAGE)
    if Quantity.LOOK not in found.has:
        wanted.add(cells.LOOK)
    if found.facts == CellFacts():
        wanted.add(cells.MARKING)
    return frozenset(wanted)
