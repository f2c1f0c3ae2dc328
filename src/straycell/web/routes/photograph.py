"""Photographs kept with a cell: taken here, scaled and stripped by the bench, shown on the cell's page."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter
from starlette.responses import Response

from straycell.bench.context import Bench
from straycell.bench.recording.photograph import keep_photograph
from straycell.safety import Step
from straycell.web.routes.find import sent_photograph
from straycell.web.routes.part import part_page
from straycell.web.routes.record import sent_once
from straycell.web.site import Note
from straycell.web.visit import Visiting
from straycell.web.words import words

router = APIRouter()


@router.get("/photograph/{name}.jpg")
def show(visit: Visiting, name: str) -> Response:
    """One photograph, by the hash that the store names it with."""
    with visit.bench().reading() as reader:
        content = reader.photograph_file(name)
    return Response(content, media_type="image/jpeg")


@router.get("/cell/{code}/photograph")
def ask(visit: Visiting, code: str) -> Response:
    """Take one of this cell."""
    return part_page(visit, "photograph.html", code, Step.MEASURING)


@router.post("/cell/{code}/photograph")
def keep(visit: Visiting, code: str) -> Response:
    """Keep it with the cell."""

    def act(code: str, bench: Bench) -> Note:
        with sent_photograph(visit) as path:
            keep_photograph(bench, code, path)
        return Note((f"{words()['photograph']['kept']} {code}",))

    return sent_once(visit, code, act, partial(part_page, visit, "photograph.html", code, Step.MEASURING))
