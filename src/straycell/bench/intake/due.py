"""Taking the readings a cell waits for: exactly those, each with its conditions, which carry over to the next cell."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from straycell.bench.intake import words
from straycell.bench.intake.script import Answers, Ask, Key, NextQuestion, Question, asking
from straycell.bench.intake.store_actions import UNSET, Entry
from straycell.bench.outlook import Need, Waiting
from straycell.bench.recording.reading_form import DEFAULT_PULSE_S
from straycell.cells import Look
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.quantities import Dimension
from straycell.readings import KINDS, Field, Item, Method, Quantity, Reading, Where, charge_of, reading_of

_FIGURES = {
    Need.CHARGE: (Quantity.CHARGE, "current_a until_v temperature_c peak_temperature_c"),
    Need.CAPACITY: (Quantity.CAPACITY, "capacity_ah discharge_current_a cutoff_v temperature_c"),
    Need.RESISTANCE: (Quantity.RESISTANCE, "resistance_ohm method"),
    Need.REST: (Quantity.VOLTAGE, "voltage_v rested_s temperature_c"),
    Need.TABS: (Quantity.VOLTAGE, "voltage_v"),
}
"""What answers each need but a look: the fields of a quantity, in the order they are asked for."""
_MAY_BE_UNKNOWN = (
    "full charge: peak_temperature_c",
    "capacity: temperature_c",
    "rest voltage: temperature_c",
)


@dataclass(frozen=True, slots=True)
class Figure:
    """A question for one figure or word of the table. Its default is what Enter means where it may be left for later."""

    key: str
    field: Field
    ask: Ask

    @property
    def unit(self) -> str:
        """The unit of a bare number, which the prompt names."""
        return self.ask.prompt.rpartition(", ")[2]

    @property
    def dimension(self) -> Dimension:
        assert self.field.dimension is not None
        return self.field.dimension


def _figures(need: Need, quantity: Quantity, names: str) -> tuple[Figure, ...]:
    fields = {field.name: field for field in KINDS[quantity].fields()}
    keys = {name: f"{need}: {name}" for name in names.split()}
    return tuple(Figure(key, fields[name], asking(key)) for name, key in keys.items())


TAKEN = {need: (quantity, _figures(need, quantity, names)) for need, (quantity, names) in _FIGURES.items()}
"""A quantity and its figures, by the need that they answer."""


def key_of(need: Need) -> str:
    """The name of the answer to a need: its first figure."""
    return TAKEN[need][1][0].key


_SURE = "rest on record"


@dataclass(frozen=True, slots=True)
class Taking:
    """What is taken of one cell that waits, and the answers that carry over."""

    of: Waiting
    now: datetime
    remembered: Mapping[str, str] = field(default_factory=dict)
    bad_looks: frozenset[Look] = frozenset()

    def default_of(self, figure: Figure) -> str:
        """What Enter takes: what a skip is called, the answer of the cell before, or a usual end voltage."""
        if figure.ask.default:
            return figure.ask.default
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
            rested = need is Need.CAPACITY and answers.get(key_of(Need.REST)) is not None
            if rested and taking.of.needs.index(Need.REST) < taking.of.needs.index(need):
                continue
            question = _look(answers) if need is Need.LOOK else _next_figure(need, answers, taking)
            if question is not None:
                return question
        return None

    return following


def _look(answers: Answers) -> Question | None:
    if "look" in answers:
        return None
    ask = asking("look-again", legend=words.legend())
    return Question("look", ask, lambda text: {"look": words.read_looks(text) if text else None})


def _next_figure(need: Need, answers: Answers, taking: Taking) -> Question | None:
    if answers.get(key_of(need), UNSET) is None:
        return None
    for figure in TAKEN[need][1]:
        if figure.key not in answers:
            return _figure(figure, replace(taking, remembered=remember(answers, taking.remembered)))
        if figure.field.name == "rested_s" and (doubted := _rest_again(figure, answers, taking)):
            return doubted
    if need is Need.CHARGE and "ended" not in answers:
        return Question("ended", asking("ended"), lambda text: {"ended": _ended(text, taking.now)})
    return None


def _figure(figure: Figure, taking: Taking) -> Question:
    key, default = figure.key, taking.default_of(figure)

    def take(text: str) -> Answers:
        if text in ((Key.NONE, "") if figure.ask.default else (Key.NONE,) if key in _MAY_BE_UNKNOWN else ()):
            return {key: None}
        if text == Key.SAME:
            text = taking.remembered.get(figure.field.name, "")
        if figure.field.kind is Method:
            return {key: words.pick(text or default, Method, "method")}
        name = figure.ask.prompt.partition(",")[0]
        return {key: words.number(text or default, figure.dimension, figure.unit, name, figure.field.typed)}

    return Question(key, replace(figure.ask, default=default), take)


def _rest_again(figure: Figure, answers: Answers, taking: Taking) -> Question | None:
    """Asked once more where the record contradicts the rest that was typed; Enter takes the shorter of the two."""
    record = taking.of.rest
    if _SURE in answers:
        return None
    # A charge of this very form has not reached the record yet; its end may still be to be asked for.
    if (ended := answers.get("ended")) is not None:
        record = replace(record, moved=("the charge", taking.now if ended == UNSET else ended))
    stated_s = answers[figure.key]
    against = record.against(stated_s, taking.now)
    if against is None:
        return None
    name, counted_s = against
    shorter = as_typed(figure, min(stated_s, counted_s))
    found = f"{name} on record ended {as_typed(figure, counted_s)} h ago"
    asked = f"{found}, not {as_typed(figure, stated_s)} h: {figure.ask.prompt}"
    doubt = asking("rest", prompt=asked, default=shorter)

    def take(text: str) -> Answers:
        if text == Key.NONE:
            return {key_of(Need.REST): None, _SURE: True}
        rested_s = words.number(
            text or shorter, figure.dimension, figure.unit, "lay still for", figure.field.typed
        )
        if rested_s > min(stated_s, counted_s) and record.against(rested_s, taking.now) is not None:
            raise BadData(found, doubt.why)
        return {figure.key: rested_s, _SURE: True}

    return Question(_SURE, doubt, take)


def _ended(text: str, now: datetime) -> datetime:
    return words.moment(text, now) if text and text.casefold() != "now" else UNSET


def remember(answers: Answers, former: Mapping[str, str]) -> dict[str, str]:
    """The answers that the next cell starts from, as a person would type them, by the names of the fields.

    All room temperatures of an evening share one default; what may be skipped is measured again, but a charge current
    can be taken over.
    """
    kept = dict(former)
    for need, (_, figures) in TAKEN.items():
        for figure in figures:
            value = answers.get(figure.key)
            # The room is the same all evening; a capacity is each cell's own and must not be taken over by
            # Enter.
            if value is not None and (not figure.ask.default or need is Need.CHARGE):
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
    found = (quantity for need, (quantity, _) in TAKEN.items() if answers.get(key_of(need)) is not None)
    return tuple(dict.fromkeys(quantity for quantity in found if KINDS[quantity].accuracy))


def entry_of(code: str, answers: Answers, *, meters: Mapping[Quantity, Meter | None]) -> Entry:
    """What is to be recorded; what was skipped is not."""
    items: list[Item] = []
    if answers.get("look"):
        items.append(Reading(NEW, code, Quantity.LOOK, UNSET, look=tuple(answers["look"])))
    for need, (quantity, figures) in TAKEN.items():
        if answers.get(key_of(need)) is None:
            continue
        said = {figure.field.name: answers.get(figure.key) for figure in figures}
        if need is Need.CHARGE:
            items.append(charge_of(said, code, answers["ended"]))
            continue
        # A pulse length belongs to d.c. alone.
        said["pulse_s"] = DEFAULT_PULSE_S if said.get("method") is Method.DC_PULSE else None
        said["where"] = Where.TABS if need is Need.TABS else None
        items.append(reading_of(KINDS[quantity], said, code, UNSET, meters.get(quantity)))
    return Entry(code, None, tuple(items))
