"""One request of a paired device: who asks, with what form, for which bench."""

import hmac
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import Depends
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from straycell.bench.context import Bench, SentForm
from straycell.cells import CellFacts
from straycell.safety import Step, added_by, spoken_cautions
from straycell.web import view
from straycell.web.devices import Device
from straycell.web.site import Note, Site

MOST_FIELDS = 60


@dataclass(frozen=True)
class Visit:
    """A request with its site, device and form."""

    request: Request
    site: Site
    device: Device
    form: FormData

    def text(self, name: str) -> str:
        """A field of the form without blanks at its ends; empty when it is missing."""
        value = self.form.get(name)
        return value.strip() if isinstance(value, str) else ""

    def texts(self, name: str) -> list[str]:
        """Every value of a field that can be given several times."""
        return [value for value in self.form.getlist(name) if isinstance(value, str)]

    def file(self, name: str) -> UploadFile | None:
        """A file of the form; None when none was chosen."""
        value = self.form.get(name)
        return value if isinstance(value, UploadFile) and value.filename else None

    def bench(self, sent: SentForm | None = None) -> Bench:
        """What a use case works on now."""
        return self.site.bench(sent)

    def page(self, template: str, status: int | None = None, **values: Any) -> Response:
        """A page for this device."""
        return view.page(self.request, template, status, **values)

    def go(self, path: str) -> Response:
        """Send the device on; its own script is sent the address."""
        if view.wants_json(self.request):
            return view.answer({"go": path})
        return RedirectResponse(path, HTTPStatus.SEE_OTHER)

    def go_with(self, path: str, note: Note) -> Response:
        """Send the device on, with a note on the page it comes to."""
        self.site.leave_note(self.device.id, note)
        return self.go(path)

    def cautions(self, steps: list[Step], facts: CellFacts | None = None) -> list[str]:
        """The cautions of a step, in full on the device's first use of the day."""
        kinds = added_by([] if facts is None else [facts])
        texts, full = spoken_cautions([*steps, *kinds], self.site.read_in_full(self.device.id))
        # By device and day: a second phone is a second person, who has not read it yet.
        self.site.remember_read(self.device.id, frozenset(full))
        return texts


async def visit_of(request: Request) -> AsyncIterator[Visit]:
    """The visit of a request that passed the guard; a form must carry the device's own token."""
    state: Mapping[str, Any] = request.scope["state"]
    if request.method in ("GET", "HEAD"):
        yield Visit(request, state["site"], state["device"], FormData())
        return
    # Closed at the end: a photograph lies in a file of its own until then.
    async with request.form(max_files=1, max_fields=MOST_FIELDS) as form:
        token, own = form.get("token"), view.form_token(request)
        # Another site's form can be sent by this browser with its cookie; it cannot read the token.
        if not isinstance(token, str) or not hmac.compare_digest(token.encode(), own.encode()):
            raise HTTPException(HTTPStatus.FORBIDDEN, "token")
        yield Visit(request, state["site"], state["device"], form)


Visiting = Annotated[Visit, Depends(visit_of)]
