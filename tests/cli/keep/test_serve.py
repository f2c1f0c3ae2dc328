"""`straycell serve`: started and stopped as a person does, and what it says when it cannot be."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest
from tests.cli.bench import START, Bench

from straycell.cli.nouns.keep import serve


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent to a process otherwise there")
def test_the_page_is_served_until_ctrl_c(bench: Bench) -> None:
    """It says where it is and the code, answers there, and stops with exit code 0 and no traceback."""
    bench.do("store init")
    port = free_port()
    line = [sys.executable, "-m", "straycell", "--store", str(bench.store), "serve", "--port", str(port)]
    running = subprocess.Popen(
        line, stderr=subprocess.PIPE, text=True, env={**os.environ, "STRAYCELL_NOW": START}
    )
    try:
        assert running.stderr is not None
        assert f"http://127.0.0.1:{port}" in running.stderr.readline()
        assert re.search(r"/pair\?code=[0-9A-Z]{8}$", running.stderr.readline().strip())
        running.stderr.readline()
        with urlopen(f"http://127.0.0.1:{port}/", timeout=20) as page:
            assert page.url.endswith("/pair?next=/") and b"Pairing code" in page.read()
        with pytest.raises(HTTPError):
            urlopen(f"http://127.0.0.1:{port}/static/nothing", timeout=20)
    finally:
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=20)
    assert running.returncode == 0
    assert said == "stopped: every record is whole\n"


def test_a_port_in_use_is_said(bench: Bench) -> None:
    """With what to do, before any code is shown."""
    bench.do("store init")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        said = bench.refused(f"serve --port {other.getsockname()[1]}", 2)
    assert "choose another with --port" in said


def test_without_a_store_nothing_is_served(bench: Bench) -> None:
    """Every tap would fail."""
    assert "store init" in bench.refused("serve", 4)


def test_two_ways_to_say_where_are_one_too_many(bench: Bench) -> None:
    """--lan is every address."""
    bench.do("store init")
    assert "leave one of them out" in bench.refused("serve --lan --host 127.0.0.1", 2)


def test_without_its_extra_the_page_says_how_to_get_it(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest of the program works without it."""
    monkeypatch.setattr(serve, "find_spec", lambda name: None if name == "uvicorn" else object())
    assert "pip install 'straycell[web]'" in bench.refused("serve", 2)


def test_devices_are_listed_without_the_page(bench: Bench) -> None:
    """An empty list is said, not refused."""
    bench.do("store init")
    assert "no device is paired" in bench.run("serve devices").err
