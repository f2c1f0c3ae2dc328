"""The door of the page: every request passes it before any address is looked at.

It checks host, size, rate, where the request comes from and who sends it, and closes every answer with its headers.
What is not on the short list of open addresses needs a paired device: a forgotten check cannot open anything.
"""

import sys
from http import HTTPStatus
from urllib.parse import quote, urlsplit

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from straycell.errors import StraycellError
from straycell.web.devices import Device
from straycell.web.site import Site
from straycell.web.view import fault_page, wants_json

COOKIE = "straycell"
OPEN = ("/pair", "/static/", "/worker.js", "/favicon.ico")
"""Addresses that need no pairing: the pairing itself, and files that hold no data."""
MOST_FORM_BYTES = 64 * 1024
MOST_PHOTO_BYTES = 12 * 1024 * 1024
WITH_PHOTO = ("/scan", "/box/scan/move", "/box/scan/check", "/pick/scan")
ASKING = ("/leave", "/scan", "/pick/scan", "/box/scan/check")
"""Forms that record nothing in the store: a device that only looks may send them."""
_LOOKING = ("GET", "HEAD")
# No inline script, nothing from elsewhere, no frame around it (W3C Content Security Policy 3).
POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=()",
}


class TooLarge(Exception):
    """More came in than was announced or is allowed."""


class Guard:
    """ASGI middleware around the whole page."""

    def __init__(self, app: ASGIApp, site: Site) -> None:
        self._app, self._site = app, site

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        begun = False

        async def answer(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                # The browser keeps nothing by itself: what a page may show without network is for the worker to choose.
                headers.setdefault("cache-control", "no-store")
            await send(message)

        scope.setdefault("state", {})["site"] = self._site
        request = Request(scope)
        try:
            refused = self._refusal(request, scope)
            if refused is None:
                await self._app(scope, self._bounded(request, receive), answer)
                return
        except TooLarge:
            refused = self._fault(request, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "too-large")
        except StraycellError as fault:  # the device file cannot be read
            refused = fault_page(request, fault, HTTPStatus.SERVICE_UNAVAILABLE)
        except Exception as error:
            # A line for the person at the terminal; the page never shows how the program is made inside.
            print(
                f"straycell: the page failed ({type(error).__name__}) at {request.url.path}", file=sys.stderr
            )
            refused = self._fault(request, HTTPStatus.INTERNAL_SERVER_ERROR, "internal")
        if not begun:
            await refused(scope, receive, answer)

    def _refusal(self, request: Request, scope: Scope) -> Response | None:
        """The answer to a request that goes no further; None for one that may."""
        path, changes = request.url.path, request.method not in _LOOKING
        if _host(request) not in self._site.settings.hosts:
            # A foreign name for this address is how a web page elsewhere would reach it (DNS rebinding).
            return self._fault(request, HTTPStatus.MISDIRECTED_REQUEST, "host")
        if changes and not _same_origin(request):
            return self._fault(request, HTTPStatus.FORBIDDEN, "origin")
        if _announced(request) > _most_bytes(path):
            raise TooLarge
        device = self._device(request)
        scope["state"]["device"] = device
        # By device, so that ten phones behind one router do not use up each other's share.
        client = device.id if device else f"@{request.client.host if request.client else ''}"
        if not self._site.requests.allows(client):
            return self._fault(request, HTTPStatus.TOO_MANY_REQUESTS, "rate")
        if any(path == name or (name.endswith("/") and path.startswith(name)) for name in OPEN):
            return None
        if device is None:
            return _to_pairing(request)
        if changes and not self._site.may_write(device) and path not in ASKING:
            return self._fault(request, HTTPStatus.FORBIDDEN, "read-only")
        return None

    def _device(self, request: Request) -> Device | None:
        if request.url.path.startswith("/api/"):
            kind, _, credential = request.headers.get("authorization", "").partition(" ")
            return self._site.devices.find(credential, token=True) if kind.lower() == "bearer" else None
        cookie = request.cookies.get(COOKIE)
        return None if cookie is None else self._site.devices.find(cookie, token=False)

    def _bounded(self, request: Request, receive: Receive) -> Receive:
        most, seen = _most_bytes(request.url.path), 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            # A body without an announced length is counted as it comes.
            if seen > most:
                raise TooLarge
            return message

        return counted

    def _fault(self, request: Request, status: HTTPStatus, name: str) -> Response:
        return fault_page(request, name, status)


def _host(request: Request) -> str:
    try:
        return urlsplit(f"//{request.headers.get('host', '')}").hostname or ""
    except ValueError:  # a bracket that is not closed, as no browser sends it
        return ""


def _same_origin(request: Request) -> bool:
    """False for a change that another site's page asked for; scripts without a browser send neither header."""
    origin, site = request.headers.get("origin"), request.headers.get("sec-fetch-site")
    # By its text: what cannot be taken apart is not ours either.
    if origin is not None and origin.partition("://")[2] != request.headers.get("host"):
        return False
    return site in (None, "same-origin", "none")


def _announced(request: Request) -> int:
    text = request.headers.get("content-length", "0")
    # RFC 9110, 8.6: digits alone.
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else MOST_PHOTO_BYTES + 1


def _most_bytes(path: str) -> int:
    photo = path in WITH_PHOTO or (path.startswith("/cell/") and path.endswith("/photograph"))
    return MOST_PHOTO_BYTES if photo else MOST_FORM_BYTES


def _to_pairing(request: Request) -> Response:
    if request.url.path.startswith("/api/"):
        answer = fault_page(request, "no-token", HTTPStatus.UNAUTHORIZED)
        answer.headers["www-authenticate"] = "Bearer"
        return answer
    if request.method in _LOOKING and not wants_json(request):
        return RedirectResponse(f"/pair?next={quote(request.url.path)}", HTTPStatus.SEE_OTHER)
    return fault_page(request, "unpaired", HTTPStatus.UNAUTHORIZED)
