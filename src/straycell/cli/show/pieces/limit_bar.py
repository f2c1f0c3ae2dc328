"""A value with its uncertainty against a limit, in characters: how near, on which side, and is it clear of it."""

from __future__ import annotations

from straycell.cli.app import output

WIDTH = 11
_CENTRE = WIDTH // 2
_SPAN = 0.5
"""The bar shows half below to half above the limit: a value further off needs no closer look."""


def limit_bar(observed: object, limit: object, expanded_uncertainty: float | None) -> str:
    """`──●──│     `: the limit in the middle, the value with its U; empty where either is not a figure above 0."""
    if not isinstance(observed, int | float) or not isinstance(limit, int | float) or limit <= 0:
        return ""
    spread = expanded_uncertainty or 0.0
    low, at, high = (_place(value / limit) for value in (observed - spread, observed, observed + spread))
    dash, dot, rim = _signs()
    drawn = [dash if low <= place <= high else " " for place in range(WIDTH)]
    # The value is drawn last: where it hides the limit, it is at the limit.
    drawn[_CENTRE] = rim
    drawn[at] = dot
    return "".join(drawn)


def _place(ratio: float) -> int:
    return min(WIDTH - 1, max(0, _CENTRE + round((ratio - 1.0) / _SPAN * _CENTRE)))


def _signs() -> tuple[str, str, str]:
    return ("─", "●", "│") if output.can_show("─●│") else ("-", "o", "|")
