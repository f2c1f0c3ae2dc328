"""Recording a look, a reading or a charge of one cell."""

import hashlib
import json
import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.responses import Response

from straycell.acceptance import Outcome, charge_refusal
from straycell.bench import verdict_words
from straycell.bench.cell_sheet import CellSheet, sheet_of
from straycell.bench.context import Bench, ChangedSince, SentForm, SentTwice
from straycell.bench.recording.reading_form import notes_of
from straycell.bench.recording.record import After, Recorded, lost_words, record_charge, record_readings
from straycell.bench.recording.running import begin_charge
from straycell.bench.wording.sheet_words import in_few_words
from straycell.cells import Look, parse_code
from straycell.errors import BadData, StraycellError
from straycell.safety import Step, cautions_for_all
from straycell.typed import parse_time
from straycell.web import entry, view
from straycell.web.site import Note
from straycell.web.visit import Visit, Visiting
from straycell.web.words import note, refusal, words

router = APIRouter()
LONGEST_KEY = 80
LONGEST_AGE_S = 30 * 86400.0


@router.get("/cell/{code}/record/{name}")
def form(visit: Visiting, code: str, name: str) -> Response:
    """The form of one thing to record."""
    return _form_page(visit, parse_code(code), name, {}, HTTPStatus.OK, fresh=True)


@router.post("/cell/{code}/record/{name}")
def send(visit: Visiting, code: str, name: str) -> Response:
    """Record it, once: a form bears its own key, and what it was based on."""
    known = _known(name)
    form = entry.with_place(known) if visit.text("where") else known

    def act(code: str, bench: Bench) -> Note:
        at = _moment(visit)
        said = entry.said_in(form, visit.text, visit.texts)
        if form.charge:
            return recorded_note(visit, record_charge(bench, code, said, at=at), [])
        done = record_readings(bench, code, said, meter=visit.text("meter") or None, at=at)
        return recorded_note(visit, done, list(notes_of(said)))

    def again(fault: StraycellError) -> Response:
        return _form_page(visit, parse_code(code), name, {"": fault}, view.status_of(fault))

    try:
        return sent_once(visit, code, act, again)
    except entry.Faulty as fault:
        return _form_page(visit, parse_code(code), name, fault.faults, HTTPStatus.UNPROCESSABLE_ENTITY)


@router.post("/charge/{code}")
def charge_begins(visit: Visiting, code: str) -> Response:
    """A charge begins: it gets a timer. Refused where the cell may have none."""

    def act(code: str, bench: Bench) -> Note:
        begin_charge(bench, code)
        return Note((words()["timer"]["begun"],))

    def again(fault: StraycellError) -> Response:
        return _form_page(visit, parse_code(code), "charge", {"": fault}, view.status_of(fault))

    return sent_once(visit, code, act, again)


def sent_once(
    visit: Visit, typed: str, act: Callable[[str, Bench], Note], again: Callable[[StraycellError], Response]
) -> Response:
    """Do what the form of a cell asks, once, and show what came of it on the cell's page.

    `act` gets the code and a bench that knows the form; `again` is the form once more, where it is refused.
    """
    code = parse_code(typed)
    try:
        return visit.go_with(f"/cell/{code}", act(code, visit.bench(sent_form(visit, code))))
    except SentTwice as fault:
        return visit.go_with(f"/cell/{code}", Note((fault.what,)))
    except StraycellError as fault:
        return again(fault)


def sent_form(visit: Visit, code: str) -> SentForm:
    """What the form says of itself. Raises BadData for a key that cannot be one."""
    key, basis = visit.text("key"), visit.text("basis")
    if not 8 <= len(key) <= LONGEST_KEY or not key.isascii() or not key.isprintable():
        raise BadData(*refusal("no-key"))
    # What a sending has of its own: the rest is what was typed, and the same when it is sent again.
    sent = [
        (name, value if isinstance(value, str) else str(value.size))
        for name, value in visit.form.multi_items()
        if name not in ("token", "basis", "age_s")
    ]
    last_event = int(basis) if basis.isdigit() and len(basis) < 16 else None
    return SentForm(code, entry_key(key, sent), last_event)


def entry_key(key: str, sent: Any) -> str:
    """The key of one thing that was sent: what is sent under a used key with another figure in it is another thing."""
    # Back on a form that was sent, or a logger with one key for all: the second value would be dropped in silence.
    return f"{key} {hashlib.sha256(json.dumps(sent, default=str).encode()).hexdigest()[:16]}"


def new_key() -> str:
    """A key that no other form has."""
    return secrets.token_urlsafe(12)


def recorded_note(visit: Visit, done: Recorded, notes: list[str]) -> Note:
    """What was recorded and what followed; a danger where it put the cell out of use."""
    defaults = visit.site.settings.rules.defaults
    items = [in_few_words(item, defaults) for item in done.items]
    doubts = [note("doubt", number=number, why=why) for number, why in done.doubts.items()]
    rest = [done.remedy] if doubts and done.remedy else []
    after = [line for each in done.after for line in after_lines(each)]
    cautions, danger = danger_of(list(done.after))
    return Note((*items, *after, *doubts, *rest, *notes, *lost_words(done.lost)), danger, cautions)


def after_lines(after: After) -> list[str]:
    """Where a cell is now, and the first reason where it is out of use."""
    reasons = verdict_words.why(after.verdict)
    because = reasons[:1] if after.verdict.outcome is Outcome.DISCARD else []
    return [note("now", code=after.cell.code, headline=verdict_words.headline(after.verdict)), *because]


def danger_of(after: list[After], *steps: Step) -> tuple[tuple[str, ...], bool]:
    """The cautions that must be read now, in full, and whether there are any: for cells out of use."""
    asked = [
        *steps,
        *(s for a in after if a.verdict.outcome is Outcome.DISCARD for s in verdict_words.parting(a.verdict)),
    ]
    if not asked:
        return (), False
    return tuple(c.text for c in cautions_for_all(list(dict.fromkeys(asked)))), True


def _moment(visit: Visit) -> datetime | None:
    """When it was done: typed, or so long before now as the page kept it for; None for now."""
    now, typed, age = visit.site.settings.clock(), visit.text("at"), visit.text("age_s")
    if typed:
        return parse_time(typed, now)
    if not age:
        return None
    # An age and not a time of the phone's clock, which may be wrong by hours.
    try:
        age_s = float(age)
    except ValueError:
        age_s = -1.0
    if not 0.0 <= age_s <= LONGEST_AGE_S:
        raise BadData(*refusal("too-old"))
    return now - timedelta(seconds=age_s)


def _known(name: str) -> entry.Form:
    if name not in entry.FORMS:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return entry.FORMS[name]


def _form_page(
    visit: Visit, code: str, name: str, faults: dict[str, StraycellError], status: int, *, fresh: bool = False
) -> Response:
    """The form with what was typed; a device's own script gets the faults alone."""
    newer = next((fault for fault in faults.values() if isinstance(fault, ChangedSince)), None)
    if not fresh and view.wants_json(visit.request):
        document: dict[str, Any] = {
            "faults": {field: " ".join(fault.lines()) for field, fault in faults.items()},
            "basis": newer.last_event if newer else None,
        }
        return view.answer(document, status)
    bench = visit.bench()
    with bench.reading() as reader:
        sheet: CellSheet = sheet_of(bench, reader, reader.find_code(code))
        meters = [meter.name for meter in reader.meters()]
        chargers = sorted({charger.name for charger in reader.chargers()})
        last_event = reader.last_event(sheet.cell.code)
    known = _known(name)
    if sheet.cell.facts.protection_board:
        known = entry.with_place(known)
    refusal = charge_refusal(sheet.verdict, sheet.cell.facts.chemistry) if known.charge else None
    typed = {} if fresh else {field: visit.texts(field) for field in visit.form}
    return visit.page(
        "record.html",
        status,
        cell=sheet.cell,
        form=known,
        units=entry.UNITS,
        rests=entry.RESTS,
        first_looks=entry.FIRST_LOOKS,
        bad_looks=entry.BAD_LOOKS,
        looks=[look for look in Look if look not in entry.FIRST_LOOKS],
        meters=meters,
        chargers=chargers,
        typed=typed,
        fault=faults.get(""),
        faults=faults,
        newer=newer,
        refusal=refusal,
        key=new_key() if fresh else visit.text("key"),
        basis=last_event,
        cautions=visit.cautions([known.step], sheet.cell.facts) if fresh else [],
    )
