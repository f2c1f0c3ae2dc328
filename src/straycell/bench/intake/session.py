"""The whole evening: what it is about, then cell after cell, or the cells that wait, in the order they are scanned."""

from collections.abc import Callable
from functools import partial

from straycell.bench.intake import cell as cells
from straycell.bench.intake import due, words
from straycell.bench.intake.log import next_cell, resume, usual_kind
from straycell.bench.intake.records import back, choose_box, record, take_readings
from straycell.bench.intake.script import (
    Answered,
    Caution,
    Key,
    Say,
    Scanned,
    Talk,
    Tone,
    act,
    ask,
    asking,
    fault,
    found_by,
)
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import (
    UNSET,
    Bearer,
    Opened,
    find_code,
    find_teardown,
    open_teardown,
)
from straycell.bench.outlook import Need, Waiting, what_waits
from straycell.errors import BadData, StraycellError
from straycell.readings import Quantity
from straycell.safety import Step
from straycell.teardowns import parse_teardown_code
from straycell.typed import parse_line

KEYS = "? explains  < corrects the last answer  q ends  Ctrl-C drops only this cell"


def intake(session: Session) -> Talk[None]:
    """One tear-down, cell after cell; or, when the person says so, the cells that wait."""
    yield Say(KEYS)
    if session.start.due:
        yield from waiting_round(session)
        return
    while True:
        try:
            opened = yield from _begin(session)
            break
        except Scanned as seen:
            yield from _scanned_first(session, seen.code)
    if opened is not None:
        yield from _open(session, opened)
        yield Caution((Step.INTAKE,))
        yield from _one_after_another(session, partial(next_cell, session))


def _one_after_another(session: Session, one: Callable[[], Talk[bool]]) -> Talk[None]:
    """Cells until one says that it was the last; whose code is scanned in the middle of another is the next."""
    goes_on = True
    while goes_on:
        try:
            goes_on = yield from one()
        except Scanned as seen:
            session.switch(seen.code)


def _begin(session: Session) -> Talk[Opened | None]:
    """The tear-down; None when the cells that wait were measured instead, or the person ends it here."""
    title = ""
    if session.start.waiting and session.start.teardown is None:
        number = session.start.waiting
        waits = f"{number} cell{'s wait' if number > 1 else ' waits'} for a reading"
        title = yield from ask(asking("waiting", prompt=f"{waits}: m measures, Enter opens a tear-down"))
        if title == Key.DONE:
            return None
        if title.casefold() == "m":
            yield from waiting_round(session)
            return None
    return (yield from _teardown(session, "" if title == Key.BACK else title))


def _scanned_first(session: Session, code: str) -> Talk[None]:
    """A cell known before goes on at once; a blank is the first cell of what is opened."""
    # Who begins with the scanner holds a cell already: that one first, before any question.
    found = yield from act(find_code, code)
    if found.bearer is not Bearer.CELL:
        session.scanned = code
        yield Say(f"{code} comes first, once it is said what you opened.")
        return
    try:
        yield from resume(session, found)
    except Scanned as seen:
        session.switch("")
        yield from _scanned_first(session, seen.code)


def _open(session: Session, opened: Opened) -> Talk[None]:
    """The meter, the box, and what most cells are."""
    session.teardown, session.pack, session.objects = opened.code, opened.pack, opened.objects
    of = f"{opened.objects} objects" if opened.objects > 1 else f"pack {opened.pack}"
    yield Say(f"tear-down {opened.code}: {opened.title}, {of}", Tone.HEAD)
    yield from session.meter_for(Quantity.AS_FOUND_VOLTAGE)
    if session.start.boxes:
        session.box = yield from choose_box(session, "box for the good ones", opened.box)
    if opened.facts is not None:
        session.carry_on(opened.facts)
        return
    yield Say("What is printed on most of the cells? Each can differ; Enter: nothing is.")
    yield from usual_kind(session)


def _teardown(session: Session, typed: str) -> Talk[Opened | None]:
    """`typed` is what was said already of what was opened."""
    start = session.start
    if start.teardown is not None:
        return (yield from act(find_teardown, start.teardown))
    last_code, last_title, last_kind = start.last_teardown or ("", "", "")
    while True:
        if last_code and not typed:
            yield Say(f"{last_code} is {last_title}")
        goes_on = f"{last_code} goes on" if last_code else ""
        text = typed or (yield from ask(asking("teardown", default=goes_on)))
        typed = ""
        if text == Key.DONE:
            return None
        if text == Key.BACK:
            yield Say("this is the first question", Tone.FAULT)
            continue
        try:
            if (not text and last_code) or _is_teardown_code(text):
                return (yield from act(find_teardown, text or last_code))
            opened = yield from _new_teardown(session, parse_line(text, "title"), last_kind)
            if opened is not None:
                return opened
        except StraycellError as error:
            yield fault(error)


def _is_teardown_code(text: str) -> bool:
    try:
        return bool(parse_teardown_code(text))
    except StraycellError:
        return False


def _new_teardown(session: Session, title: str, last_kind: str) -> Talk[Opened | None]:
    """None when the person goes back to the title."""
    kind = ""
    while True:
        try:
            if not kind:
                text = yield from session.ask_first(asking("kind", default=last_kind))
                if text == Key.BACK:
                    return None
                kind = parse_line(text or last_kind, "kind")
            many = yield from session.ask_first(asking("objects"))
            if many != Key.BACK:
                return (yield from act(open_teardown, title, kind, _count(many or "1")))
            kind, last_kind = "", kind
        except StraycellError as error:
            yield fault(error)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 1000):
        raise BadData(f"'{text}' is not a count", "write how many alike objects you open together, 1 to 1000")
    return int(text)


# --- the second evening: every cell that waits for a reading --------------------------------------------


def waiting_round(session: Session) -> Talk[None]:
    """Take what each waiting cell lacks, until none is left or the person ends it."""
    # Read once at the beginning: a cell measured tonight must not come back later in the round.
    queue = yield from act(what_waits)
    if not queue:
        yield Say("no cell waits for a reading today", Tone.GOOD)
        return
    yield Caution((Step.MEASURING,))
    todo = {each.code: each for each in queue}
    yield from _one_after_another(session, partial(_one, session, todo))
    if not todo:
        yield Say("that was the last cell that waits", Tone.GOOD)


def _one(session: Session, todo: dict[str, Waiting]) -> Talk[bool]:
    """Propose the first of those that wait, take the one that is held; False when the person ends it or none is left."""
    text, session.scanned = session.scanned, ""
    each = next(iter(todo.values()))
    if not text:
        lies = f", in {each.box}" if each.box else ""
        yield Say(f"{each.code}  {cells.describe_kind(each.facts)}{lies}  ({len(todo)} to go)", Tone.HEAD)
        yield Say(f"  waits for: {', '.join(each.needs)}")
        text = yield from ask(asking("held"), for_code=True)
    if text == Key.DONE:
        return False
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
        yield from _held(session, todo, text)
    return bool(todo)


def _held(session: Session, todo: dict[str, Waiting], text: str) -> Talk[None]:
    """The cell of a code typed or scanned: what it waits for, or what it lacks."""
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
    which = asking(
        "held", prompt=f"{', '.join(looks)}: scan that cell, or type its last digits", default="a slip"
    )
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
