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

from straycell.acceptance.figures import Figures
from straycell.acceptance.permission import out_of_use
from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, Chemistry, Form, Stage
from straycell.errors import BadData
from straycell.labels.content import (
    DO_NOT_USE,
    NEVER_CHARGE,
    NO_FIGURES,
    NOT_YET,
    Face,
    LabelContent,
    Place,
    Purpose,
    blank_content,
    box_content,
    label_content,
    project_content,
)
from straycell.quantities import Measured
from straycell.readings import Method

USABLE = [Outcome.LIGHT, Outcome.SOLO, Outcome.PACK]


FILLED = {Outcome.LIGHT: 1, Outcome.SOLO: 2, Outcome.PACK: 3}


def line_texts(content: LabelContent) -> list[str]:
    """The small texts in their longest wording."""
    return [line.wordings[0] for line in content.lines]


@pytest.mark.parametrize("outcome", USABLE)
def test_the_gauge_says_what_a_cell_may_do_and_the_word_stands_with_its_date(outcome: Outcome) -> None:
    """One, two, three fields; word and date are one text, so that neither can stand alone."""
    content = a_label(outcome)
    assert (content.face, content.filled) == (Face.GAUGE, FILLED[outcome])
    assert content.lines[-1].wordings == (f"{outcome.word.upper()} until 2027-08-30", "to 2027-08-30")


def test_the_capacity_is_the_largest_and_the_rest_says_what_and_when() -> None:
    """Code, chemistry and form, uncertainty, resistance with its method, month of the last test, until when."""
    content = a_label(Outcome.SOLO)
    assert (content.headline, content.unit) == (("2010",), "mAh")
    assert line_texts(content) == [
        CODES[0],
        "NMC 18650",
        "± 60 mAh",
        "48 mΩ dc",
        "tested 2026-09",
        "SOLO until 2027-08-30",
    ]
    assert content.lines[0].mono and not any(line.mono for line in content.lines[1:])


@pytest.mark.parametrize("outcome", [Outcome.HOLD, None])
def test_a_cell_on_hold_says_not_yet_and_shows_no_figure(outcome: Outcome | None) -> None:
    """No number invites use, no word of an outcome, no date."""
    content = a_label(outcome)
    assert (content.face, content.headline[0]) == (Face.NOT_YET, NOT_YET)
    rest = words(content).replace(CODES[0], "").replace("18650", "")
    assert not any(letter.isdigit() for letter in rest)
    assert not any(word in rest.lower() for word in ("hold", "pack", "solo", "light", "until"))


@pytest.mark.parametrize("verdict", [None, a_verdict(Outcome.PACK, None)])
def test_without_a_verdict_or_its_end_it_is_not_yet(verdict: object) -> None:
    """A verdict that does not say until when it holds is not printed."""
    content = label_content(a_cell(), verdict, FIGURES, today=TODAY)  # type: ignore[arg-type]
    assert content.face is Face.NOT_YET and "PACK" not in words(content)


@pytest.mark.parametrize(("late", "printed"), [(-1, True), (0, False), (1, False), (400, False)])
def test_an_outcome_that_has_run_out_is_not_printed(late: int, printed: bool) -> None:
    """From the day on which it runs out, and 13 months later."""
    content = a_label(Outcome.PACK, today=UNTIL.date() + days(late))
    assert ("PACK" in words(content)) is printed is (content.face is Face.GAUGE)


def test_a_lower_bound_is_marked_and_printed_less_its_uncertainty() -> None:
    """2010 mAh with U = 60 mAh that is only a lower bound: 1950 for sure."""
    figures = replace(FIGURES, at_least=True)
    content = label_content(a_cell(), a_verdict(Outcome.SOLO), figures, today=TODAY)
    assert content.headline == ("≥1950",)
    assert "±" not in words(content)


@pytest.mark.parametrize(("method", "word"), [("ac-1khz", "ac"), ("dc-pulse", "dc"), ("unknown", "?")])
def test_a_resistance_names_its_method(method: str, word: str) -> None:
    """Values of different methods are never compared, so the label tells them apart."""
    figures = replace(FIGURES, resistance_method=Method(method))
    content = label_content(a_cell(), a_verdict(Outcome.SOLO), figures, today=TODAY)
    (text,) = [text for text in line_texts(content) if "mΩ" in text]
    assert text == f"48 mΩ {word}"


def test_a_figure_without_its_date_is_left_out() -> None:
    """No date, no figure: the outcome is the largest word then."""
    undated = replace(FIGURES, capacity_at=None, resistance_at=None)
    content = label_content(a_cell(), a_verdict(Outcome.SOLO), undated, today=TODAY)
    assert content.headline == ("SOLO",) and content.unit == ""
    assert not any(hint in words(content) for hint in ("mAh", "mΩ", "tested"))


def test_an_exact_figure_shows_no_uncertainty_and_a_large_one_its_own_unit() -> None:
    """A standard uncertainty of zero prints the plain value; from 10 Ah on the unit is Ah."""
    exact = label_content(a_cell(), a_verdict(Outcome.PACK), Figures(Measured(2.0, 0.0), NOW), today=TODAY)
    assert (exact.headline, exact.unit) == (("2000",), "mAh") and "±" not in words(exact)
    large = label_content(a_cell(), a_verdict(Outcome.PACK), Figures(Measured(12.88, 0.13), NOW), today=TODAY)
    assert (large.headline, large.unit) == (("12.88",), "Ah") and "± 0.26 Ah" in words(large)


@pytest.mark.parametrize(
    ("cell", "verdict"),
    [
        (a_cell(), a_verdict(Outcome.DISCARD)),
        (a_cell(stage=Stage.CONDEMNED), a_verdict(Outcome.PACK)),
        (a_cell(stage=Stage.HANDED_OVER), None),
        (a_cell(chemistry=Chemistry.PRIMARY), None),
    ],
)
def test_a_cell_out_of_use_warns_and_shows_nothing_that_invites_use(
    cell: Cell, verdict: Verdict | None
) -> None:
    """DO NOT USE in a black field, never charge, no figure, no date: also for a condemned cell with a good verdict."""
    content = label_content(cell, verdict, FIGURES, today=TODAY)
    assert out_of_use(verdict.outcome if verdict else None, cell.stage, cell.facts.chemistry)
    assert (content.face, content.headline[0]) == (Face.DO_NOT_USE, DO_NOT_USE)
    assert NEVER_CHARGE in words(content)
    assert not any(hint in words(content) for hint in ("mAh", "Ω", "2026", "until", "PACK"))


def test_an_unknown_chemistry_is_said_in_words() -> None:
    """Unknown is an honest value, and stands where the chemistry would."""
    content = label_content(a_cell(chemistry=Chemistry.UNKNOWN), a_verdict(Outcome.LIGHT), today=TODAY)
    assert content.lines[1].wordings == ("chemistry unknown, 18650", "unknown 18650")


def test_a_label_of_unknown_kind_says_that_it_is_never_joined() -> None:
    """In the long and the short wording: whoever holds it has only the label."""
    content = label_content(a_cell(chemistry=Chemistry.LIION), a_verdict(Outcome.LIGHT), today=TODAY)
    assert content.lines[1].wordings == ("LIION kind unknown 18650: never join", "LIION 18650: never join")


def test_the_marking_of_a_flat_cell_follows_where_there_is_room() -> None:
    """It carries the size; line breaks become blanks."""
    cell = a_cell(chemistry=Chemistry.LCO, form=Form.POUCH, marking="603450\n3.7V 容")
    kind = label_content(cell, a_verdict(Outcome.LIGHT), today=TODAY).lines[1]
    assert kind.wordings == ("LCO pouch 603450 3.7V 容", "LCO pouch")


def test_a_blank_label_has_an_empty_gauge_and_rules_to_write_on() -> None:
    """The cell is marked before it is measured; the fields can be filled with a pen."""
    content = blank_content(CODES[3])
    assert (content.code, content.headline) == (CODES[3], (CODES[3],))
    assert (content.face, content.filled) == (Face.BLANK, 0) and content.rules


# --- what labels are for ---------------------------------------------------------------------------


@pytest.mark.parametrize("outcome", [*Outcome, None])
def test_a_tiny_label_keeps_the_face_and_the_code(outcome: Outcome | None) -> None:
    """Code and gauge only; NOT YET and DO NOT USE still stand in words."""
    verdict = None if outcome is None else a_verdict(outcome)
    shelf = label_content(a_cell(), verdict, FIGURES, today=TODAY)
    tiny = label_content(a_cell(), verdict, FIGURES, today=TODAY, purpose=Purpose.TINY)
    assert (tiny.face, tiny.filled, tiny.payload) == (shelf.face, shelf.filled, shelf.payload)
    assert CODES[0] in words(tiny) and len(tiny.lines) <= 1
    if tiny.face is not Face.GAUGE:
        assert tiny.headline == shelf.headline


def test_a_build_label_says_where_the_cell_sits_and_a_held_cell_still_says_not_yet() -> None:
    """Group and cell from 1, as on the build sheet; a place gives no pass."""
    place = Place("reed-bed gauge", 2, 4, 3, 5)
    made = label_content(
        a_cell(), a_verdict(Outcome.PACK), FIGURES, today=TODAY, purpose=Purpose.BUILD, place=place
    )
    assert made.headline == ("2-3",)
    assert "group 2 of 4, cell 3 of 5" in words(made) and "reed-bed gauge" in words(made)
    held = label_content(
        a_cell(), a_verdict(Outcome.HOLD), FIGURES, today=TODAY, purpose=Purpose.BUILD, place=place
    )
    assert held.face is Face.NOT_YET


def test_a_discard_label_is_refused_for_a_cell_in_use() -> None:
    """It would put a good cell into the wrong box."""
    with pytest.raises(BadData, match=f"{CODES[0]} is not out of use"):
        label_content(a_cell(), a_verdict(Outcome.PACK), FIGURES, today=TODAY, purpose=Purpose.DISCARD)


def test_a_box_says_what_it_is_how_much_it_may_hold_and_how_many_lie_in_it() -> None:
    """Without a limit that is said; a project's tray has its own."""
    assert "metal box | at most 400 Wh | 33 cells" in words(box_content("round", "metal box", 400.0, 33))
    assert "no limit set | 1 cell" in words(box_content("sand", "bucket", None, 1))
    assert (
        "gauge" in words(project_content("gauge", "2 in series", 6))
        and project_content("g", "", 1).payload is None
    )


def test_a_fingerprint_changes_with_what_a_person_reads_and_with_nothing_else() -> None:
    """Another day prints the same label; another outcome, figure or box of the cell does or does not."""
    assert a_label(Outcome.PACK).fingerprint() == a_label(Outcome.PACK, today=TODAY + days(3)).fingerprint()
    other = label_content(
        a_cell(), a_verdict(Outcome.PACK), replace(FIGURES, capacity=Measured(1.9, 0.03)), today=TODAY
    )
    found = {a_label(outcome).fingerprint() for outcome in Outcome} | {other.fingerprint()}
    assert len(found) == len(Outcome) + 1


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
    """Whatever the cell: the gauge is filled only when usable, in use and not run out; else there is no figure."""
    cell = a_cell(stage=stage, chemistry=chemistry, form=form)
    verdict = None if outcome is None else a_verdict(outcome)
    today = UNTIL.date() + days(late)
    content = label_content(cell, verdict, FIGURES if measured else NO_FIGURES, today=today)
    promises = content.face is Face.GAUGE
    assert promises == (outcome in USABLE and late < 0 and not out_of_use(outcome, stage, chemistry))
    assert (content.filled > 0) == promises
    assert promises or not any(hint in words(content) for hint in ("mAh", "Ω", "until", "tested"))
    assert (content.face is Face.DO_NOT_USE) == (DO_NOT_USE in words(content))


def test_the_same_arguments_give_the_same_label() -> None:
    """The day comes in as an argument; no clock is read."""
    assert a_label(Outcome.PACK) == a_label(Outcome.PACK)
    at = datetime(2031, 1, 1, tzinfo=UTC).date()
    assert a_label(Outcome.PACK, today=at) != a_label(Outcome.PACK)
