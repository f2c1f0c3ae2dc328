"""What happened to a cell, where it lies, and taking it out of use: asked twice, final."""

from __future__ import annotations

from functools import partial
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from straycell.bench.cell_sheet import sheet_of
from straycell.bench.context import Bench
from straycell.bench.recording.discard import discard_cell, record_incident
from straycell.bench.recording.record import lost_words
from straycell.cells import parse_code
from straycell.errors import BadData, StraycellError
from straycell.safety import Step
from straycell.safety.incidents import RETEST, incident_kinds
from straycell.typed import parse_line
from straycell.web import view
from straycell.web.routes.record import after_lines, danger_of, new_key, sent_once
from straycell.web.site import Note
from straycell.web.visit import Visit, Visiting
from straycell.web.words import note as said
from straycell.web.words import refusal, words

router = APIRouter()


@router.get("/cell/{code}/incident")
def ask_incident(visit: Visiting, code: str) -> Response:
    """What happened to it."""
    return part_page(visit, "incident.html", code, Step.INCIDENT)


@router.post("/cell/{code}/incident")
def incident(visit: Visiting, code: str) -> Response:
    """Record what happened; the worst kinds condemn at once."""

    def act(code: str, bench: Bench) -> Note:
        name = parse_line(visit.text("kind"), said("happened"))
        note = parse_line(visit.text("note"), words()["incident"]["note"]) if visit.text("note") else ""
        done = record_incident(bench, [code], name, note=note)
        lines = [line for after in done.after for line in after_lines(after)]
        if not done.severe:
            lines.append(said("retest", what=", ".join(RETEST)))
        cautions, danger = danger_of(list(done.after), *[Step.INCIDENT] * done.severe)
        why = [f"{done.kind.text}: {done.kind.why}"] if done.kind else []
        return Note((*why, *lines, *lost_words(done.lost)), danger, cautions)

    return sent_once(visit, code, act, partial(part_page, visit, "incident.html", code, Step.INCIDENT))


@router.get("/cell/{code}/discard")
def ask_discard(visit: Visiting, code: str) -> Response:
    """Why it is to go."""
    return part_page(visit, "discard.html", code, Step.DISCARD)


@router.post("/cell/{code}/discard")
def discard(visit: Visiting, code: str) -> Response:
    """The reason first, then once more whether it is meant; after that it is done."""
    try:
        because = parse_line(visit.text("because"), words()["discard"]["because"])
    except StraycellError as fault:
        return part_page(visit, "discard.html", code, Step.DISCARD, fault)
    if visit.text("sure") != "yes":
        return part_page(visit, "discard.html", code, Step.DISCARD, because=because, key=visit.text("key"))

    def act(code: str, bench: Bench) -> Note:
        done = discard_cell(bench, code, because)
        cautions, danger = danger_of([done.after])
        lost = lost_words({done.project: (code, done.in_build)}) if done.project else []
        earlier = [] if done.earlier is None else [said("earlier")]
        return Note((said("discarded", code=code, because=done.because), *earlier, *lost), danger, cautions)

    return sent_once(visit, code, act, partial(part_page, visit, "discard.html", code, Step.DISCARD))


@router.get("/cell/{code}/move")
def ask_move(visit: Visiting, code: str) -> Response:
    """Where it lies now."""
    return part_page(visit, "move.html", code, Step.STORING)


@router.post("/cell/{code}/move")
def move(visit: Visiting, code: str) -> Response:
    """Put it into another box."""

    def act(code: str, bench: Bench) -> Note:
        if not visit.text("box"):
            raise BadData(*refusal("no-box"))
        with bench.writing() as writer:
            moved = writer.move_cell(writer.find_code(code), visit.text("box"))
        return Note((said("lies", code=code, box=moved.box),))

    return sent_once(visit, code, act, partial(part_page, visit, "move.html", code, Step.STORING))


def part_page(
    visit: Visit, template: str, code: str, step: Step, fault: StraycellError | None = None, **more: Any
) -> Response:
    """A form about one cell, with what was typed and the fault where there is one; a script gets the fault alone."""
    if fault and view.wants_json(visit.request):
        return view.fault_page(
            visit.request, fault, view.status_of(fault), basis=getattr(fault, "last_event", None)
        )
    bench = visit.bench()
    with bench.reading() as reader:
        sheet = sheet_of(bench, reader, reader.find_code(parse_code(code)))
        boxes = [box.name for box in reader.boxes()]
        last_event = reader.last_event(sheet.cell.code)
    typed = {name: visit.text(name) for name in ("because", "kind", "note", "box")}
    values = {
        "cell": sheet.cell,
        "kinds": incident_kinds(),
        "boxes": boxes,
        "basis": last_event,
        "key": visit.text("key") or new_key(),
        "because": "",
        "typed": typed,
        "fault": fault,
        "cautions": [] if fault else visit.cautions([step], sheet.cell.facts),
    }
    return visit.page(template, **{**values, **more})
