"""What a use may ask of a cell: the figures of the acceptance rules and of use_limits.toml, read once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from straycell.acceptance import Outcome, RuleSet
from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.meters import Accuracy
from straycell.shipped import shipped_table

Figures = Mapping[str, Mapping[str, float]]
USABLE = (Outcome.LIGHT, Outcome.SOLO, Outcome.PACK)


@dataclass(frozen=True, slots=True)
class UseLimits:
    """Limits for the matching. Rates are multiples of the measured capacity per hour (C), by outcome.

    Voltages are those of one cell by chemistry; `float_error` is what a float voltage measured on the board
    may be wrong by. `join_v` and `join_c_rate` limit what flows when two cells are joined in parallel, at
    rest voltages from `join_low_v` to `join_high_v`, those of stored cells;
    `cell_drift` (V/K) and `meter_drift` (share of the accuracy, 1/K) are what a rest voltage moves with the room.
    `usual_ah` and `most_ah` (Ah, by form) are what cells of a size usually hold, and more than any of them does.
    """

    c_rate_out: Mapping[Outcome, float]
    c_rate_in: Mapping[Outcome, float]
    peak_factor: float
    peak_s: float
    mean_s: float
    resistance_ratio: float
    full_v: Mapping[Chemistry, float]
    over_full_v: float
    cell_cutoff_v: Mapping[Chemistry, float]
    float_error: Accuracy
    charge_low_c: float
    charge_high_c: float
    join_v: float
    join_c_rate: float
    join_low_v: Mapping[Chemistry, float]
    join_high_v: Mapping[Chemistry, float]
    cell_drift: float
    meter_drift: float
    unsaid_kelvin: float
    usual_ah: Mapping[str, float] = field(default_factory=dict)
    most_ah: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def from_mapping(cls, figures: Figures) -> UseLimits:
        """From figures by rule name (key to number each); shipped ones fill in what is not given."""
        table: Figures = {**_shipped(), **figures}
        return cls(
            c_rate_out=_by_outcome(table, "rate-out"),
            c_rate_in=_by_outcome(table, "rate-in"),
            peak_factor=_one(table, "peak-factor"),
            peak_s=_one(table, "peak-seconds"),
            mean_s=_one(table, "mean-seconds"),
            resistance_ratio=_one(table, "resistance-spread"),
            full_v=_by_chemistry(table, "full-voltage"),
            over_full_v=_one(table, "voltage-over-full"),
            cell_cutoff_v=_by_chemistry(table, "capacity-cutoff-low"),
            float_error=Accuracy(
                _one(table, "error-voltage", "gain"), _one(table, "error-voltage", "offset")
            ),
            charge_low_c=_one(table, "charge-temperature-low"),
            charge_high_c=_one(table, "charge-temperature"),
            join_v=_one(table, "join-difference"),
            join_c_rate=_one(table, "join-rate"),
            join_low_v=_by_chemistry(table, "join-voltage-low"),
            join_high_v=_by_chemistry(table, "join-voltage-high"),
            cell_drift=_one(table, "cell-drift"),
            meter_drift=_one(table, "meter-drift"),
            unsaid_kelvin=_one(table, "join-unsaid-kelvin"),
            usual_ah=table.get("unrated-capacity", {}),
            most_ah=_most(table),
        )

    @classmethod
    def from_rules(cls, rules: RuleSet) -> UseLimits:
        """From a rule set of acceptance."""
        return cls.from_mapping({name: limit.values for name, limit in rules.limits.items() if limit.values})


@lru_cache(maxsize=1)
def _shipped() -> Figures:
    return {name: entry["values"] for name, entry in shipped_table("matching/screen/use_limits.toml").items()}


def _one(table: Figures, name: str, key: str = "any") -> float:
    try:
        return float(table[name][key])
    except KeyError:
        raise BadData(f"the rules lack '{name}' ({key})", "add it to the rule file") from None


def _most(table: Figures) -> dict[str, float]:
    """More than any cell of a size holds, in Ah; empty where the rules do not say."""
    density = table.get("capacity-density", {}).get("any")
    volumes = table.get("size-volume", {})
    return {form: density * volume for form, volume in volumes.items()} if density is not None else {}


def _by_outcome(table: Figures, name: str) -> dict[Outcome, float]:
    return {outcome: _one(table, name, outcome.word) for outcome in USABLE}


def _by_chemistry(table: Figures, name: str) -> dict[Chemistry, float]:
    """A figure for each rechargeable chemistry that has one: its own, its family's or that of any."""
    values = table.get(name, {})
    found: dict[Chemistry, float] = {}
    for chemistry in Chemistry:
        if chemistry in (Chemistry.UNKNOWN, Chemistry.PRIMARY):
            continue
        family = "lfp" if chemistry is Chemistry.LFP else "4.2V"
        key = next((k for k in (str(chemistry), family, "any") if k in values), None)
        if key is not None:
            found[chemistry] = float(values[key])
    return found
