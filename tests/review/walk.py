"""A person at the command line who walks one cell through the weeks: what the black-box tests type."""

from __future__ import annotations

import atexit
import shutil
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from tests.cli.bench import Bench

BEGIN = datetime(2026, 3, 1, 9, tzinfo=UTC)
OWN_SHEET = (
    '--voltage-accuracy "0.05%+1mV" --voltage-resolution 1mV --capacity-accuracy 1% --resistance-accuracy 1%'
)
NMC = "--chemistry nmc --form 18650 --rated-capacity 2500mAh"
PLAIN: dict[str, Any] = {
    "cell": NMC,
    "meter": OWN_SHEET,
    "look": "--look clean",
    "found": "--as-found-voltage 3.6V --meter m",
    "charge": "--current 0.5A --until 4.2V --end-current 50mA --temperature 22C --peak-temperature 26C",
    "capacity": "--capacity 2400mAh --discharge-current 0.5A --cutoff 2.8V --temperature 22C --meter m",
    "resistance": "--resistance 45mohm --resistance-method dc-pulse --meter m",
    "first": "--voltage 4.180V --rested 24h --temperature 22C --meter m",
    "days": 14.0,
    "second": "--voltage 4.172V --rested 14d --temperature 22C --meter m",
}
"""The least that a sensible person types for one cell; a step of "" is left out."""


@dataclass
class Walk:
    """A store, a clock that moves, and the one cell the lines below speak of as CODE."""

    bench: Bench
    code: str = ""
    teardown: str = ""
    at: datetime = BEGIN
    answers: list[Any] = field(default_factory=list)

    def wait(self, **time: float) -> Walk:
        self.at += timedelta(**time)
        self.bench.now = self.at.isoformat()
        return self

    def type(self, line: str) -> Any:
        """A line that must succeed; CODE stands for the cell's code."""
        return self.bench.do(line.replace("CODE", self.code))

    def read(self, options: str) -> Walk:
        self.answers = self.type(f"reading add CODE {options}")
        return self

    def charge(self, options: str = PLAIN["charge"], **ago: float) -> Walk:
        back = f" --at {(self.at - timedelta(**ago)).isoformat()}" if ago else ""
        self.type(f"charge add CODE {options}{back}")
        return self

    @property
    def verdict(self) -> Any:
        return self.type("verdict show CODE")

    @property
    def outcome(self) -> str:
        return str(self.verdict["outcome"])

    def reason(self, rule: str) -> Any:
        """The one reason of a rule."""
        (found,) = [reason for reason in self.verdict["reasons"] if reason["rule"] == rule]
        return found

    def rules_failed(self) -> set[str]:
        return {r["rule"] for r in self.verdict["reasons"] if r["status"] != "met"}

    def number(self, quantity: str) -> str:
        """The id of the latest reading of a quantity that still stands."""
        items = self.type("cell show CODE")["readings"]
        ids = [str(i["id"]) for i in items if i["quantity"] == quantity and not i["mistake"]]
        return max(ids, key=lambda key: int(key.rpartition("-")[2]))


def begin(cell: str = NMC, meter: str = OWN_SHEET) -> Walk:
    """A store with one meter and one cell, nothing measured."""
    walk = Walk(Bench(_new_store())).wait()
    walk.bench.prepare(f"meter add m {meter}")
    walk.teardown = walk.bench.prepare('teardown add "garden pump" --kind pump')["code"]
    walk.code = walk.bench.prepare(f"cell add --teardown {walk.teardown} {cell}")[0]["code"]
    return walk


def walked(**changed: Any) -> Walk:
    """The plain walk with some steps changed, in a store of its own."""
    step = PLAIN | changed
    lines = [
        (0.0, "reading", step["look"]),
        (0.0, "reading", step["found"]),
        (4.0, "charge", step["charge"]),
        (6.0, "reading", step["capacity"]),
        (6.0, "reading", step["resistance"]),
        (5.0, "charge", step["charge"]),
        (24.0, "reading", step["first"]),
        (24.0 * step["days"], "reading", step["second"]),
    ]
    walk = begin(step["cell"], step["meter"])
    for hours, noun, options in lines:
        walk.wait(hours=hours)
        if options:
            walk.bench.prepare(f"{noun} add {walk.code} {options}")
    return walk


_FOLDER = Path(mkdtemp(prefix="straycell-review-"))
atexit.register(shutil.rmtree, _FOLDER, ignore_errors=True)
_NUMBERS = count(1)


def _new_store() -> Path:
    folder = _FOLDER / str(next(_NUMBERS))
    folder.mkdir()
    return folder / "bench.sqlite"
