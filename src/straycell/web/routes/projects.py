"""Projects: what the stock gives them, and picking the cells of a reserved one, position by position."""

from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from straycell.acceptance.permission import permission
from straycell.bench import verdict_words
from straycell.bench.context import Bench
from straycell.bench.intake.words import number
from straycell.bench.paper.prints import build_sheet_pdf_of
from straycell.bench.project_match import project_solver, reserve_plan, understood, unfit_in
from straycell.bench.recording.finish import OF_DEVICE, Device, finish_build
from straycell.bench.wording.project_words import device_words
from straycell.builds import Build
from straycell.cells import position_name
from straycell.errors import BadData, StraycellError
from straycell.safety import Step
from straycell.web.entry import UNITS
from straycell.web.routes.boxes import scanned
from straycell.web.visit import Visit, Visiting
from straycell.web.words import note, refusal, words

router = APIRouter()
# More cells than a screen of a phone holds; all of them are in `straycell match`.
MOST_WHY = 12


@dataclass(frozen=True, slots=True)
class Pick:
    """The answer to a scanned cell: whether it is the one for a position, and why not."""

    right: bool
    code: str
    position: str
    why: tuple[str, ...] = ()


def positions(build: Build) -> list[tuple[str, str]]:
    """(position, code) of every cell of a build, in the order of the sheet."""
    return [
        (position_name(number, place), code)
        for number, group in enumerate(build.groups, 1)
        for place, code in enumerate(group, 1)
    ]


def picked(bench: Bench, build: Build, at: int, code: str) -> Pick:
    """Whether a cell belongs at the position `at` and may still be used. Changes nothing. Raises BadData."""
    # The same order as on the printed sheet, which lies beside the spot welder.
    listed = positions(build)
    position, wanted = listed[at]
    with bench.reading() as reader:
        found = reader.find_code(code)
        verdict, cell = reader.verdict(found, bench.rules, bench.now), reader.cell(found)
    if found != wanted:
        place = next((each for each, other in listed if other == found), None)
        where = note("belongs", place=place) if place else note("foreign")
        return Pick(False, found, position, (note("wanted", code=wanted, position=position), where))
    allowed = permission(verdict.outcome, cell.stage, verdict.valid_until, bench.now)
    if not allowed.may_use(joined=len(listed) > 1):
        # Reserved days ago, and something was recorded since: the right cell may no longer be a good one.
        return Pick(
            False, found, position, (verdict_words.headline(verdict), *verdict_words.why(verdict, at_most=2))
        )
    return Pick(True, found, position)


@router.get("/projects")
def projects(visit: Visiting) -> Response:
    """All projects, with where each is."""
    with visit.bench().reading() as reader:
        return visit.page("projects.html", projects=reader.projects())


@router.get("/project")
def project(visit: Visiting, name: str) -> Response:
    """One project: its cells where it has them, else what the stock would give it. Nothing is reserved by looking."""
    return _project(visit, name)


@router.post("/project/reserve")
def reserve(visit: Visiting) -> Response:
    """Reserve the cells of the plan that was on the page."""
    name = visit.text("name")
    try:
        reserve_plan(visit.bench(), name, visit.text("plan"))
    except StraycellError as fault:
        return _project(visit, name, fault)
    return visit.go(f"/project?name={quote(name)}")


@router.post("/project/finish")
def finish(visit: Visiting) -> Response:
    """The cells are in: for the device as it was measured, once the cautions were followed."""
    name, said = visit.text("name"), words()["device_now"]
    try:
        # Joined cells cannot be taken apart without harm: the cautions come before, not after.
        if visit.text("done") != "yes":
            raise BadData(*refusal("not-done"))
        typed = [field for field in OF_DEVICE if visit.text(field.name)]
        measured = {
            each.name: number(visit.text(each.name), each.kind, UNITS[each.kind], said[each.name], each.typed)
            for each in typed
        }
        finish_build(visit.bench(), name, Device(**measured))
    except StraycellError as fault:
        return _project(visit, name, fault)
    return visit.go(f"/project?name={quote(name)}")


def _project(visit: Visit, name: str, fault: StraycellError | None = None) -> Response:
    bench = visit.bench()
    with bench.reading() as reader:
        entry, build = reader.project(name), reader.live_build(name)
        waits = build is not None and build.finished_at is None
        says = device_words(understood(entry)) if waits else ""
        # A project that has its cells is not matched again: what it holds would look like a choice.
        solve = project_solver(bench, reader, name) if build is None else None
        harmed = unfit_in(bench, reader, [build]) if build else {}
    match = solve() if solve else None
    return visit.page(
        "project.html",
        fault=fault,
        device_now={each.name: UNITS[each.kind] for each in OF_DEVICE},
        typed={each.name: visit.text(each.name) for each in OF_DEVICE},
        entry=entry,
        build=build,
        says=says,
        positions=positions(build) if build else [],
        harmed=harmed,
        match=match,
        not_chosen=list(match.not_chosen[:MOST_WHY]) if match else [],
        cautions=visit.cautions([Step.MATCH, *[Step.BUILD] * waits]),
    )


@router.get("/pick")
def pick(visit: Visiting, name: str, at: int = 0) -> Response:
    """The position that comes next."""
    return _pick(visit, name, at)


@router.post("/pick/scan")
def pick_scan(visit: Visiting) -> Response:
    """Right cell at this position: on to the next. Any other is refused, with where it belongs."""
    name, at = visit.text("name"), int(visit.text("at")) if visit.text("at").isdigit() else 0
    bench = visit.bench()
    build = _live(bench, name)
    try:
        codes = scanned(visit)
        # Two labels in one picture: which of them is in the hand cannot be known.
        if len(codes) > 1:
            raise BadData(*refusal("many-labels", codes=", ".join(codes)))
        found = picked(bench, build, min(at, len(build.codes) - 1), codes[0])
    except StraycellError as fault:
        return _pick(visit, name, at, fault=fault)
    return _pick(visit, name, at + found.right, found=found)


@router.get("/sheet.pdf")
def sheet(visit: Visiting, name: str) -> Response:
    """The build sheet of a project."""
    return Response(build_sheet_pdf_of(visit.bench(), name), media_type="application/pdf")


def _live(bench: Bench, name: str) -> Build:
    with bench.reading() as reader:
        build = reader.live_build(name)
    if build is None:
        raise BadData(*refusal("no-build", name=name))
    return build


def _pick(
    visit: Visit, name: str, at: int, *, found: Pick | None = None, fault: StraycellError | None = None
) -> Response:
    listed = positions(_live(visit.bench(), name))
    at = min(max(at, 0), len(listed))
    return visit.page(
        "pick.html",
        name=name,
        positions=listed,
        at=at,
        found=found,
        fault=fault,
        cautions=visit.cautions([Step.BUILD]) if found is None and fault is None else [],
    )
