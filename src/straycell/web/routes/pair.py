"""Pairing a device, letting it go, and the files that hold no data."""

from http import HTTPStatus

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from straycell.errors import BadData
from straycell.typed import parse_line
from straycell.web import view
from straycell.web.devices import Scope
from straycell.web.guard import COOKIE
from straycell.web.site import Site
from straycell.web.visit import Visiting
from straycell.web.words import words

router = APIRouter()
YEAR_S = 365 * 86400
LONGEST_NAME = 40


@router.get("/pair")
def ask(request: Request, code: str = "", next: str = "/") -> Response:
    """The page that pairs this device."""
    if request.scope["state"]["device"] is not None:
        return RedirectResponse(_inside(next), HTTPStatus.SEE_OTHER)
    return view.page(request, "pair.html", code=code[:20], next=_inside(next), name="", wrong="")


@router.post("/pair")
async def pair(request: Request) -> Response:
    """Let a device in that shows the code of the terminal."""
    site: Site = request.scope["state"]["site"]
    form = await request.form(max_files=0, max_fields=5)
    code, name, onward = (str(form.get(key, "")) for key in ("code", "name", "next"))
    address = request.client.host if request.client else ""
    # A rate of its own for strangers: they have no device yet that could be counted.
    if not site.pairings.allows(address):
        return view.fault_page(request, "rate", HTTPStatus.TOO_MANY_REQUESTS)
    try:
        name = parse_line(name, words()["pair"]["name"])[:LONGEST_NAME]
    except BadData as fault:
        return _again(request, onward, name, fault.what)
    # After the name was checked: a code is spent by its first use, and a slip in the name must not cost it.
    if not site.pairing.take(code):
        return _again(request, onward, name, words()["pair"]["wrong"])
    scope = Scope.LOOK if site.settings.read_only else Scope.WRITE
    try:
        _, credential = site.devices.add(name, scope, site.settings.clock())
    except BadData as fault:
        return _again(request, onward, name, fault.what)
    response = RedirectResponse(_inside(onward), HTTPStatus.SEE_OTHER)
    # Not readable by scripts, and not sent by other sites' pages (RFC 6265, 4.1.2.6; SameSite: RFC 6265bis).
    response.set_cookie(
        COOKIE, credential, max_age=YEAR_S, httponly=True, samesite="strict", secure=site.settings.secure
    )
    return response


@router.get("/device")
def device(visit: Visiting) -> Response:
    """What this device is, and the way out."""
    return visit.page("device.html")


@router.post("/leave")
def leave(visit: Visiting) -> Response:
    """Forget the device that asks."""
    visit.site.devices.forget(visit.device.id)
    response = RedirectResponse("/pair", HTTPStatus.SEE_OTHER)
    response.delete_cookie(COOKIE, httponly=True, samesite="strict")
    return response


def _again(request: Request, onward: str, name: str, wrong: str) -> Response:
    return view.page(
        request, "pair.html", HTTPStatus.FORBIDDEN, code="", next=_inside(onward), name=name, wrong=wrong
    )


def _inside(path: str) -> str:
    """A path of this page; anything else (another site behind //, a scheme) becomes the first page."""
    # A path from the address line: `//host` and `/\host` lead a browser to another machine.
    plain = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if plain and len(path) < 200 else "/"
