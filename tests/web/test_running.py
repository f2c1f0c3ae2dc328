"""Timers: a rest that ends and a charge that must be looked at, from the store's moments, on the board and on the cell."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from tests.cli.bench import Bench
from tests.web.rig import Page, text_of

from straycell.acceptance.reasons import Outcome, Verdict
from straycell.bench.recording.running import LONGEST_CHARGE, LOOK_EVERY, Runs, timers

NOW = datetime(2026, 3, 1, 9, tzinfo=UTC)


def until(page: str) -> list[str]:
    """The moments that a page counts down to."""
    return re.findall(r'<time data-until="([^"]+)"', page)


def later(bench: Bench, after: timedelta) -> None:
    bench.now = (datetime.fromisoformat(bench.now) + after).isoformat()


@pytest.fixture
def looked(bench: Bench, code: str) -> str:
    """The cell after a clean look and its first voltage: it may have its test charge."""
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V --meter hand")
    return code


def test_a_charge_that_was_begun_is_looked_at_until_it_is_recorded(
    page: Page, bench: Bench, looked: str
) -> None:
    """Every half hour, from the moment it was begun; its record ends the timer."""
    begun = datetime.fromisoformat(bench.now)
    opened = f"/cell/{looked}/record/charge"
    form = {"key": "a" * 16, "basis": "", **token_of(page, opened)}
    assert "the charge is timed" in text_of(page.client.post(f"/charge/{looked}", data=form).text)
    later(bench, timedelta(minutes=70))
    for path in (f"/cell/{looked}", "/due"):
        assert (begun + 3 * LOOK_EVERY).isoformat() in until(page.get(path).text), path
    later(bench, timedelta(hours=3))
    page.send(opened, current_a="0.5", until_v="4.2", temperature_c="21", peak_temperature_c="24")
    assert "On charge since" not in page.get("/due").text + page.get(f"/cell/{looked}").text


def token_of(page: Page, path: str) -> dict[str, str]:
    found = re.search(r'name="token" value="(\w+)"', page.get(path).text)
    assert found is not None
    return {"token": found[1]}


def test_a_cell_that_may_have_no_charge_gets_no_timer(page: Page, bench: Bench, code: str) -> None:
    """Whoever asks for one is about to connect it."""
    bench.do(f"reading add {code} --look leaking")
    before = bench.store.read_bytes()
    form = {"key": "a" * 16, "basis": "", **token_of(page, f"/cell/{code}/record/charge")}
    answer = page.client.post(f"/charge/{code}", data=form)
    assert answer.status_code == 422 and "never charge it" in text_of(answer.text)
    assert "/charge/" not in page.get(f"/cell/{code}/record/charge").text
    assert bench.store.read_bytes() == before


def test_a_rest_counts_down_to_the_moment_that_can_decide(page: Page, bench: Bench, looked: str) -> None:
    """The same moment as `verdict show` gives; gone when it is over."""
    bench.do(f"charge add {looked} --current 0.5A --until 4.2V --temperature 21C --peak-temperature 24C")
    missing = bench.do(f"verdict show {looked}")["missing"]
    ends = min(
        m["todo"]["not_before"]
        for m in missing
        if m["todo"]["kind"] == "rest-voltage" and m["todo"]["not_before"]
    )
    assert datetime.fromisoformat(ends) > datetime.fromisoformat(bench.now)
    for path in (f"/cell/{looked}", "/due"):
        shown = page.get(path).text
        assert "It rests until" in shown and ends in until(shown), path
    bench.now = (datetime.fromisoformat(ends) + timedelta(minutes=1)).isoformat()
    assert "It rests until" not in page.get("/due").text


def test_a_timer_of_a_forgotten_charge_ends() -> None:
    """At the bound, before it, and never one from the future."""
    verdict = Verdict("A00002M", Outcome.HOLD, "", "", (), (), NOW, None, "")
    for since, there in (
        (NOW, True),
        (NOW - LONGEST_CHARGE + timedelta(seconds=1), True),
        (NOW - LONGEST_CHARGE, False),
        (NOW + timedelta(seconds=1), False),
    ):
        found = timers([verdict], {"A00002M": since}, NOW)
        assert bool(found) is there
        assert all(each.runs is Runs.CHARGE and NOW < each.at <= NOW + LOOK_EVERY for each in found)
