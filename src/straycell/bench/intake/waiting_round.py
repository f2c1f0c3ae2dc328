"""The second evening: every cell that waits for a reading, one by one, or in the order they are scanned."""

from functools import partial

from straycell.bench.intake import cell as cells
from straycell.bench.intake import due, words
from straycell.bench.intake.log import resume
from straycell.bench.intake.records import back, record, take_readings
from straycell.bench.intake.script import (
    Answered,
    Ask,
    Caution,
    Key,
    Say,
    Scanned,
    Talk,
    Tone,
    act,
    ask,
    found_by,
)
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import UNSET, Bearer
from straycell.bench.outlook import Need, Waiting, what_waits
from straycell.safety import Step

_WHY = (
    "Whichever waiting cell you hold: scan it, or type the last digits of its code. Enter alone files nothing, so "
    "that no reading goes to a cell that only was proposed. The letter of damage you see ends its measuring. + "
    "leaves it for later, < puts right the cell before, q ends."
)


def waiting_round(session: Session) -> Talk[None]:
    """Take what each waiting cell lacks, until none is left or the person ends it."""
    queue = yield from act(what_waits)
    if not queue:
        yield Say("no cell waits for a reading today", Tone.GOOD)
        return
    yield Caution((Step.MEASURING,))
    # Read once at the beginning: a cell measured tonight must not come back later in the round.
    todo = {each.code: each for each in queue}
    while todo:
        try:
            if (yield from _one(session, todo)):
                return
        except Scanned as seen:
            session.switch(seen.code)
    yield Say("that was the last cell that waits", Tone.GOOD)


def _one(session: Session, todo: dict[str, Waiting]) -> Talk[bool]:
    """Propose the first of those that wait, take the one that is held; True when the person ends it."""
    text, session.scanned = session.scanned, ""
    each = next(iter(todo.values()))
    if not text:
        lies = f", in {each.box}" if each.box else ""
        yield Say(f"{each.code}  {cells.describe_kind(each.facts)}{lies}  ({len(todo)} to go)", Tone.HEAD)
        yield Say(f"  waits for: {', '.join(each.needs)}")
        text = yield from ask(Ask("scan the cell you hold, or type its last digits", why=_WHY), for_code=True)
    if text == Key.DONE:
        return True
    if text == Key.BACK:
        yield from back(session)
    elif text == Key.NEXT:
        del todo[each.code]
    # Enter for a proposed cell filed rest voltages under cells that lay in the box.
    elif text == "":
        yield Say(f"Enter files nothing. Is it {each.code}? Scan it, or type its last digits.", Tone.FAULT)
    elif session.carry.bad_looks & set(words.named_looks(text)):
        todo.pop((yield from _damaged(session, text)), None)
    else:
        yield from _scanned(session, todo, text)
    return False


def _scanned(session: Session, todo: dict[str, Waiting], text: str) -> Talk[None]:
    found = yield from found_by(text)
    if found is None:
        return
    if found.code in todo:
        yield Say(f"{found.code}  {cells.describe_kind(found.facts)}", Tone.HEAD)
        if (yield from take_readings(session, todo[found.code])):
            del todo[found.code]
    elif found.bearer is Bearer.CELL:
        yield from resume(session, found)
    else:
        yield Say(f"{found.code} is not a cell yet: straycell intake logs it", Tone.FAULT)


def _damaged(session: Session, seen: str) -> Talk[str]:
    """Only the look is recorded, of the cell that is scanned; its code, or "" when nothing was recorded."""
    looks = words.named_looks(seen)
    # The proposed cell may not be the one in the hand, and a damaged one must not stay among the good.
    which = Ask(f"{', '.join(looks)}: scan that cell, or type its last digits", "a slip", _WHY)
    while True:
        text = yield from ask(which, for_code=True)
        if text in ("", Key.BACK):
            yield Say("no damage was recorded", Tone.FAULT)
            return ""
        found = yield from found_by(text)
        if found is not None and found.bearer is Bearer.CELL:
            break
        if found is not None:
            yield Say(f"{found.code} is not a cell yet", Tone.FAULT)
    # The question that < opens again is the look.
    asked = due.questions(due.Taking(Waiting(found.code, found.facts, (Need.LOOK,)), UNSET))
    trail = (Answered("look", seen, {"look": looks}),)

    yield from record(session, trail, asked, partial(due.entry_of, found.code, meters={}))
    return found.code
