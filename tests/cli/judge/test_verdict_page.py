"""The reasons of a verdict in words: each measured figure once."""

from __future__ import annotations

from datetime import UTC, datetime

from straycell.acceptance.reasons import Outcome, Reason, Status, Verdict
from straycell.bench import verdict_words
from straycell.cli.show.verdict_page import row_of

NOW = datetime(2026, 3, 1, tzinfo=UTC)


def why(*texts: str, figure: str = "") -> list[str]:
    """What a page says for reasons of these texts, all of them deciding, those that begin with `figure` of that."""
    reasons = tuple(
        Reason(
            "capacity", Status.FAILED, Outcome.SOLO, text, figure=figure if text.startswith(figure) else ""
        )
        for text in texts
    )
    return verdict_words.why(Verdict("A00001K", Outcome.SOLO, "r", "h", reasons, (), NOW, None, ""))


def test_a_figure_stands_once_with_what_it_reaches_first() -> None:
    """Two steps of one measurement are one line."""
    share = "1480 ± 19 mAh is 74% of 2000 mAh (rated)"
    assert why(f"{share}: not enough for pack", f"{share}: solo", figure=share) == [
        f"{share}: solo, not enough for pack"
    ]


def test_a_condition_after_a_semicolon_joins_it() -> None:
    """As self-discharge says it."""
    loss = "loses 1.2 ± 0.3 % a month over 10 days"
    assert why(f"{loss}; pack needs 14 days", f"{loss}: solo", figure=loss) == [
        f"{loss}: solo, pack needs 14 days"
    ]


def test_different_figures_and_words_without_one_stay_as_they_are() -> None:
    """Nothing is lost, nothing is joined that does not belong together."""
    texts = ["no capacity measured", "seen: dented", "seen: rust", "74 mohm d.c.: solo", "80 mohm a.c.: solo"]
    assert why(*texts) == texts


def test_a_graded_rule_shows_its_figures_as_its_limit_does() -> None:
    """A ratio stays a ratio where the reason is named after the step it misses."""
    missed = Reason("resistance-pack", Status.FAILED, Outcome.SOLO, "", 1.528, 0.082, 1.3, "1")
    assert row_of(missed)[2:4] == ["1.528 ± 0.082 times", "1.3 times"]
