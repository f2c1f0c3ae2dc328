"""Taking the readings a cell waits for: exactly those, each with its conditions, which carry over to the next cell."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from straycell.bench.intake import words
from straycell.bench.intake.figures import TAKEN, Figure
from straycell.bench.intake.script import Answers, Ask, Key, NextQuestion, Question
from straycell.bench.intake.store_actions import UNSET, Entry
from straycell.bench.outlook import Need, Waiting
from straycell.bench.recording.reading_form import DEFAULT_PULSE_S
from straycell.cells import Look
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.readings import KINDS, Item, Method, Quantity, Reading, charge_of, reading_of

_WHY_ENDED = (
    "When the charge ended: Enter for now, 5h for five hours ago, 2d, or a time like 2026-05-01T18:30."
)
_SURE = "rest on record"
_WHY_REST = (
    "Enter takes the shorter rest. Was there a charge or discharge that is not recorded? Then - leaves this voltage "
    "for later: record that first (straycell charge add CODE ... --at TIME)."
)
_WHY_LOOK = "Look at it again. Enter: not looked at. c clean, or the letters of what you see."


@dataclass(frozen=True, slots=True)
class Taking:
    """What is taken of one cell that waits, and the answers that carry over."""

    of: Waiting
    now: datetime
    remembered: Mapping[str, str] = field(default_factory=dict)
    bad_looks: frozenset[Look] = frozenset()

    def default_of(self, figure: Figure) -> str:
        """What Enter takes: what a skip is called, the answer of the cell before, or a usual end voltage."""
        if figure.skip:
            return figure.skip
        if figure.field.name == "until_v" and self.of.full_v is not None:
            return f"{self.of.full_v:.2f}"
        # Unknown until it was said: an assumed method would choose the wrong limits.
        unsaid = Method.UNKNOWN.value if figure.field.kind is Method else ""
        return self.remembered.get(figure.field.name, unsaid)


def questions(taking: Taking) -> NextQuestion:
    """The next question about the readings of one cell; a reading that is skipped asks for no conditions."""

    def following(answers: Answers) -> Question | None:
        for need in taking.of.needs:
            # A cell seen damaged is not measured on: it is put away.
            if taking.bad_looks & set(answers.get("look") or ()):
                return None
            # The run would end the check that this rest voltage belongs to.
            if need is Need.CAPACITY and answers.get(key_of(Need.REST)) is not None and _pair_first(taking):
                continue
            question = _look(answers) if need is Need.LOOK else _next_figure(need, answers, taking)
            if question is not None:
                return question
        return None

    return following


def key_of(need: Need, figure: Figure | None = None) -> str:
    """The name of an answer: a need's own figure, or one of its conditions."""
    return f"{need.value}: {(figure or TAKEN[need].figures[0]).field.name}"


def _pair_first(taking: Taking) -> bool:
    """True when the rest voltage belongs to a pair: measured now, the capacity run is still to come."""
    return taking.of.needs.index(Need.REST) < taking.of.needs.index(Need.CAPACITY)


def _look(answers: Answers) -> Question | None:
    if "look" in answers:
        return None
    ask = Ask("look", "not looked at", _WHY_LOOK, words.legend())
    return Question("look", ask, lambda text: {"look": words.read_looks(text) if text else None})


def _next_figure(need: Need, answers: Answers, taking: Taking) -> Question | None:
    figures = TAKEN[need].figures
    if answers.get(key_of(need), UNSET) is None:
        return None
    for figure in figures:
        if key_of(need, figure) not in answers:
            remembered = remember(answers, taking.remembered)
            return _figure(key_of(need, figure), figure, replace(taking, remembered=remembered))
        if figure.field.name == "rested_s" and (doubted := _rest_again(need, figure, answers, taking)):
            return doubted
    if need is Need.CHARGE and "ended" not in answers:
        return Question("ended", Ask("ended", "now", _WHY_ENDED), _ended(taking.now))
    return None


def _figure(key: str, figure: Figure, taking: Taking) -> Question:
    default = taking.default_of(figure)

    def take(text: str) -> Answers:
        if text in ((Key.NONE, "") if figure.skip else (Key.NONE,) if figure.may_be_unknown else ()):
            return {key: None}
        if text == Key.SAME:
            text = taking.remembered.get(figure.field.name, "")
        if figure.field.kind is Method:
            return {key: words.pick(text or default, Method, "method")}
        name = figure.prompt.partition(",")[0]
        return {key: words.number(text or default, figure.dimension, figure.unit, name, figure.field.typed)}

    return Question(key, Ask(figure.prompt, default, figure.why), take)


def _rest_again(need: Need, figure: Figure, answers: Answers, taking: Taking) -> Question | None:
    """Asked once more where the record contradicts the rest that was typed; Enter takes the shorter of the two."""
    key, record = key_of(need, figure), taking.of.rest
    if _SURE in answers:
        return None
    # A charge of this very form has not reached the record yet.
    if answers.get(key_of(Need.CHARGE)) is not None:
        ended = answers["ended"]
        record = replace(record, moved=("the charge", taking.now if ended == UNSET else ended))
    stated_s = answers[key]
    against = record.against(stated_s, taking.now)
    if against is None:
        return None
    name, counted_s = against
    shorter = as_typed(figure, min(stated_s, counted_s))

    def take(text: str) -> Answers:
        if text == Key.NONE:
            return {key_of(need): None, _SURE: True}
        rested_s = words.number(
            text or shorter, figure.dimension, figure.unit, "lay still for", figure.field.typed
        )
        if rested_s > min(stated_s, counted_s) and record.against(rested_s, taking.now) is not None:
            raise BadData(f"{name} on record ended {as_typed(figure, counted_s)} h ago", _WHY_REST)
        return {key: rested_s, _SURE: True}

    asked = f"{name} on record ended {as_typed(figure, counted_s)} h ago, not {as_typed(figure, stated_s)} h: {figure.prompt}"
    return Question(_SURE, Ask(asked, shorter, _WHY_REST), take)


def _ended(now: datetime) -> Callable[[str], Answers]:
    return lambda text: {"ended": words.moment(text, now) if text and text.casefold() != "now" else UNSET}


def remember(answers: Answers, former: Mapping[str, str]) -> dict[str, str]:
    """The answers that the next cell starts from, as a person would type them, by the names of the fields.

    All room temperatures of an evening share one default; what may be skipped is measured again, but a charge current
    can be taken over.
    """
    kept = dict(former)
    for need, taken in TAKEN.items():
        for figure in taken.figures:
            value = answers.get(key_of(need, figure))
            # The room is the same all evening; a capacity is each cell's own and must not be taken over by
            # Enter.
            if value is not None and (not figure.skip or need is Need.CHARGE):
                kept[figure.field.name] = as_typed(figure, value)
    return kept


def as_typed(figure: Figure, value: float | Method) -> str:
    """A value as a bare number in the prompt's unit, or the word."""
    if isinstance(value, Method):
        return value.value
    return f"{value / figure.dimension.value.units[figure.unit]:.6g}"


def measured(answers: Answers) -> tuple[Quantity, ...]:
    """The quantities that a meter was used for."""
    # Only what was measured: for a reading that was skipped no meter is asked.
    found = (t.quantity for need, t in TAKEN.items() if answers.get(key_of(need)) is not None)
    return tuple(dict.fromkeys(quantity for quantity in found if KINDS[quantity].accuracy))


def entry_of(code: str, answers: Answers, *, meters: Mapping[Quantity, Meter | None]) -> Entry:
    """What is to be recorded; what was skipped is not."""
    items: list[Item] = []
    if answers.get("look"):
        items.append(Reading(NEW, code, Quantity.LOOK, UNSET, look=tuple(answers["look"])))
    for need, taken in TAKEN.items():
        if answers.get(key_of(need)) is None:
            continue
        said = {figure.field.name: answers.get(key_of(need, figure)) for figure in taken.figures}
        if need is Need.CHARGE:
            items.append(charge_of(said, code, answers["ended"]))
            continue
        # A pulse length belongs to d.c. alone.
        said["pulse_s"] = DEFAULT_PULSE_S if said.get("method") is Method.DC_PULSE else None
        said["where"] = taken.where
        items.append(reading_of(KINDS[taken.quantity], said, code, UNSET, meters.get(taken.quantity)))
    return Entry(code, None, tuple(items))
