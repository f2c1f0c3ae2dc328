"""The page as an ASGI application: the addresses, the files, what happens to a fault, and the guard around it all."""

from collections.abc import Callable
from http import HTTPStatus

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from straycell.errors import StraycellError
from straycell.shipped import PACKAGE
from straycell.web import view
from straycell.web.guard import Guard, TooLarge
from straycell.web.routes import (
    api,
    boxes,
    cell,
    due,
    find,
    handover,
    intake,
    pair,
    part,
    pictures,
    projects,
    record,
)
from straycell.web.site import Settings, Site
from straycell.web.words import words

# The last answers every word that no other has taken: it may be a code.
ROUTERS = (pair, due, cell, record, part, pictures, boxes, projects, handover, intake, find)
_FAULTS = {HTTPStatus.NOT_FOUND: "not-found", HTTPStatus.METHOD_NOT_ALLOWED: "not-found"}


def make_site(settings: Settings, announce: Callable[[str], None]) -> tuple[Site, ASGIApp]:
    """The page for these settings. `announce` is called with each pairing code; call `site.pairing.open()` to begin."""
    site = Site(settings, announce)
    # No /docs of the framework: they load scripts from elsewhere.
    app = FastAPI(title="straycell bench page", docs_url=None, redoc_url=None, openapi_url=None)
    folder = PACKAGE / "web/static"
    app.mount("/static", StaticFiles(directory=folder), name="static")

    @app.get("/worker.js")
    def worker() -> Response:
        """The service worker, at the root: its reach is the folder it lies in."""
        return FileResponse(folder / "worker.js", media_type="text/javascript")

    @app.get("/offline")
    def offline(request: Request) -> Response:
        """What a device shows without network for a page that it does not hold."""
        return view.page(request, "offline.html")

    # An application of its own: its faults are JSON, and its description names no page.
    app.mount("/api/v1", api.api)
    for module in ROUTERS:
        app.include_router(module.router)
    for each in (app, api.api):
        each.add_exception_handler(StraycellError, _user_fault)
        each.add_exception_handler(TooLarge, _too_large)
        each.add_exception_handler(RequestValidationError, _not_valid)
        each.add_exception_handler(HTTPException, _http)
        each.add_exception_handler(Exception, _internal)
    return site, Guard(app, site)


def _user_fault(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, StraycellError)
    status = view.status_of(fault)
    looked = request.method in ("GET", "HEAD") and status == HTTPStatus.UNPROCESSABLE_ENTITY
    return view.fault_page(request, fault, HTTPStatus.NOT_FOUND if looked else status)


def _too_large(request: Request, fault: Exception) -> Response:
    return view.fault_page(request, "too-large", HTTPStatus.REQUEST_ENTITY_TOO_LARGE)


def _not_valid(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, RequestValidationError)
    if view.wants_json(request):
        # Where and what, without repeating what was sent: that is the caller's own text.
        said = "; ".join(
            f"{'.'.join(str(each) for each in error['loc'])}: {error['msg']}" for error in fault.errors()
        )
        return view.answer(
            {"fault": said[:1000], "remedy": words()["fault"]["api"][1]}, HTTPStatus.UNPROCESSABLE_ENTITY
        )
    return view.fault_page(request, "not-valid", HTTPStatus.UNPROCESSABLE_ENTITY)


def _http(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HTTPException)
    name = "token" if fault.detail == "token" else _FAULTS.get(HTTPStatus(fault.status_code), "not-valid")
    return view.fault_page(request, name, fault.status_code)


def _internal(request: Request, fault: Exception) -> Response:
    return view.fault_page(request, "internal", HTTPStatus.INTERNAL_SERVER_ERROR)
