"""What a project's device asks of each cell of a pack, what a use may ask of a cell, and what all tests of one match share.

The limits of a use are the figures of the acceptance rules and of use_limits.toml, read once.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import lru_cache
from itertools import accumulate
from typing import Any, TypeVar

from straycell.acceptance import Outcome, RuleSet
from straycell.acceptance.rules import family
from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.meters import Accuracy
from straycell.physics.loads import Load, Profile
from straycell.projects import Project
from straycell.shipped import shipped_table

T = TypeVar("T")
Figures = Mapping[str, Mapping[str, float]]
USABLE = (Outcome.LIGHT, Outcome.SOLO, Outcome.PACK)


@lru_cache(maxsize=1)
def _shipped() -> Figures:
    return {name: entry["values"] for name, entry in shipped_table("matching/screen/use_limits.toml").items()}


def _one(table: Figures, name: str, key: str = "any") -> float:
    try:
        return float(table[name][key])
    except KeyError:
        raise BadData(f"the rules lack '{name}' ({key})", "add it to the rule file") from None


def _by_form(table: Figures, name: str) -> Mapping[str, float]:
    return table.get(name, {})


def _by_volume(table: Figures, name: str) -> dict[str, float]:
    """A density times the volume of each size; empty where the rules do not say."""
    density = table.get(name, {}).get("any")
    volumes = table.get("size-volume", {})
    return {form: density * volume for form, volume in volumes.items()} if density is not None else {}


def _accuracy(table: Figures, name: str) -> Accuracy:
    return Accuracy(_one(table, name, "gain"), _one(table, name, "offset"))


def _by_outcome(table: Figures, name: str) -> dict[Outcome, float]:
    return {outcome: _one(table, name, outcome.word) for outcome in USABLE}


def _by_chemistry(table: Figures, name: str) -> dict[Chemistry, float]:
    """A figure for each rechargeable chemistry that has one: its own, its family's or that of any."""
    values = table.get(name, {})
    found: dict[Chemistry, float] = {}
    for chemistry in Chemistry:
        if chemistry in (Chemistry.UNKNOWN, Chemistry.PRIMARY):
            continue
        key = next((k for k in (str(chemistry), family(chemistry), "any") if k in values), None)
        if key is not None:
            found[chemistry] = float(values[key])
    return found


def _of(rule: str, read: Callable[[Figures, str], object] = _one) -> Mapping[str, Any]:
    """What a field says of itself: the rule whose figures it is read from, and how."""
    return {"rule": rule, "read": read}


@dataclass(frozen=True, slots=True)
class UseLimits:
    """Limits for the matching. Rates are multiples of the measured capacity per hour (C), by outcome.

    Voltages are those of one cell by chemistry; `float_error` is what a float voltage measured on the board
    may be wrong by. `join_v` and `join_c_rate` limit what flows when two cells are joined in parallel, at
    rest voltages from `join_low_v` to `join_high_v`, those of stored cells;
    `cell_drift` (V/K) and `meter_drift` (share of the accuracy, 1/K) are what a rest voltage moves with the room.
    `usual_ah` and `most_ah` (Ah, by form) are what cells of a size usually hold, and more than any of them does.
    """

    c_rate_out: Mapping[Outcome, float] = field(metadata=_of("rate-out", _by_outcome))
    c_rate_in: Mapping[Outcome, float] = field(metadata=_of("rate-in", _by_outcome))
    peak_factor: float = field(metadata=_of("peak-factor"))
    peak_s: float = field(metadata=_of("peak-seconds"))
    mean_s: float = field(metadata=_of("mean-seconds"))
    resistance_ratio: float = field(metadata=_of("resistance-spread"))
    full_v: Mapping[Chemistry, float] = field(metadata=_of("full-voltage", _by_chemistry))
    over_full_v: float = field(metadata=_of("voltage-over-full"))
    cell_cutoff_v: Mapping[Chemistry, float] = field(metadata=_of("capacity-cutoff-low", _by_chemistry))
    float_error: Accuracy = field(metadata=_of("error-voltage", _accuracy))
    charge_low_c: float = field(metadata=_of("charge-temperature-low"))
    charge_high_c: float = field(metadata=_of("charge-temperature"))
    join_v: float = field(metadata=_of("join-difference"))
    join_c_rate: float = field(metadata=_of("join-rate"))
    join_low_v: Mapping[Chemistry, float] = field(metadata=_of("join-voltage-low", _by_chemistry))
    join_high_v: Mapping[Chemistry, float] = field(metadata=_of("join-voltage-high", _by_chemistry))
    cell_drift: float = field(metadata=_of("cell-drift"))
    meter_drift: float = field(metadata=_of("meter-drift"))
    unsaid_kelvin: float = field(metadata=_of("join-unsaid-kelvin"))
    usual_ah: Mapping[str, float] = field(metadata=_of("unrated-capacity", _by_form))
    most_ah: Mapping[str, float] = field(metadata=_of("capacity-density", _by_volume))

    @classmethod
    def from_mapping(cls, figures: Figures) -> UseLimits:
        """From figures by rule name (key to number each); shipped ones fill in what is not given."""
        table: Figures = {**_shipped(), **figures}
        return cls(**{f.name: f.metadata["read"](table, f.metadata["rule"]) for f in fields(cls)})

    @classmethod
    def from_rules(cls, rules: RuleSet) -> UseLimits:
        """From a rule set of acceptance."""
        return cls.from_mapping({name: limit.values for name, limit in rules.limits.items() if limit.values})


@dataclass(frozen=True, slots=True)
class Demand:
    """What a project asks of a pack of `series` groups of `parallel` cells: of each cell its even share."""

    project: Project
    series: int = 1
    parallel: int = 1

    @property
    def cells(self) -> int:
        return self.series * self.parallel

    @property
    def protection_v(self) -> float | None:
        """Where the protection cuts off, in V a cell; None where it is missing."""
        protection = self.project.protection
        if protection.cutoff_v is None or protection.per_cell:
            return protection.cutoff_v
        return protection.cutoff_v / self.series

    def stop_v(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """Lowest voltage in V at which one cell of this chemistry still feeds the device."""
        own = limits.cell_cutoff_v.get(chemistry, 0.0)
        return max(own, self.project.need.cutoff_v / self.series, self.protection_v or 0.0)

    def steady_a(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """Largest steady current in A of a cell, between full and the voltage at which the device stops."""
        return self._drawn(chemistry, limits)[0] / self.parallel

    def peak_a(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """Largest current in A of a cell over a short time, the steady one where no peak is known."""
        steady_a, peak_a, _ = self._drawn(chemistry, limits)
        return max(steady_a, peak_a, self.project.need.peak_current_a or 0.0) / self.parallel

    def counted_a(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """The largest current in A of a cell that its run time counts by itself: a profile's own peaks are in its run."""
        return self._drawn(chemistry, limits)[2] / self.parallel

    def _drawn(self, chemistry: Chemistry, limits: UseLimits) -> tuple[float, float, float]:
        low_v, high_v = self.stop_v(chemistry, limits) * self.series, limits.full_v[chemistry] * self.series
        return drawn_between(self.project.load, limits, low_v, high_v)


def drawn_between(load: Load, limits: UseLimits, low_v: float, high_v: float) -> tuple[float, float, float]:
    """The largest currents in A between two voltages: steady, in a peak, and that a run time counts by itself.

    Of a recorded profile the first two are means over the rules' times.
    """
    if not isinstance(load, Profile):
        steady_a = max(load.current_at(low_v), load.current_at(high_v))
        return steady_a, steady_a, steady_a
    mean, peak = _means(load, limits.mean_s, limits.peak_s)
    # A converter of constant power draws most current where the cells are lowest.
    volts = 1.0 if load.current_a is not None else low_v
    return mean / volts, peak / volts, load.current_at(low_v)


@lru_cache(maxsize=8)
def _means(profile: Profile, mean_s: float, peak_s: float) -> tuple[float, float]:
    """The largest means over the two times: a rating is for a minute or for seconds, so a sample of milliseconds is averaged."""
    values = profile.values[: len(profile.durations_s)]
    mean, peak = (largest_mean(profile.time_s, values, window_s) for window_s in (mean_s, peak_s))
    return mean, peak


@dataclass(frozen=True, slots=True)
class Screen:
    """One match of one demand. `known` keeps answers that many cells share; it changes no answer."""

    demand: Demand
    limits: UseLimits
    now: datetime
    known: dict[Hashable, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def joined(self) -> bool:
        """True where the cell works beside others."""
        return self.demand.cells > 1

    def steady_a(self, chemistry: Chemistry) -> float:
        """Largest steady current in A of one cell of this chemistry."""
        return self.once(("steady", chemistry), lambda: self.demand.steady_a(chemistry, self.limits))

    def peak_a(self, chemistry: Chemistry) -> float:
        """Largest current in A of one cell over a short time."""
        return self.once(("peak", chemistry), lambda: self.demand.peak_a(chemistry, self.limits))

    def dip_a(self, chemistry: Chemistry) -> float:
        """What a peak adds in A to the current that the run time of a cell counts; 0 where it adds nothing."""
        counted_a = self.once(("counted", chemistry), lambda: self.demand.counted_a(chemistry, self.limits))
        return max(0.0, self.peak_a(chemistry) - counted_a)

    def once(self, key: Hashable, work: Callable[[], T]) -> T:
        """What `work` gives, worked out for the first of the cells that share this key."""
        if key not in self.known:
            self.known[key] = work()
        found: T = self.known[key]
        return found


def largest_mean(time_s: Sequence[float], values: Sequence[float], window_s: float) -> float:
    """Largest mean of a repeated step function over any window of this length.

    `time_s` holds the start of every step and the end of the round; `values` one value a step.
    """
    period_s = time_s[-1]
    steps = zip(time_s, time_s[1:], values, strict=False)
    totals = [0.0, *accumulate((end - start) * value for start, end, value in steps)]

    def total(at_s: float) -> float:
        rounds, rest_s = divmod(at_s, period_s)
        index = min(bisect_right(time_s, rest_s) - 1, len(values) - 1)
        return rounds * totals[-1] + totals[index] + (rest_s - time_s[index]) * values[index]

    # A window of the largest mean can always be moved until it starts or ends where a step does.
    starts = (s for edge in time_s[:-1] for s in (edge, edge - window_s))
    return max(total(start + window_s) - total(start) for start in starts) / window_s
