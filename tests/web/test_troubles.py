"""A busy store, a full disk, a page that is killed or stopped: it is said, nothing is lost, nothing is doubled."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, suppress
from datetime import datetime

import httpx
import pytest
from tests.cli.bench import START, Bench
from tests.cli.keep.test_serve import free_port
from tests.web.rig import Page, fields_of, text_of

from straycell.store.sqlite import engine
from straycell.web.devices import Devices, Scope, devices_path


def masses(bench: Bench, code: str) -> list[float]:
    return [r["value"] for r in bench.do(f"cell show {code}")["readings"] if r["quantity"] == "mass"]


def test_a_busy_store_is_said_and_what_was_typed_is_kept(
    page: Page, bench: Bench, code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program holds the lock for longer than a person waits; afterwards the same form is taken, once."""
    path = f"/cell/{code}/record/mass"
    filled = fields_of(page.get(path).text) | {"mass_g": "45.1"}
    monkeypatch.setattr(engine, "BUSY_S", 0.3)
    with closing(sqlite3.connect(bench.store, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = page.client.post(path, data=filled)
        assert answer.status_code == 503 and "locked by another program" in text_of(answer.text)
        assert 'value="45.1"' in answer.text and fields_of(answer.text)["key"] == filled["key"]
        other.execute("ROLLBACK")
    page.client.post(path, data=filled)
    page.client.post(path, data=filled)
    assert masses(bench, code) == [45.1]


def test_a_full_disk_is_said_and_what_was_typed_is_kept(
    page: Page, bench: Bench, code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The store stays whole and can be read; with space again the same form is taken."""
    path = f"/cell/{code}/record/mass"
    filled = fields_of(page.get(path).text) | {"mass_g": "45.1"}
    real = engine.raw_connection

    def small(*given: str, **more: str) -> sqlite3.Connection:
        made = real(*given, **more)  # type: ignore[arg-type]
        # SQLite itself then says that the disk is full (sqlite.org/pragma.html, max_page_count).
        made.execute("PRAGMA max_page_count = 1")
        return made

    with monkeypatch.context() as patched:
        patched.setattr(engine, "raw_connection", small)
        answer = page.client.post(path, data=filled)
        assert answer.status_code == 503 and "full" in text_of(answer.text)
        assert 'value="45.1"' in answer.text
        assert page.get(f"/cell/{code}").status_code == 200
    assert masses(bench, code) == [] and bench.run("store check").code == 0
    page.client.post(path, data=filled)
    assert masses(bench, code) == [45.1]


def serve(bench: Bench, port: int) -> subprocess.Popen[str]:
    """The page as a process of its own, once it answers."""
    line = [sys.executable, "-m", "straycell", "--store", str(bench.store), "serve", "--port", str(port)]
    running = subprocess.Popen(
        line, stderr=subprocess.DEVNULL, text=True, env={**os.environ, "STRAYCELL_NOW": START}
    )
    deadline = time.monotonic() + 60
    while True:
        try:
            httpx.get(f"http://127.0.0.1:{port}/pair", timeout=5)
            return running
        except httpx.TransportError:
            assert time.monotonic() < deadline and running.poll() is None
            time.sleep(0.1)


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent to a process otherwise there")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=["killed", "stopped"])
def test_what_was_acknowledged_is_there_after_the_page_ended(
    bench: Bench, code: str, how: signal.Signals
) -> None:
    """Ended between a form and its answer: the store is whole, the device may come back, the form counts once."""
    port, devices = free_port(), Devices(devices_path(bench.store))
    cookie = devices.add("phone", Scope.WRITE, datetime.fromisoformat(START))[1]
    path, address, taken = f"/cell/{code}/record/mass", f"http://127.0.0.1:{port}", list[float]()
    running = serve(bench, port)
    try:
        with httpx.Client(base_url=address, cookies={"straycell": cookie}, timeout=60) as phone:
            filled = fields_of(phone.get(path).text) | {"basis": ""}
            for number in range(3):
                taken.append(40.0 + number)
                said = {**filled, "key": f"before-{number}", "mass_g": str(taken[-1])}
                assert phone.post(path, data=said).status_code == 303
            running.send_signal(how)
            last = {**filled, "key": "at-the-end", "mass_g": "60"}
            # Whether it was taken nobody knows: it is sent again.
            with suppress(httpx.TransportError):
                phone.post(path, data=last)
        assert running.wait(60) == (0 if how is signal.SIGINT else -how)
        assert bench.run("store check").code == 0 and set(masses(bench, code)) >= set(taken)
        running = serve(bench, port)
        with httpx.Client(base_url=address, cookies={"straycell": cookie}, timeout=60) as phone:
            for _ in range(2):
                assert phone.post(path, data=last).status_code == 303
    finally:
        running.kill()
        running.wait(20)
    assert masses(bench, code) == [*taken, 60.0]
