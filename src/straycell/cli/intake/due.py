"""Taking the readings a cell waits for: exactly those, each with its conditions, which carry over to the next cell."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from straycell.cells import CellFacts, Look
from straycell.cli.intake import words
from straycell.cli.intake.figures import FIGURES, Figure
from straycell.cli.intake.form import Answers, NextQuestion, Question
from straycell.cli.intake.script import UNSET, Ask, Entry, Key, Need
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.readings import Charge, Method, Quantity, Reading, Where

_MEASURED: dict[str, Quantity] = {
    "capacity": Quantity.CAPACITY,
    "resistance": Quantity.RESISTANCE,
    "rest": Quantity.VOLTAGE,
    "tabs": Quantity.VOLTAGE,
}


_WHY_METHOD = (
    "d.c. and a.c. resistances are never compared. d dc-pulse, a ac-1khz, u unknown (gives at best solo)."
)
_WHY_ENDED = (
    "When the charge ended: Enter for now, 5h for five hours ago, 2d, or a time like 2026-05-01T18:30."
)
_WHY_LOOK = "Look at it again. Enter: not looked at. c clean, or the letters of what you see."


@dataclass(frozen=True, slots=True)
class Taking:
    """One cell, what is taken of it, and the answers that carry over."""

    code: str
    needs: tuple[Need, ...]
    now: datetime
    facts: CellFacts = field(default_factory=CellFacts)
    full_v: float | None = None
    remembered: Mapping[str, str] = field(default_factory=dict)
    bad_looks: frozenset[Look] = frozenset()

    def default_of(self, figure: Figure) -> str:
        """What Enter takes: what a skip is called, the answer of the cell before, or a usual end voltage."""
        if figure.skip:
            return figure.skip
        if figure.key == "until" and self.full_v is not None:
            return f"{self.full_v:.2f}"
        return self.remembered.get(figure.shared or figure.key, "")


def questions(taking: Taking) -> NextQuestion:
    """The next question about the readings of one cell; a reading that is skipped asks for no conditions."""

    def following(answers: Answers) -> Question | None:
        for need in taking.needs:
            if taking.bad_looks & set(answers.get("look") or ()):
                return None
            if need is Need.CAPACITY and answers.get("rest") is not None and _pair_first(taking):
                continue
            question = _look(answers) if need is Need.LOOK else _next_figure(need, answers, taking)
            if question is not None:
                return question
        return None

    return following


def _pair_first(taking: Taking) -> bool:
    """True when the rest voltage belongs to a pair: measured now, the capacity run is still to come."""
    return taking.needs.index(Need.REST) < taking.needs.index(Need.CAPACITY)


def _look(answers: Answers) -> Question | None:
    if "look" in answers:
        return None
    ask = Ask("look", "not looked at", _WHY_LOOK, words.legend())
    return Question("look", ask, lambda text: {"look": words.read_looks(text) if text else None})


def _next_figure(need: Need, answers: Answers, taking: Taking) -> Question | None:
    figures = FIGURES[need]
    if figures[0].key in answers and answers[figures[0].key] is None:
        return None
    for figure in figures:
        if figure.key not in answers:
            return _figure(figure, replace(taking, remembered=remember(answers, taking.remembered)))
    if need is Need.CHARGE and "ended" not in answers:
        return Question("ended", Ask("ended", "now", _WHY_ENDED), _ended(taking.now))
    if need is Need.RESISTANCE and "method" not in answers:
        return _method(taking)
    return None


def _figure(figure: Figure, taking: Taking) -> Question:
    default = taking.default_of(figure)

    def take(text: str) -> Answers:
        if figure.skip and text in ("", Key.NONE):
            return {figure.key: None}
        if figure.may_be_unknown and text == Key.NONE:
            return {figure.key: None}
        if text == Key.SAME:
            text = taking.remembered.get(figure.shared or figure.key, "")
        if words.is_code_like(text):
            raise BadData(f"this is about {taking.code}", "finish it first; Enter leaves a reading for later")
        name = figure.prompt.partition(",")[0]
        return {figure.key: words.number(text or default, figure.dimension, figure.unit, name, figure.window)}

    return Question(figure.key, Ask(figure.prompt, default, figure.why), take)


def _ended(now: datetime) -> Callable[[str], Answers]:
    return lambda text: {"ended": words.moment(text, now) if text and text.casefold() != "now" else UNSET}


def _method(taking: Taking) -> Question:
    default = taking.remembered.get("method", Method.UNKNOWN.value)

    def take(text: str) -> Answers:
        return {"method": words.pick(text or default, Method, "method")}

    return Question("method", Ask("method: d dc-pulse, a ac-1khz, u unknown", default, _WHY_METHOD), take)


def remember(answers: Answers, former: Mapping[str, str]) -> dict[str, str]:
    """The answers that the next cell starts from, as a person would type them."""
    kept = dict(former)
    for figure in (figure for figures in FIGURES.values() for figure in figures):
        value = answers.get(figure.key)
        if value is not None and not figure.skip:
            kept[figure.shared or figure.key] = f"{value / figure.dimension.value.units[figure.unit]:.6g}"
    if answers.get("method") is not None:
        kept["method"] = answers["method"].value
    if answers.get("current") is not None:
        kept["current"] = f"{answers['current']:.6g}"
    return kept


def measured(answers: Answers) -> tuple[Quantity, ...]:
    """The quantities that a meter was used for."""
    return tuple(dict.fromkeys(q for key, q in _MEASURED.items() if answers.get(key) is not None))


def entry_of(code: str, answers: Answers, meters: Mapping[Quantity, Meter | None], pulse_s: float) -> Entry:
    """What is to be recorded; what was skipped is not."""
    items: list[Reading | Charge] = []
    if answers.get("look"):
        items.append(Reading(NEW, code, Quantity.LOOK, UNSET, look=tuple(answers["look"])))
    if answers.get("current") is not None:
        items.append(
            Charge(
                NEW,
                code,
                answers["ended"],
                answers["current"],
                answers["until"],
                temperature_c=answers["room"],
                peak_temperature_c=answers["peak"],
            )
        )

    def add(key: str, quantity: Quantity, **more: Any) -> None:
        if answers.get(key) is not None:
            meter = meters.get(quantity)
            items.append(Reading(NEW, code, quantity, UNSET, answers[key], meter=meter, **more))

    add(
        "capacity",
        Quantity.CAPACITY,
        temperature_c=answers.get("capacity_at"),
        discharge_current_a=answers.get("drawn"),
        cutoff_v=answers.get("cutoff"),
    )
    method = answers.get("method")
    pulse = pulse_s if method is Method.DC_PULSE else None
    add("resistance", Quantity.RESISTANCE, method=method, pulse_s=pulse)
    add("rest", Quantity.VOLTAGE, temperature_c=answers.get("rest_at"), rested_s=answers.get("rested"))
    add("tabs", Quantity.VOLTAGE, where=Where.TABS)
    return Entry(code, None, tuple(items))
