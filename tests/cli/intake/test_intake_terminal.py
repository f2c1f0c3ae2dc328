"""The guided evening in a real terminal: keys counted, interrupts, corrections, the readings that are due."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.terminal_bench import CTRL_C, CTRL_D, ENTER, ROOT, Person, at_terminal

pytestmark = pytest.mark.skipif(importlib.util.find_spec("pty") is None, reason="needs pseudo-terminals")

WRITE, VOLTAGE, LOOK, MARKING = "on the cell, then Enter:", "as found, V:", "look [clean]:", "marking ["


def open_evening(person: Person, marking: str = "INR18650 2600mAh") -> None:
    """What is asked once: the object, its kind, the meter, what most cells are."""
    person.answer("what did you open?", "garden torch")
    person.answer("what kind of object?", "torch")
    person.answer("how many of them?", "")
    person.answer("meter [", "1")
    person.answer("marking [", marking)


def log(person: Person, volts: str, look: str = "", marking: str = "") -> int:
    """One cell; the keys pressed beyond what was found (volts, damage, print)."""
    before = person.keys
    person.answer(WRITE, "")
    person.answer(VOLTAGE, volts)
    person.answer(LOOK, look)
    person.answer(MARKING, marking)
    return person.keys - before - len(volts) - len(look) - len(marking)


def end(person: Person) -> int:
    """Leave without labels."""
    person.answer(WRITE, "q")
    person.answer("y or a path [no]:", "")
    return person.leave()


def test_twenty_cells_take_at_most_four_keys_each_beyond_the_figures(bench: Bench) -> None:
    """An evening: two kinds of cells and a swollen one among twenty; the keys between the findings are counted."""
    volts = [f"3.{600 + 7 * number}" if number < 12 else f"3.{260 + number}" for number in range(20)]
    with at_terminal(bench.store, "intake") as person:
        open_evening(person)
        keys = []
        for number, each in enumerate(volts):
            marking = "IFR26650 3200mAh 3.2V" if number == 12 else ""
            keys.append(log(person, each, "s" if number == 5 else "", marking))
        assert end(person) == 0
    assert max(keys) <= 4 and sum(keys) <= 80, keys
    cells = bench.do("cell list")
    assert len(cells) == 20
    assert [cell["chemistry"] for cell in cells] == ["nmc"] * 12 + ["lfp"] * 8
    assert [cell["outcome"] for cell in cells].count("discard") == 1 and cells[5]["stage"] == "condemned"
    for cell, each in zip(cells, volts, strict=True):
        shown = bench.do(f"cell show {cell['code']}")
        found = {r["quantity"]: r for r in shown["readings"]}
        assert found["as-found-voltage"]["value"] == float(each)
        assert found["as-found-voltage"]["meter"] == "hand-held-multimeter"
        assert found["look"]["look"] == (["swollen"] if cell == cells[5] else ["clean"])
        assert (cell["teardown"], cell["pack"]) == ("AT1", "1")
    bench.now = ""  # the evening ran by the real clock
    assert bench.do("store check")["faults"] == []


def test_each_screen_fits_and_the_code_is_large(bench: Bench) -> None:
    """80 columns, and a code is seven rows high, waited for before anything is asked of the cell."""
    with at_terminal(bench.store, "intake") as person:
        open_evening(person)
        shown = person.await_text(WRITE)
        assert sum("██" in line for line in shown.splitlines()) == 7
        assert "as found" not in shown
        person.press(ENTER)
        person.answer(VOLTAGE, "?")
        person.await_text("it can never be measured")
        person.answer(VOLTAGE, "3.7")
        person.answer(LOOK, "s")
        person.await_text("warn others")
        person.answer(MARKING, "")
        end(person)
    assert max(map(len, person.screen.splitlines())) <= 80


def test_ctrl_c_keeps_every_finished_cell_and_drops_the_half_one(bench: Bench) -> None:
    """In the middle of the second cell, at its look."""
    with at_terminal(bench.store, "intake") as person:
        open_evening(person)
        log(person, "3.71")
        person.answer(WRITE, "")
        person.answer(VOLTAGE, "3.65")
        person.await_text(LOOK)
        person.press(CTRL_C)
        person.await_text("was not finished")
        assert person.leave() == 130
    assert "Traceback" not in person.screen
    cells = bench.do("cell list")
    assert len(cells) == 1 and cells[0]["outcome"] == "hold"
    bench.now = ""  # the evening ran by the real clock
    assert bench.do("store check")["faults"] == []


def test_a_ctrl_c_that_comes_just_before_the_prompt_waits_is_not_lost(bench: Bench) -> None:
    """Python looks for signals, then waits for a key: the first one is made to fall into that gap here."""
    gap = bench.store.parent / "gap"
    gap.mkdir()
    (gap / "sitecustomize.py").write_text(
        "import signal\n"
        "came = []\n"
        "def first_is_missed(*_):\n"
        "    came.append(1)\n"
        "    if len(came) > 1:\n"
        "        raise KeyboardInterrupt\n"
        "signal.signal(signal.SIGINT, first_is_missed)\n"
    )
    path = f"{gap}{os.pathsep}{ROOT / 'src'}"
    with at_terminal(bench.store, "intake", PYTHONPATH=path, STRAYCELL_NOW=bench.now) as person:
        person.await_text("open?")
        person.press(CTRL_C)
        person.await_text("no cell was recorded")
        assert person.leave() == 130


def test_a_code_written_before_the_interrupt_is_never_given_to_another_cell(bench: Bench) -> None:
    """It is on a cell by now: the next evening shows another, and takes the old one when it is typed."""
    with at_terminal(bench.store, "intake") as person:
        open_evening(person)
        first = person.await_text(WRITE).splitlines()[-1].split()[1]
        person.press(ENTER)
        person.await_text(VOLTAGE)
        person.press(CTRL_D)
        assert person.leave() == 0
    with at_terminal(bench.store, "intake", "--teardown", "AT1") as person:
        person.answer("meter [", "")
        person.answer("marking [", "INR18650 2600mAh")
        assert person.await_text(WRITE).splitlines()[-1].split()[1] != first
        person.press(first.lower() + ENTER)
        person.answer(VOLTAGE, "3.6")
        person.answer(LOOK, "")
        person.answer(MARKING, "")
        person.await_text(f"{first} kept")
        assert end(person) == 0
    assert [cell["code"] for cell in bench.do("cell list")] == [first]


def test_no_color_means_no_colour(bench: Bench) -> None:
    """Not one escape sequence."""
    with at_terminal(bench.store, "intake", NO_COLOR="1") as person:
        open_evening(person)
        log(person, "1.2")
        end(person)
    assert "\x1b" not in person.raw and "DISCARD" in person.screen


def test_a_second_evening_takes_exactly_the_missing_readings(bench: Bench) -> None:
    """Charge, capacity, resistance and rest voltage; the next cell starts from the same conditions."""
    bench.now = "2026-03-01T18:00:00+00:00"
    with at_terminal(bench.store, "intake", STRAYCELL_NOW=bench.now) as person:
        open_evening(person)
        log(person, "3.71")
        log(person, "3.72")
        end(person)
    bench.now = "2026-03-03T18:00:00+00:00"
    with at_terminal(bench.store, "intake", "--due", STRAYCELL_NOW=bench.now) as person:
        codes = [cell["code"] for cell in bench.do("cell list")]
        shown = person.answer("scan the cell you hold", codes[0])
        assert "waits for: full charge, capacity, resistance, rest voltage" in shown
        person.answer("charged at, A", "0.5")
        person.answer("up to, V [4.20]", "")
        person.answer("room, C", "22")
        person.answer("warmest, C", "25")
        person.answer("ended [now]", "40h")
        person.answer("capacity, mAh", "2450")
        person.answer("drawn at, A", "0.5")
        person.answer("down to, V", "3")
        person.answer("room, C [22]", "")
        person.answer("resistance, mohm", "55")
        person.answer("method", "d")
        person.answer("rest voltage, V", "")
        person.answer("meter [", "charger")
        person.answer("meter [", "-")
        person.await_text("kept: charged to 4.2 V, 2450 mAh, 55 mohm")
        person.answer("scan the cell you hold", codes[1][-2:])
        person.answer("charged at, A", "=")
        for prompt in ("up to, V", "room, C [22]", "warmest"):
            person.answer(prompt, "26" if prompt == "warmest" else "")
        person.answer("ended [now]", "30h")
        person.answer("capacity, mAh", "2390")
        for prompt in ("drawn at, A [0.5]", "down to, V [3]", "room, C [22]"):
            person.answer(prompt, "")
        person.answer("resistance, mohm", "")
        person.answer("rest voltage, V", "")
        person.await_text("that was the last cell")
        person.answer("y or a path [no]:", "labels.pdf")
        person.await_text("labels.pdf: 2 labels")
        assert person.leave() == 0
    assert bench.store.with_name("labels.pdf").read_bytes().startswith(b"%PDF")
    first, second = (bench.do(f"cell show {cell['code']}")["readings"] for cell in bench.do("cell list"))
    by = {reading["quantity"]: reading for reading in first}
    assert by["charge"]["at"].startswith("2026-03-02T02:00") and by["charge"]["peak_temperature_c"] == 25.0
    assert (by["capacity"]["value"], by["capacity"]["meter"]) == (2.45, "charger-display")
    assert (by["resistance"]["method"], by["resistance"]["pulse_s"]) == ("dc-pulse", 1.0)
    again = {reading["quantity"]: reading for reading in second}
    assert (again["capacity"]["discharge_current_a"], again["capacity"]["cutoff_v"]) == (0.5, 3.0)
    assert "resistance" not in again


def test_arrows_edit_the_line_and_bring_back_what_was_typed_at_this_kind_of_question(bench: Bench) -> None:
    """A figure put right in the middle; the last voltage by one key at a voltage, and not at a print."""
    left, up, rubout = "\x1b[D", "\x1b[A", "\x7f"
    with at_terminal(bench.store, "intake") as person:
        open_evening(person)
        person.answer(WRITE, "")
        person.answer(VOLTAGE, f"3.81{left}{rubout}7")
        person.answer(LOOK, "")
        person.answer(MARKING, "")
        person.answer(WRITE, "")
        person.answer(VOLTAGE, f"{up}")
        person.answer(LOOK, "")
        person.answer(MARKING, up + up)
        end(person)
    assert "^[" not in person.screen
    cells = [bench.do(f"cell show {cell['code']}") for cell in bench.do("cell list")]
    volts = [r["value"] for cell in cells for r in cell["readings"] if r["quantity"] == "as-found-voltage"]
    assert volts == [3.71, 3.71] and {cell["marking"] for cell in cells} == {"INR18650 2600mAh"}


def test_without_a_terminal_it_says_what_to_use_instead(tmp_path: Path) -> None:
    """Exit 2, a remedy, and no store."""
    store = tmp_path / "bench.sqlite"
    done = subprocess.run(
        [sys.executable, "-m", "straycell", "--store", str(store), "intake"],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env={"PYTHONPATH": str(ROOT / "src"), "PATH": "/usr/bin"},
        check=False,
        timeout=60,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "no terminal" in done.stderr and "straycell cell add" in done.stderr
    assert not store.exists()
