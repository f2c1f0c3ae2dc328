"""Finding a cell: by its code, by words about it, or by a photograph of its label."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from http import HTTPStatus
from pathlib import Path
from urllib.parse import quote

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from straycell.bench.cell_list import Wanted, cell_list
from straycell.cells import parse_code
from straycell.errors import BadData, StraycellError
from straycell.labels.payload import code_in
from straycell.labels.reading import codes_of, read_picture
from straycell.web.visit import Visit, Visiting
from straycell.web.words import note, refusal

router = APIRouter()
MOST_FOUND = 60
LONGEST_SEARCH = 100


@router.get("/")
def home(visit: Visiting) -> Response:
    """The first page: find a cell."""
    return visit.page("find.html", query="", found=None, fault=None, more=False)


@router.get("/find")
def find(visit: Visiting, q: str = "") -> Response:
    """A code leads to its cell; other words to the cells whose marking, maker, box or tear-down hold them."""
    query = q.strip()[:LONGEST_SEARCH]
    if not query:
        return visit.go("/")
    # A scanner types a whole address into the search field: its code is what is meant.
    code = code_in(query)
    if code is not None:
        return visit.go(f"/cell/{code}")
    bench = visit.bench()
    with bench.reading() as reader:
        found = cell_list(reader, bench.rules, bench.now, Wanted(search=query))
        fault = None
        if not found:
            try:
                return visit.go(f"/cell/{reader.find_code(query)}")
            except BadData as error:
                # Words without a figure were never meant as a code: "no cell found" says enough.
                fault = error if any(map(str.isdigit, query)) else None
    more = len(found) > MOST_FOUND
    return visit.page(
        "find.html", HTTPStatus.OK, query=query, found=found[:MOST_FOUND], fault=fault, more=more
    )


@router.post("/scan")
def scan(visit: Visiting) -> Response:
    """A photograph of a label: one code leads to its cell, several to a choice."""
    try:
        codes = codes_in_photo(visit)
    except StraycellError as fault:
        return visit.page("find.html", query="", found=None, fault=fault, more=False)
    if len(codes) == 1:
        return visit.go(f"/cell/{codes[0]}")
    bench = visit.bench()
    with bench.reading() as reader:
        # A blank label that no cell bears may be in the picture too; only cells can be chosen.
        known = [cell for cell in reader.cells() if cell.code in codes]
        found = [each for each in cell_list(reader, bench.rules, bench.now, Wanted()) if each.cell in known]
    return visit.page("find.html", query="", found=found, fault=None, more=False)


def codes_in_photo(visit: Visit, name: str = "photo") -> list[str]:
    """The cell codes in a photograph that was sent. Raises BadData."""
    with sent_photograph(visit, name) as path:
        symbols = read_picture(path)
    return codes_of([(Path(note("photograph")), symbols)])


@contextmanager
def sent_photograph(visit: Visit, name: str = "photo") -> Iterator[Path]:
    """The photograph of a form as a file for a while, one at a time. Raises BadData when there is none."""
    photo = visit.file(name)
    if photo is None:
        raise BadData(*refusal("no-photograph"))
    # The name of the file is ours: what a device calls it is never a path here.
    with visit.site.pictures, tempfile.TemporaryDirectory(prefix="straycell-") as folder:
        path = Path(folder) / "photograph"
        path.write_bytes(photo.file.read())
        try:
            yield path
        except BadData as fault:
            ours = note("photograph")
            what = fault.what.replace(f"picture {path}", ours).replace(str(path), ours)
            raise BadData(what, fault.remedy) from None


@router.get("/{word}")
def label_address(visit: Visiting, word: str) -> Response:
    """The address on a label: its last part is the code, in capitals or not."""
    return _to_cell(word)


@router.get("/{kind}/{word}")
def label_address_below(visit: Visiting, kind: str, word: str) -> Response:
    """The same for a label whose address has one more part."""
    if kind.casefold() != "cell":
        raise HTTPException(HTTPStatus.NOT_FOUND)
    return _to_cell(word)


def _to_cell(word: str) -> Response:
    try:
        return RedirectResponse(f"/cell/{quote(parse_code(word))}", HTTPStatus.SEE_OTHER)
    except BadData:
        raise HTTPException(HTTPStatus.NOT_FOUND) from None
