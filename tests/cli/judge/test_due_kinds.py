"""Every kind of `due` reached from the command line alone, and every command it names exists."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from tests.cli.bench import Bench

from straycell.cli.app.app import root_command
from straycell.safety.due.survey import due_kinds

FIRST = datetime(2026, 3, 1, 9, tzinfo=UTC)
LAMP = """
name = "lamp"
[load]
current = "100mA"
[need]
runtime = "4h"
cutoff = "3.0V"
[protection]
fitted = true
cutoff = "2.5V"
trip_current = "2A"
"""
START = """
0    meter add m --voltage-accuracy 0.05%+1mV --voltage-resolution 1mV --capacity-accuracy 0.5% --resistance-accuracy 1%
0    box add tin --kind 'metal box'
0    box add drum --kind 'hand-over drum'
"""
FOUND = """
0    reading add {a} --look clean --as-found-voltage 3.60V --meter m
0    cell move {a} tin
0    cell move {b} tin
"""
CHARGED = """
1    charge add {a} --current 0.5A --until 4.2V --end-current 50mA --temperature 22C --peak-temperature 25C
"""
RUN = (
    CHARGED
    + """
1.5  reading add {a} --capacity 2.4Ah --discharge-current 0.5A --cutoff 2.75V --temperature 22C --meter m
1.6  reading add {a} --resistance 50mohm --resistance-method dc-pulse --meter m
"""
)
FULL = (
    RUN
    + """
2    charge add {a} --current 0.5A --until 4.2V --end-current 50mA --temperature 22C --peak-temperature 25C
"""
)
BEGUN = (
    FULL
    + """
3.2  reading add {a} --voltage 4.180V --rested 28h --temperature 22C --meter m
"""
)
PAIR = (
    BEGUN
    + """
18   reading add {a} --voltage 4.170V --rested 384h --temperature 22C --meter m
"""
)
STORED = (
    PAIR
    + """
18.1 charge add {a} --current 0.5A --until 3.80V
19.6 reading add {a} --voltage 3.80V --rested 36h --temperature 22C --meter m
"""
)
BUILT = (
    STORED
    + """
20   project add {folder}/lamp.toml
20   build reserve lamp --cells {a}
20.1 build finish lamp --yes
"""
)
# kind: (what is done, day and line; on which day it is on the list, on which it is not yet)
KINDS: dict[str, tuple[str, float, float | None]] = {
    "in-device": (FOUND + BUILT + "\n30 build inspect lamp --look swollen\n", 30.1, 29.9),
    "isolate": (FOUND + "\n3 reading add {a} --look swollen\n", 3.1, 2.9),
    "warm": (
        FOUND + "\n1 charge add {a} --current 0.5A --until 4.2V --temperature 22C --peak-temperature 34C\n",
        1.1,
        None,
    ),
    "incident": (FOUND + STORED + "\n25 incident add --kind drop {a}\n", 25.1, 24.9),
    "falling": (
        FOUND + STORED + "\n60 reading add {a} --voltage 3.60V --rested 900h --temperature 22C --meter m\n",
        60.1,
        59.9,
    ),
    "sinking": (
        FOUND + STORED + "\n60 reading add {a} --voltage 2.9V --rested 900h --temperature 22C --meter m\n",
        60.1,
        59.9,
    ),
    "voltage": (FOUND + "\n2 reading add {a} --voltage 4.249V --rested 24h --meter m\n", 2.1, 1.9),
    "doubt": (FOUND + "\n3 reading add {a} --look torn-sleeve\n", 3.1, 2.9),
    "sibling": (FOUND + "\n4 reading add {b} --look leaking\n", 4.1, 3.9),
    "handover-damaged": (FOUND + "\n3 reading add {a} --look swollen\n3 cell move {a} drum\n", 17.1, 16.9),
    "set-apart": (
        FOUND + "\n3 discard {a} --because 'no use for it'\n3 reading add {a} --look clean\n",
        3.1,
        2.9,
    ),
    "sinks-soon": (
        FOUND + "\n2 reading add {a} --voltage 3.45V --rested 24h --temperature 22C --meter m\n",
        2.1,
        1.9,
    ),
    "trend": (
        FOUND
        + STORED
        + "\n50 reading add {a} --voltage 3.795V --rested 700h --temperature 22C --meter m\n"
        + "\n80 reading add {a} --voltage 3.749V --rested 1400h --temperature 22C --meter m\n",
        80.1,
        79.9,
    ),
    "recheck-late": (FOUND + STORED, 19.6 + 90 + 14.1, 19.6 + 90 + 13.9),
    "full": (FOUND + BEGUN, 17.3, 17.1),
    "empty": (FOUND + RUN, 2.6, 2.4),
    "storage-voltage": (
        FOUND + STORED + "\n40 reading add {a} --voltage 3.60V --rested 400h --temperature 22C --meter m\n",
        43.1,
        42.9,
    ),
    "first-recheck": (FOUND + STORED, 32.2, 32.0),
    "recheck": (FOUND + STORED, 19.6 + 90.1, 19.6 + 89.9),
    "ages": (FOUND + STORED, 1.5 + 335.1, 1.5 + 334.9),
    "inspection": (FOUND + BUILT, 34.2, 34.0),
    "handover": (
        FOUND
        + "\n3 discard {a} --because 'no use for it'\n3 reading add {a} --look clean\n3 cell move {a} drum\n",
        93.1,
        92.9,
    ),
    "meter": ("", 365.1, 364.9),
    "charger": ("0 charger add bay --slot 2 --measured-float 4.19V --meter m", 90.1, 89.9),
    "forgotten": (FOUND, 30.1, 29.9),
}


class Shop(Bench):
    """A bench that is told on which day a line is typed."""

    names: dict[str, str]

    def on(self, day: float) -> None:
        self.now = (FIRST + timedelta(days=day)).isoformat()

    def play(self, text: str, *, until: float = 1e9) -> None:
        for line in text.strip().splitlines():
            day, _, words = line.strip().partition(" ")
            if words and float(day) <= until:
                self.on(float(day))
                self.prepare(words.format(**self.names))

    def due(self, day: float, more: str = "") -> dict[str, dict[str, Any]]:
        """What is due on a day for cell a, a project or a meter, by kind."""
        self.on(day)
        return {
            item["kind"]: item for item in self.do(f"due{more}")["due"] if item["subject"] != self.names["b"]
        }


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """Two cells of one pack, a meter, a tin and a drum."""
    (tmp_path / "lamp.toml").write_text(LAMP)
    shop = Shop(tmp_path / "shop.sqlite")
    shop.names = {"folder": str(tmp_path)}
    shop.play(START)
    (source,) = [shop.prepare("teardown add pack --kind pack")["code"]]
    add = f"cell add --teardown {source} --pack 1 --form 18650 --chemistry nmc --rated-capacity 2500mAh --marking INR18650"
    shop.names |= dict(zip("ab", (cell["code"] for cell in shop.prepare(f"{add} --count 2")), strict=True))
    return shop


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_reached_by_typing(kind: str, shop: Shop) -> None:
    """On its day, not the day before, with why and what to do; and in the calendar, read by another library."""
    text, there, not_yet = KINDS[kind]
    if not_yet is not None:
        shop.play(text, until=not_yet)
        assert kind not in shop.due(not_yet)
        shop.play("\n".join(line for line in text.splitlines() if line and float(line.split()[0]) > not_yet))
    else:
        shop.play(text)
    target = shop.store.with_name("due.ics")
    item = shop.due(there, f" --ics {target}")[kind]
    assert item["why"] and item["source"] and item["due_at"] <= shop.now
    assert item["subject"] in (shop.names["a"], "lamp", "m", "bay slot 2")
    events = vobject.readOne(target.read_bytes().decode("utf-8")).vevent_list
    today = [e for e in events if e.summary.value.startswith(due_kinds()[kind].title)]
    assert today[0].dtstart.value == (FIRST + timedelta(days=there)).date()
    assert item["subject"] in today[0].description.value and item["todo"] in today[0].description.value


def test_no_kind_is_left_out_of_this_page() -> None:
    """A new kind needs its line here; that of the groups of a pack is typed in tests/cli/use/test_inspect_groups.py."""
    assert {*KINDS, "group-voltages"} == set(due_kinds())


COMMAND = re.compile(r"straycell ((?:[a-z-]+)(?: [a-z-]+)?)([^;)]*)")


@pytest.mark.parametrize("kind", due_kinds().values(), ids=lambda kind: kind.id)
def test_what_to_do_names_commands_and_options_that_exist(kind: Any) -> None:
    """Noun, verb and every option, as the parser knows them."""
    for words, rest in COMMAND.findall(kind.do):
        noun, *verb = words.split()
        command = root_command().get_command(None, noun)
        assert command is not None, words
        if verb and hasattr(command, "get_command"):
            command = command.get_command(None, verb[0])
            assert command is not None, words
        known = {option for param in command.params for option in param.opts}
        assert {word for word in rest.split() if word.startswith("--")} <= known, words


def test_discard_names_the_project_that_lost_its_cell(shop: Shop) -> None:
    """A reservation is freed; a device that is finished is named to be taken apart."""
    shop.play(FOUND + STORED)
    shop.on(20)
    shop.do(f"project add {shop.names['folder']}/lamp.toml")
    shop.do(f"build reserve lamp --cells {shop.names['a']}")
    reserved = shop.store.read_bytes()
    answer = shop.run(f"discard {shop.names['a']} --because hissed")
    assert f"project 'lamp' has lost {shop.names['a']} and waits for another" in " ".join(answer.err.split())
    assert [p["state"] for p in shop.do("project list")] == ["pending"]
    shop.store.write_bytes(reserved)
    made = shop.do(f"discard {shop.names['a']} --because hissed")
    assert (made["freed_project"], made["in_build"]) == ("lamp", None)
    shop.store.write_bytes(reserved)
    shop.on(20.1)
    shop.do("build finish lamp --yes")
    finished = shop.store.read_bytes()
    made = shop.do(f"discard {shop.names['a']} --because hissed")
    assert (made["freed_project"], made["in_build"]) == (None, "lamp")
    shop.store.write_bytes(finished)
    told = " ".join(shop.run(f"discard {shop.names['a']} --because hissed").err.split())
    assert f"{shop.names['a']} sits in 'lamp': stop using that; straycell build dismantle 'lamp'" in told


def test_whatever_puts_a_cell_out_of_use_names_the_project_that_lost_it(shop: Shop) -> None:
    """A look recorded of a reserved cell frees its reservation; of one in a finished device it says to stop."""
    shop.play(FOUND + STORED)
    shop.on(20)
    shop.do(f"project add {shop.names['folder']}/lamp.toml")
    shop.do(f"build reserve lamp --cells {shop.names['a']}")
    reserved, swelling = shop.store.read_bytes(), f"reading add {shop.names['a']} --look swollen"
    told = " ".join(shop.run(swelling).err.split())
    assert f"project 'lamp' has lost {shop.names['a']} and waits for another: straycell match 'lamp'" in told
    shop.store.write_bytes(reserved)
    shop.on(20.1)
    shop.do("build finish lamp --yes")
    told = " ".join(shop.run(swelling).err.split())
    assert "sits in 'lamp': stop using that; straycell build dismantle 'lamp'" in told
    apart = shop.run("build dismantle lamp").err
    assert f"never charge: {shop.names['a']}" in apart and "on hold until" not in apart
