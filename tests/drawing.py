"""How much the tests draw, and whether it is new: examples of a property, steps of a walk, kills, broken files.

`STRAYCELL_NUMBERS` says it in a word. A newcomer's run draws `few` and the same ones each time. `.ci/run` draws the `full`
numbers of all that is counted: steps, kills, meters; still the same ones. With `new` the properties draw, too, more examples
and new ones, and print of a failing one the line that keeps it: `@reproduce_failure(...)`, better written down as an
`@example(...)` of its own.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TypeVar

from hypothesis import HealthCheck, settings

T = TypeVar("T")
NUMBERS = os.environ.get("STRAYCELL_NUMBERS") or "few"
assert NUMBERS in ("few", "full", "new"), f"STRAYCELL_NUMBERS is few, full or new, not {NUMBERS!r}"
FULL, NEW = NUMBERS != "few", NUMBERS == "new"
USUAL = 100
SHARE, LONG_SHARE = 5, 16
"""A newcomer's run draws one example in so many, and of what takes long one step in so many."""


def few(in_full: int) -> int:
    """How many this run takes of what the full numbers have."""
    return in_full if FULL else max(5, in_full // SHARE)


def drawn(in_new: int) -> int:
    """How many examples of a property: a chance one must not fail a change that has nothing to do with it."""
    return in_new if NEW else max(5, in_new // SHARE)


def part(in_full: int, least: int = 1) -> int:
    """How far this run goes of a long trial, and how often the premise of its law must then occur: never 0 times."""
    return in_full if FULL else max(least, in_full // LONG_SHARE)


def thinned(cases: Sequence[T]) -> Sequence[T]:
    """Of seeds, sizes and steps that show the same law: one in a few, the first among them. Never of kinds of input."""
    return cases if FULL else cases[::SHARE]


def examples(in_new: int) -> settings:
    """For a property whose examples cost more, or are worth less, than the usual hundred."""
    return settings(max_examples=drawn(in_new))


def choose_profile() -> None:
    """The same rules for every property: not timed, no files left behind."""
    settings.register_profile(
        "bench",
        derandomize=not NEW,
        print_blob=True,
        database=None,
        deadline=None,
        max_examples=drawn(USUAL),
        suppress_health_check=[HealthCheck.too_slow],
    )
    settings.load_profile("bench")
