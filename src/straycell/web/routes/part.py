"""What happened to a cell, where it lies, its photograph, and taking it out of use: asked twice, final."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.responses import Response

from straycell.bench.cell_sheet import sheet_of
from straycell.bench.context import Bench
from straycell.bench.recording.discard import discard_cell, record_incident
from straycell.bench.recording.record import keep_photograph, lost_words
from straycell.cells import Stage, parse_code
from straycell.errors import BadData, StraycellError
from straycell.safety import Step, laying_away
from straycell.safety.incidents import RETEST, incident_kinds
from straycell.typed import parse_line
from straycell.web import view
from straycell.web.routes.find import sent_photograph
from straycell.web.routes.record import after_lines, danger_of, new_key, sent_once
from straycell.web.site import Note
from straycell.web.visit import Visit, Visiting
from straycell.web.words import note as said
from straycell.web.words import refusal, words

router = APIRouter()


PARTS = {
    "incident": Step.INCIDENT,
    "discard": Step.DISCARD,
    "move": Step.STORING,
    "photograph": Step.MEASURING,
}
"""What can be sent of a cell beside readings, each with the step whose cautions are shown."""


@router.get("/cell/{code}/{part}")
def ask(visit: Visiting, code: str, part: str) -> Response:
    """The form of one of them."""
    if part not in PARTS:
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return part_page(visit, part, code)


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

    return send_part(visit, "incident", code, act)


@router.post("/cell/{code}/discard")
def discard(visit: Visiting, code: str) -> Response:
    """The reason first, then once more whether it is meant; after that it is done."""
    try:
        # The reason stays in the history for good, so it is asked for before anything is done.
        because = parse_line(visit.text("because"), words()["discard"]["because"])
    except StraycellError as fault:
        return part_page(visit, "discard", code, fault)
    # A discard is final: one tap of a glove must not do it.
    if visit.text("sure") != "yes":
        return part_page(visit, "discard", code, because=because, key=visit.text("key"))

    def act(code: str, bench: Bench) -> Note:
        done = discard_cell(bench, code, because)
        cautions, danger = danger_of([done.after])
        lost = lost_words({done.project: (code, done.in_build)}) if done.project else []
        earlier = [] if done.earlier is None else [said("earlier")]
        return Note((said("discarded", code=code, because=done.because), *earlier, *lost), danger, cautions)

    return send_part(visit, "discard", code, act)


@router.post("/cell/{code}/move")
def move(visit: Visiting, code: str) -> Response:
    """Put it into another box."""

    def act(code: str, bench: Bench) -> Note:
        if not visit.text("box"):
            raise BadData(*refusal("no-box"))
        with bench.writing() as writer:
            moved = writer.move_cell(writer.find_code(code), visit.text("box"))
        return Note((said("lies", code=code, box=moved.box),))

    return send_part(visit, "move", code, act)


@router.post("/cell/{code}/photograph")
def take_photograph(visit: Visiting, code: str) -> Response:
    """Keep a photograph with the cell."""

    def act(code: str, bench: Bench) -> Note:
        with sent_photograph(visit) as path:
            keep_photograph(bench, code, path)
        return Note((f"{words()['photograph']['kept']} {code}",))

    return send_part(visit, "photograph", code, act)


def send_part(visit: Visit, part: str, code: str, act: Callable[[str, Bench], Note]) -> Response:
    """Do what the form asks, once; its page again where that is refused."""
    return sent_once(visit, code, act, lambda fault: part_page(visit, part, code, fault))


def _steps(part: str, stage: Stage) -> list[Step]:
    return laying_away([stage]) if part == "move" else [PARTS[part]]


def part_page(
    visit: Visit, part: str, code: str, fault: StraycellError | None = None, **more: Any
) -> Response:
    """A form about one cell, with what was typed and the fault where there is one; a script gets the fault alone."""
    # The page's script puts the fault beside its field and keeps what was typed.
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
        "cautions": [] if fault else visit.cautions(_steps(part, sheet.cell.stage), sheet.cell.facts),
    }
    return visit.page(f"{part}.html", **{**values, **more})
