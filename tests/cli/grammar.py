"""Random command lines: the real grammar with good and bad values, and plain garbage. Seeded, so they repeat."""

from __future__ import annotations

import random
import socket
from typing import Any

from straycell.cli.app.app import root_command
from straycell.cli.app.noun_table import NOUNS

GOOD = [
    *("3.71V", "3710mV", "2010mAh", "2.01Ah", "48mohm", "48mΩ", "0.5A", "24h", "90min", "22C", "45g", "-5C"),
    *("2026-02-20", "2026-02-20T10:00", "2026-02-20T10:00:00+02:00", "2026-02-20T10:00Z"),
    *(
        "18650",
        "nmc",
        "lfp",
        "primary",
        "unknown",
        "pouch",
        "clean",
        "swollen",
        "torn-sleeve",
        "hold",
        "discard",
    ),
    *(
        "dc-pulse",
        "ac-1khz",
        "mistyped",
        "wrong-cell",
        "bad-contact",
        "tabs",
        "board",
        "received",
        "condemned",
    ),
    *("1", "2", "3", "40", "AT1", "blue", "tin", "because of rain", "0.05%+2mV", "1mV<4V,10mV"),
    *("hand-held-multimeter", "INR18650 2600mAh", "CR123A 3V", "ICP103450", "A", "B", "100Wh", "storing"),
]
BAD = [
    *(
        "",
        " ",
        "3.7",
        "3,7V",
        "-3mAh",
        "37.1V",
        "1e999V",
        "nan",
        "inf",
        "NaNV",
        "0x10",
        "٣V",
        "3.7v",
        "999999999999999999999",
    ),
    *(
        "--",
        "-",
        "---",
        "--json",
        "--quiet",
        "--debug",
        "--store",
        "--help",
        "-h",
        "-x",
        "--=",
        "-C",
        "=",
        "--look=",
        "--look=rust",
    ),
    *("tomorrow", "2999-01-01", "0001-01-01T00:00", "9999-12-31T23:59:59+00:00", "2026-02-30", "24:00"),
    *(
        "\x1b[2J",
        "a\nb",
        "\udcff",
        "a\0b",
        "💡",
        "ß",
        "' OR 1=1 --",
        "{}",
        "%s",
        "../../etc",
        "/",
        ".",
        "~nobody/x",
    ),
    *("x" * 600, "A" * 60, "A00001", "A000019", "a-00001-o", "T1", "#1", "#-1", "0", "-1", "1.5"),
]
ROOT = [
    "--json",
    "--quiet",
    "--debug",
    "--version",
    "--help",
    "--store",
    "--store=x.sqlite",
    "--nosuch",
    "--",
]


LIKELY = {
    "teardown": ["AT1", "at1", "AT2"],
    "pack": ["1", "2"],
    "meter": ["blue", "blue", "red"],
    "mistake": ["mistyped", "wrong-cell", "bad-contact"],
    "bench": ["A", "b"],
    "outcome": ["pack", "solo", "light", "hold", "discard"],
    "voltage": ["3.71V", "1.2V", "4.19V", "2600mV"],
    "as_found_voltage": ["3.31V", "0.4V", "2.2V"],
    "rested": ["24h", "30min", "8d"],
    "like": ["good-multimeter", "electronic-load"],
    "title": ["lamp", "radio", "a \x1b[0m"],
    "because": ["rain", "a slip"],
}


def stop_at_once(_server: object, sockets: list[socket.socket]) -> None:
    """In place of `uvicorn.Server.run`: a line of chance that starts the page must come back."""
    for each in sockets:
        each.close()


class Grammar:
    """Makes lines. `codes` are codes that exist in the store, so that some lines go all the way."""

    def __init__(self, seed: int, codes: list[str], files: list[str]) -> None:
        self.random = random.Random(seed)
        self.codes, self.files = codes, files
        self.root = root_command()

    def line(self) -> list[str]:
        """One command line."""
        shape = self.random.random()
        if shape < 0.08:
            return self._garbage()
        words = self._sensible() if shape < 0.8 else self._shuffled()
        if self.random.random() < 0.4:
            words.insert(self.random.randint(0, len(words)), "--json")
        return words

    def _value(self, name: str = "") -> str:
        pick = self.random.random()
        if name in ("code", "right_cell") and pick < 0.7:
            return self.random.choice(self.codes)
        if name == "file" and pick < 0.7:
            return self.random.choice(self.files)
        if name == "number" and pick < 0.7:
            return str(self.random.randint(1, 60))
        return self.random.choice(GOOD if pick < 0.75 else [*BAD, *self.codes])

    def _typed(self, param: Any) -> str:
        """Mostly a value of the right kind for this option, else any value."""
        shown = str(param.metavar or "")
        if self.random.random() < 0.15:
            return self._value(param.name)
        if param.name in LIKELY:
            return self.random.choice(LIKELY[param.name])
        if param.name in ("code", "right_cell", "file", "number"):
            return self._value(param.name)
        if shown == "WORD":
            words = str(param.help).partition("One of: ")[2].rstrip(".").split()
            return self.random.choice(words) if words else self._value()
        if shown[:1].isdigit():
            return shown
        return {"TIME": "2026-02-20T10:00Z", "DATE": "2026-02-20", "N": "2", "M": "blue", "BOX": "tin"}.get(
            shown, self._value()
        )

    def _command(self) -> tuple[list[str], Any]:
        nouns = [
            noun for noun in NOUNS if noun != "demo"
        ]  # builds a whole store each time; has its own tests
        noun = self.random.choice([*nouns, "reading", "reading", "cell", "cell", "charge"])
        command = self.root.get_command(None, noun)
        if not hasattr(command, "list_commands"):
            return [noun], command
        verbs = command.list_commands(None)
        verb = self.random.choice(verbs + (["add"] * 3 if "add" in verbs else []))
        return [noun, verb], command.get_command(None, verb)

    def _sensible(self) -> list[str]:
        words, command = self._command()
        keep = self.random.choice((0.1, 0.1, 0.25, 0.6))
        for param in command.params:
            option = next((opt for opt in param.opts if opt.startswith("--")), None)
            if option is None:
                words.append(self._typed(param))
            elif param.required or self.random.random() < keep:
                words += [option] if param.is_flag else [option, self._typed(param)]
        return words

    def _shuffled(self) -> list[str]:
        words = self._sensible()
        for _ in range(self.random.randint(1, 3)):
            at = self.random.randrange(len(words))
            match self.random.randrange(4):
                case 0:
                    del words[at]
                case 1:
                    words.insert(at, self._value())
                case 2:
                    words[at] = self._value()
                case _:
                    words.insert(at, self.random.choice(ROOT))
            if not words:
                words = [self._value()]
        return words

    def _garbage(self) -> list[str]:
        pool = [*GOOD, *BAD, *ROOT, *NOUNS, *self.codes, "add", "list", "show"]
        return [self.random.choice(pool) for _ in range(self.random.randint(0, 6))]
