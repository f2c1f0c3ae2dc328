"""What is asked of one cell as it comes out: its voltage as found, its look, its marking. Nothing else if it is damaged."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from straycell.bench.intake import words
from straycell.bench.intake.script import NOTE, Answers, Key, NextQuestion, Question, asking
from straycell.bench.intake.store_actions import UNSET, Entry
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.markings import (
    Proposal,
    rating_beyond_size,
    read_marking,
    shares_primary_size,
    unrated_beyond_size,
)
from straycell.markings import fill as fill_from_marking
from straycell.meters import Meter
from straycell.quantities import Dimension, show
from straycell.readings import Quantity, Reading, Where
from straycell.typed import parse_line

VOLTAGE, LOOK, MARKING, FORM = "voltage", "look", "marking", "form"
CHEMISTRY, RATED, SURE, BOARD = "chemistry", "rated", "sure", "board"
# What an answer brings along: the kind it tells, whether no more is asked of it, a print that is doubted.
KIND, SETTLED, DOUBTED, AS_GROUP = "kind", "settled", "doubted", "as_group"
ALL = frozenset({VOLTAGE, LOOK, MARKING})


@dataclass(frozen=True, slots=True)
class Carry:
    """What goes over from cell to cell: the kind, kinds seen before by their marking, the last voltage."""

    code: str = ""
    facts: CellFacts | None = None
    kinds: Mapping[str, CellFacts] = field(default_factory=dict)
    voltage_v: float | None = None
    bad_looks: frozenset[Look] = frozenset()
    floor_v: float = 0.0
    review: bool = False
    wanted: frozenset[str] = ALL

    @property
    def condemns(self) -> bool:
        """True of a kind that puts a cell out of use by itself: Enter must not take it over from another cell."""
        return self.facts is not None and self.facts.chemistry is Chemistry.PRIMARY

    def on(self, facts: CellFacts) -> "Carry":
        """This kind is the next cell's default, and known by its marking."""
        known = {fold_marking(facts.marking): facts} if facts.marking else {}
        return replace(self, facts=facts, kinds={**self.kinds, **known})


def fold_marking(marking: str) -> str:
    """Markings that differ in blanks and capitals only are one."""
    return "".join(marking.split()).casefold()


def questions(carry: Carry) -> NextQuestion:
    """The next question of a cell. `carry.wanted` says which of the three it is about; review asks all of its kind."""

    def following(answers: Answers) -> Question | None:
        if VOLTAGE in carry.wanted and VOLTAGE not in answers:
            return _voltage(carry)
        if LOOK in carry.wanted and LOOK not in answers:
            return _look(carry)
        if MARKING not in carry.wanted:
            return None
        if is_bad(answers, carry.bad_looks):
            return print_questions(carry)(answers) if carry.review else None
        return _kind_question(answers, carry)

    return following


def print_questions(carry: Carry) -> NextQuestion:
    """What is printed on a cell that is put away, and its size: nothing that hangs on its use."""

    def following(answers: Answers) -> Question | None:
        question = _kind_question(answers, carry)
        return question if question is not None and question.key in (MARKING, FORM) else None

    return following


def is_bad(answers: Answers, bad: frozenset[Look]) -> bool:
    """True when a look was seen after which nothing more is asked."""
    return bool(bad & set(answers.get(LOOK, ())))


# --- the single questions ----------------------------------------------------------------------------


def _voltage(carry: Carry) -> Question:
    def take(text: str) -> Answers:
        if text == Key.NONE:
            return {VOLTAGE: None, NOTE: "not measured: light at best, and a long self-discharge check"}
        if text == Key.SAME:
            # Shared only with a measured cell: a guess must not spread over a pack.
            if carry.voltage_v is None:
                raise BadData("no voltage to share with the cell before", "measure this one")
            return {VOLTAGE: carry.voltage_v, AS_GROUP: True}
        # Nobody should have to measure a leaking cell before saying that it leaks.
        if carry.bad_looks & set(words.named_looks(text)):
            return {VOLTAGE: None, LOOK: words.named_looks(text)}
        value = words.number(text, Dimension.VOLTAGE, "V", "as found")
        # One line on the spot: a mistyped point would put the cell out of use for good.
        low = f"{show(value, Dimension.VOLTAGE)} is below {show(carry.floor_v, Dimension.VOLTAGE)}: < if mistyped"
        return {VOLTAGE: value} | ({NOTE: low} if value < carry.floor_v else {})

    return Question(VOLTAGE, asking(VOLTAGE), take)


def _look(carry: Carry) -> Question:
    def take(text: str) -> Answers:
        # Enter is "clean" on purpose: gloved hands answer it for most cells, and damage needs a letter.
        return {LOOK: words.read_looks(text) if text else (Look.CLEAN,)}

    return Question(LOOK, asking(LOOK, legend=words.legend()), take)


def _kind_question(answers: Answers, carry: Carry) -> Question | None:
    """Marking first; then only what neither the marking nor a cell before says."""
    if MARKING not in answers:
        return _marking(carry, answers)
    facts = kind_of(answers)
    if facts.chemistry is Chemistry.PRIMARY and not carry.review:
        return None
    if not answers[SETTLED] and (question := _still_unknown(facts, answers, carry)) is not None:
        return question
    volts = answers.get(VOLTAGE)
    # A pouch behind a board that switched off shows 0 V and is not empty: condemned for good, if nobody asks.
    tripped = facts.form is Form.POUCH and volts is not None and volts < carry.floor_v
    return _yes(BOARD) if tripped and BOARD not in answers else None


def _still_unknown(facts: CellFacts, answers: Answers, carry: Carry) -> Question | None:
    if FORM not in answers and (carry.review or facts.form is Form.OTHER):
        return _form(carry, facts)
    if CHEMISTRY not in answers and (carry.review or facts.chemistry is Chemistry.UNKNOWN):
        return _chemistry(facts)
    if RATED not in answers and carry.review:
        return _rated(facts)
    doubtful = (
        shares_primary_size(facts.form) and not facts.marking and facts.chemistry is not Chemistry.PRIMARY
    )
    asked = f"an unmarked {facts.form}: surely rechargeable? y"
    return _yes(SURE, prompt=asked) if doubtful and SURE not in answers else None


def _marking(carry: Carry, answers: Answers) -> Question:
    def take(text: str) -> Answers:
        if text == Key.SAME or (not text and carry.facts is not None):
            return _as_before(text, carry)
        if text.casefold() in words.LETTERS:
            look = words.LETTERS[text.casefold()]
            raise BadData(f"one letter is not a print: {look} is a look", "< goes back to the look")
        if not text or text == Key.NONE:
            return {MARKING: "", KIND: CellFacts(), SETTLED: False}
        marking = parse_line(text, "marking")
        # A kind corrected once tonight is not misread again for the next forty cells.
        known = carry.kinds.get(fold_marking(marking))
        if known is not None:
            return {
                MARKING: known.marking,
                KIND: known,
                SETTLED: not carry.review,
                NOTE: _read_as(known, carry),
            }
        proposal = read_marking(marking)
        doubt = _doubt(marking, proposal)
        if doubt and answers.get(DOUBTED) != marking:
            return {DOUBTED: marking, NOTE: f"{doubt}; type it once more if that is printed on it"}
        facts = fill_from_marking(CellFacts(marking=marking), proposal)
        note = _read_as(facts, carry) + (f"\n{proposal.note}" if proposal.note else "")
        return {MARKING: marking, KIND: facts, SETTLED: False, NOTE: note}

    before = "nothing printed" if carry.facts is None else describe_kind(carry.facts)
    if carry.condemns:
        return Question(MARKING, asking(MARKING, prompt=f"marking (= once more {before})"), take, _has_digit)
    return Question(MARKING, asking(MARKING, default=before), take, _has_digit)


def _has_digit(text: str) -> bool:
    """A print behind other answers on the line; looks that were refused there must not become one."""
    return any(letter.isdigit() for letter in text)


def _as_before(text: str, carry: Carry) -> Answers:
    """The kind of the cell before: by Enter, or by = where it would put this cell out of use."""
    if carry.facts is None:
        raise BadData("no cell before to be like", "type the marking, or - for nothing printed")
    # One Enter too many would condemn a good cell: never charged needs a key of its own.
    if not text and carry.condemns:
        raise BadData(
            "Enter takes no kind over that is never charged",
            "type the marking; = if this cell bears it too; - for nothing printed",
        )
    return {MARKING: carry.facts.marking, KIND: carry.facts, SETTLED: not carry.review}


_BARE_NUMBER = re.compile(r"[+-]?\d*[.,]?\d+")
_CELL_MOST_V = 5.0


def _doubt(marking: str, proposal: Proposal) -> str:
    """A bare number is more often a slip than a print; one that names a size is none."""
    if not _BARE_NUMBER.fullmatch(marking) or proposal.form is not None or proposal.volume_cm3 is not None:
        return ""
    voltage = float(marking.replace(",", ".")) <= _CELL_MOST_V
    return "that looks like a voltage" if voltage else "that is only a number"


def _read_as(facts: CellFacts, carry: Carry) -> str:
    if facts.form is Form.OTHER and facts.chemistry is Chemistry.UNKNOWN:
        return "not recognised; the next questions ask for form and chemistry"
    read = f"read as {describe_kind(facts, with_marking=False)}"
    return read if carry.review else f"{read}. Wrong? < and Enter, then say what it is"


def describe_kind(facts: CellFacts, *, with_marking: bool = True) -> str:
    """`INR18650 2600mAh (18650 nmc)`, or `18650 nmc, 2600 mAh`."""
    kind = f"{facts.form} {facts.chemistry}"
    if with_marking:
        return f"{facts.marking} ({kind})" if facts.marking else f"nothing printed, {kind}"
    rated = facts.rated_capacity_ah
    return kind + (f", {show(rated, Dimension.CAPACITY)}" if rated is not None else "")


def _form(carry: Carry, facts: CellFacts) -> Question:
    former = facts.form if carry.review or carry.facts is None else carry.facts.form

    def take(text: str) -> Answers:
        chosen = words.pick(text, Form, "form") if text else former
        # Prints of 9900 mAh on an 18650 exist; no cell of that size holds it (newest sheets: 4.0 Ah).
        lie = rating_beyond_size(replace(facts, form=chosen))
        note = {} if lie is None else {NOTE: f"{lie.text}: the cell counts as unrated"}
        return {FORM: chosen, **note}

    return Question(FORM, asking(FORM, " ".join(Form), default=former), take)


def _chemistry(facts: CellFacts) -> Question:
    def take(text: str) -> Answers:
        chosen = words.pick(text, Chemistry, "chemistry") if text else facts.chemistry
        # Refuses a rechargeable chemistry on the mark of a primary cell before it is recorded.
        fill_from_marking(replace(facts, chemistry=chosen), read_marking(facts.marking))
        return {CHEMISTRY: chosen}

    return Question(CHEMISTRY, asking(CHEMISTRY, " ".join(Chemistry), default=facts.chemistry), take)


def _rated(facts: CellFacts) -> Question:
    former = facts.rated_capacity_ah

    def take(text: str) -> Answers:
        if not text or text == Key.NONE:
            return {RATED: None if text else former}
        rated = words.number(text, Dimension.CAPACITY, "mAh", "rated")
        lie = rating_beyond_size(replace(facts, rated_capacity_ah=rated))
        if lie is not None:
            raise BadData(lie.text, "check the figure and the size; - for a rating that cannot be true")
        return {RATED: rated}

    shown = "not known" if former is None else show(former, Dimension.CAPACITY)
    return Question(RATED, asking(RATED, default=shown), take)


def _yes(key: str, **said: str) -> Question:
    """A question that only an explicit yes answers: Enter means not sure, and not sure is held."""
    return Question(key, asking(key, **said), lambda text: {key: words.is_yes(text)})


# --- from answers to an entry ------------------------------------------------------------------------


def kind_of(answers: Answers) -> CellFacts:
    """The facts that the answers so far tell."""
    names = {
        FORM: "form",
        CHEMISTRY: "chemistry",
        RATED: "rated_capacity_ah",
        SURE: "confirmed_rechargeable",
    }
    said = {name: answers[key] for key, name in names.items() if key in answers}
    board = {"protection_board": True} if answers.get(BOARD) else {}
    facts: CellFacts = replace(answers.get(KIND, CellFacts()), **said, **board)
    # A new form may make an old rating impossible: it is checked again.
    return facts if RATED in answers else unrated_beyond_size(facts)


def entry_of(code: str, answers: Answers, *, meter: Meter | None, **more: Any) -> Entry:
    """What is to be recorded; a damaged cell's kind was not asked, so it is not claimed to be known."""
    items: list[Reading] = []
    # A damaged cell is not held longer than it takes to see it: no voltage is recorded then.
    if answers.get(VOLTAGE) is not None:
        items.append(
            Reading(
                NEW,
                code,
                Quantity.AS_FOUND_VOLTAGE,
                UNSET,
                value=answers[VOLTAGE],
                meter=meter,
                as_group=answers.get(AS_GROUP, False),
                where=Where.BOARD if answers.get(BOARD) else None,
            )
        )
    if LOOK in answers:
        items.append(Reading(NEW, code, Quantity.LOOK, UNSET, look=tuple(answers[LOOK])))
    return Entry(code, kind_of(answers) if MARKING in answers else None, tuple(items), **more)
