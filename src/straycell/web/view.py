"""Templates into answers: every page has the same frame, every text comes from the catalogue and is escaped."""

import hashlib
from functools import lru_cache
from http import HTTPStatus
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from straycell.bench.context import ChangedSince
from straycell.bench.verdict_words import SIGNS
from straycell.bench.wording.plain_values import plain, stamp_short
from straycell.errors import StoreFault, StraycellError
from straycell.typed import day
from straycell.web.words import words

MENU_OF = {
    "find": ("/find", "/scan"),
    "intake": (),
    "due": (),
    "boxes": ("/box", "/box/scan/move", "/box/scan/check"),
    "projects": ("/project", "/project/reserve", "/project/finish", "/pick", "/pick/scan"),
    "handovers": ("/handovers/add", "/handovers/close"),
    "pictures": (),
    "device": (),
}
"""The entries of the menu, each with the addresses that belong to it beside its own."""


@lru_cache(maxsize=1)
def templates() -> Environment:
    """The templates. An unknown name in one is an error, not an empty place."""
    made = Environment(
        loader=PackageLoader("straycell.web"),
        autoescape=True,
        # A caution whose name was mistyped must not vanish from a page without a word.
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {"w": words(), "signs": SIGNS, "menu_of": MENU_OF}
    made.filters |= {"day": day, "stamp": stamp_short}
    made.globals["parts"] = made.get_template("parts.html").module
    return made


def form_token(request: Request) -> str:
    """What a form of this device must carry: only its own pages know it."""
    # Derived from the cookie and not kept: nothing to expire, and no other page can know it.
    cookie = request.cookies.get("straycell", "")
    return hashlib.sha256(f"form:{cookie}".encode()).hexdigest()[:32]


def status_of(fault: StraycellError | None) -> int:
    """The HTTP status of a fault: the form was old, the store failed, or a value cannot be taken; none is well."""
    if fault is None:
        return HTTPStatus.OK
    if isinstance(fault, ChangedSince):
        return HTTPStatus.CONFLICT
    return (
        HTTPStatus.SERVICE_UNAVAILABLE if isinstance(fault, StoreFault) else HTTPStatus.UNPROCESSABLE_ENTITY
    )


def page(request: Request, template: str, status: int | None = None, **values: Any) -> Response:
    """One page of the bench; its status is that of the `fault` on it, where none is given."""
    status = status_of(values.get("fault")) if status is None else status
    state = request.scope.get("state", {})
    device, site = state.get("device"), state.get("site")
    frame = {
        "device": device,
        "token": form_token(request),
        "path": request.url.path,
        "now": site.settings.clock() if site else None,
        "may_write": bool(device and site and site.may_write(device)),
    }
    # What is said once must not be kept by a device for when it has no network.
    once = {"x-once": "1"} if values.get("note") else None
    return HTMLResponse(templates().get_template(template).render(**frame, **values), status, once)


def wants_json(request: Request) -> bool:
    """True for the page's own script and for programs."""
    return request.url.path.startswith("/api/") or "application/json" in request.headers.get("accept", "")


def answer(document: object, status: int = HTTPStatus.OK) -> Response:
    """A document in JSON, with the keys of the command line."""
    return JSONResponse(plain(document), status)


def fault_page(request: Request, fault: StraycellError | str, status: int, **more: Any) -> Response:
    """What went wrong and what to do: a fault of the program's own family, or one of the catalogue by its name."""
    if isinstance(fault, StraycellError):
        what, *rest = fault.lines()
        remedy = " ".join(rest)
    else:
        what, remedy = words()["fault"][fault]
    if wants_json(request):
        return answer({"fault": what, "remedy": remedy, **more}, status)
    return page(request, "fault.html", status, what=what, remedy=remedy)
