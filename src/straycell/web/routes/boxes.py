"""Boxes by scanning: cell after cell goes into one, or one is compared with the store."""

from fastapi import APIRouter
from starlette.responses import Response

from straycell.bench.cell_list import Wanted, cell_list
from straycell.bench.paper.inventory import boxes_now, take_inventory
from straycell.cells import parse_code
from straycell.errors import BadData, StraycellError
from straycell.labels.payload import code_in
from straycell.safety import Step
from straycell.web.routes.find import codes_in_photo
from straycell.web.visit import Visit, Visiting
from straycell.web.words import refusal

router = APIRouter()
MOST_SEEN = 500


@router.get("/boxes")
def boxes(visit: Visiting) -> Response:
    """What lies where, as `straycell stock` says it."""
    return visit.page("boxes.html", boxes=boxes_now(visit.bench()), cautions=visit.cautions([Step.STORING]))


@router.get("/box")
def box(visit: Visiting, name: str) -> Response:
    """One box: what lies in it, and scanning into it."""
    return _box(visit, name)


@router.post("/box/scan/move")
def move(visit: Visiting) -> Response:
    """Each scanned cell is moved as it is scanned: an interrupted evening keeps what was done."""
    name, done, fault = visit.text("name"), [], None
    try:
        for code in scanned(visit):
            with visit.bench().writing() as writer:
                done.append(writer.move_cell(writer.find_code(code), name).code)
    except StraycellError as error:
        fault = error
    return _box(visit, name, done=done, fault=fault)


@router.post("/box/scan/check")
def check(visit: Visiting) -> Response:
    """What was scanned so far against what the store says lies there. Changes nothing."""
    name, fault = visit.text("name"), None
    # Bounded, since it comes back with each form: a page grows with it.
    seen = [code for code in visit.text("seen").split(",") if code][:MOST_SEEN]
    try:
        seen += [] if visit.text("begin") else scanned(visit)
        seen = list(dict.fromkeys(parse_code(code) for code in seen))
    except StraycellError as error:
        fault = error
    return _box(visit, name, seen=seen, fault=fault)


def scanned(visit: Visit) -> list[str]:
    """The codes that a form sends: photographed, or typed. Raises BadData when there is none."""
    # A photograph first: the typed field may still hold the code of the cell before.
    if visit.file("photo") is not None:
        return codes_in_photo(visit)
    typed = visit.text("code")
    if not typed:
        raise BadData(*refusal("no-code"))
    return [code_in(typed) or parse_code(typed)]


def _box(
    visit: Visit,
    name: str,
    *,
    done: list[str] | None = None,
    seen: list[str] | None = None,
    fault: StraycellError | None = None,
) -> Response:
    bench = visit.bench()
    with bench.reading() as reader:
        found = reader.box(name)
        listed = cell_list(reader, bench.rules, bench.now, Wanted(box=name))
        inventory = None if seen is None else take_inventory(reader, name, seen)
    return visit.page(
        "box.html",
        box=found,
        listed=listed,
        done=done or [],
        seen=seen or [],
        inventory=inventory,
        fault=fault,
    )
