"""`straycell serve`: started and stopped as a person does, and what it says when it cannot be."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
from http.client import HTTPException
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, HTTPSHandler, build_opener, urlopen

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


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    """A certificate for this machine and its key, made here and trusted by this test alone."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl is not installed: no certificate can be made here")
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    line = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=localhost"
    names = "subjectAltName=IP:127.0.0.1,DNS:localhost"
    asked = [openssl, *line.split(), "-addext", names, "-keyout", str(key), "-out", str(cert)]
    subprocess.run(asked, check=True, capture_output=True)
    return cert, key


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent to a process otherwise there")
def test_with_a_certificate_the_page_is_at_a_secure_address(
    bench: Bench, certificate: tuple[Path, Path]
) -> None:
    """A client that trusts it pairs by https and gets a cookie for https alone; one without https gets nothing."""
    bench.do("store init")
    port, (cert, key) = free_port(), certificate
    line = [sys.executable, "-m", "straycell", "--store", str(bench.store), "serve", "--port", str(port)]
    env = {**os.environ, "STRAYCELL_NOW": START}
    running = subprocess.Popen(
        [*line, "--tls", str(cert), str(key)], stderr=subprocess.PIPE, text=True, env=env
    )
    try:
        assert running.stderr is not None
        assert f"https://127.0.0.1:{port}" in running.stderr.readline()
        code = running.stderr.readline().rpartition("=")[2].strip()
        running.stderr.readline()
        form = urlencode({"code": code, "name": "phone"}).encode()
        trusted = ssl.create_default_context(cafile=str(cert))
        jar = CookieJar()
        opener = build_opener(HTTPSHandler(context=trusted), HTTPCookieProcessor(jar))
        with opener.open(f"https://127.0.0.1:{port}/pair", form, timeout=20) as page:
            assert page.url == f"https://127.0.0.1:{port}/"
            # The live camera needs leave of the page itself (W3C Permissions Policy).
            assert "camera=(self)" in page.headers["permissions-policy"]
        assert [(cookie.secure, cookie.has_nonstandard_attr("HttpOnly")) for cookie in jar] == [(True, True)]
        with pytest.raises(URLError):
            urlopen(f"https://127.0.0.1:{port}/", timeout=20)  # not trusted
        with pytest.raises((OSError, HTTPException)):
            urlopen(f"http://127.0.0.1:{port}/", timeout=20)
    finally:
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=20)
    assert running.returncode == 0 and "Traceback" not in said


def test_files_that_are_no_certificate_are_refused(bench: Bench, tmp_path: Path) -> None:
    """What, and which option, before an address is given out."""
    bench.do("store init")
    wrong = tmp_path / "wrong.pem"
    wrong.write_text("no certificate")
    said = bench.refused(f"serve --port {free_port()} --tls {wrong} {wrong}", 3)
    assert "check the files of --tls" in said


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
