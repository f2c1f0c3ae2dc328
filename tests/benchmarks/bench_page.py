"""The page of one cell against a bare FastAPI route with the same template: python -m tests.benchmarks page [CELLS]

The bare route renders the same template with values that were looked up once. Both are asked in turn, in one process,
by the same client. Wanted: the page at 100,000 cells takes at most three times the bare route.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.requests import Request
from starlette.responses import HTMLResponse
from tests.benchmarks.bulk_store import NOW, build_store

from straycell.acceptance import load_rules
from straycell.web import view
from straycell.web.app import make_site
from straycell.web.limits import Limiter
from straycell.web.site import Settings

CELLS, ROUNDS, MOST_RATIO = 100_000, 150, 3.0


def bare_client(values: dict[str, Any]) -> TestClient:
    """One route, the same template, nothing looked up."""
    app = FastAPI()

    @app.get("/cell")
    def cell(request: Request) -> HTMLResponse:
        return HTMLResponse(view.templates().get_template("cell.html").render(**values))

    return TestClient(app)


def captured(client: TestClient, path: str) -> dict[str, Any]:
    """What the page gives its template for one cell."""
    found: dict[str, Any] = {}
    real = view.templates().get_template("cell.html")
    render = type(real).render

    def keep(template: Any, *args: Any, **values: Any) -> str:
        found.update(values)
        return render(template, *args, **values)

    type(real).render = keep  # type: ignore[method-assign, assignment]
    try:
        assert client.get(path).status_code == 200
    finally:
        type(real).render = render  # type: ignore[method-assign]
    return found


def median_ms(ask: Callable[[], Any]) -> float:
    """The median of some rounds."""
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        ask()
        times.append(time.perf_counter() - begun)
    return 1000 * statistics.median(times)


def main(count: int) -> int:
    """Print both times and their ratio; 1 when it is above the limit."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.sqlite"
        codes = build_store(path, count)
        shown: list[str] = []
        site, app = make_site(Settings(path, load_rules(None), lambda: NOW, ("testserver",)), shown.append)
        site.requests = Limiter(1e9, 1e9, time.monotonic)
        site.pairing.open()
        client = TestClient(app)
        client.post("/pair", data={"code": shown[-1], "name": "bench"})
        address = f"/cell/{codes[count // 2]}"
        bare = bare_client(captured(client, address))
        bare_ms = median_ms(lambda: bare.get("/cell"))
        page_ms = median_ms(lambda: client.get(address))
    ratio = page_ms / bare_ms
    print(
        f"{count} cells: page {page_ms:.1f} ms, bare route {bare_ms:.1f} ms, ratio {ratio:.2f} (at most {MOST_RATIO})"
    )
    return int(ratio > MOST_RATIO)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else CELLS))
