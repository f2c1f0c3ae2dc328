"""The page and, beside it, a bare route with the same template: `python -m tests.web.load_server STORE PORT CODE`."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Any
from unittest import mock

import uvicorn
from fastapi import FastAPI
from fastapi.testclient import TestClient
from jinja2 import Template
from starlette.responses import HTMLResponse
from starlette.types import Receive, Scope, Send
from tests.cli.bench import START

from straycell.acceptance import load_rules
from straycell.web import view
from straycell.web.app import make_site
from straycell.web.devices import Scope as May
from straycell.web.site import Settings


def shown_of(site: Any, page: Any, code: str) -> dict[str, Any]:
    """The values that the template of this cell's page is given."""
    made, cookie = site.devices.add("probe", May.WRITE, datetime.fromisoformat(START), token=False)
    real, caught = Template.render, dict[str, Any]()

    def watched(template: Template, **values: Any) -> str:
        if template.name == "cell.html":
            caught.update(values)
        return real(template, **values)

    with mock.patch.object(Template, "render", watched):
        client = TestClient(page, cookies={"straycell": cookie}, base_url="http://127.0.0.1")
        answer = client.get(f"/cell/{code}")
    assert answer.status_code == 200, answer.text[:300]
    site.devices.forget(made.id)
    return caught


def main() -> None:
    """Serve both until told to stop."""
    store, port, code = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
    now = datetime.fromisoformat(START)
    settings = Settings(store, load_rules(None), lambda: now, ("127.0.0.1",))
    site, page = make_site(settings, lambda _: None)
    values, bare = shown_of(site, page, code), FastAPI()

    @bare.get("/bare")
    def same() -> HTMLResponse:
        return HTMLResponse(view.templates().get_template("cell.html").render(**values))

    async def both(scope: Scope, receive: Receive, send: Send) -> None:
        await (bare if scope.get("path") == "/bare" else page)(scope, receive, send)

    server = uvicorn.Server(
        uvicorn.Config(both, port=port, log_level="error", access_log=False, timeout_graceful_shutdown=5)
    )
    started = server.startup

    async def ready(*more: Any, **and_more: Any) -> None:
        await started(*more, **and_more)
        print("ready", flush=True)

    server.startup = ready  # type: ignore[method-assign]
    server.run()


if __name__ == "__main__":
    main()
