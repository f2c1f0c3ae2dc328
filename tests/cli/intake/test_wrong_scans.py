"""Evenings in which every tenth line at any prompt is a wrong scan: no reading is filed under another cell."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.bench import Bench as Typed
from tests.drawing import thinned

from straycell.acceptance import load_rules
from straycell.bench.context import Bench
from straycell.bench.intake import script, store_actions
from straycell.bench.intake.session import intake
from straycell.bench.intake.state import Session
from straycell.cells import next_codes
from straycell.errors import StraycellError
from straycell.readings import Quantity

CELLS, ONE_IN = 40, 10
NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
CODE = re.compile(r"[A-Z][0-9]{5}[0-9A-Z]")


class Scanner:
    """A scanner that now and then reads what it should not, wherever the cursor is."""

    def __init__(self, dice: random.Random, blanks: list[str]) -> None:
        self.dice, self.blanks, self.wrong = dice, blanks, 0

    def stray(self, own: str, kept: list[str]) -> str:
        """The own label again, one that is finished, another blank, a misread one, one of no cell at all."""
        self.wrong += 1
        misread = own[:3] + ("1" if own[3] != "1" else "2") + own[4:]
        nobody = next_codes("B", self.dice.randrange(90000), 1)[0]
        return self.dice.choice([own, *kept[-1:], self.dice.choice(self.blanks), misread, nobody])


class Person:
    """Holds one cell at a time, sticks the label on it that is proposed, and answers what the prompt asks."""

    shown = ""

    def __init__(self, scanner: Scanner, cells: int = CELLS) -> None:
        self.scanner, self.cells = scanner, cells
        self.volts: dict[str, float] = {}
        self.label, self.measured = "", 3.3
        self.kept: list[str] = []
        self.asked: list[str] = []

    def answer(self, ask: script.Ask) -> str:
        """The next line at this prompt; every tenth is a wrong scan."""
        self.asked.append(ask.prompt)
        if len(self.kept) >= self.cells and "on the cell" in ask.prompt:
            return "q"
        if self.scanner.dice.randrange(ONE_IN) == 0:
            return self.scanner.stray(self.label or self.scanner.blanks[len(self.kept)], self.kept)
        return self._right(ask.prompt)

    def _right(self, prompt: str) -> str:
        named = CODE.search(prompt)
        code = named[0] if named else ""
        if prompt.startswith(("stick", "write")):
            # A label that is on the cell stays there; a cell without one gets the label shown.
            self.label = self.label or code
            return "" if self.label == code else self.label
        if "once more" in prompt:
            return self.label if self.shown == self.label else ""
        if "as found" in prompt:
            self.label = self.label or code
            return f"{self.measured:.3f}" if code == self.label else self.label
        for asked, typed in (
            ("open?", "pump"),
            ("kind of object", "pump"),
            ("meter", "1"),
            ("marking", "INR18650"),
        ):
            if asked in prompt:
                return typed
        # How many of them, look, go back, stay with this cell: Enter.
        return ""

    def hear(self, said: script.Say) -> None:
        """What the screen says of a code just before it asks."""
        if found := CODE.search(said.text):
            self.shown = found[0]

    def keep(self, code: str) -> None:
        """The cell is done: what was measured on it, under the label that is on it."""
        self.volts[self.label] = round(self.measured, 3)
        self.kept.append(code)
        self.label, self.measured = "", self.measured + 0.017


class Typist:
    """Types what is written, whatever is asked."""

    def __init__(self, *lines: str) -> None:
        self._left, self.asked = list(lines), list[str]()

    def answer(self, ask: script.Ask) -> str:
        """The next line."""
        self.asked.append(ask.prompt)
        return self._left.pop(0)

    def hear(self, said: script.Say) -> None:
        """Reads nothing."""

    def keep(self, code: str) -> None:
        """Goes on."""


class SecondEvening:
    """Takes cells out of the box in any order, scans each, and types what the meter shows where its code is asked for."""

    def __init__(self, dice: random.Random, codes: list[str]) -> None:
        self.dice, self.left = dice, dice.sample(codes, len(codes))
        self.scanner, self.codes = Scanner(dice, codes), codes
        self.volts: dict[str, float] = {}
        self.asked: list[str] = []

    @property
    def held(self) -> str:
        """The code on the cell in the hand."""
        return self.left[0]

    def answer(self, ask: script.Ask) -> str:
        """The next line at this prompt; every tenth is a wrong scan, mostly of another cell that waits."""
        self.asked.append(ask.prompt)
        if not self.left:
            return "q"
        if self.dice.randrange(ONE_IN) == 0:
            return self.scanner.stray(self.held, list(self.volts)[-1:])
        if "scan the cell" in ask.prompt:
            return self.held
        named = CODE.search(ask.prompt)
        # The first question of a cell bears its code: a person holds the label beside it.
        if named and named[0] != self.held and "goes to" not in ask.prompt:
            return self.held
        if "rest voltage" in ask.prompt:
            return f"{self._shown():.3f}"
        return {"lay still": "27", "meter": "1", "room": "21"}.get(
            next((asked for asked in ("lay still", "meter", "room") if asked in ask.prompt), ""), ""
        )

    def _shown(self) -> float:
        """What the meter shows of the held cell: each has a voltage of its own."""
        return 4.150 + self.codes.index(self.held) / 1000.0

    def hear(self, said: script.Say) -> None:
        """Reads the prompts alone."""

    def keep(self, code: str) -> None:
        """What was measured on the cell in the hand, whatever it was filed under; the next one."""
        self.volts[self.held] = round(self._shown(), 3)
        self.left.pop(0)


def drive(bench: Bench, person: Person | Typist | SecondEvening, *, due: bool = False) -> None:
    """The dialogue of the terminal, without one."""
    dialogue = intake(Session(store_actions.start(bench, teardown=None, due=due)))
    effect: Any = next(dialogue)
    for _ in range(4000):
        try:
            answer = None
            if isinstance(effect, script.Ask):
                answer = person.answer(effect)
            elif isinstance(effect, script.Say):
                person.hear(effect)
            elif isinstance(effect, script.Act):
                answer = effect.on(bench)
                if effect.does is store_actions.keep:
                    person.keep(answer.code)
        except StraycellError as error:
            effect = dialogue.throw(error)
            continue
        try:
            effect = dialogue.send(answer)
        except StopIteration:
            return
    raise AssertionError(person.asked[-8:])


def filed(bench: Bench, quantity: Quantity = Quantity.AS_FOUND_VOLTAGE) -> Iterator[tuple[str, float]]:
    """What is on record as found, or of another quantity, by code."""
    with bench.reading() as reader:
        for cell in reader.cells():
            for recorded in reader.recorded(cell.code, with_superseded=False):
                if recorded.item.quantity is quantity and recorded.item.value is not None:
                    yield cell.code, recorded.item.value


@pytest.mark.parametrize("seed", thinned(range(3)))
def test_no_wrong_scan_files_a_voltage_under_another_cell(seed: int, tmp_path: Path) -> None:
    """Forty cells with printed blanks, one line in ten a stray code at whatever prompt it meets."""
    bench = Bench(tmp_path / "bench.sqlite", load_rules(), NOW)
    with bench.writing(create=True) as writer:
        blanks = writer.set_aside_codes(CELLS + 20)
    person = Person(Scanner(random.Random(seed), blanks))
    drive(bench, person)
    assert person.scanner.wrong >= CELLS // 3
    assert dict(filed(bench)) == person.volts and len(person.volts) == CELLS


@pytest.mark.parametrize("seed", thinned(range(3)))
def test_no_wrong_scan_files_a_rest_voltage_under_another_cell(seed: int, tmp_path: Path) -> None:
    """The second evening: forty cells that wait, in any order, one line in ten a stray code."""
    typed = Typed(tmp_path / "bench.sqlite", (NOW - timedelta(days=2)).isoformat())
    kind = "--form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"
    codes = [cell["code"] for cell in typed.prepare(f"cell add {kind} --count {CELLS}")]
    typed.prepare(
        f"charge add {' '.join(codes)} --current 0.5A --until 4.2V --end-current 50mA --temperature 21C "
        "--peak-temperature 24C"
    )
    bench = Bench(typed.store, load_rules(), NOW)
    person = SecondEvening(random.Random(seed), codes)
    drive(bench, person, due=True)
    assert person.scanner.wrong >= CELLS // 3
    assert dict(filed(bench, Quantity.VOLTAGE)) == person.volts and len(person.volts) == CELLS


def test_no_code_becomes_a_name_or_a_print(tmp_path: Path) -> None:
    """Whatever was scanned at the first questions, the object and the prints are what was typed."""
    for seed in thinned(range(10, 14)):
        bench = Bench(tmp_path / f"bench-{seed}.sqlite", load_rules(), NOW + timedelta(days=seed))
        with bench.writing(create=True) as writer:
            blanks = writer.set_aside_codes(CELLS + 20)
        dice = random.Random(seed)
        person = Person(Scanner(dice, blanks), cells=2)
        drive(bench, person)
        with bench.reading() as reader:
            assert [(t.title, t.kind) for t in reader.teardowns()] == [("pump", "pump")]
            assert {cell.facts.marking for cell in reader.cells()} == {"INR18650"}


def test_cells_condemned_at_intake_weigh_what_their_print_says(tmp_path: Path) -> None:
    """Three swollen 18650 are handed over at some 45 g each (cell sheets), not as the largest cells there are."""
    bench = Bench(tmp_path / "bench.sqlite", load_rules(), NOW)
    swollen = ("s", "INR18650 2600mAh")
    drive(bench, Typist("pump", "pump", "", "1", "INR14500 800mAh", *swollen, *swollen, *swollen, "q"))
    with bench.writing() as writer:
        listed = writer.handover_list(writer.add_handover("yard").id, bench.rules, bench.now)
    cells = [cell for line in listed.lines for cell in line.cells]
    assert len(cells) == 3 and 3 * 43.0 <= sum(cell.mass.value for cell in cells) <= 3 * 55.0
