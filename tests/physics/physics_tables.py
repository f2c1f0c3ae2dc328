"""The reference tables of tests/reference/physics as cases: one published set, one load, one cut-off, the truth."""

from __future__ import annotations

import csv
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import TypeVar

from tests.drawing import thinned
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.physics.loads import ConstantCurrent, ConstantPower, Load, Profile, ResistiveLoad
from straycell.physics.own_pulses import Taken
from straycell.physics.run_time.runtime import OwnTrace, Runtime, estimate
from straycell.quantities import Measured

Row = TypeVar("Row")
FOLDER = Path(__file__).parents[1] / "reference" / "physics"
USED_SETS = (
    "Chen2020",
    "Mohtat2020",
    "Ai2020",
    "NCA_Kim2011",
    "Prada2013",
    "Marquis2019",
    "Ecker2015",
    "ORegan2022",
)
"""Sets that figures of the tool were taken from (five curves; eight for polarisation)."""
KEPT_APART = (
    "OKane2022",
    "Chen2020-worn",
    "Mohtat2020-worn",
    "Ai2020-worn",
    "Marquis2019-worn",
    "Prada2013-worn",
)
BLIND = ("NCA_Kim2011-worn", "Ecker2015-worn", "OKane2022-worn", "ORegan2022-worn")
"""Made after data/margin.toml was set: nothing was chosen with them in sight."""
DUTY_S = (60.0, 240.0)


@dataclass(frozen=True)
class Head:
    """What stands above a table."""

    chemistry: Chemistry
    source: str
    capacity_ah: float
    lower_v: float


@dataclass(frozen=True)
class Truth:
    """One run of the full model to one cut-off."""

    set_name: str
    kind: str
    rate_c: float
    load: Load
    cutoff_v: float
    hours: float
    charge_ah: float
    energy_wh: float


def some(rows: Iterable[Row]) -> Sequence[Row]:
    """All rows of a table, or a quarter of them from anywhere: they lie in the order of loads, rates and temperatures."""
    every = list(rows)
    return thinned(random.Random(1).sample(every, len(every)))


def _lines(kind: str, name: str) -> list[str]:
    return (FOLDER / f"{kind}_{name}.csv").read_text(encoding="utf-8").splitlines()


def _rows(kind: str, name: str) -> Iterator[dict[str, str]]:
    return iter(csv.DictReader(line for line in _lines(kind, name) if not line.startswith("#")))


@lru_cache
def head(name: str) -> Head:
    """The header of a set's tables."""
    said = dict(line[1:].split(":", 1) for line in _lines("trace", name) if line.startswith("#"))
    said = {key.strip(): value.strip() for key, value in said.items()}
    words = said["capacity_ah"].split()
    return Head(Chemistry(said["chemistry"]), said["source"], float(words[0]), float(words[4]))


@lru_cache
def truths(name: str) -> tuple[Truth, ...]:
    """Every run of a set."""
    return tuple(_truth(name, row) for row in _rows("runs", name))


def _truth(name: str, row: dict[str, str]) -> Truth:
    value, capacity_ah = float(row["value"]), head(name).capacity_ah
    loads = {"current": ConstantCurrent, "power": ConstantPower, "resistance": ResistiveLoad}
    if row["kind"] == "duty":
        high, low = (float(r) for r in row["rate_c"].split("/"))
        times = (0.0, DUTY_S[0], sum(DUTY_S))
        load: Load = Profile(times, (high * capacity_ah, low * capacity_ah))
        rate = high
    else:
        load, rate = loads[row["kind"]](value), float(row["rate_c"])
    return Truth(
        name,
        row["kind"],
        rate,
        load,
        float(row["cutoff_v"]),
        float(row["hours"]),
        float(row["ah"]),
        float(row["wh"]),
    )


@lru_cache
def own_trace(name: str, rate_c: float) -> OwnTrace:
    """The set's own discharge at one rate."""
    rows = [r for r in _rows("trace", name) if float(r["rate_c"]) == rate_c]
    current_a = rate_c * head(name).capacity_ah
    return OwnTrace(tuple(float(r["ah"]) for r in rows), tuple(float(r["volts"]) for r in rows), current_a)


@lru_cache
def pulse_ohm(name: str, pulse_s: float, soc: float = 0.5) -> float:
    """Resistance of a 1C pulse."""
    return next(
        float(r["ohm"])
        for r in _rows("pulse", name)
        if float(r["soc"]) == soc and float(r["pulse_s"]) == pulse_s
    )


@cache
def predict(truth: Truth, trace_rate_c: float | None, pulse_s: float = 1.0, u_share: float = 0.0) -> Runtime:
    """What the tool says, given capacity and resistance as a bench would have measured them."""
    about = head(truth.set_name)
    ohm = pulse_ohm(truth.set_name, pulse_s)
    return estimate(
        *asked(
            about.chemistry,
            Measured(about.capacity_ah, u_share * about.capacity_ah),
            Measured(ohm, u_share * ohm),
            truth.load,
            cutoff_v=truth.cutoff_v,
            own_trace=None if trace_rate_c is None else own_trace(truth.set_name, trace_rate_c),
            capacity_cutoff_v=about.lower_v,
            taken=Taken(pulse_s),
        )
    )


@dataclass(frozen=True)
class Comparison:
    """The truth beside the tool's answer."""

    truth: Truth
    answer: Runtime

    @property
    def error(self) -> float:
        """Expected over truth, less one."""
        return self.answer.expected_h / self.truth.hours - 1.0

    @property
    def low_share(self) -> float:
        """Low over truth: at most 1 when the promise is kept."""
        return self.answer.low_h / self.truth.hours


def compare(
    names: tuple[str, ...], trace_rate_c: float | None, pulse_s: float = 1.0, most_rate_c: float = 1.0
) -> list[Comparison]:
    """Every run of the sets up to a rate, or some of them; a trace is not asked for itself."""
    return [
        Comparison(truth, predict(truth, trace_rate_c, pulse_s))
        for name in names
        for truth in some(truths(name))
        if truth.rate_c <= most_rate_c and not (truth.kind == "current" and truth.rate_c == trace_rate_c)
    ]
