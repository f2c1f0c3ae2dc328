"""Pictures: drawn ones of the stock and of a cell, one at a time; photographs kept with a cell."""

from collections.abc import Callable

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.responses import Response

from straycell.bench.context import Bench
from straycell.bench.paper.charts import boxes_chart_of, limits_chart_of, yield_chart_of
from straycell.bench.paper.curves_of import rest_curves_of, run_curves_of
from straycell.bench.paper.prints import Drawing, for_a_page, stock_scatter
from straycell.web.visit import Visit, Visiting

router = APIRouter()


@router.get("/photograph/{name}.jpg")
def photograph(visit: Visiting, name: str) -> Response:
    """One photograph, by the hash that the store names it with."""
    with visit.bench().reading() as reader:
        content = reader.photograph_file(name)
    return Response(content, media_type="image/jpeg")


# Opened by itself, a drawing is a document: its own styles are in it, and nothing else may run or be loaded.
POLICY = "default-src 'none'; style-src 'unsafe-inline'"
OF_STOCK: dict[str, Callable[[Bench], Drawing]] = {
    "stock": stock_scatter,
    "boxes": boxes_chart_of,
    "yield": yield_chart_of,
}
OF_A_CELL: dict[str, Callable[[Bench, str], Drawing]] = {
    "rest": rest_curves_of,
    "limits": limits_chart_of,
    "run": run_curves_of,
}
"""The last by the number of a trace of it, the others by its code."""


@router.get("/pictures")
def pictures(visit: Visiting) -> Response:
    """All pictures of the stock."""
    return visit.page("pictures.html", names=list(OF_STOCK))


@router.get("/picture/{name}")
def of_stock(visit: Visiting, name: str) -> Response:
    """One picture of the stock."""
    if name not in OF_STOCK:
        raise HTTPException(404)
    return _drawn(visit, lambda: OF_STOCK[name](visit.bench()))


@router.get("/picture/{name}/{number}")
def of_a_cell(visit: Visiting, name: str, number: str) -> Response:
    """One picture of a cell, or of a trace of it."""
    if name not in OF_A_CELL:
        raise HTTPException(404)
    return _drawn(visit, lambda: OF_A_CELL[name](visit.bench(), number))


def _drawn(visit: Visit, find: Callable[[], Drawing]) -> Response:
    # matplotlib's shared caches know no threads, and two drawings at once would delay every other answer.
    with visit.site.pictures:
        kind, content = for_a_page(find())
    own = {"content-security-policy": POLICY} if kind == "image/svg+xml" else None
    return Response(content, media_type=kind, headers=own)
