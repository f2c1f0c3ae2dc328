"""Who gets in, who does not, and what a stranger sees: nothing of the bench."""

from __future__ import annotations

import json
import re
import shlex
import stat
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient
from PIL import Image
from tests.cli.bench import Bench
from tests.web.rig import Page, fields_of, text_of

import straycell.web
from straycell.web import guard
from straycell.web.app import ROUTERS
from straycell.web.devices import TRIES, Devices, Pairing, Scope, devices_path
from straycell.web.limits import Limiter
from straycell.web.routes.part import PARTS

TEMPLATES = Path(straycell.web.__file__).parent / "templates"


def addresses(code: str) -> list[tuple[str, str]]:
    """Every address of the page with its method, with the values of a cell filled in."""
    fill = {"{code}": code, "{name}": "rest", "{word}": code, "{kind}": "cell", "{number}": "A-1"}
    found = []
    for module in ROUTERS:
        for route in module.router.routes:
            parts = PARTS if "{part}" in route.path else ("",)
            for part in parts:
                path: str = route.path.replace("{part}", part)
                path = re.sub(r"\{\w+\}", lambda match: fill[match[0]], path)
                found += [(method, path) for method in sorted(route.methods)]
    return found


def test_nothing_of_the_bench_is_shown_or_written_without_pairing(
    page: Page, code: str, bench: Bench
) -> None:
    """Every address but the pairing itself sends a stranger to it, and writes nothing."""
    stranger, before = page.fresh_client(), bench.store.read_bytes()
    for method, path in addresses(code):
        answer = stranger.request(method, path, follow_redirects=False)
        if path == "/pair":
            assert answer.status_code < 500
            continue
        assert answer.status_code in (303, 401), (method, path)
        assert code not in answer.text and answer.headers.get("location", "/pair").startswith("/pair")
    assert bench.store.read_bytes() == before


def test_no_form_is_taken_without_the_token_of_its_device(page: Page, code: str, bench: Bench) -> None:
    """Another page in the same browser can send a form, and cannot know the token."""
    before = bench.store.read_bytes()
    posts = [path for method, path in addresses(code) if method == "POST" and path != "/pair"]
    assert len(posts) >= 6
    for path in posts:
        for said in ({}, {"token": "0" * 32}):
            assert page.client.post(path, data=said).status_code == 403, path
    assert bench.store.read_bytes() == before


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"},
        {"sec-fetch-site": "cross-site"},
        {"origin": "null"},
        {"origin": "http://[::"},
    ],
)
def test_a_form_from_another_site_is_refused(page: Page, code: str, headers: dict[str, str]) -> None:
    """Even with the right token."""
    path = f"/cell/{code}/record/mass"
    said = fields_of(page.get(path).text) | {"mass_g": "45"}
    assert page.client.post(path, data=said, headers=headers).status_code == 403
    assert page.client.post(path, data=said, headers={"origin": "http://testserver"}).status_code == 200


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "", "[::", "testserver.elsewhere.example", "@testserver]"]
)
def test_a_foreign_host_name_is_not_answered(page: Page, host: str) -> None:
    """A name somebody else points at this machine would let a web page of theirs read the bench (DNS rebinding)."""
    answer = page.get("/", headers={"host": host})
    assert answer.status_code == 421 and "Find a cell" not in answer.text


def test_every_answer_forbids_scripts_from_elsewhere_and_inside_the_page(page: Page, code: str) -> None:
    """The policy on each answer, faults too; the templates hold no script, style or handler of their own."""
    for path in ("/", f"/cell/{code}", "/nothing", "/static/page.js", "/worker.js"):
        headers = page.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
    for template in TEMPLATES.glob("*.html"):
        text = template.read_text(encoding="utf-8")
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+=|https?://", text), template


SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"


def test_what_people_type_is_never_part_of_the_page(bench: Bench, code: str) -> None:
    """A name, a marking, a note, a search, an address and a fault that would be a script stay words."""
    typed = shlex.quote(SCRIPT)
    bench.prepare(f"box add {typed}")
    bench.prepare(f"meter add {typed} --like hand-held-multimeter")
    bench.prepare(f"cell correct {code} --marking {typed} --because {typed}")
    bench.prepare(f"cell move {code} {typed}")
    bench.prepare(f"incident add {code} --kind drop --note {typed}")
    page = Page(bench)
    assert page.pair(name=SCRIPT).status_code == 200
    asked = quote(SCRIPT)
    answers = [page.get(path) for method, path in addresses(code) if method == "GET"]
    answers += [
        page.get(f"{path}{asked}")
        for path in ("/find?q=", "/box?name=", "/project?name=", "/pair?next=", "/")
    ]
    answers += [page.send(f"/cell/{code}/{form}", None, **{name: SCRIPT}) for form, name in TYPED]
    shown = 0
    for answer in answers:
        assert "<script>alert" not in answer.text and "<img src=x" not in answer.text, answer.url
        shown += "&lt;script&gt;alert(1)" in answer.text
    assert shown > 10, "what was typed is on the pages"


TYPED = (
    ("record/mass", "mass_g"),
    ("record/found", "meter"),
    ("incident", "kind"),
    ("move", "box"),
    ("discard", "because"),
)


def test_a_drawing_opened_by_itself_runs_and_loads_nothing(page: Page, code: str) -> None:
    """Its own styles alone are allowed in it."""
    answer = page.get("/picture/boxes")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.headers["content-security-policy"] == "default-src 'none'; style-src 'unsafe-inline'"


def test_too_much_is_refused_whether_it_was_announced_or_not(page: Page, code: str) -> None:
    """By its length, and as it comes in where no length was given."""
    path = f"/cell/{code}/record/mass"
    body = b"token=" + b"x" * (guard.MOST_FORM_BYTES + 1)
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert page.client.post(path, content=body, headers=kind).status_code == 413
    parts = (body[start : start + 9000] for start in range(0, len(body), 9000))
    assert page.client.post(path, content=parts, headers=kind).status_code == 413


def test_a_client_that_asks_too_often_has_to_wait() -> None:
    """A full bucket, then what refills; others are not slowed, and the list of clients is bounded."""
    now = [0.0]
    limiter = Limiter(2.0, 3.0, lambda: now[0])
    assert [limiter.allows("a") for _ in range(4)] == [True, True, True, False]
    assert limiter.allows("b")
    now[0] += 0.5
    assert limiter.allows("a") and not limiter.allows("a")


def test_the_rate_is_held_at_the_door(page: Page) -> None:
    """The page says so in words."""
    page.site.requests = Limiter(0.001, 2.0, lambda: 0.0)
    assert [page.get("/device").status_code for _ in range(3)] == [200, 200, 429]
    assert "wait a few seconds" in page.get("/device").text


def test_a_pairing_code_is_good_once_and_dies_of_wrong_guesses(bench: Bench) -> None:
    """The next device needs the next code; five wrong ones draw a new one."""
    made = Page(bench)
    first = made.codes[-1]
    assert made.pair().url.path == "/"
    other = made.fresh_client()
    assert other.post("/pair", data={"code": first, "name": "other"}).status_code == 403
    shown: list[str] = []
    pairing = Pairing(shown.append, iter(["AAAAAAAA", "BBBBBBBB", "CCCCCCCC"]).__next__)
    pairing.open()
    assert not any(pairing.take("ZZZZZZZZ") for _ in range(TRIES))
    assert shown == ["AAAAAAAA", "BBBBBBBB"]
    assert not pairing.take("AAAAAAAA") and pairing.take("bbbb-bbbb")


def test_guessing_is_slowed(page: Page) -> None:
    """After a handful of tries an address waits, right code or not."""
    stranger = page.fresh_client()
    answers = [stranger.post("/pair", data={"code": "WRONG", "name": "x"}).status_code for _ in range(8)]
    assert answers[-1] == 429


def test_secrets_lie_hashed_in_a_file_of_their_owner_alone(page: Page, bench: Bench) -> None:
    """Mode 0600; neither the cookie nor the pairing code can be read out of it."""
    path = devices_path(bench.store)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    text, cookie = path.read_text(encoding="utf-8"), page.client.cookies["straycell"]
    assert cookie.partition(".")[2] not in text and page.codes[0] not in text
    assert re.fullmatch("[0-9a-f]{64}", json.loads(text)[0]["digest"])


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(bench: Bench) -> None:
    """HttpOnly and SameSite=Strict."""
    made = Page(bench)
    said = {"code": made.codes[-1], "name": "phone"}
    answer = made.client.post("/pair", data=said, follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie


def test_a_forgotten_device_is_out_at_once(page: Page, bench: Bench) -> None:
    """By the command line, while the page runs."""
    assert page.get("/device").status_code == 200
    (device,) = bench.do("serve devices")
    assert device["name"] == "phone" and device["scope"] == "write"
    bench.do("serve forget phone")
    assert page.get("/device").url.path == "/pair"
    assert bench.do("serve devices") == []


def test_a_name_that_several_devices_have_is_asked_back(bench: Bench) -> None:
    """The number tells them apart."""
    made = Page(bench)
    for _ in range(2):
        made.pair(made.fresh_client(), "phone")
    assert "several devices" in bench.refused("serve forget phone", 3)
    assert "no device" in bench.refused("serve forget tablet", 3)


def test_a_read_only_page_records_nothing(bench: Bench, code: str) -> None:
    """Also for a device that could write before; looking works."""
    made = Page(bench, read_only=True)
    made.pair()
    assert made.get(f"/cell/{code}").status_code == 200 and "/record/" not in made.get(f"/cell/{code}").text
    before = bench.store.read_bytes()
    answer = made.send(f"/cell/{code}/record/mass", mass_g="45")
    assert answer.status_code == 403 and "record nothing" in answer.text
    writer, credential = Devices(devices_path(bench.store)).add(
        "old", Scope.WRITE, made.site.settings.clock()
    )
    other = made.fresh_client()
    other.cookies["straycell"] = credential
    assert made.send(f"/cell/{code}/record/mass", client=other, mass_g="45").status_code == 403
    assert bench.store.read_bytes() == before and writer.scope is Scope.WRITE


def test_a_device_paired_while_read_only_stays_so(bench: Bench, code: str) -> None:
    """A visitor's phone does not become a writer when the page is started again."""
    visitor = Page(bench, read_only=True)
    visitor.pair()
    again = Page(bench)
    again.client.cookies["straycell"] = visitor.client.cookies["straycell"]
    assert again.send(f"/cell/{code}/record/mass", mass_g="45").status_code == 403


def test_a_fault_of_the_program_shows_nothing_of_its_inside(
    page: Page, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plain page for the device, one line for the terminal."""

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("secret of the inside")

    monkeypatch.setattr("straycell.web.routes.due.survey", broken)
    answer = page.get("/due")
    assert answer.status_code == 500 and "not your fault" in answer.text
    assert "secret" not in answer.text and "Traceback" not in answer.text
    assert capsys.readouterr().err == "straycell: the page failed (RuntimeError) at /due\n"


@pytest.mark.parametrize(
    "onward", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere", "x", "/a\nb"]
)
def test_pairing_leads_nowhere_else(bench: Bench, onward: str) -> None:
    """What comes after `next` is a path of this page or nothing."""
    made = Page(bench)
    said = {"code": made.codes[-1], "name": "phone", "next": onward}
    answer = made.client.post("/pair", data=said, follow_redirects=False)
    assert answer.headers["location"] == "/"


@pytest.mark.parametrize("kind", ["empty", "text", "truncated", "bomb"])
def test_a_picture_that_is_none_is_refused_in_words(page: Page, tmp_path: Path, kind: str) -> None:
    """And so is one whose header promises more pixels than fit; no path of this machine is shown."""
    made, size = tmp_path / "real.png", 20_000 if kind == "bomb" else 400
    Image.new("1", (size, size)).save(made)
    content = {
        "empty": b"",
        "text": b"hello",
        "truncated": made.read_bytes()[:80],
        "bomb": made.read_bytes(),
    }[kind]
    token = fields_of(page.get("/").text)["token"]
    answer = page.client.post(
        "/scan", data={"token": token}, files={"photo": ("../../x.png", content, "image/png")}
    )
    assert answer.status_code == 422
    said = text_of(answer.text)
    assert "photograph" in said and "/tmp" not in said and "Traceback" not in said


def test_a_broken_file_of_devices_lets_nobody_in(page: Page, bench: Bench) -> None:
    """It is said, with what to do; nothing is guessed."""
    devices_path(bench.store).write_text("{", encoding="utf-8")
    answer = page.get("/")
    assert answer.status_code == 503 and "remove it and pair the devices again" in answer.text
    assert "device file" in bench.refused("serve devices", 4)


def test_a_client_without_pairing_can_read_the_files_that_hold_no_data(bench: Bench) -> None:
    """Style and script are needed for the pairing page itself; nothing else lies beside them."""
    client: TestClient = Page(bench).fresh_client()
    assert client.get("/static/page.css").status_code == 200
    for path in ("/static/../words.toml", "/static/%2e%2e/words.toml"):
        assert "Pairing code" in client.get(path).text or client.get(path).status_code == 404


def test_behind_a_proxy_that_speaks_https_forms_are_taken(page: Page, code: str) -> None:
    """The browser names https, the proxy asks by http and keeps the host: it is the same origin; another host is not."""
    filled = fields_of(page.get(f"/cell/{code}/record/mass").text) | {"mass_g": "45"}
    for origin, status in (("https://testserver", 303), ("https://elsewhere", 403)):
        answer = page.client.post(
            f"/cell/{code}/record/mass", data=filled, headers={"origin": origin}, follow_redirects=False
        )
        assert answer.status_code == status
