"""The dialogue of the evening by itself: no terminal, no store, every turn it can take."""

from __future__ import annotations

import pytest
from tests.cli.intake_bench import CELL, OPENING, Table, a_start, evening_of

from straycell.bench.intake.log import missing_of_intake, next_pack
from straycell.bench.intake.script import Ask, Question, _take_line
from straycell.bench.intake.session import intake
from straycell.bench.intake.state import Session, left_over
from straycell.bench.intake.store_actions import Bearer, Found, Opened, Start
from straycell.bench.intake.words import number
from straycell.cells import CellFacts, Chemistry, Form, Look, make_code
from straycell.cli.intake.command import offer_labels
from straycell.errors import BadData, StoreFault
from straycell.keys import RecordKey
from straycell.meters import Meter, meter_like
from straycell.quantities import Dimension
from straycell.readings import Quantity, Reading, Where
from straycell.safety import Step

CODES = [make_code("A", number) for number in range(1, 9)]


def values(table: Table, number: int = -1) -> dict[Quantity, object]:
    """What an entry records, by quantity."""
    items = [item for item in table.entries[number].items if isinstance(item, Reading)]
    return {item.quantity: item.look or item.value for item in items}


def test_enter_repeats_the_kind_and_look_defaults_to_clean() -> None:
    """Written, volts, Enter, Enter: four lines a cell."""
    table, session = evening_of(CELL, ["", "3.65", "", ""])
    assert [entry.code for entry in table.entries] == CODES[:2] == list(session.kept)
    assert values(table, 1) == {Quantity.AS_FOUND_VOLTAGE: 3.65, Quantity.LOOK: (Look.CLEAN,)}
    facts = table.entries[1].facts
    assert facts is not None and (facts.form, facts.chemistry) == (Form.F18650, Chemistry.NMC)
    assert facts.rated_capacity_ah == 2.6 and facts.marking == "INR18650 2600mAh"
    assert all((e.teardown, e.pack, e.is_new) == ("AT1", "1", True) for e in table.entries)


def test_each_code_is_shown_large_before_anything_is_asked_of_its_cell() -> None:
    """So that look-alikes are never mixed up."""
    table, _ = evening_of(CELL)
    assert table.larges == CODES[:2]
    written = table.prompts.index(f"write {CODES[0]} on the cell, then Enter")
    assert not any("as found, V" in prompt for prompt in table.prompts[:written])


@pytest.mark.parametrize("text", ["", "37.1", "3,7,1", "3.7mAh", "clean", "3.7 5", "nan", "A000"])
def test_a_voltage_that_cannot_be_is_asked_again_and_nothing_is_lost(text: str) -> None:
    """The fault is said, the same question stands, the next answer counts."""
    table, _ = evening_of(["", text, "3.7", "", ""])
    assert sum("as found, V" in prompt for prompt in table.prompts) == 2
    assert values(table)[Quantity.AS_FOUND_VOLTAGE] == 3.7


@pytest.mark.parametrize(
    ("text", "volts"), [("3.71", 3.71), ("3710mV", 3.71), ("3.71 V", 3.71), ("-0.2", -0.2)]
)
def test_a_bare_number_is_in_the_unit_the_prompt_names(text: str, volts: float) -> None:
    """A unit of its own is taken too."""
    table, _ = evening_of(["", text, "", ""])
    assert values(table)[Quantity.AS_FOUND_VOLTAGE] == pytest.approx(volts)


def test_a_low_voltage_is_said_at_once_and_can_be_put_right_with_one_key() -> None:
    """0.37 for 3.7 would put a good cell out of use."""
    table, _ = evening_of(["", "0.37", "<", "3.7", "", ""])
    assert any("below 2 V" in text for text in table.said)
    assert values(table)[Quantity.AS_FOUND_VOLTAGE] == 3.7 and not table.amended


@pytest.mark.parametrize(
    "lines", [["s"], ["", "s"], ["", "3.7", "s"], ["", "3.7", "sl"], ["", "3.7", "swollen"]]
)
def test_damage_ends_the_questions_wherever_it_is_seen(lines: list[str]) -> None:
    """Before writing, before measuring, or at the look: it is recorded, and only its print is asked for after that."""
    table, _ = evening_of(lines)
    assert Look.SWOLLEN in values(table)[Quantity.LOOK]  # type: ignore[operator]
    assert table.entries[0].facts is None
    assert table.larges == CODES[:1] and table.prompts[-1] == "marking"
    assert Step.LOOK_BAD in [step for caution in table.cautions for step in caution.steps]
    assert any("on its bag or box" in text for text in table.said)


def test_a_dented_cell_is_out_but_is_no_fire_alarm() -> None:
    """It goes to the discards; nothing more is asked of it either."""
    table, _ = evening_of(["", "3.7", "d", ""])
    assert len(table.entries) == 2 and table.larges == CODES[:2]
    assert [step for caution in table.cautions for step in caution.steps] == [Step.INTAKE, Step.DISCARD]


def test_a_deeply_discharged_cell_comes_with_the_word_not_to_wake_it() -> None:
    """The caution of low voltage, beside what to do with a discard."""
    table, _ = evening_of(["", "1.2", "", ""])
    steps = [step for caution in table.cautions for step in caution.steps]
    assert steps == [Step.INTAKE, Step.LOW_VOLTAGE, Step.DISCARD]


def test_a_sleeve_that_is_torn_does_not_end_the_questions() -> None:
    """It can be mended."""
    table, _ = evening_of(["", "3.7", "tn", ""])
    assert values(table)[Quantity.LOOK] == (Look.TORN_SLEEVE, Look.BARE_TAB)
    assert table.entries[0].facts is not None


def test_back_asks_the_answer_before_again_and_keeps_what_stands() -> None:
    """From the marking to the look to the voltage and forward again with Enter."""
    table, _ = evening_of(["", "3.7", "t", "<", "<", "3.6", "c", ""])
    assert values(table) == {Quantity.AS_FOUND_VOLTAGE: 3.6, Quantity.LOOK: (Look.CLEAN,)}
    table, _ = evening_of(["", "3.7", "t", "<", "", ""])
    assert values(table)[Quantity.LOOK] == (Look.TORN_SLEEVE,)


def test_back_at_the_next_code_corrects_the_last_answer_of_the_kept_cell() -> None:
    """The look of the kept cell is changed: an amendment, and the code already shown stays the next one."""
    table, session = evening_of(CELL, ["<", "<", "r", "", "", "", "", ""], CELL)
    amended = table.amended[0]
    assert amended.former.code == CODES[0] and "corrected at intake" in amended.because
    assert {i.look for i in amended.entry.items if isinstance(i, Reading)} >= {(Look.RUST,)}
    assert [entry.code for entry in table.entries] == CODES[:2]
    assert session.pending == CODES[2]


def test_back_and_enter_all_along_changes_nothing() -> None:
    """Looking at the last answer is free."""
    table, _ = evening_of(CELL, ["<", "", "", "", ""])
    assert table.amended == [] and any("stays as it is" in text for text in table.said)


def test_a_kept_cells_kind_can_be_put_right_and_carries_over() -> None:
    """< and Enter asks form, chemistry and rated capacity; the next cell starts from them."""
    table, _ = evening_of(CELL, ["<", "", "", "nca", "2500"], CELL)
    facts = table.amended[0].entry.facts
    assert facts is not None and (facts.chemistry, facts.rated_capacity_ah) == (Chemistry.NCA, 2.5)
    assert table.entries[1].facts == facts


def test_a_cell_comes_back_from_out_of_use_only_with_words() -> None:
    """A single key must not undo a discard."""
    table, _ = evening_of(
        ["", "1.2", "", ""], ["<", "<", "<", "3.2", "", "", "", "", "", "", "-", "slip of the finger"]
    )
    assert [amend.because for amend in table.amended] == ["slip of the finger"]
    assert table.amended[0].former.code == CODES[0]


def test_back_before_the_first_cell_corrects_what_most_cells_are() -> None:
    """The proposal of the marking can be overridden before any cell is logged."""
    table, _ = evening_of(["<", "", "", "nca", ""], CELL)
    facts = table.entries[0].facts
    assert facts is not None and facts.chemistry is Chemistry.NCA
    table, _ = evening_of(["<", "IFR26650 3200mAh", "", "", ""], CELL)
    facts = table.entries[0].facts
    assert facts is not None and (facts.chemistry, facts.form) == (Chemistry.LFP, Form.F26650)


def test_back_at_the_common_marking_goes_to_the_meter_and_keeps_what_was_typed() -> None:
    """Never forward to the first code; form, marking and meter are each one key back."""
    table = Table()
    lines = ["torch", "torch", "", "hand-held-multimeter", "xy20", "<", "<", "good-multimeter"]
    table.run(intake(Session(a_start())), lines)
    assert table.prompts[3:] == ["meter", "marking", "form", "marking", "meter", "marking"]
    assert table.defaults["marking"] == "xy20" and table.larges == []
    table.run(intake(session := Session(a_start())), [*lines, "", "18650", "nmc", *CELL])
    facts = table.entries[0].facts
    assert facts is not None and (facts.marking, facts.form) == ("xy20", Form.F18650)
    meter = session.meters[Quantity.AS_FOUND_VOLTAGE]
    assert meter is not None and meter.name == "good-multimeter"


def test_from_the_first_code_the_common_marking_and_the_meter_are_in_reach() -> None:
    """One key to the marking, one more to the meter."""
    table, session = evening_of(["<", "<", "good-multimeter", "IFR26650 3200mAh"], CELL)
    facts = table.entries[0].facts
    assert facts is not None and facts.form is Form.F26650
    assert session.meters[Quantity.AS_FOUND_VOLTAGE] is not None
    assert not any("no cell before" in text for text in table.said)


def test_back_at_the_meter_says_that_it_goes_no_further() -> None:
    """The tear-down is recorded by then; the question stands."""
    table = Table()
    table.run(intake(Session(a_start())), ["torch", "torch", "", "<", "-", ""])
    assert table.prompts.count("meter") == 2 and any("is recorded" in text for text in table.said)


PRIMARY_KIND = CellFacts(marking="CR123A 3V", chemistry=Chemistry.PRIMARY)


def going_on(*lines: str, facts: CellFacts = PRIMARY_KIND) -> tuple[Table, Session]:
    """A tear-down that goes on, whose last cell was of this kind."""
    table = Table(find_teardown=lambda code: Opened(code, "lamp", "2", facts))
    session = Session(a_start(last_teardown=("AT7", "lamp", "lamp")))
    table.run(intake(session), ["", "-", *lines])
    return table, session


def test_enter_never_makes_a_cell_primary_because_an_earlier_one_was() -> None:
    """The kind of the last cell is named, but only = or the marking itself takes it over."""
    table, _ = going_on("", "3.7", "", "", "INR18650 2600mAh")
    marking = [prompt for prompt in table.prompts if prompt.startswith("marking")]
    assert len(marking) == 2 and "= once more CR123A 3V" in marking[0]
    facts = table.entries[0].facts
    assert facts is not None and facts.chemistry is Chemistry.NMC
    assert any("Enter takes no kind over that is never charged" in text for text in table.said)


@pytest.mark.parametrize(
    "keys",
    [["<", "", "", "3.7", "", ""], ["", "3.7", "", "<", "<", "", "", ""], ["", "3.7", "<", "", "", "", ""]],
)
def test_no_way_back_and_forth_with_enter_takes_a_primary_kind_over(keys: list[str]) -> None:
    """Whatever is gone back over, the marking is still asked."""
    table, _ = going_on(*keys)
    assert table.entries == [] and table.prompts[-1].startswith("marking (=")


def test_the_same_key_takes_a_primary_kind_over_for_this_cell() -> None:
    """One key a cell for a whole bag of them; corrected later, Enter keeps what was typed."""
    table, _ = going_on("", "3.1", "", "=", "<", "", "", "", "")
    assert [entry.facts for entry in table.entries] == [PRIMARY_KIND]
    assert table.amended == [] and any("stays as it is" in text for text in table.said)


def test_a_common_marking_of_a_primary_cell_is_confirmed_for_each_cell() -> None:
    """What most cells are is no word on this one."""
    table = Table()
    lines = [
        "torch",
        "torch",
        "",
        "-",
        "CR123A 3V",
        "",
        "3.1",
        "",
        "",
        "=",
        "",
        "3.1",
        "",
        "-",
        "18650",
        "nmc",
    ]
    table.run(intake(Session(a_start())), lines)
    kinds = [entry.facts.chemistry for entry in table.entries if entry.facts]
    assert kinds == [Chemistry.PRIMARY, Chemistry.NMC]


def test_the_same_key_without_a_cell_before_is_refused() -> None:
    """There is nothing to be like."""
    table = Table()
    table.run(intake(Session(a_start())), ["torch", "torch", "", "-", "=", "INR18650 2600mAh", *CELL])
    assert any("no cell before to be like" in text for text in table.said) and len(table.entries) == 1


def test_a_tear_down_that_goes_on_has_the_meter_one_key_back() -> None:
    """No common marking was asked there."""
    kind = CellFacts(form=Form.F21700, chemistry=Chemistry.NCA, marking="INR21700")
    table, session = going_on("<", "good-multimeter", *CELL, facts=kind)
    meter = session.meters[Quantity.AS_FOUND_VOLTAGE]
    assert meter is not None and meter.name == "good-multimeter"
    assert table.entries[0].facts == kind


def test_the_first_question_leaves_room_to_type_in() -> None:
    """A long title stands in a line of its own."""
    table = Table()
    title = "a cordless screwdriver with a very long name"
    table.run(intake(Session(a_start(last_teardown=("AT1", title, "tool")))), [])
    assert table.defaults["what did you open?"] == "AT1 goes on" and f"AT1 is {title}" in table.said


def test_a_mistyped_look_brings_the_near_word_and_not_the_legend_again() -> None:
    """The legend stands above already; the next cell brings it back."""
    asked: list[tuple[str, str]] = []
    lines = iter([*OPENING, "", "3.7", "swolen", "clena", "?", "", "", "", "3.7"])

    def take(effect: Ask) -> str:
        asked.append((effect.prompt, effect.legend))
        return next(lines)

    table = Table(ask=take)
    table.run(intake(Session(a_start())), [])
    looks = [bool(legend) for prompt, legend in asked if prompt == "look"]
    assert looks == [True, False, False, False, True]
    assert any("Nearest: swollen" in text for text in table.said)


def test_a_new_marking_asks_only_what_it_does_not_tell() -> None:
    """Form and chemistry of `18650`: the form is told, the chemistry is asked, once a kind."""
    table, _ = evening_of(
        ["", "3.7", "", "18650", "lco"], ["", "3.7", "", "INR18650 2600mAh"], ["", "3.7", "", "1 8650"]
    )
    kinds = [entry.facts.chemistry for entry in table.entries if entry.facts]
    assert kinds == [Chemistry.LCO, Chemistry.NMC, Chemistry.LCO]
    assert table.prompts.count("chemistry") == 1


def test_nothing_printed_asks_what_it_is_and_never_guesses() -> None:
    """Form from the cell before as a proposal, chemistry unknown."""
    table, _ = evening_of(["", "3.7", "", "-", "", ""])
    facts = table.entries[0].facts
    assert facts == CellFacts(form=Form.F18650, chemistry=Chemistry.UNKNOWN)
    assert table.defaults["chemistry"] == "unknown"


@pytest.mark.parametrize(
    ("typed", "words"),
    [("3.71", "looks like a voltage"), ("3,71", "looks like a voltage"), ("77", "only a number")],
)
def test_a_marking_that_is_only_a_number_is_asked_again_once(typed: str, words: str) -> None:
    """A voltage typed one question too late; what is printed instead is then taken."""
    table, _ = evening_of(["", "3.7", "", typed, "INR18650 2500mAh", ""])
    assert sum(words in text for text in table.said) == 1
    assert table.entries[0].facts is not None and table.entries[0].facts.marking == "INR18650 2500mAh"


def test_a_number_typed_twice_is_the_marking_and_enter_is_not() -> None:
    """It may really be printed so; an Enter in haste takes the usual print."""
    for again, marking in (("3.71", "3.71"), ("", "INR18650 2600mAh")):
        table, _ = evening_of(["", "3.7", "", "3.71", again, "", "", ""])
        facts = table.entries[0].facts
        assert facts is not None and facts.marking == marking


@pytest.mark.parametrize("typed", ["18650", "603450"])
def test_a_number_that_is_a_size_is_taken_at_once(typed: str) -> None:
    """A round size, a flat one."""
    table, _ = evening_of(["", "3.7", "", typed, "", "", ""])
    assert not any("only a number" in text or "like a voltage" in text for text in table.said)


def test_a_marking_of_a_primary_cell_is_never_to_charge() -> None:
    """No chemistry is asked; the note says it."""
    table, _ = evening_of(["", "3.0", "", "CR123A 3V"])
    facts = table.entries[0].facts
    assert facts is not None and facts.chemistry is Chemistry.PRIMARY
    assert any("never charge" in text for text in table.said)


@pytest.mark.parametrize(("word", "sure"), [("", False), ("n", False), ("y", True)])
def test_an_unmarked_cell_of_a_primary_size_must_be_confirmed(word: str, sure: bool) -> None:
    """Enter is no confirmation."""
    table, _ = evening_of(["", "3.7", "", "-", "16340", "lco", word])
    facts = table.entries[0].facts
    assert facts is not None and facts.confirmed_rechargeable is sure


def test_the_same_voltage_for_cells_still_welded_together() -> None:
    """= shares the voltage of the cell before, and says that it was shared."""
    table, _ = evening_of(CELL, ["", "=", "", ""])
    shared = next(item for item in table.entries[1].items if isinstance(item, Reading))
    assert (shared.value, shared.as_group) == (3.7, True)
    table, _ = evening_of(["", "=", "3.6", "", ""])
    assert values(table)[Quantity.AS_FOUND_VOLTAGE] == 3.6


def test_a_voltage_that_was_not_measured_is_left_out() -> None:
    """- is an honest answer."""
    table, _ = evening_of(["", "-", "", ""])
    assert values(table) == {Quantity.LOOK: (Look.CLEAN,)}


def test_plus_starts_the_next_pack() -> None:
    """Siblings are told apart, for the sake of a leaking one."""
    table, _ = evening_of(CELL, ["+", *CELL])
    assert [entry.pack for entry in table.entries] == ["1", "2"]
    assert (next_pack("9"), next_pack("left")) == ("10", "left 2")


def test_help_explains_and_asks_again() -> None:
    """At every prompt of an session."""
    table, _ = evening_of(["?", "", "?", "3.7", "?", "", "?", ""])
    assert len(table.entries) == 1
    for words in ("look-alikes", "never be measured again", "Damage decides", "whether it may be charged"):
        assert any(words in text for text in table.said), words


def test_a_scanned_code_of_the_same_cell_is_no_answer_to_the_next_question() -> None:
    """A scanner that beeps twice does no harm, and another cell's code is not taken for a figure or a print."""
    table, _ = evening_of(["", CODES[0], "3.7", CODES[4], "", "", CODES[0].lower(), ""])
    assert values(table) == {Quantity.AS_FOUND_VOLTAGE: 3.7, Quantity.LOOK: (Look.CLEAN,)}
    assert any("yes, that is this cell" in text for text in table.said)
    facts = table.entries[0].facts
    assert facts is not None and facts.marking == "INR18650 2600mAh"


def opening() -> tuple[Table, list[tuple[str, str, int]]]:
    """A table that keeps which tear-downs were opened: title, kind, how many objects."""
    opened: list[tuple[str, str, int]] = []

    def open_one(*asked: str | int) -> Opened:
        title, kind, objects = str(asked[0]), str(asked[1]), int(asked[2])
        opened.append((title, kind, objects))
        return Opened("AT1", title)

    return Table(open_teardown=open_one), opened


def test_a_wrong_count_asks_for_the_count_alone() -> None:
    """Asked for the kind again, a person who retypes the count makes it the kind."""
    table, opened = opening()
    table.run(intake(Session(a_start())), ["garden torch", "torch", "many", "2", *OPENING[3:], "q"])
    assert opened == [("garden torch", "torch", 2)]


def test_the_count_goes_back_to_the_kind() -> None:
    """Which Enter then keeps."""
    table, opened = opening()
    table.run(intake(Session(a_start())), ["garden torch", "torch", "<", "", "", *OPENING[3:], "q"])
    assert opened == [("garden torch", "torch", 1)]


def test_a_print_that_tells_nothing_says_what_is_asked_next() -> None:
    """Form and chemistry follow."""
    table, _ = evening_of(["", "3.7", "", "Yellow 17", "18650", "nmc"])
    assert any("not recognised; the next questions ask" in text for text in table.said)


# --- a code wherever the cursor is ------------------------------------------------------------------------


def test_another_code_takes_over_while_nothing_was_answered() -> None:
    """The shown code stays the next one."""
    table, session = evening_of(["", CODES[6], CODES[6], "3.7", "", ""], CELL)
    assert [entry.code for entry in table.entries] == [CODES[6], CODES[0]] and session.scanned == ""


def test_another_code_asks_when_answers_would_be_lost() -> None:
    """y drops them and goes to it; Enter, or the scanner once more, stays."""
    table, _ = evening_of(["", "3.7", CODES[6], "y", CODES[6], "3.6", "", ""])
    assert [entry.code for entry in table.entries] == [CODES[6]]
    assert values(table)[Quantity.AS_FOUND_VOLTAGE] == 3.6
    table, _ = evening_of(["", "3.7", CODES[6], CODES[6], "", ""])
    assert [entry.code for entry in table.entries] == [CODES[0]]
    assert any("not recorded yet" in text and CODES[0] in text for text in table.said)


@pytest.mark.parametrize("place", range(5))
def test_a_code_is_no_title_kind_meter_or_print(place: int) -> None:
    """It comes first as soon as what was asked is said."""
    lines = [*OPENING]
    lines.insert(place, CODES[6])
    table, opened = opening()
    table.run(intake(Session(a_start())), [*lines, CODES[6], "3.7", "", ""])
    assert opened[0][:2] == ("garden torch", "torch")
    assert [entry.code for entry in table.entries] == [CODES[6]]
    assert table.entries[0].facts is not None and table.entries[0].facts.marking == "INR18650 2600mAh"


@pytest.mark.parametrize("place", range(1, 4))
def test_a_misread_code_is_never_an_answer(place: int) -> None:
    """One wrong character, at the voltage, the look and the print: refused with the reason, and nothing is lost."""
    misread = CODES[6][:4] + ("1" if CODES[6][4] != "1" else "2") + CODES[6][5:]
    lines = [*CELL]
    lines.insert(place, misread)
    table, _ = evening_of(lines)
    assert [entry.code for entry in table.entries] == [CODES[0]]
    assert any("check character" in text or "never issued" in text for text in table.said)
    assert table.entries[0].facts is not None and table.entries[0].facts.marking == "INR18650 2600mAh"


def test_a_cell_known_before_goes_on_before_anything_is_opened() -> None:
    """At the first question of the evening."""
    known = Found(CODES[6], Bearer.CELL, CellFacts(form=Form.F21700), frozenset())
    table = finding(known)
    table.run(intake(Session(a_start())), [CODES[6], "-", "3.6", "t", *OPENING])
    assert values(table) == {Quantity.AS_FOUND_VOLTAGE: 3.6, Quantity.LOOK: (Look.TORN_SLEEVE,)}
    assert table.entries[0].code == CODES[6]


def test_the_label_of_a_finished_neighbour_files_nothing() -> None:
    """Logged a minute ago: Enter goes back to the cell in hand."""
    table, _ = evening_of(
        CELL,
        [CODES[0], "", "", "3.6", "", ""],
        table=Table(
            find_code=lambda text: Found(
                CODES[0],
                Bearer.CELL,
                CellFacts(form=Form.F18650),
                frozenset({Quantity.AS_FOUND_VOLTAGE, Quantity.LOOK}),
            )
        ),
    )
    assert [entry.code for entry in table.entries] == CODES[:2]
    assert any("is logged already" in text for text in table.said)


def test_a_code_is_no_reason_for_a_correction() -> None:
    """A condemned cell comes back with words, not with a scan."""
    table, _ = evening_of(
        ["", "1.2", "", ""], ["<", "<", "<", "3.2", "", "", "", "", "", CODES[3], "slipped"]
    )
    assert [amend.because for amend in table.amended] == ["slipped"]


# --- printed blanks, the rhythm, several answers on a line ------------------------------------------------


def with_blanks(*lines: list[str], **more: object) -> tuple[Table, Session]:
    """An evening with a sheet of labels: CODES[3] and those behind it."""
    table = Table()
    table.blanks = list(CODES[3:])
    return evening_of(*lines, table=table, **more)


def test_the_next_printed_label_is_proposed_and_taken_by_enter_or_scan() -> None:
    """No large letters: the code is on paper."""
    table, _ = with_blanks(CELL, [CODES[4], "3.65", "", ""])
    assert [entry.code for entry in table.entries] == CODES[3:5]
    assert table.larges == [] and f"stick {CODES[5]} on the cell, then Enter or scan it" in table.prompts


def test_a_label_out_of_turn_must_be_scanned_twice() -> None:
    """The scanner caught the neighbour on the sheet; read twice alike, it is on the cell."""
    table, _ = with_blanks([CODES[5], "", "", "3.7", "", ""])
    assert [entry.code for entry in table.entries] == [CODES[3]]
    table, _ = with_blanks([CODES[5], CODES[5], "3.7", "", ""])
    assert [entry.code for entry in table.entries] == [CODES[5]]
    assert f"stick {CODES[4]} on the cell, then Enter or scan it" in table.prompts


@pytest.mark.parametrize(
    ("line", "volts", "look", "marking"),
    [
        ("3.72 t", 3.72, (Look.TORN_SLEEVE,), "INR18650 2600mAh"),
        ("3,72 V r t", 3.72, (Look.RUST, Look.TORN_SLEEVE), "INR18650 2600mAh"),
        ("3720mV c IFR26650 3200mAh 3.2V", 3.72, (Look.CLEAN,), "IFR26650 3200mAh 3.2V"),
    ],
)
def test_several_answers_stand_on_one_line(
    line: str, volts: float, look: tuple[Look, ...], marking: str
) -> None:
    """Voltage, look, print: as many as one likes."""
    table, _ = evening_of(["", line, ""])
    assert values(table) == {Quantity.AS_FOUND_VOLTAGE: pytest.approx(volts), Quantity.LOOK: look}
    assert table.entries[0].facts is not None and table.entries[0].facts.marking == marking


@pytest.mark.parametrize("line", ["3.7 zz", "3.7 5", "3.7 c s", "zz t", "3.7 c INR"])
def test_a_line_that_is_not_used_up_gives_no_answer_at_all(line: str) -> None:
    """No half of it is kept."""
    table, _ = evening_of(["", line])
    assert [p.split(maxsplit=1)[1] for p in table.prompts[-2:]] == ["as found, V"] * 2 and table.entries == []


def test_damage_noticed_at_the_print_is_no_print() -> None:
    """One letter there is a look that came too late: one key goes back to it."""
    table, _ = evening_of(["", "3.7", "", "s", "<", "s"])
    assert Look.SWOLLEN in values(table, 0)[Quantity.LOOK]  # type: ignore[operator]


def test_a_title_typed_at_the_first_question_is_the_title() -> None:
    """`Enter opens a tear-down`: what was typed there is not dropped."""
    table, opened = opening()
    table.run(intake(Session(a_start(waiting=3))), ["bicycle lamp", "lamp", ""])
    assert opened[0][0] == "bicycle lamp"
    assert table.prompts[1] == "what kind of object?"


def test_good_cells_go_into_the_box_of_the_evening() -> None:
    """Said once; a discard is not laid among the good ones."""
    table = Table()
    lines = [*OPENING[:4], "ti", OPENING[4], *CELL, "", "1.2", "", ""]
    table.run(intake(Session(a_start(boxes=("shelf", "tin")))), lines)
    assert [entry.code for entry in table.entries] == CODES[:2] and table.shelved == [(CODES[0], "tin")]


def test_a_box_that_is_full_asks_for_another_and_keeps_the_cell() -> None:
    """The cell is recorded before it is laid anywhere."""

    def full(code: str, box: str) -> None:
        raise BadData("box tin is full", "take another")

    table = Table(shelve=full)
    lines = [*OPENING[:4], "tin", OPENING[4], *CELL, "", *CELL]
    table.run(intake(session := Session(a_start(boxes=("tin",)))), lines)
    assert len(table.entries) == 2 and table.prompts.count("another box") == 1 and session.box == ""


def test_a_damaged_cell_keeps_its_print_and_size() -> None:
    """Recorded and put away first; its mass at the hand-over hangs on it. Back changes both as one."""
    table, session = evening_of(["s", ""])
    kind = table.entries[1]
    assert (kind.code, kind.is_new, kind.items) == (CODES[0], False, ())
    assert kind.facts is not None and kind.facts.form is Form.F18650
    assert session.last is not None and session.last.kept.items == table.entries[0].items
    assert f"{CODES[0]}: INR18650 2600mAh" in table.said
    table, _ = evening_of(["s", "", "<", "", "", "", ""])
    assert table.amended == []


def test_a_damaged_cell_that_cannot_be_read_stays_without_a_kind() -> None:
    """< leaves it out."""
    table, session = evening_of(["s", "<"])
    assert len(table.entries) == 1 and session.pending == CODES[1]


def finding(found: Found) -> Table:
    """A table where every code stands for this."""

    def find(text: str) -> Found:
        if text == "zzz":
            raise BadData("'zzz' is not a code", "read it again")
        return found

    return Table(find_code=find)


def test_a_printed_blank_is_taken_by_scan_and_the_shown_code_stays_for_the_next() -> None:
    """Codes printed beforehand."""
    table, session = evening_of([CODES[6], "3.7", "", ""], CELL, table=finding(Found(CODES[6], Bearer.BLANK)))
    assert [entry.code for entry in table.entries] == [CODES[6], CODES[0]]
    assert session.pending == CODES[1]


def test_a_code_that_was_never_set_aside_must_be_typed_twice() -> None:
    """A slip that keeps the check character right is rare, and this catches it."""
    table, _ = evening_of(
        [CODES[6], CODES[5], "", "3.7", "", ""], table=finding(Found(CODES[6], Bearer.NOTHING))
    )
    assert [entry.code for entry in table.entries] == [CODES[0]]
    table, _ = evening_of(
        [CODES[6], CODES[6].lower(), "3.7", "", ""], table=finding(Found(CODES[6], Bearer.NOTHING))
    )
    assert [entry.code for entry in table.entries] == [CODES[6]]


def test_what_is_no_code_is_refused_and_the_question_stands() -> None:
    """With the reason."""
    table, _ = evening_of(["zzz", *CELL], table=finding(Found(CODES[6], Bearer.BLANK)))
    assert any("'zzz' is not a code" in text for text in table.said) and len(table.entries) == 1


def test_a_known_code_resumes_that_cell_with_what_is_missing_of_it() -> None:
    """Logged by cell add: its facts are there, voltage and look are not."""
    known = Found(CODES[6], Bearer.CELL, CellFacts(form=Form.F21700), frozenset())
    table, session = evening_of([CODES[6], "3.6", "t"], table=finding(known))
    assert values(table) == {Quantity.AS_FOUND_VOLTAGE: 3.6, Quantity.LOOK: (Look.TORN_SLEEVE,)}
    assert (table.entries[0].is_new, table.entries[0].facts) == (False, None)
    assert session.pending == CODES[0]


def test_a_cell_out_of_use_is_not_measured_again() -> None:
    """It is named, with what to do."""
    known = Found(CODES[6], Bearer.CELL, out_of_use="out of use for good")
    table, _ = evening_of([CODES[6]], table=finding(known))
    assert table.entries == [] and any("out of use for good" in text for text in table.said)


@pytest.mark.parametrize(
    ("has", "wanted"),
    [
        (set(), {"voltage", "look", "marking"}),
        ({Quantity.LOOK}, {"voltage", "marking"}),
        ({Quantity.CHARGE, Quantity.LOOK}, {"marking"}),
        ({Quantity.AS_FOUND_VOLTAGE}, {"look", "marking"}),
    ],
)
def test_as_found_is_past_once_a_cell_was_charged(has: set[Quantity], wanted: set[str]) -> None:
    """A voltage after a charge must not pass for one as found."""
    assert missing_of_intake(Found(CODES[0], Bearer.CELL, has=frozenset(has))) == wanted


def test_a_refusal_of_the_store_loses_nothing() -> None:
    """The same entry is offered again."""
    table = Table()
    table.refusals = [StoreFault("store is locked", "try again")]
    evening_of(CELL, [""], table=table)
    assert len(table.entries) == 1 and any("store is locked" in text for text in table.said)


def test_the_meter_is_asked_once_and_goes_with_every_reading() -> None:
    """By number, by name, by a beginning; a wrong one is asked again."""
    for text in ("1", "hand-held-multimeter", "hand"):
        table = Table()
        lines = ["torch", "torch", "", "99", "nix", text, "INR18650 2600mAh", *CELL, *CELL]
        table.run(intake(Session(a_start())), lines)
        meters = [i.meter.name for e in table.entries for i in e.items if isinstance(i, Reading) and i.meter]
        assert meters == ["hand-held-multimeter"] * 2
        assert table.prompts.count("meter") == 3


def remembered(meter: Meter | None) -> Start:
    """A bench where the last voltage was taken with this meter."""
    from tests.cli.intake_bench import NOW

    reading = Reading(RecordKey("A", 1), CODES[0], Quantity.AS_FOUND_VOLTAGE, NOW, 3.7, meter=meter)
    known = {name: meter_like(name, "good-multimeter") for name in ("blue", "red")}
    return a_start(meters=known, remembered={Quantity.AS_FOUND_VOLTAGE: reading})


def test_the_meter_of_the_last_evening_is_remembered() -> None:
    """Enter takes it."""
    table = Table()
    lines = ["torch", "torch", "", "", "INR18650 2600mAh", *CELL]
    table.run(intake(Session(remembered(meter_like("red", "good-multimeter")))), lines)
    assert table.defaults["meter"] == "red"
    assert [i.meter.name for i in table.entries[0].items if isinstance(i, Reading) and i.meter] == ["red"]


def test_a_second_evening_goes_on_with_the_last_tear_down() -> None:
    """Enter takes it, and its kind and pack carry over: no marking is asked before the first cell."""
    facts = CellFacts(form=Form.F21700, chemistry=Chemistry.NCA, marking="INR21700")
    table = Table(find_teardown=lambda code: Opened(code, "lamp", "2", facts))
    table.run(intake(Session(a_start(last_teardown=("AT7", "lamp", "lamp")))), ["", "-", *CELL])
    assert (table.entries[0].teardown, table.entries[0].pack, table.entries[0].facts) == ("AT7", "2", facts)


def test_of_several_objects_each_cell_says_which_one_it_is_from() -> None:
    """Its number is the pack: Enter is the same object again, + the next; one of one is asked nothing."""
    table = Table()
    first, same, following = (["", which, *CELL[1:]] for which in ("", "", "+"))
    lines = [
        "four devices",
        "torch",
        "four",
        "torch",
        "4",
        "-",
        "INR18650 2600mAh",
        *first,
        *same,
        *following,
    ]
    table.run(intake(Session(a_start())), lines)
    assert [entry.pack for entry in table.entries] == ["1", "1", "2"]
    assert sum("is from which of the 4 objects?" in prompt for prompt in table.prompts) == 3
    assert any("'four' is not a count" in said for said in table.said)
    alone, _ = evening_of(CELL)
    assert not any("objects?" in prompt for prompt in alone.prompts)


def test_a_damaged_one_of_several_objects_says_which_too() -> None:
    """Nothing is written on it, and still it must be a sign for its own object alone."""
    table = Table()
    lines = ["devices", "torch", "4", "-", "INR18650 2600mAh", "", "", *CELL[1:], "s", "3"]
    table.run(intake(Session(a_start())), lines)
    assert [(entry.pack, bool(entry.items)) for entry in table.entries] == [("1", True), ("3", True)]


def test_cells_that_wait_are_offered_before_a_tear_down_is_opened() -> None:
    """m measures; anything else goes on."""
    table = Table()
    table.run(intake(Session(a_start(waiting=3))), ["m"])
    assert "3 cells wait for a reading" in table.prompts[0]
    assert any("no cell waits" in text for text in table.said)
    table = Table()
    table.run(intake(Session(a_start(waiting=1))), ["", *OPENING, *CELL])
    assert len(table.entries) == 1


def test_q_ends_the_evening_only_between_cells() -> None:
    """In the middle of one it says how to drop it."""
    table, session = evening_of(["", "3.7", "q", "", ""], ["q"])
    assert len(table.entries) == 1 and session.in_hand == ""
    assert any("Ctrl-C drops it" in text for text in table.said)


def test_what_was_dropped_is_told_at_the_end() -> None:
    """A code that may be on a cell is never forgotten."""
    _, session = evening_of(CELL, ["", "3.7"])
    told = left_over(session)[0].text
    assert CODES[1] in told and "not finished" in told and "next time" in told
    _, session = evening_of(CELL, ["q"])
    assert "was not used" in left_over(session)[0].text


def test_a_correction_cut_short_leaves_its_cell_and_says_so() -> None:
    """The newer code is only a code that was not used."""
    _, session = evening_of(CELL, ["<", "<"])
    told = [line.text for line in left_over(session)]
    assert told[0] == f"{CODES[0]} stays as it was kept: its correction was not finished."
    assert "was not used" in told[1] and CODES[1] in told[1] and len(told) == 2
    _, session = evening_of(CELL, ["<", "", "", "", ""])
    assert "stays" not in left_over(session)[0].text


def test_the_end_offers_labels_and_asks_again_when_the_file_cannot_be() -> None:
    """y takes the usual name; a path that exists is refused and nothing is lost."""
    written: list[str] = []

    def print_labels(bench: object, path: str, codes: tuple[str, ...]) -> None:
        if path == "there.pdf":
            raise BadData("there.pdf is there already", "name another file")
        written.append(path)

    table, session = evening_of(CELL, table=Table(print_labels=lambda *given: print_labels(None, *given)))
    table.run(offer_labels(session), ["there.pdf", "y"])
    assert written == ["labels-AT1.pdf"]
    table.run(offer_labels(session), [""])
    assert len(written) == 1


def test_no_cell_no_labels() -> None:
    """Nothing to stick on."""
    table = Table()
    table.run(offer_labels(Session(a_start())), [])
    assert table.prompts == []


@pytest.mark.parametrize(("text", "rated"), [("2500", 2.5), ("2.5Ah", 2.5), ("-", None)])
def test_a_rated_capacity_is_taken_in_the_unit_of_its_prompt(text: str, rated: float | None) -> None:
    """mAh, bare or written; - is not known."""
    table, _ = evening_of(CELL, ["<", "", "", "", text])
    facts = table.amended[0].entry.facts
    assert facts is not None and facts.rated_capacity_ah == rated


# --- what a pack shows ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volts", "odd"),
    [
        (["3.61", "3.6", "2.94"], 2),
        (["2.94", "3.61", "3.6"], 0),
        (["3.61", "3.6", "3.55", "2.94", "2.9"], 3),
    ],
)
def test_the_odd_cell_of_a_pack_is_pointed_out_once(volts: list[str], odd: int) -> None:
    """Whenever it came; cells in series that lie apart did not lose their charge to the device."""
    table, _ = evening_of(*(["", each, "", ""] for each in volts))
    said = [text for text in table.said if "the odd one of its pack" in text]
    assert said[0].startswith(CODES[odd]) and len(said) == len({text.split()[0] for text in said})


def test_an_odd_cell_that_is_out_of_use_is_not_measured_again() -> None:
    """Found at 1.9 V it is discarded: no word that sends a person back to it."""
    table, _ = evening_of(*(["", each, "", ""] for each in ("3.61", "3.6", "1.9")))
    assert not any("odd one" in text for text in table.said)


def test_a_voltage_put_right_counts_for_its_pack_and_the_slip_does_not() -> None:
    """Typed 3.17 for 3.61: the two sound cells are no odd ones beside the slip, and a third low one is."""
    put_right = ["<", "<", "<", "3.61", "", "", "", "", ""]
    table, _ = evening_of(["", "3.6", "", ""], ["", "3.17", "", ""], [*put_right, "", "3.05", "", ""])
    assert table.amended[0].entry.items[0].value == 3.61
    assert [text[:7] for text in table.said if "the odd one" in text] == [CODES[2]]


def test_alike_cells_two_cells_and_another_pack_say_nothing() -> None:
    """Two can lie apart without either being the odd one."""
    for lines in (
        [["", each, "", ""] for each in ("3.61", "3.6", "3.4")],
        [["", each, "", ""] for each in ("3.61", "2.94")],
        [["", "3.61", "", ""], ["", "3.6", "", ""], ["+", "", "2.94", "", ""]],
    ):
        table, _ = evening_of(*lines)
        assert not any("odd one" in text for text in table.said)


POUCH = "603450 3.7V 1100mAh"


@pytest.mark.parametrize(("word", "board"), [("y", True), ("", False), ("n", False)])
def test_a_pouch_of_nought_volts_is_asked_for_its_board(word: str, board: bool) -> None:
    """Measured at the outputs of a board that switched off, the voltage says nothing of the cell behind it."""
    table, _ = evening_of(["", "0", "", POUCH, word])
    reading = next(item for item in table.entries[0].items if isinstance(item, Reading))
    assert table.entries[0].facts is not None and table.entries[0].facts.protection_board is board
    assert reading.where is (Where.BOARD if board else None)
    again, _ = evening_of(["", "3.7", "", POUCH], ["", "0", "", "", word])
    assert (
        len(again.entries) == 2
        and again.prompts.count("behind a protection board, measured at its wires? y") == 1
    )


def test_a_round_cell_of_nought_volts_is_not_asked_for_a_board() -> None:
    """Nor a pouch that holds charge."""
    table, _ = evening_of(["", "0", "", ""])
    assert len(table.entries) == 1


def test_a_look_typed_where_none_is_asked_for_is_not_called_a_duration() -> None:
    """`3.62 s` of a cell that was looked at before: its letter is named as what is too much, and nothing is taken."""
    volts = Question(
        "volts", Ask("as found, V"), lambda text: {"volts": number(text, Dimension.VOLTAGE, "V", "as found")}
    )
    assert answers_of(volts, "3.62") == ["3.62"]
    with pytest.raises(BadData, match="'s' is not asked for"):
        answers_of(volts, "3.62 s")
    with pytest.raises(BadData, match="not a number"):
        answers_of(volts, "torn")


def answers_of(question: Question, text: str) -> list[str]:
    """What a line gives where no question follows."""
    return [each.text for each, _ in _take_line(lambda _: None, [], question, text)]
