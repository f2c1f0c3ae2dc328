"""A good cell in bench notes, and one change at a time: what the rule tests are written with."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from straycell.acceptance import Evidence, Finding, Outcome, Reason, RuleSet, Verdict, judge, load_rules
from straycell.acceptance.permission import charge_refusal
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.keys import RecordKey
from straycell.meters import Accuracy, Meter, Resolution
from straycell.readings import Charge, Method, Quantity, Reading

START = datetime(2026, 3, 1, 12, tzinfo=UTC)
CODE = "A00001O"
FINE = Meter(
    "fine",
    voltage=Accuracy(0.0005, 0.001),
    voltage_resolution=Resolution(((float("inf"), 0.001),)),
    capacity=Accuracy(0.005, 0.001),
    resistance=Accuracy(0.01, 0.0005),
    temperature=Accuracy(0.0, 0.5),
)
NMC = CellFacts(Chemistry.NMC, Form.F18650, "INR18650", rated_capacity_ah=2.5)
LFP = CellFacts(Chemistry.LFP, Form.F26650, "IFR26650", rated_capacity_ah=3.0)


def day(number: float) -> datetime:
    """A moment so many days after the tear-down."""
    return START + timedelta(days=number)


class Bench:
    """Collects readings of one cell; ids run in the order of recording."""

    def __init__(self, facts: CellFacts = NMC, meter: Meter | None = FINE) -> None:
        self.facts = facts
        self.meter = meter
        self.readings: list[Reading] = []
        self.charges: list[Charge] = []
        self.more: dict[str, object] = {}

    def _next(self) -> RecordKey:
        return RecordKey("A", len(self.readings) + len(self.charges) + 1)

    def read(self, quantity: Quantity, at: float, value: float | None = None, **more: object) -> Bench:
        given = {"meter": self.meter, **more}
        reading = Reading(self._next(), CODE, quantity, day(at), value)
        self.readings.append(replace(reading, **given))  # type: ignore[arg-type]
        return self

    def found(self, volts: float, at: float = 0.0, **more: object) -> Bench:
        return self.read(Quantity.AS_FOUND_VOLTAGE, at, volts, **more)

    def look(self, *words: Look, at: float = 0.0) -> Bench:
        return self.read(Quantity.LOOK, at, look=words or (Look.CLEAN,), meter=None)

    def rest(self, volts: float, at: float, temperature_c: float | None = 22.0, **more: object) -> Bench:
        given = {"rested_s": 86400.0, **more}
        return self.read(Quantity.VOLTAGE, at, volts, temperature_c=temperature_c, **given)

    def capacity(self, ah: float, at: float, temperature_c: float | None = 22.0, **more: object) -> Bench:
        given = {"discharge_current_a": 0.5, "cutoff_v": 2.75, **more}
        return self.read(Quantity.CAPACITY, at, ah, temperature_c=temperature_c, **given)

    def resistance(
        self, ohm: float, at: float = 1.3, method: Method = Method.DC_PULSE, **more: object
    ) -> Bench:
        return self.read(Quantity.RESISTANCE, at, ohm, method=method, **more)

    def charge(
        self,
        at: float,
        until: float = 4.2,
        amps: float = 1.0,
        ambient: float | None = 22.0,
        peak: float | None = 26.0,
    ) -> Bench:
        self.charges.append(Charge(self._next(), CODE, day(at), amps, until, 0.05, ambient, peak))
        return self

    def evidence(self) -> Evidence:
        return Evidence(
            CODE,
            self.facts,
            tuple(sorted(self.readings, key=lambda r: (r.at, r.id))),
            tuple(sorted(self.charges, key=lambda c: (c.at, c.id))),
            last_reading=str(RecordKey("A", self._next().number - 1)),
            **self.more,  # type: ignore[arg-type]
        )

    def judged(self, at: float = 20.0, rules: RuleSet | None = None) -> tuple[Verdict, tuple[Finding, ...]]:
        """The verdict and the findings when every entry was a write of its own, as a store keeps them."""
        now = day(at)
        found: tuple[Finding, ...] = self.more.get("findings", ())  # type: ignore[assignment]
        whole = replace(self.evidence(), findings=found)
        for number in range(1, self._next().number):
            so_far = replace(
                whole,
                readings=tuple(r for r in whole.readings if r.id.number <= number),
                charges=tuple(c for c in whole.charges if c.id.number <= number),
                findings=found,
            )
            found += judge(so_far, rules or load_rules(), now).found
        last = judge(replace(whole, findings=found), rules or load_rules(), now)
        return last.verdict, found + last.found

    def verdict(self, at: float = 20.0) -> Verdict:
        return self.judged(at)[0]

    def no_charge(self, at: float = 20.0) -> bool:
        """True when its verdict forbids every charge, the test charge too."""
        return charge_refusal(self.verdict(at), self.facts.chemistry) is not None

    def outcome(self, at: float = 20.0) -> Outcome:
        return self.verdict(at).outcome


def good(
    *,
    facts: CellFacts = NMC,
    meter: Meter | None = FINE,
    found: float | None = 3.60,
    look: tuple[Look, ...] | None = (Look.CLEAN,),
    capacity: float | None = 2.40,
    resistance: float | None = 0.050,
    first: float | None = 4.180,
    second: float | None = 4.170,
    peak: float = 26.0,
    days: float = 15.0,
) -> Bench:
    """Found, looked at, charged, discharged, pulsed, charged again, rested twice: a `pack` cell unless changed."""
    bench = Bench(facts, meter)
    if found is not None:
        bench.found(found)
    if look is not None:
        bench.look(*look)
    bench.charge(1.0, peak=peak)
    if capacity is not None:
        bench.capacity(capacity, 1.2)
    if resistance is not None:
        bench.resistance(resistance)
    bench.charge(2.0, peak=peak)
    if first is not None:
        bench.rest(first, 3.2)
    if second is not None:
        bench.rest(second, 3.2 + days)
    return bench


def reasons(verdict: Verdict, rule: str) -> list[Reason]:
    """The reasons of one rule."""
    return [r for r in verdict.reasons if r.rule == rule]


def reason(verdict: Verdict, rule: str) -> Reason:
    """The one reason of a rule."""
    found = reasons(verdict, rule)
    assert len(found) == 1, (rule, [r.rule for r in verdict.reasons])
    return found[0]
