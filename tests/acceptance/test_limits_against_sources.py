"""Safety limits against what their sources say: none may be looser than the figure that another has published."""

from __future__ import annotations

import pytest

from straycell.acceptance import shipped_rules

RULES = shipped_rules()
# rule, key: at least so much, by whom.
LEAST = [
    ("voltage-floor", "4.2V", 2.0, "battery handbook: discard below 2.00 V a cell"),
    (
        "voltage-floor",
        "lfp",
        1.5,
        "battery handbook: no boost below 1.5 V, where copper has gone into solution",
    ),
    ("voltage-floor", "any", 1.5, "the same"),
    ("as-found-voltage", "4.2V", 2.5, "cell sheets: a discharge ends at 2.5 to 3.0 V"),
    ("as-found-voltage", "lfp", 2.0, "sheets of iron phosphate cells: it ends at 2.0 V"),
    ("as-found-voltage", "any", 2.5, "the sheets of 4.2 V cells: the stricter of both"),
    ("retention-days", None, 28.0, "a national standard: charge retention after 28 days"),
    ("pair-days", "low-start", 28.0, "the same"),
    ("pair-days", "coarse", 28.0, "the same"),
    ("pair-days", "doubtful", 28.0, "the same"),
    ("charge-frost-check", None, 28.0, "the same"),
    ("board-voltage", None, 2.5, "protection sheets: over-discharge detection 2.40 +/- 0.10 V"),
    ("pulse-length", None, 0.5, "IEC 61960: a pulse of 1 s, of which half must have passed"),
]
MOST = [
    ("first-day", None, 5.0, "battery handbook: about 5 % in the first 24 h"),
    ("rate-out", "light", 0.2, "cell sheets: standard discharge, at which a capacity is rated"),
    ("rate-out", "solo", 1.0, "cell sheets: 1C and more is allowed to new cells"),
    ("rate-out", "pack", 1.0, "the same"),
    ("full-voltage-marked", "lfp", 3.65, "sheet of a 26650 iron phosphate cell"),
    ("full-voltage-marked", "4.2V", 4.40, "markings of 4.35 and 4.40 V cells: none is printed higher"),
    ("full-voltage-marked", "any", 4.40, "the same"),
]


def figure(rule: str, key: str | None) -> float:
    return RULES.figure(rule, key) if key is not None else RULES.figure(rule)


@pytest.mark.parametrize(("rule", "key", "bound", "who"), LEAST)
def test_no_lower_limit_lies_below_what_was_published(
    rule: str, key: str | None, bound: float, who: str
) -> None:
    """Moved down it would pass what the source does not."""
    assert figure(rule, key) >= bound, who


@pytest.mark.parametrize(("rule", "key", "bound", "who"), MOST)
def test_no_upper_limit_lies_above_what_was_published(
    rule: str, key: str | None, bound: float, who: str
) -> None:
    """Moved up it would pass what the source does not."""
    assert figure(rule, key) <= bound, who


@pytest.mark.parametrize(
    ("key", "size"), [("18650", "large"), ("21700", "large"), ("26650", "large"), ("any", "small")]
)
def test_an_unmeasured_resistance_is_reckoned_worse_than_any_that_passes(key: str, size: str) -> None:
    """One and a half times the d.c. limit of a light cell of its size, as its source says."""
    assert figure("first-day-resistance", key) >= 1.5 * RULES.figure("unrated-resistance-dc", f"{size}/light")
