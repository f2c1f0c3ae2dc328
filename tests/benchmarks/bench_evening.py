"""An evening of 40 cells with printed labels and a scanner: python -m tests.benchmarks evening

A person at a real terminal. The scanner types a code and Enter; only the person's own keys are counted, and of them those
beyond the findings (volts, damage, print). Every tenth scan goes wrong: a label misread by one character, that of the
finished neighbour, the next but one on the sheet, a second beep where the voltage is asked for. Wanted: at most four keys
a cell, and each reading under the cell that it was measured on. Wrong scans at every prompt: tests/cli/intake.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.cli.terminal_bench import ENTER, ROOT, Person, at_terminal

CELLS, EVERY, MOST_KEYS = 40, 10, 4.0
LABEL, VOLTAGE, LOOK, MARKING, KEPT = (
    "then Enter or scan it:",
    "as found, V:",
    "look [clean]:",
    "marking [",
    " kept: ",
)


class Scanner:
    """Types codes into the same terminal; its keys are not the person's."""

    def __init__(self, person: Person) -> None:
        self._person = person

    def read(self, code: str) -> None:
        before = self._person.keys
        self._person.press(code + ENTER)
        self._person.keys = before


def straycell(store: Path, *words: str) -> dict[str, object]:
    """What a command answers."""
    argv = [sys.executable, "-m", "straycell", "--store", str(store), "--json", *words]
    env = {"PYTHONPATH": str(ROOT / "src"), "PATH": "/usr/bin"}
    done = subprocess.run(argv, capture_output=True, text=True, check=True, env=env)
    return json.loads(done.stdout)


def wrong_scan(person: Person, scanner: Scanner, number: int, codes: list[str]) -> None:
    """One of four slips, and what the person does about it: as little as the screen asks for."""
    code = codes[number]
    kind = number // EVERY % 4
    if kind == 0:
        scanner.read(code[:3] + ("1" if code[3] != "1" else "2") + code[4:])
        person.await_text(LABEL)
    elif kind == 1:
        scanner.read(codes[number - 1])
        person.answer("Enter goes back:", "")
        person.await_text(LABEL)
    elif kind == 2:
        scanner.read(codes[number + 1])
        person.answer("Enter: no:", "")
        person.await_text(LABEL)
    scanner.read(code)
    if kind == 3:
        person.await_text(VOLTAGE)
        scanner.read(code)


def evening(store: Path) -> tuple[int, float, int, list[tuple[str, float]]]:
    """Keys beyond the findings, seconds, words shown, and the voltage measured on each label."""
    sheet = straycell(
        store, "label", "blank", "--count", str(CELLS), "--out", str(store.with_name("blank.pdf"))
    )
    codes = [str(code) for code in sheet["codes"]]  # type: ignore[attr-defined]
    measured = [(code, round(3.3 + number * 0.017, 3)) for number, code in enumerate(codes)]
    with at_terminal(store, "intake") as person:
        for prompt, text in (
            ("open?", "tool battery"),
            ("object?", "tool"),
            ("of them?", ""),
            ("meter [", "1"),
        ):
            person.answer(prompt, text)
        person.answer(MARKING, "INR18650 2600mAh")
        scanner, begun, first, findings = Scanner(person), time.perf_counter(), person.keys, 0
        before = len(person.screen)
        for number, (code, volts) in enumerate(measured):
            person.await_text(LABEL)
            if number % EVERY == EVERY - 1:
                wrong_scan(person, scanner, number, codes)
            else:
                scanner.read(code)
            torn = " t" if number % 7 == 0 else ""
            person.answer(VOLTAGE, f"{volts}{torn}")
            findings += len(f"{volts}{torn}".replace(" ", ""))
            if not torn:
                person.answer(LOOK, "")
            person.answer(MARKING, "")
            person.await_text(KEPT)
        keys, seconds = person.keys - first - findings, time.perf_counter() - begun
        words = len(person.screen[before:].split())
        person.answer("then Enter", "q")
        person.answer("a path [no]:", "")
        person.leave()
    return keys, seconds, words, measured


def wrong_filings(store: Path, measured: list[tuple[str, float]]) -> int:
    """Cells whose voltage is not the one that was measured on the cell with that label."""
    wrong = 0
    for code, volts in measured:
        readings = straycell(store, "cell", "show", code)["readings"]
        found = [r["value"] for r in readings if r["quantity"] == "as-found-voltage"]  # type: ignore[attr-defined]
        wrong += found != [volts]
    return wrong


def main() -> int:
    """Print the keys, the seconds and the wrong filings; 1 when one is above what is wanted."""
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "bench.sqlite"
        keys, seconds, words, measured = evening(store)
        wrong = wrong_filings(store, measured)
    a_cell = keys / CELLS
    print(
        f"{CELLS} cells: {keys} keys beyond the findings ({a_cell:.1f} a cell), {words / CELLS:.0f} words shown a cell, "
        f"{seconds:.0f} s, {wrong} wrong filings"
    )
    return 0 if a_cell <= MOST_KEYS and wrong == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
