"""Evenings without a terminal: a dialogue is sent lines, and everything it asks for is done or made up."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from typing import Any, NamedTuple

from straycell.acceptance.reasons import Outcome
from straycell.bench.intake import script
from straycell.bench.intake.session import intake
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import Bearer, CellKept, Entry, Found, Opened, Start
from straycell.cells import CellFacts, Look, make_code, parse_code
from straycell.errors import StraycellError
from straycell.meters import meter_like
from straycell.readings import Quantity, Reading

BAD = frozenset({Look.SWOLLEN, Look.LEAKING, Look.BURNT, Look.DENTED})
NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def a_start(**more: Any) -> Start:
    """Nothing known before the first question, unless said."""
    return Start(**{"bad_looks": BAD, "isolating_looks": BAD - {Look.DENTED}, "floor_v": 2.0, **more})


class OutOfLines(Exception):
    """The dialogue asks on, and the person has said all."""


class Amended(NamedTuple):
    """What was put in the place of what."""

    former: CellKept
    entry: Entry
    because: str


class Table:
    """Stands in for the store and the screen: keeps what it is told, answers plainly, refuses on demand."""

    def __init__(self, **answers: Callable[..., Any]) -> None:
        self.entries: list[Entry] = []
        self.amended: list[Amended] = []
        self.prompts: list[str] = []
        self.defaults: dict[str, str] = {}
        self.said: list[str] = []
        self.larges: list[str] = []
        self.cautions: list[script.Caution] = []
        self.refusals: list[StraycellError] = []
        self.blanks: list[str] = []
        self.shelved: list[tuple[str, str]] = []
        self.given = 0
        self._left: Iterator[str] = iter(())
        self._answers = answers

    def run(self, dialogue: script.Talk[Any], lines: Iterable[str]) -> Any:
        """Drive to the end, or to the first question that no line is left for; what the dialogue returned."""
        self._left = iter(lines)
        try:
            effect = next(dialogue)
            while True:
                try:
                    answer = self._answer(effect)
                except StraycellError as error:
                    effect = dialogue.throw(error)
                else:
                    effect = dialogue.send(answer)
        except StopIteration as done:
            return done.value
        except OutOfLines:
            return None

    def _answer(self, effect: script.Effect) -> Any:
        given: tuple[Any, ...] = (effect,)
        name = type(effect).__name__.lower()
        if isinstance(effect, script.Act):
            name, given = effect.does.__name__, effect.given
        return self._answers.get(name, getattr(self, f"_do_{name}", None))(*given)  # type: ignore[misc]

    def _do_ask(self, effect: script.Ask) -> str:
        self.prompts.append(effect.prompt)
        self.defaults[effect.prompt] = effect.default
        try:
            return str(next(self._left))
        except StopIteration:
            raise OutOfLines from None

    def _do_say(self, effect: script.Say) -> None:
        (self.larges if effect.tone is script.Tone.LARGE else self.said).append(effect.text)

    def _do_caution(self, effect: script.Caution) -> None:
        self.cautions.append(effect)

    def _do_next_code(self) -> tuple[str, bool]:
        if self.blanks:
            return self.blanks.pop(0), True
        self.given += 1
        return make_code("A", self.given), False

    def _do_find_code(self, text: str) -> Found:
        code = parse_code(text)
        borne = code in {entry.code for entry in self.entries}
        return Found(code, Bearer.CELL if borne else Bearer.NOTHING)

    def _do_shelve(self, code: str, box: str) -> None:
        self.shelved.append((code, box))

    def _do_open_teardown(self, title: str, kind: str, objects: int) -> Opened:
        return Opened("AT1", title, objects=objects)

    def _do_declare_meter(self, kind: str) -> Any:
        return meter_like(kind, kind)

    def _do_keep(self, entry: Entry) -> CellKept:
        if self.refusals:
            raise self.refusals.pop(0)
        self.entries.append(entry)
        return self.kept(entry)

    def _do_amend(self, former: CellKept, entry: Entry, because: str) -> CellKept:
        self.amended.append(Amended(former, entry, because))
        return self.kept(entry)

    def _do_now(self) -> datetime:
        return NOW

    def _do_what_waits(self, code: str | None = None) -> list[Any]:
        return []

    def kept(self, entry: Entry) -> CellKept:
        """Out of use when a bad look or less than two volts was recorded."""
        looks = {look for item in entry.items for look in getattr(item, "look", ())}
        readings = [item for item in entry.items if isinstance(item, Reading)]
        volts = [r.value for r in readings if r.quantity is Quantity.AS_FOUND_VOLTAGE and r.value is not None]
        out = bool(looks & BAD) or any(v < 2.0 for v in volts)
        outcome = Outcome.DISCARD if out else Outcome.HOLD
        facts = entry.facts or CellFacts()
        return CellKept(
            entry.code, facts, entry.items, outcome, outcome.word.upper(), ("a reason",) if out else ()
        )


OPENING = ["garden torch", "torch", "", "-", "INR18650 2600mAh"]
"""What is asked once: object, kind, just one, no meter, what most cells are."""
CELL = ["", "3.7", "", ""]
"""Written, volts, clean, the same kind."""


def evening_of(*cells: list[str], table: Table | None = None, **more: Any) -> tuple[Table, Session]:
    """An evening with these lines after the opening."""
    table = table or Table()
    session = Session(a_start(**more))
    lines = [*OPENING, *(line for cell in cells for line in cell)]
    table.run(intake(session), lines)
    return table, session
