"""How many examples a property test draws, and whether they are new ones.

A newcomer's run draws few and the same ones each time. With STRAYCELL_DRAW=1 a run draws new ones, and prints of a failing one
the line that keeps it: `@reproduce_failure(...)`, better written down as an `@example(...)` of its own.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

IN_CI = os.environ.get("STRAYCELL_DRAW", "").lower() not in ("", "0", "false", "no")
USUAL = 100
SHARE = 4
"""A newcomer's run draws one in so many."""


def few(in_ci: int) -> int:
    """How many examples this run draws of those that CI draws."""
    return in_ci if IN_CI else max(5, in_ci // SHARE)


def examples(in_ci: int) -> settings:
    """For a property whose examples cost more, or are worth less, than the usual hundred."""
    return settings(max_examples=few(in_ci))


def choose_profile() -> None:
    """The same rules for every property: not timed, no files left behind."""
    settings.register_profile(
        "bench",
        derandomize=not IN_CI,
        print_blob=True,
        database=None,
        deadline=None,
        max_examples=few(USUAL),
        suppress_health_check=[HealthCheck.too_slow],
    )
    settings.load_profile("bench")
