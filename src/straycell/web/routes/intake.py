"""The guided intake, one question a screen."""

from dataclasses import replace

from fastapi import APIRouter
from starlette.responses import Response

from straycell.bench.intake import store_actions
from straycell.bench.intake.script import Caution
from straycell.bench.intake.state import Session
from straycell.bench.paper.prints import print_shelf_labels
from straycell.web.entry import BAD_LOOKS, FIRST_LOOKS
from straycell.web.talks import Cautions, converse
from straycell.web.visit import Visit, Visiting

router = APIRouter()
LONGEST_ANSWER = 500


@router.get("/intake")
def show(visit: Visiting) -> Response:
    """The question of the moment, or the beginning."""
    talk = visit.site.talks.get(visit.device.id)
    return visit.page("intake.html", talk=talk, first_looks=FIRST_LOOKS, bad_looks=BAD_LOOKS)


@router.post("/intake/begin")
def begin(visit: Visiting) -> Response:
    """Begin an evening: a tear-down, or the cells that wait."""
    start = store_actions.start(visit.bench(), teardown=None, due=visit.text("due") == "yes")
    # Whoever opens a tear-down chose so on this page and is not asked again.
    talk = converse(Session(replace(start, waiting=0)))
    visit.site.talks[visit.device.id] = talk
    talk.begin(visit.bench(), _cautions(visit))
    return visit.go("/intake")


@router.post("/intake/answer")
def answer(visit: Visiting) -> Response:
    """Take one answer."""
    talk = visit.site.talks.get(visit.device.id)
    # A page kept by the browser may send an old question's answer; the number tells.
    step = visit.text("step")
    if talk is not None and step.isdigit() and len(step) < 9:
        text = "".join(each for each in visit.text("text")[:LONGEST_ANSWER] if each.isprintable())
        try:
            talk.answer(int(step), text, visit.bench(), _cautions(visit))
        except Exception:
            # A dialogue that broke cannot be resumed; what was finished is in the store.
            visit.site.talks.pop(visit.device.id, None)
            raise
    return visit.go("/intake")


@router.post("/intake/labels")
def labels(visit: Visiting) -> Response:
    """The labels of the evening's cells as a sheet to print."""
    talk = visit.site.talks.get(visit.device.id)
    codes = [kept.code for kept in talk.session.kept.values()] if talk else []
    pdf = print_shelf_labels(visit.bench(), visit.site.settings.stocks, codes)
    return Response(
        pdf, media_type="application/pdf", headers={"content-disposition": 'inline; filename="labels.pdf"'}
    )


@router.post("/intake/end")
def end(visit: Visiting) -> Response:
    """End it here: the cell in hand is dropped."""
    talk = visit.site.talks.get(visit.device.id)
    if talk is not None:
        talk.end()
    return visit.go("/intake")


def _cautions(visit: Visit) -> Cautions:
    def shown(caution: Caution) -> list[str]:
        return visit.cautions(list(caution.steps), caution.facts)

    return shown
