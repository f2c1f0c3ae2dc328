"""Lives of cells with a hidden truth, measured by careless people, in memory: what is true of every step.

In: a seed and a number of steps. Out: how often the premise of each invariant occurred; a breach raises. The book here
keeps evidence and findings as the store does: every action is a write, judged at its end.

Run: python -m tests.stress.cell_lives [--steps 200000] [--seed 7]
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta

from tests.acceptance.bench import FINE, LFP, NMC, day
from tests.laws.test_finding_laws import alone

from straycell.acceptance import (
    Evidence,
    Fall,
    Finding,
    Outcome,
    RuleSet,
    Verdict,
    find,
    judge,
    shipped_rules,
    stands,
)
from straycell.acceptance.case import Case
from straycell.acceptance.evidence import SHELF_LOSS, Upset
from straycell.acceptance.permission import charge_refusal, permission
from straycell.acceptance.rules import merge_rules
from straycell.cells import Cell, CellFacts, Chemistry, Look, Stage
from straycell.keys import RecordKey
from straycell.physics.curves import curves_for
from straycell.readings import Charge, Method, Quantity, Reading
from straycell.safety.due.gather import survey
from straycell.safety.due.survey import Household, Kept

CODE = "A00002M"
A_LIFE = 45
"""Steps of one cell; then the next one comes to the bench."""
OUT_OF_USE = 8
"""Steps for which a cell is followed that is condemned, and not by a slip."""
INVARIANTS, LEAST = 11, 50
Item = Reading | Charge


class Breach(AssertionError):
    """An invariant is broken: which one, in which life, at which step."""


@dataclass
class Truth:
    """What nobody at the bench knows: capacity in Ah, leak in % a month, resistance in ohm, state of charge 0 to 1."""

    facts: CellFacts
    capacity_ah: float
    leak: float
    ohm: float
    swollen: bool
    warm_k: float
    soc: float = 0.4

    @property
    def volts(self) -> float:
        curve = curves_for(self.facts.chemistry)[0]
        return float(curve.voltage(max(self.soc, 0.0)))

    @property
    def dangerous(self) -> bool:
        return self.swollen or self.leak >= 15.0


@dataclass
class Life:
    """One cell's book: what was recorded, what was found, which records were mistakes, and the clock in days."""

    truth: Truth
    dice: random.Random
    day: float = 0.0
    number: int = 0
    items: list[Item] = field(default_factory=list)
    late: list[Item] = field(default_factory=list)
    wrong: dict[str, Item] = field(default_factory=dict)
    withdrawn: set[str] = field(default_factory=set)
    instead: dict[str, set[str]] = field(default_factory=dict)
    upsets: list[Upset] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    falls: list[Fall] = field(default_factory=list)
    honest: bool = True
    condemned_for: int = 0
    verdict: Verdict | None = None

    def key(self) -> RecordKey:
        self.number += 1
        return RecordKey("A", self.number)

    def evidence(self) -> Evidence:
        standing = sorted((i for i in self.items if i.key not in self.withdrawn), key=lambda i: (i.at, i.id))
        return Evidence(
            CODE,
            self.truth.facts,
            tuple(i for i in standing if isinstance(i, Reading)),
            tuple(i for i in standing if isinstance(i, Charge)),
            upsets=tuple(self.upsets),
            findings=tuple(self.findings),
            falls=tuple(self.falls),
        )

    def settle(self, rules: RuleSet) -> tuple[Verdict, tuple[Finding, ...]]:
        """The end of a write: falls, findings, the verdict."""
        void = [f for f in self.findings if not stands(f, self.withdrawn)]
        for finding in void:
            gone = finding.basis & self.withdrawn
            new = frozenset(key for old in gone for key in self.instead.get(old, ()))
            self.findings.remove(finding)
            self.falls.append(Fall(finding.rule, day(self.day), finding.recorded, True, new))
        made = judge(self.evidence(), rules, day(self.day))
        self.findings += made.found
        self.verdict = made.verdict
        return made.verdict, made.found

    # what people do; each returns whether it only added something

    def reading(self, quantity: Quantity, value: float | None, **more: object) -> bool:
        """Record what was measured; now and then of another cell, or with a slip of the finger."""
        reading = Reading(self.key(), CODE, quantity, day(self.day), value, meter=FINE)
        right = replace(reading, **more)  # type: ignore[arg-type]
        slip = self.dice.random()
        if slip < 0.03 and value is not None:
            wrong = replace(right, value=value * self.dice.choice([0.1, 0.5, 0.9, 1.03, 1.1]))
        elif slip < 0.05 and quantity is Quantity.LOOK:
            wrong = replace(right, look=(self.dice.choice([Look.CLEAN, Look.SWOLLEN, Look.RUST]),))
        else:
            self.file(right)
            return True
        self.wrong[wrong.key] = right
        self.file(wrong)
        return True

    def file(self, item: Item) -> None:
        """On record now, or only when somebody remembers it."""
        (self.late if self.dice.random() < 0.06 else self.items).append(item)

    def found(self) -> bool:
        return self.reading(Quantity.AS_FOUND_VOLTAGE, self.noisy(self.truth.volts, 0.001))

    def look(self) -> bool:
        seen = Look.SWOLLEN if self.truth.swollen else self.dice.choice([Look.CLEAN] * 9 + [Look.TORN_SLEEVE])
        return self.reading(Quantity.LOOK, None, look=(seen,), meter=None)

    def charge(self) -> bool:
        """Attended and full, at 0.4C; now and then nobody writes it down at all."""
        self.truth.soc = 1.0
        full_v = 3.65 if self.truth.facts.chemistry is Chemistry.LFP else 4.2
        peak = 22.0 + self.truth.warm_k + self.dice.uniform(-1, 1)
        charge = Charge(self.key(), CODE, day(self.day), 1.0, full_v, 0.05, 22.0, peak)
        if self.dice.random() < 0.03:
            self.honest = False
            return True
        self.file(charge)
        self.pass_days(1.2)
        return True

    def run(self) -> bool:
        """A capacity run to the cut-off."""
        held = self.truth.capacity_ah * max(self.truth.soc, 0.01)
        self.truth.soc = 0.02
        cutoff = 2.0 if self.truth.facts.chemistry is Chemistry.LFP else 2.75
        return self.reading(
            Quantity.CAPACITY,
            self.noisy(held, 0.003 * held),
            temperature_c=22.0,
            discharge_current_a=0.5,
            cutoff_v=cutoff,
        )

    def resistance(self) -> bool:
        ohm = self.noisy(self.truth.ohm, 0.01 * self.truth.ohm)
        return self.reading(Quantity.RESISTANCE, ohm, method=Method.DC_PULSE)

    def rest(self) -> bool:
        volts = round(self.noisy(self.truth.volts, 0.0003), 3)
        return self.reading(
            Quantity.VOLTAGE, volts, rested_s=86400.0, temperature_c=self.dice.choice([20.0, 22.0, 23.0])
        )

    def let_down(self) -> bool:
        if self.truth.soc > 0.5:
            self.truth.soc = 0.5
            self.file(Reading(self.key(), CODE, Quantity.LET_DOWN, day(self.day), self.truth.volts))
        return True

    def wait(self) -> bool:
        self.pass_days(self.dice.choice([0.02, 1.0, 3.0, 7.5, 14.5, 29.0, 29.0, 60.0]))
        return True

    def incident(self) -> bool:
        """A drop, or water."""
        severe = self.dice.random() < 0.2
        key = f"incident {self.key()}"
        self.upsets.append(Upset("water" if severe else "drop", day(self.day), severe, key=key))
        return True

    def remember(self) -> bool:
        """What was done and not written down comes late, with its own time."""
        self.items += self.late
        self.late.clear()
        return True

    def put_right(self) -> bool:
        """A mistake is noticed: the record is withdrawn, with what should have been written."""
        for key in [k for k in self.wrong if any(i.key == k for i in self.items)][:1]:
            right = replace(self.wrong.pop(key), id=self.key())
            self.withdrawn.add(key)
            self.instead[key] = {right.key}
            self.items.append(right)
            return False
        return True

    def facts(self) -> bool:
        """What is known of the cell is corrected; nothing was mistyped."""
        self.truth.facts = replace(self.truth.facts, maker=self.dice.choice(["", "a", "b"]))
        return True

    def pass_days(self, days: float) -> None:
        self.day += days
        self.truth.soc -= self.truth.leak / 100.0 * days / 30.0

    def noisy(self, value: float, u: float) -> float:
        return value + max(-2.0, min(2.0, self.dice.gauss(0, 1))) * u


def a_cell(dice: random.Random) -> Truth:
    """Good ones, tired ones, leaking ones, swollen ones."""
    facts = LFP if dice.random() < 0.15 else NMC
    assert facts.rated_capacity_ah is not None
    return Truth(
        facts,
        facts.rated_capacity_ah * dice.choice([0.97, 0.9, 0.83, 0.74, 0.45]),
        dice.choice([0.5, 1.0, 1.5, 2.0, 3.5, 20.0, 30.0]),
        dice.choice([0.05, 0.06, 0.09, 0.9]),
        dice.random() < 0.1,
        dice.choice([3.0, 4.0, 5.0, 5.0, 12.0, 26.0]),
        dice.choice([0.3, 0.5, 0.02, -0.2]),
    )


PLAN = ["found", "look", "charge", "run", "resistance", "charge", "rest", "wait", "rest", "wait", "rest"]
"""What a careful person does first; carelessness and chance do the rest."""
CHANCE = (
    ["rest", "wait", "wait", "rest", "look", "charge", "run", "resistance", "let_down", "remember"]
    + ["put_right"] * 3
    + ["facts", "incident"]
)


def own_rules(dice: random.Random) -> RuleSet:
    """Somebody's own file: stricter here, or a wider error that might blind a test."""
    entry = dice.choice(
        [
            {"id": "capacity", "values": {"light": 0.6}},
            {"id": "self-discharge-discard", "value": 3.0},
            {"id": "error-voltage", "values": {"offset": 0.5}},
            {"id": "warming-rate", "value": 0.01},
        ]
    )
    rules, faults = merge_rules(shipped_rules(), {"name": "own", "limit": [entry]})
    assert rules is not None, faults
    return rules


class Watch:
    """The invariants, and how often the premise of each occurred."""

    def __init__(self, seed: int) -> None:
        self.seed, self.dice, self.seen = seed, random.Random(seed), Counter[str]()

    def holds(self, name: str, premise: bool, conclusion: Callable[[], bool], life: Life) -> None:
        if not premise:
            return
        self.seen[name] += 1
        if not conclusion():
            raise Breach(f"{name}: seed {self.seed}, day {life.day:.1f}, {[str(r) for r in life.items][-6:]}")

    def step(self, life: Life, action: str) -> None:
        before = {f.digest for f in life.findings}
        added = getattr(life, action)()
        verdict, new = life.settle(shipped_rules())
        standing = {f.digest for f in life.findings}
        condemned = any(f.rule != SHELF_LOSS for f in life.findings)
        life.condemned_for = life.condemned_for + 1 if condemned else 0
        now = day(life.day)
        may = permission(verdict.outcome, Stage.SHELVED, verdict.valid_until, now)
        self.holds("appended lifts no finding", added and bool(before), lambda: before <= standing, life)
        self.holds(
            "a condemned cell is never offered or charged",
            condemned,
            lambda: (
                bool(may.against_offer()) and charge_refusal(verdict, life.truth.facts.chemistry) is not None
            ),
            life,
        )
        self.holds("a usable cell has its evidence", may.may_use(), lambda: has_evidence(life), life)
        self.holds(
            "a usable cell is in date",
            may.may_use(),
            lambda: (
                verdict.valid_until is not None
                and not permission(
                    verdict.outcome, Stage.SHELVED, verdict.valid_until, verdict.valid_until
                ).may_use()
            ),
            life,
        )
        self.holds(
            "after a fall it is tested again",
            bool(life.falls) and not condemned,
            lambda: not may.may_use() or tested_again(life),
            life,
        )
        dangerous = life.truth.dangerous and life.honest and not life.wrong and not life.late
        self.holds(
            "a dangerous cell honestly measured is not used",
            dangerous and well_measured(life),
            lambda: not may.may_use(),
            life,
        )
        for finding in new:
            self.holds("a basis alone yields its rule", True, lambda f=finding: rests_alone(life, f), life)  # type: ignore[misc]
        self.sometimes(life, verdict)

    def sometimes(self, life: Life, verdict: Verdict) -> None:
        """What takes longer to look at."""
        lot, evidence, now = self.dice.random(), life.evidence(), day(life.day)
        condemned = any(f.rule != SHELF_LOSS for f in life.findings)
        if lot < 0.1:
            later = judge(evidence, shipped_rules(), now + timedelta(days=self.dice.uniform(0, 900))).verdict
            self.holds("time lifts nothing", True, lambda: later.outcome <= verdict.outcome, life)
        elif lot < 0.2:
            own = judge(evidence, own_rules(self.dice), now).verdict
            self.holds("own rules lift no finding", condemned, lambda: own.outcome is Outcome.DISCARD, life)
        elif lot < 0.3:
            items = danger_in_due(life, verdict)
            self.holds(
                "due knows no danger that the verdict does not",
                bool(items),
                lambda: verdict.outcome <= Outcome.HOLD,
                life,
            )
        elif lot < 0.4:
            self.holds("benches agree after a merge", True, lambda: merges(life, self.dice), life)


def has_evidence(life: Life) -> bool:
    """Look, capacity, resistance and a rest voltage, none too old, and a full charge with its temperatures."""
    evidence, now = life.evidence(), day(life.day)
    fresh = {
        Quantity.LOOK: 1e6,
        Quantity.CAPACITY: 365.0,
        Quantity.RESISTANCE: 365.0,
        Quantity.VOLTAGE: 104.0,
    }
    there = all(
        any(r.quantity is q and (now - r.at) < timedelta(days=days) for r in evidence.readings)
        for q, days in fresh.items()
    )
    return there and any(c.peak_temperature_c is not None for c in evidence.charges)


def tested_again(life: Life) -> bool:
    """Everything taken after the latest fall; or it was put right within the hour."""
    fall = max(life.falls, key=lambda f: f.at)
    if fall.at - fall.found_at <= timedelta(hours=1):
        return True
    after = {r.quantity for r in life.evidence().readings if r.at > fall.at}
    return {Quantity.LOOK, Quantity.VOLTAGE, Quantity.RESISTANCE} <= after


def well_measured(life: Life) -> bool:
    """A look, and two rest voltages three weeks apart after one full charge with nothing in between."""
    evidence = life.evidence()
    case = Case(evidence, evidence.facts, shipped_rules(), day(life.day))
    if life.truth.swollen:
        return any(r.quantity is Quantity.LOOK for r in evidence.readings)
    from straycell.acceptance.checks.pairs import windows

    spans = [inside for _, inside in windows(case) if len(inside) > 1]
    return any((inside[-1].at - inside[0].at) > timedelta(days=21) for inside in spans)


def rests_alone(life: Life, finding: Finding) -> bool:
    again = find(alone(life.evidence(), finding), day(life.day + 5000))
    return finding.digest in {f.digest for f in again}


def danger_in_due(life: Life, verdict: Verdict) -> list[str]:
    evidence = life.evidence()
    case = Case(evidence, evidence.facts, shipped_rules(), day(life.day))
    kept = Kept(Cell(CODE, evidence.facts, Stage.SHELVED, added_at=day(0)), case, verdict)
    found = survey(Household([kept], {}, [], [], case.now))
    return [item.kind.id for item in found if item.kind.danger and item.at <= case.now]


def merges(life: Life, dice: random.Random) -> bool:
    """Two benches with half of the records each, merged both ways and once more: the same in all."""
    halves = [[], []]  # type: list[list[Item]]
    for item in life.items:
        dice.choice(halves).append(item)
    made = []
    for half in halves:
        one = replace(life, items=half, findings=[], falls=[])
        one.settle(shipped_rules())
        made.append(one.findings)
    whole = []
    for order in (made, made[::-1], [made[0], made[1], made[0]]):
        union = {f.digest: f for found in order for f in found}
        both = replace(life, findings=list(union.values()), falls=[])
        both.settle(shipped_rules())
        assert both.verdict is not None
        whole.append(({f.digest for f in both.findings}, both.verdict))
    return whole[0] == whole[1] == whole[2] and all(f.digest in whole[0][0] for found in made for f in found)


def live(steps: int, seed: int, progress: Callable[[int], None] = lambda done: None) -> Counter[str]:
    """Cell after cell for so many steps; how often the premise of each invariant occurred. Raises Breach.

    After each cell `progress` gets the number of steps done.
    """
    watch, done = Watch(seed), 0
    while done < steps:
        life = Life(a_cell(watch.dice), watch.dice)
        for step in range(min(A_LIFE, steps - done)):
            if life.condemned_for > OUT_OF_USE and not life.wrong:
                break
            plan = PLAN[step] if step < len(PLAN) and watch.dice.random() < 0.92 else None
            watch.step(life, plan or watch.dice.choice(CHANCE))
            done += 1
        progress(done)
    return watch.seen


def seldom(seen: Counter[str], least: int = LEAST) -> bool:
    """True where the premise of an invariant hardly occurred: the run proves nothing of it."""
    return len(seen) < INVARIANTS or min(seen.values()) < least


def main() -> None:
    """A long run from the command line."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--steps", type=int, default=200_000)
    options.add_argument("--seed", type=int, default=random.SystemRandom().randrange(1_000_000))
    chosen = options.parse_args()
    print(f"seed {chosen.seed}", flush=True)
    begun = time.monotonic()

    def progress(done: int) -> None:
        """One line that is written over, so that a long run shows that it goes on, and until when."""
        left_s = (time.monotonic() - begun) / done * (chosen.steps - done)
        print(
            f"\r{done} of {chosen.steps} steps, {left_s / 60:.0f} min left ",
            end="",
            file=sys.stderr,
            flush=True,
        )

    seen = live(chosen.steps, chosen.seed, progress)
    print(file=sys.stderr)
    for name, count in sorted(seen.items()):
        print(f"{count:8} {name}")
    if seldom(seen):
        sys.exit(f"the premise of an invariant occurred less than {LEAST} times")


if __name__ == "__main__":
    main()
