"""A clock that was set back: what was seen under the later one is in `due` all the same."""

from __future__ import annotations

import pytest
from tests.cli.bench import Bench

BEFORE = "2025-03-01T09:00:00+00:00"


@pytest.mark.parametrize(
    ("seen", "kind"),
    [
        ("reading add {} --look swollen", "isolate"),
        ("reading add {} --as-found-voltage 1.2V", "isolate"),
        ("incident add --kind drop {}", "incident"),
        ("incident add --kind warm {}", "warm"),
    ],
)
def test_a_danger_dated_later_than_now_is_due_now(bench: Bench, seen: str, kind: str) -> None:
    """At the very moment, and a year back: the danger stays on the list."""
    (cell,) = bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    bench.do(seen.format(cell["code"]))
    kinds = {item["kind"] for item in bench.do("due")["due"]}
    assert kind in kinds
    bench.now = BEFORE
    assert kind in {item["kind"] for item in bench.do("due")["due"]}
