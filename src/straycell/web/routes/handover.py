"""Hand-overs: what waits, what is gathered for which place, its list as a paper, and that it has left."""

from fastapi import APIRouter
from starlette.responses import Response

from straycell.bench.paper.prints import handover_pdf_of
from straycell.cells import Stage
from straycell.errors import StraycellError
from straycell.safety import Step
from straycell.typed import parse_line
from straycell.web.site import Note
from straycell.web.visit import Visit, Visiting
from straycell.web.words import words

router = APIRouter()


@router.get("/handovers")
def handovers(visit: Visiting) -> Response:
    """What waits, and the lists."""
    return _page(visit)


@router.post("/handovers/add")
def add(visit: Visiting) -> Response:
    """Gather all that wait for a place; an open list for the same place takes them in."""
    try:
        place = parse_line(visit.text("place"), words()["handover"]["place"])
        with visit.bench().writing() as writer:
            entry = writer.add_handover(place)
    except StraycellError as fault:
        return _page(visit, fault)
    said = f"{entry.id}: {len(entry.codes)} {words()['boxes']['cells']}, {entry.place}"
    return visit.go_with("/handovers", Note((said,)))


@router.post("/handovers/close")
def close(visit: Visiting) -> Response:
    """They have left the house: asked twice, then final."""
    try:
        with visit.bench().reading() as reader:
            entry = reader.handover(reader.handover_number(visit.text("number")))
        # What has left the house is out of the store's hands: asked once more before it is final.
        if visit.text("sure") != "yes":
            return _page(visit, asked=str(entry.id))
        with visit.bench().writing() as writer:
            gone = writer.close_handover(entry.id)
    except StraycellError as fault:
        return _page(visit, fault)
    # A cell cleared meanwhile must not leave with the drum: it is named, so that somebody takes it out.
    stayed = [
        f"{code} {words()['handover']['stayed']}" for code in sorted(set(entry.codes) - set(gone.codes))
    ]
    said = f"{len(gone.codes)} {words()['handover']['gone']} {gone.place}"
    return visit.go_with("/handovers", Note((said, *stayed)))


@router.get("/handover/{number}.pdf")
def paper(visit: Visiting, number: str) -> Response:
    """The list that goes with a hand-over."""
    return Response(handover_pdf_of(visit.bench(), number), media_type="application/pdf")


def _page(visit: Visit, fault: StraycellError | None = None, asked: str = "") -> Response:
    with visit.bench().reading() as reader:
        entries = reader.handovers()
        on_a_list = {code for entry in entries if entry.closed_at is None for code in entry.codes}
        condemned = [cell.code for cell in reader.cells() if cell.stage is Stage.CONDEMNED]
    return visit.page(
        "handovers.html",
        handovers=list(reversed(entries)),
        waiting=[code for code in condemned if code not in on_a_list],
        asked=asked,
        # Typed once: after a refusal the name of the place is still there.
        place=visit.text("place"),
        fault=fault,
        note=None if fault or asked else visit.site.take_note(visit.device.id),
        cautions=[] if fault or asked else visit.cautions([Step.HANDOVER]),
    )
