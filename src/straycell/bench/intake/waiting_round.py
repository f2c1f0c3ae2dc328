"""The second evening: every cell that waits for a reading, one by one, or in the order they are scanned."""

from __future__ import annotations

from straycell.bench.intake import cell as cells
from straycell.bench.intake import due, words
from straycell.bench.intake.form import Answered, Trail, merged
from straycell.bench.intake.log import resume
from straycell.bench.intake.records import back, not_yet, record, take_readings
from straycell.bench.intake.script import (
    UNSET,
    Ask,
    Bearer,
    Caution,
    Entry,
    FindCode,
    Found,
    Key,
    Say,
    Talk,
    Tone,
    WhatWaits,
    ask,
    fault,
)
from straycell.bench.intake.state import Logged, Session
from straycell.bench.outlook import Need, Waiting
from straycell.bench.recording.reading_form import DEFAULT_PULSE_S
from straycell.errors import StraycellError
from straycell.safety import Step

_WHY = (
    "Take this very cell: read its code, then Enter; or scan the cell you hold. The letter of damage you see "
    "ends its measuring. + leaves it for later, < puts right the cell before, q ends."
)


def waiting_round(session: Session) -> Talk[None]:
    """Take what each waiting cell lacks, until none is left or the person ends it."""
    queue: list[Waiting] = yield WhatWaits()
    if not queue:
        yield Say("no cell waits for a reading today", Tone.GOOD)
        return
    yield Caution((Step.MEASURING,))
    todo = {each.code: each for each in queue}
    while todo:
        each = next(iter(todo.values()))
        lies = f", in {each.box}" if each.box else ""
        yield Say(f"{each.code}  {cells.describe_kind(each.facts)}{lies}  ({len(todo)} to go)", Tone.HEAD)
        yield Say(f"  waits for: {', '.join(each.needs)}")
        text = yield from ask(Ask(f"Enter when you hold {each.code}, or scan", why=_WHY))
        if text == Key.DONE:
            return
        if text == Key.BACK:
            yield from back(session)
        elif text == Key.NEXT:
            del todo[each.code]
        elif text == "":
            if (yield from take_readings(session, each)):
                del todo[each.code]
        elif session.carry.bad_looks & set(words.named_looks(text)):
            yield from _damaged(session, each, text)
            del todo[each.code]
        else:
            yield from _scanned(session, todo, text)
    yield Say("that was the last cell that waits", Tone.GOOD)


def _scanned(session: Session, todo: dict[str, Waiting], text: str) -> Talk[None]:
    try:
        found: Found = yield FindCode(text)
    except StraycellError as error:
        yield fault(error)
        return
    if found.code in todo:
        if (yield from take_readings(session, todo[found.code])):
            del todo[found.code]
    elif found.bearer is Bearer.CELL:
        yield from resume(session, found)
    else:
        yield Say(f"{found.code} stands for no cell yet: straycell intake logs it", Tone.FAULT)


def _damaged(session: Session, each: Waiting, text: str) -> Talk[None]:
    """Only the look is recorded; the question that < opens again is the look."""
    asked = due.questions(due.Taking(each.code, (Need.LOOK,), UNSET, each.facts, bad_looks=frozenset()))
    trail = (Answered("look", text, {"look": words.named_looks(text)}),)

    def entry_of(answered: Trail) -> Entry:
        return due.entry_of(each.code, merged(answered), {}, DEFAULT_PULSE_S)

    yield from record(session, Logged(not_yet(each.code), entry_of(trail), trail, asked, entry_of))
