"""The whole evening: what it is about, then cell after cell, or the cells that wait."""

from straycell.bench.intake.log import next_cell, resume, usual_kind
from straycell.bench.intake.records import choose_box
from straycell.bench.intake.script import Ask, Caution, Key, Say, Scanned, Talk, Tone, act, ask, fault
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import Bearer, Opened, find_code, find_teardown, open_teardown
from straycell.bench.intake.waiting_round import waiting_round
from straycell.errors import BadData, StraycellError
from straycell.readings import Quantity
from straycell.safety import Step
from straycell.teardowns import parse_teardown_code
from straycell.typed import parse_line

KEYS = "? explains  < corrects the last answer  q ends  Ctrl-C drops only this cell"
_WHY_WAITING = "Cells logged before lack a reading that can be taken today. Later: straycell intake --due."
_WHY_TEARDOWN = "A tear-down is one object that was opened; its cells share a history. A code like AT3 goes on with that one."
_WHY_KIND = "Free text, the same word for alike objects: torch, tool battery, notebook."
_WHY_MANY = (
    "Alike objects opened together, as four of one kind. Each is a pack of its own: you are asked which one a cell is from, "
    "as a leak in one speaks for its own cells only."
)


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
    if opened is None:
        return
    yield from _open(session, opened)
    yield Caution((Step.INTAKE,))
    while (yield from next_cell(session)):
        pass


def _begin(session: Session) -> Talk[Opened | None]:
    """The tear-down; None when the cells that wait were measured instead, or the person ends it here."""
    title = ""
    if session.start.waiting and session.start.teardown is None:
        number = session.start.waiting
        waits = f"{number} cell{'s wait' if number > 1 else ' waits'} for a reading"
        title = yield from ask(Ask(f"{waits}: m measures, Enter opens a tear-down", why=_WHY_WAITING))
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
    last = start.last_teardown
    while True:
        if last and not typed:
            yield Say(f"{last[0]} is {last[1]}")
        default = f"{last[0]} goes on" if last else ""
        text = typed or (yield from ask(Ask("what did you open?", default, _WHY_TEARDOWN, history="title")))
        typed = ""
        if text == Key.DONE:
            return None
        if text == Key.BACK:
            yield Say("this is the first question", Tone.FAULT)
            continue
        try:
            if (not text and last) or _is_teardown_code(text):
                return (yield from act(find_teardown, text or (last[0] if last else "")))
            opened = yield from _new_teardown(session, parse_line(text, "title"), last[2] if last else "")
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
                asked = Ask("what kind of object?", last_kind, _WHY_KIND, history="object")
                text = yield from session.ask_first(asked)
                if text == Key.BACK:
                    return None
                kind = parse_line(text or last_kind, "kind")
            many = yield from session.ask_first(Ask("how many of them?", "1", _WHY_MANY))
            if many != Key.BACK:
                return (yield from act(open_teardown, title, kind, _count(many or "1")))
            kind, last_kind = "", kind
        except StraycellError as error:
            yield fault(error)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 1000):
        raise BadData(f"'{text}' is not a count", "write how many alike objects you open together, 1 to 1000")
    return int(text)
