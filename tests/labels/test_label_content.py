"""Which lines a label carries, and above all which it does not."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.labels.label_bench import (
    CODES,
    FIGURES,
    NOW,
    TODAY,
    UNTIL,
    a_cell,
    a_label,
    a_verdict,
    days,
    words,
)

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry, Form, Stage
from straycell.errors import BadData
from straycell.labels.content import (
    DO_NOT_USE,
    MOST_LINES,
    NO_FIGURES,
    LabelFigures,
    Role,
    blank_content,
    label_content,
    out_of_use,
)
from straycell.quantities import Measured

USABLE = [Outcome.LIGHT, Outcome.SOLO, Outcome.PACK]


@pytest.mark.parametrize("outcome", USABLE)
def test_an_outcome_stands_with_the_date_until_which_it_holds(outcome: Outcome) -> None:
    """One line holds both, so that neither can stand alone."""
    (line,) = [line for line in a_label(outcome).lines if line.role is Role.OUTCOME]
    assert line.wordings == ((f"{outcome.word.upper()} until 2027-08-30", ""),)


def test_a_cell_on_hold_prints_no_outcome_at_all() -> None:
    """Neither the word hold nor any other, and no date until which something holds."""
    content = a_label(Outcome.HOLD)
    assert all(line.role is not Role.OUTCOME for line in content.lines)
    assert "until" not in words(content)
    assert not any(outcome.word in words(content).lower() for outcome in Outcome)


@pytest.mark.parametrize("verdict", [None, a_verdict(Outcome.PACK, None)])
def test_without_a_verdict_or_its_end_there_is_no_outcome(verdict: object) -> None:
    """A verdict that does not say until when it holds is not printed."""
    content = label_content(a_cell(), verdict, FIGURES, today=TODAY)  # type: ignore[arg-type]
    assert "PACK" not in words(content)
    assert "look it up before use" in words(content)


@pytest.mark.parametrize(("late", "printed"), [(-1, True), (0, False), (1, False), (400, False)])
def test_an_outcome_that_has_run_out_is_not_printed(late: int, printed: bool) -> None:
    """From the day on which it runs out, and 13 months later."""
    content = a_label(Outcome.PACK, today=UNTIL.date() + days(late))
    assert ("PACK" in words(content)) is printed


def test_figures_stand_with_their_uncertainty_and_their_own_dates() -> None:
    """Capacity and resistance were taken on different days; the method is named."""
    lines = [line for line in a_label(Outcome.SOLO).lines if line.role is Role.FIGURE]
    assert lines[0].wordings == (("2010 ± 60 mAh", "2026-09-22"), ("2010 mAh", "2026-09-22"))
    assert lines[1].wordings == tuple(
        (text, "2026-09-23") for text in ("48.0 ± 3.0 mohm dc", "48.0 mohm dc", "48 mohm dc")
    )


def test_a_lower_bound_says_so_in_every_wording() -> None:
    """A capacity that is only at least this much must never read as the capacity."""
    figures = replace(FIGURES, at_least=True)
    content = label_content(a_cell(), None, figures, today=TODAY)
    wordings = [text for line in content.lines for text, _ in line.wordings if "mAh" in text]
    assert len(wordings) == 3
    assert all(text.startswith(("at least ", "> ")) for text in wordings)


@pytest.mark.parametrize(("method", "word"), [("ac-1khz", "ac"), ("dc-pulse", "dc"), ("unknown", "?")])
def test_a_resistance_names_its_method(method: str, word: str) -> None:
    """Values of different methods are never compared, so the label tells them apart."""
    content = label_content(a_cell(), None, replace(FIGURES, resistance_method=method), today=TODAY)
    texts = [text for line in content.lines for text, _ in line.wordings if "mohm" in text]
    assert texts
    assert all(text.split("mohm ")[1].endswith(word) for text in texts)


def test_a_figure_without_its_date_is_left_out() -> None:
    """No date, no figure."""
    undated = replace(FIGURES, capacity_at=None, resistance_at=None)
    assert not [
        line for line in label_content(a_cell(), None, undated, today=TODAY).lines if line.role is Role.FIGURE
    ]


def test_an_exact_figure_shows_no_uncertainty() -> None:
    """A standard uncertainty of zero prints the plain value."""
    figures = LabelFigures(Measured(2.0, 0.0), NOW)
    assert "2000 mAh 2026-10-04" in words(label_content(a_cell(), None, figures, today=TODAY))


@pytest.mark.parametrize(
    ("cell", "verdict"),
    [
        (a_cell(), a_verdict(Outcome.DISCARD)),
        (a_cell(stage=Stage.CONDEMNED), a_verdict(Outcome.PACK)),
        (a_cell(stage=Stage.HANDED_OVER), None),
        (a_cell(chemistry=Chemistry.PRIMARY), None),
    ],
)
def test_a_cell_out_of_use_warns_and_shows_nothing_that_invites_use(cell: object, verdict: object) -> None:
    """DO NOT USE in words, hatching, no figure, no outcome, no date: also for a condemned cell with a good verdict."""
    content = label_content(cell, verdict, FIGURES, today=TODAY)  # type: ignore[arg-type]
    assert out_of_use(cell, verdict)  # type: ignore[arg-type]
    assert content.hatched
    assert content.lines[0].wordings == ((DO_NOT_USE, ""),)
    assert content.lines[0].role is Role.WARNING
    assert {line.role for line in content.lines} == {Role.WARNING, Role.NOTE}
    assert not any(hint in words(content) for hint in ("mAh", "ohm", "2026", "until", "PACK"))


def test_an_unknown_chemistry_is_said_in_words() -> None:
    """Unknown is an honest value, and stands where the chemistry would."""
    content = label_content(a_cell(chemistry=Chemistry.UNKNOWN), None, today=TODAY)
    assert content.lines[0].wordings == (("chemistry unknown, 18650", ""), ("unknown, 18650", ""))


def test_the_marking_of_a_flat_cell_follows_and_stays_printable() -> None:
    """It carries the size; line breaks and characters outside Latin-1 do not reach the printer."""
    cell = a_cell(chemistry=Chemistry.LCO, form=Form.POUCH, marking="603450\n3.7V \x07 容")
    kind = label_content(cell, None, today=TODAY).lines[0]
    assert kind.wordings == (("LCO pouch", "603450 3.7V ? ?"), ("LCO pouch", ""))


def test_a_blank_label_has_rules_to_write_on_and_no_claims() -> None:
    """The cell is marked before it is measured."""
    content = blank_content(CODES[3])
    assert content.code == CODES[3]
    assert {line.role for line in content.lines} == {Role.WRITE_IN}


def test_another_cells_verdict_is_refused() -> None:
    """A label that mixes up two cells is worse than none."""
    with pytest.raises(BadData, match=CODES[1]):
        label_content(a_cell(CODES[0]), a_verdict(Outcome.PACK, code=CODES[1]), today=TODAY)


@given(
    st.sampled_from([*Outcome, None]),
    st.sampled_from(list(Stage)),
    st.sampled_from(list(Chemistry)),
    st.sampled_from(list(Form)),
    st.integers(-500, 500),
    st.booleans(),
)
def test_no_label_promises_more_than_its_verdict(
    outcome: Outcome | None, stage: Stage, chemistry: Chemistry, form: Form, late: int, measured: bool
) -> None:
    """Whatever the cell: an outcome stands only when usable, in use and not run out; lines never exceed the room."""
    cell = a_cell(stage=stage, chemistry=chemistry, form=form)
    verdict = None if outcome is None else a_verdict(outcome)
    today = UNTIL.date() + days(late)
    content = label_content(cell, verdict, FIGURES if measured else NO_FIGURES, today=today)
    promises = any(line.role is Role.OUTCOME for line in content.lines)
    assert promises == (outcome in USABLE and late < 0 and not out_of_use(cell, verdict))
    assert len(content.lines) <= MOST_LINES
    assert content.hatched == (DO_NOT_USE in words(content))


def test_the_same_arguments_give_the_same_label() -> None:
    """The day comes in as an argument; no clock is read."""
    assert a_label(Outcome.PACK) == a_label(Outcome.PACK)
    at = datetime(2031, 1, 1, tzinfo=UTC).date()
    assert a_label(Outcome.PACK, today=at) != a_label(Outcome.PACK)
