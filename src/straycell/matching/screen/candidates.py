"""A cell that offers itself to a project, and the record that one test leaves of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance import Outcome
from straycell.acceptance.permission import Permission, maker_may_raise, more_from_maker, permission
from straycell.cells import CellFacts, Chemistry, Form, Stage
from straycell.matching.screen.demand import UseLimits
from straycell.physics.own_pulses import Pulse, Taken
from straycell.physics.run_time.asked import RunCell
from straycell.physics.sources import OwnTrace
from straycell.quantities import Measured
from straycell.readings import Method

__all__ = ["Candidate", "RestVoltage", "UseLimits", "Why"]


@dataclass(frozen=True, slots=True)
class RestVoltage:
    """A rest voltage that still holds: nothing went in or out of the cell since.

    `alone_u_v` is the part of its standard uncertainty that another reading by the same `meter` does not
    share, in V; None where it is not known who measured.
    """

    measured: Measured
    at: datetime
    meter: str = ""
    alone_u_v: float | None = None
    gain: float = 0.0
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One cell as the matching sees it: figures of its verdict, nothing else.

    `capacity` in Ah, `resistance` in ohm by `resistance_method`; `at_least` says that the capacity is only a
    lower bound. `verdict_valid_until` None means that no age limits the verdict. `deciding_text` says what
    keeps the outcome from being better. How the capacity and the resistance were taken, the cell's own pulses
    (`resistance_c` in degC, `pulses`), discharge and self-discharge (`loss_per_month`, a share), sharpen the run time
    where they are known; `rest` tells what it may be joined with as it is, `most_charge_a` the current in A at which a
    cell that once warmed stayed cool.
    """

    code: str
    facts: CellFacts
    stage: Stage
    outcome: Outcome
    capacity: Measured | None = None
    at_least: bool = False
    resistance: Measured | None = None
    resistance_method: Method | None = None
    verdict_valid_until: datetime | None = None
    deciding_text: str = ""
    resistance_pulse_s: float | None = None
    resistance_c: float | None = None
    pulses: tuple[Pulse, ...] = ()
    capacity_current_a: float | None = None
    capacity_cutoff_v: float | None = None
    own_trace: OwnTrace | None = None
    rest: RestVoltage | None = None
    most_charge_a: float | None = None
    loss_per_month: Measured | None = None

    def permission(self, now: datetime) -> Permission:
        """What it may be used for at a moment."""
        return permission(self.outcome, self.stage, self.verdict_valid_until, now)

    @classmethod
    def of_kind(cls, chemistry: Chemistry, form: Form) -> Candidate:
        """A cell of which nothing but its kind is asked."""
        return cls("", CellFacts(chemistry=chemistry, form=form), Stage.SHELVED, Outcome.SOLO)

    @property
    def pulse_s(self) -> float:
        """Length in s of the pulse the resistance was taken with; 0 at 1 kHz, 1 where it is not known."""
        if self.resistance_method is Method.AC_1KHZ:
            return 0.0
        return 1.0 if self.resistance_pulse_s is None else self.resistance_pulse_s

    @property
    def taken(self) -> Taken:
        """How its resistance was taken."""
        return Taken(self.pulse_s, self.resistance_c, self.pulses)

    def run_cell(
        self, cell_cutoff_v: float, full_voltage_v: float | None = None, dip_v: float = 0.0
    ) -> RunCell:
        """It as a run time takes it; without a measured capacity there is none, and the run time refuses it."""
        return RunCell(
            self.facts.chemistry,
            self.capacity or Measured(0.0, 0.0),
            self.resistance,
            self.own_trace,
            cell_cutoff_v,
            full_voltage_v,
            self.capacity_current_a,
            self.capacity_cutoff_v,
            self.taken,
            dip_v,
        )

    def allowed_out_a(self, limits: UseLimits) -> float:
        """Largest steady current in A that the outcome allows; zero without a measured capacity."""
        return self._allowed_a(limits.c_rate_out.get(self.outcome, 0.0), self.facts.maker_discharge_current_a)

    def allowed_in_a(self, limits: UseLimits) -> float:
        """Largest charge current in A that the outcome allows; zero without a measured capacity."""
        allowed_a = self._allowed_a(
            limits.c_rate_in.get(self.outcome, 0.0), self.facts.maker_charge_current_a
        )
        return allowed_a if self.most_charge_a is None else min(allowed_a, self.most_charge_a)

    def _allowed_a(self, c_rate: float, maker_a: float | None) -> float:
        # The rule's rate holds on the low end of the capacity; a light cell never takes a higher maker's figure.
        if self.capacity is None or c_rate <= 0:
            return 0.0
        by_rule_a = c_rate * max(0.0, self.capacity.low)
        if maker_a is None:
            return by_rule_a
        return maker_a if maker_may_raise(self.outcome, self.facts) else min(by_rule_a, maker_a)

    def more_from_maker(self, what: str) -> str:
        """How to record its maker's `charge` or `discharge` current, where that could allow more; else empty."""
        # Where a cell once warmed, what it was seen to bear counts and no sheet.
        if what == "charge" and self.most_charge_a is not None:
            return ""
        return more_from_maker(self.outcome, self.facts, self.code, what)


@dataclass(frozen=True, slots=True)
class Why:
    """How one test turned out for one cell, in words and in numbers; `short_by` is in `unit`.

    `remedy` says what would change it, where a person can change it. `cell` is the cell of a group that decides.
    """

    code: str
    test: str
    passed: bool
    text: str
    observed: float | str | None = None
    limit: float | str | None = None
    unit: str = ""
    short_by: float | None = None
    remedy: str = ""
    cell: str = ""

    def to_json(self) -> dict[str, object]:
        return {
            "code": self.code,
            "test": self.test,
            "passed": self.passed,
            "text": self.text,
            "observed": self.observed,
            "limit": self.limit,
            "unit": self.unit,
            "short_by": self.short_by,
            "remedy": self.remedy,
        }

    @property
    def relative_shortfall(self) -> float:
        """How far from passing, as a share of the limit; infinite where that has no number."""
        if self.passed:
            return 0.0
        if self.short_by is None or not isinstance(self.limit, float | int) or not self.limit:
            return float("inf")
        return abs(self.short_by / self.limit)
