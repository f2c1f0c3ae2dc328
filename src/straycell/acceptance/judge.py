"""The verdict: every rule asked in order, the least of what they leave, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime

from straycell.acceptance.case import Case, Rule
from straycell.acceptance.checks import (
    capacity,
    identity,
    leakage,
    look,
    plausible,
    resistance,
    shelf,
    voltage,
    warming,
)
from straycell.acceptance.evidence import Evidence
from straycell.acceptance.reasons import Missing, Outcome, Reason, Status, Verdict
from straycell.acceptance.rules import RuleSet, shipped_rules

ALL_RULES: tuple[Rule, ...] = (
    identity.condemned,
    identity.chemistry,
    identity.rechargeable,
    look.look,
    look.returned,
    look.siblings,
    identity.upset,
    identity.mass,
    voltage.floor,
    voltage.ceiling,
    voltage.light_only,
    voltage.as_found,
    voltage.rest,
    warming.hot,
    warming.warming,
    capacity.capacity,
    plausible.over_rating,
    resistance.resistance,
    leakage.self_discharge,
    shelf.shelf_loss,
)


def assess(evidence: Evidence, rules: RuleSet, now: datetime) -> Verdict:
    """The verdict on one cell at `now` (UTC). Same arguments, same verdict; nothing else is looked at."""
    case = Case(evidence, evidence.facts, rules, now)
    reasons = tuple(reason for rule in ALL_RULES for reason in rule(case))
    reasons = (*_standing(evidence, rules, now, reasons), *reasons)
    reasons = (*_shipped_dangers(evidence, rules, now, reasons), *reasons)
    outcome = min((r.ceiling for r in reasons), default=Outcome.HOLD)
    missing = () if outcome is Outcome.DISCARD else tuple(_missing(reasons, outcome))
    untils = [r.until for r in reasons if r.until is not None and r.until > now]
    until = None if outcome is Outcome.DISCARD else min(untils, default=None)
    return Verdict(
        evidence.code, outcome, rules.name, rules.hash, reasons, missing, now, until, evidence.last_reading
    )


def _shipped_dangers(
    evidence: Evidence, rules: RuleSet, now: datetime, reasons: Iterable[Reason]
) -> Iterator[Reason]:
    """What a safety rule as shipped finds and a person's own rules do not: a step of theirs may have blinded it.

    A longer wait or a wider error looks stricter, and yet can make a danger too vague to be called one.
    """
    shipped = shipped_rules()
    if rules.hash == shipped.hash:
        return
    worst = {r.rule: r.ceiling for r in reasons}
    case = Case(evidence, evidence.facts, shipped, now)
    for reason in (found for rule in ALL_RULES for found in rule(case)):
        known = worst.get(reason.rule, Outcome.PACK)
        if reason.safety and reason.ceiling is Outcome.DISCARD and reason.ceiling < known:
            yield replace(reason, text=f"under the shipped rules: {reason.text}")


def _standing(
    evidence: Evidence, rules: RuleSet, now: datetime, reasons: Iterable[Reason]
) -> Iterator[Reason]:
    """Safety discards that followed from earlier facts, corrected since but not withdrawn as a mistake."""
    failing = {r.rule for r in reasons if r.ceiling is Outcome.DISCARD}
    for earlier in evidence.earlier_facts:
        case = Case(evidence, earlier.facts, rules, now, earlier.last_reading)
        for reason in (found for rule in ALL_RULES for found in rule(case)):
            if reason.ceiling is Outcome.DISCARD and reason.safety and reason.rule not in failing:
                failing.add(reason.rule)
                text = (
                    f"under an earlier entry ({earlier.facts.chemistry} {earlier.facts.form}): {reason.text}"
                )
                yield replace(reason, text=text)


def _missing(reasons: Iterable[Reason], outcome: Outcome) -> Iterator[Missing]:
    """What to do next: on hold, all that holds; else what stands between the cell and the next better outcome."""
    open_ones = [r for r in reasons if r.status is not Status.MET and r.todo and r.ceiling <= outcome]
    for reason in sorted(open_ones, key=_order_of_work):
        yield Missing(reason.text, reason.todo, reason.earliest)


_WORK = (
    "chemistry",
    "rechargeable",
    "look",
    "board",
    "voltage",
    "upset",
    "mass",
    "warming",
    "charge",
    "capacity",
)
"""What comes first at the bench; resistance, self-discharge and the rest voltage that ends it come after these."""


def _order_of_work(reason: Reason) -> int:
    if reason.rule == "rest-voltage":
        return len(_WORK) + 2
    stem = reason.rule.split("-")[0]
    return _WORK.index(stem) if stem in _WORK else len(_WORK) + (stem == "self")
