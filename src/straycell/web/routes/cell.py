"""The page of one cell: what it may do, the next step as a button, its figures, everything that happened to it."""

from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from straycell.acceptance import Outcome, Verdict, WorkKind, charge_refusal
from straycell.bench import verdict_words
from straycell.bench.cell_sheet import sheet_with_history
from straycell.bench.recording.running import timers
from straycell.bench.verdict_words import Todo
from straycell.bench.wording import sheet_words
from straycell.cells import Stage, parse_code
from straycell.web import view
from straycell.web.visit import Visiting

router = APIRouter()
PAGES = {
    WorkKind.LOOK: "record/look",
    WorkKind.REST: "record/rest",
    WorkKind.CHARGE: "record/charge",
    WorkKind.CAPACITY: "record/capacity",
    WorkKind.RESISTANCE: "record/resistance",
    WorkKind.WEIGH: "record/mass",
    WorkKind.TEMPERATURE: "record/warmth",
    WorkKind.DISCARD: "discard",
}
"""Where the page records what a reason asks for; the rest is done at the command line."""
GONE = (Stage.HANDED_OVER, Stage.WITHDRAWN)


def next_steps(verdict: Verdict, now: datetime) -> list[tuple[Todo, str]]:
    """What to do, soonest first, each once, with the page that records it ("": the command line does)."""
    missing = verdict_words.in_order(verdict, now)
    todo = verdict_words.todos(verdict.code, missing, now)
    steps = verdict_words.steps(verdict, now) if verdict.outcome is Outcome.DISCARD else todo
    found: dict[tuple[str, str], tuple[Todo, str]] = {}
    for step in steps:
        page = PAGES.get(step.kind, "") if step.kind else ""
        # Two commands that one page records are one step there.
        found.setdefault((page or step.command, step.words), (step, page))
    return list(found.values())


@router.get("/alive")
def alive(visit: Visiting, cell: str = "") -> Response:
    """Whether the bench answers, and the last event of a cell: a page that is older says so."""
    event = 0
    if cell:
        with visit.bench().reading() as reader:
            event = reader.last_event(parse_code(cell))
    return view.answer({"event": event})


@router.get("/cell/{code}")
def show(visit: Visiting, code: str) -> Response:
    """One cell; a note that was left for this device is above it, a danger instead of it."""
    bench = visit.bench()
    sheet, history = sheet_with_history(bench, parse_code(code))
    # Taken and not read: a danger is shown once, and a page that is loaded again is the cell's.
    note = visit.site.take_note(visit.device.id)
    if note is not None and note.danger:
        return visit.page("danger.html", note=note, onward=f"/cell/{sheet.cell.code}")
    left = sheet.cell.stage is Stage.HANDED_OVER
    steps, why = [] if left else next_steps(sheet.verdict, bench.now), verdict_words.why(sheet.verdict)
    # Where it may do nothing, the first reason is in its sign and is not said twice.
    shut = sheet.verdict.outcome in (Outcome.HOLD, Outcome.DISCARD)
    readings = [sheet_words.reading_row(r, sheet.defaults, sheet.doubted) for r in sheet.recorded]
    return visit.page(
        "cell.html",
        sheet=sheet,
        cell=sheet.cell,
        verdict=sheet.verdict,
        word=sheet.verdict.outcome.word,
        sign=verdict_words.SIGNS[sheet.verdict.outcome],
        allows=verdict_words.ALLOWS[sheet.verdict.outcome],
        until=verdict_words.until(sheet.verdict),
        first_why=why[0] if why and shut else "",
        why=why[shut:],
        steps=steps,
        identity=[pair for pair in sheet_words.identity(sheet.cell) if pair[1]],
        figures=[pair for pair in sheet_words.figures(sheet) if pair[1]],
        readings=list(reversed(readings)),
        # The newest first: on a phone the top of a list is what is seen.
        events=sheet_words.history_in_words(history, bench.rules.defaults)[::-1],
        last_event=max((event.id for event in history.events), default=0),
        no_charge=charge_refusal(sheet.verdict, sheet.cell.facts.chemistry),
        traces=sorted({str(r.item.trace) for r in sheet.recorded if r.item.trace is not None}),
        running=timers([sheet.verdict], history.begun, bench.now),
        gone=sheet.cell.stage in GONE,
        note=note,
    )
