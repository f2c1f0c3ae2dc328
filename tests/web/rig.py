"""A page for tests: a store, a pinned clock, a client that has been paired, forms filled in as a browser would."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime
from html.parser import HTMLParser
from typing import Any

from fastapi.testclient import TestClient
from httpx import Response
from tests.cli.bench import Bench

from straycell.acceptance import load_rules
from straycell.web.app import make_site
from straycell.web.site import Settings, Site


class _Form(HTMLParser):
    """The fields of the forms of a page, with what they hold."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self.names: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        name = given.get("name")
        if tag not in ("input", "select", "textarea") or not name:
            return
        self.names.append(name)
        if given.get("type") not in ("radio", "checkbox") or "checked" in given:
            self.fields[name] = given.get("value") or ""


def fields_of(page: str) -> dict[str, str]:
    """What a page's forms would send."""
    parser = _Form()
    parser.feed(page)
    return parser.fields


@dataclass
class Page:
    """The page over one store. `codes` are the pairing codes that the terminal was shown."""

    bench: Bench
    read_only: bool = False
    hosts: tuple[str, ...] = ("testserver",)
    codes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        settings = Settings(
            self.bench.store,
            load_rules(None),
            lambda: datetime.fromisoformat(self.bench.now),
            self.hosts,
            self.read_only,
        )
        self.site: Site
        self.site, self.app = make_site(settings, self.codes.append)
        self.site.pairing.open()
        self.client = self.fresh_client()

    def fresh_client(self) -> TestClient:
        """A client that is not paired."""
        return TestClient(self.app, raise_server_exceptions=False)

    def pair(self, client: TestClient | None = None, name: str = "phone") -> Response:
        """Pair a client with the code of the moment."""
        return (client or self.client).post("/pair", data={"code": self.codes[-1], "name": name})

    def get(self, path: str, **more: Any) -> Response:
        return self.client.get(path, **more)

    def send(self, path: str, client: TestClient | None = None, **said: Any) -> Response:
        """Open a form, fill it in and send it; what is not said stays as the page has it."""
        client = client or self.client
        filled = fields_of(client.get(path).text)
        return client.post(path, data={**filled, **said})


def text_of(page: str) -> str:
    """The words of a page in one line."""
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())
