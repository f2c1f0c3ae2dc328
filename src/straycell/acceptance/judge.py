"""The verdict: the least of the fresh judgement, the findings and the re-test after a fall, and what to do next."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from straycell.acceptance.case import Case, Rule, Test
from straycell.acceptance.charger import ended
from straycell.acceptance.checks import (
    capacity,
    cold,
    first_day,
    identity,
    leakage,
    look,
    plausible,
    resistance,
    resting,
    shelf,
    voltage,
    warming,
)
from straycell.acceptance.checks.pairs import checked_after
from straycell.acceptance.evidence import SHELF_LOSS, Evidence, Finding
from straycell.acceptance.findings import CONDEMNING, condemned, find, tested_again
from straycell.acceptance.reasons import Missing, Outcome, Reason, Side, Status, Verdict
from straycell.acceptance.rules import RuleSet, shipped_rules
from straycell.cells import Chemistry, members
from straycell.keys import RecordKey
from straycell.readings import Charge, Reading

# The order decides nothing but the order of reasons: the outcome is the least ceiling of all.
GRADING: tuple[Rule, ...] = (
    identity.condemned,
    identity.chemistry,
    identity.disputed,
    identity.rechargeable,
    look.look,
    look.siblings,
    identity.clock,
    identity.unexplained,
    identity.upset,
    tested_again,
    identity.mass,
    plausible.lost_mass,
    resting.warm,
    voltage.floor,
    voltage.ceiling,
    ended.doubt,
    voltage.light_only,
    voltage.as_found,
    shelf.rest,
    warming.hot,
    warming.warming,
    cold.cold,
    plausible.charge_in,
    first_day.first_day,
    capacity.capacity,
    plausible.over_rating,
    plausible.next_to_none,
    plausible.resistances,
    resistance.resistance,
    leakage.self_discharge,
    leakage.worst_stretch,
    leakage.ran_short,
    shelf.strange_fall,
)


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict, and the findings in the evidence that nobody had recorded before."""

    verdict: Verdict
    found: tuple[Finding, ...]


def assess(evidence: Evidence, rules: RuleSet, now: datetime) -> Verdict:
    """The verdict on one cell at `now` (UTC). Same arguments, same verdict; nothing else is looked at."""
    return judge(evidence, rules, now).verdict


def judge(evidence: Evidence, rules: RuleSet, now: datetime, recorded: datetime | None = None) -> Judgement:
    """The verdict and what is to be recorded: the shipped rules always look, whatever a person's own rules say.

    A longer wait or a wider error in a person's file looks stricter, and yet can make a danger too vague to be
    called one; so findings come from the shipped rules alone. `recorded` is the moment they bear (None: now).
    A cell of unknown kind is judged as each kind it can be, and gets the worst of these verdicts.
    """
    if evidence.facts.chemistry is Chemistry.LIION:
        return _of_unknown_kind(evidence, rules, now, recorded)
    # With the shipped rules one pass serves both; with a person's own the shipped ones look once more.
    own = rules.hash != shipped_rules().hash
    memo, tests, answers = _alike(evidence, rules, now) if own else ({}, CONDEMNING, {})
    case = Case(evidence, evidence.facts, rules, now, memo)
    shipped = Case(evidence, evidence.facts, shipped_rules(), now, dict(memo)) if own else case
    # A finding is recorded once: seen again, it would bear a second date and a second event.
    known = {finding.digest for finding in evidence.findings}
    found = tuple(f for f in find(evidence, recorded or now, shipped, tests) if f.digest not in known)
    reasons = [*_as_reasons(case, (*evidence.findings, *found))]
    if own:
        reasons += _own_discards(case, reasons, tests)
    graded = (answers[rule] if rule in answers else rule(case) for rule in GRADING)
    reasons += (reason for each in graded for reason in each)
    if own:
        reasons += _hidden(reasons, shipped, answers)
    verdict = _verdict(case, tuple(_indoors(case, reasons)))
    # What is remembered refers back to its case: emptied, both are gone at once, without a search for garbage.
    case.memo.clear()
    shipped.memo.clear()
    return Judgement(verdict, found)


Answers = Mapping[Rule, Sequence[Reason]]


def _alike(
    evidence: Evidence, rules: RuleSet, now: datetime
) -> tuple[dict[object, Any], Sequence[Test], Answers]:
    """What the limits that a person's file left as they were say of a cell, and the tests that they do not answer."""
    memo: dict[object, Any] = {}
    if rules.alike is None:
        return memo, CONDEMNING, {}
    case, left, answers = (
        Case(evidence, evidence.facts, rules.alike, now, memo),
        list[Test](),
        dict[Rule, Sequence[Reason]](),
    )
    for test in CONDEMNING:
        try:
            # The reason of what it condemns may be written with a limit that differs.
            if any(tried.side is Side.BEYOND for tried in test(case)):
                memo.clear()
                return memo, CONDEMNING, {}
        except KeyError:  # it asks for a limit of the person's own: left to both rule sets
            left.append(test)
    for rule in GRADING:
        with suppress(KeyError):
            answers[rule] = tuple(rule(case))
    return memo, left, answers


def _of_unknown_kind(
    evidence: Evidence, rules: RuleSet, now: datetime, recorded: datetime | None
) -> Judgement:
    """The strictest judgement of all members, with the ceiling of an unknown kind."""
    each = [judge(evidence.under(kind), rules, now, recorded) for kind in members(Chemistry.LIION)]
    # Never a mean and never the likeliest: the cell may be the member that this verdict is worst for.
    worst = min((judgement.verdict for judgement in each), key=lambda verdict: verdict.outcome)
    case = Case(evidence, evidence.facts, rules, now)
    reasons = _indoors(case, identity.chemistry(case))
    verdict = _verdict(case, (*reasons, *(r for r in worst.reasons if r.rule != "chemistry")))
    untils = [judgement.verdict.valid_until for judgement in each]
    until = min((at for at in (*untils, verdict.valid_until) if at is not None), default=None)
    found = {finding.digest: finding for judgement in each for finding in judgement.found}
    return Judgement(
        replace(verdict, valid_until=None if verdict.outcome is Outcome.DISCARD else until),
        tuple(found.values()),
    )


_MEASURED = ("rest-voltage", "self-discharge", "capacity", "resistance", "shelf-loss", "first-day")


def _indoors(case: Case, reasons: Iterable[Reason]) -> list[Reason]:
    """A cell last measured in the cold comes indoors first: readings at 8 and 2 C never pair with any other."""
    # IEC 61960 measures at 20 ± 5 °C, and pairs must lie within 5 K: cold readings would spoil the check.
    known = [(r.at, r.temperature_c) for r in case.readings if r.temperature_c is not None]
    at, last_c = max(known, default=(case.now, None))
    if last_c is None or last_c >= case.figure("indoors-below"):
        return list(reasons)
    # A cell of 45 g comes within a kelvin of the room in less than three hours (`indoors-hours`).
    hours = case.figure("indoors-hours")
    first = f"it was at {last_c:g} C: bring it indoors for {hours:g} h, then "
    return [
        replace(
            reason,
            todo=replace(reason.todo, words=first + reason.todo.words),
            earliest=max(reason.earliest or case.now, at + timedelta(hours=hours)),
        )
        if reason.todo and reason.rule.startswith(_MEASURED)
        else reason
        for reason in reasons
    ]


def _verdict(case: Case, reasons: tuple[Reason, ...]) -> Verdict:
    evidence, rules, now = case.evidence, case.rules, case.now
    # No reason can buy off another: a perfect capacity says nothing of a swollen case.
    outcome = min((r.ceiling for r in reasons), default=Outcome.HOLD)
    missing = () if outcome is Outcome.DISCARD else tuple(_missing(reasons, outcome))
    untils = [r.until for r in reasons if r.until is not None and r.until > now]
    # A discard rests on findings and a person's word, and neither grows too old.
    until = None if outcome is Outcome.DISCARD else min(untils, default=None)
    return Verdict(
        evidence.code, outcome, rules.name, rules.hash, reasons, missing, now, until, evidence.last_reading
    )


def _as_reasons(case: Case, findings: Iterable[Finding]) -> Iterator[Reason]:
    """One reason a rule: the finding that was recorded first. On the shelf the last that no check answered."""
    first: dict[str, Finding] = {}
    for finding in sorted(findings, key=lambda f: (f.recorded, f.at, f.digest)):
        # A loss on the flat part of the curve is reported less well than from full, so a later check may answer
        # it.
        if finding.rule == SHELF_LOSS:
            if not checked_after(case, finding.at):
                first[finding.rule] = finding
        else:
            first.setdefault(finding.rule, finding)
    yield from (_as_reason(case, finding) for finding in first.values())


def _newest_record(case: Case, finding: Finding) -> RecordKey | None:
    items: tuple[Reading | Charge, ...] = (*case.readings, *case.charges)
    return next((i.id for i in items if i.at == finding.at and i.key in finding.basis), None)


def _as_reason(case: Case, finding: Finding) -> Reason:
    on_shelf = finding.rule == SHELF_LOSS
    return Reason(
        finding.rule,
        Status.CLOSE if on_shelf else Status.FAILED,
        Outcome.HOLD if on_shelf else Outcome.DISCARD,
        finding.words,
        finding.value,
        finding.expanded_uncertainty,
        finding.limit,
        finding.unit,
        finding.safety,
        finding.source,
        reading=_newest_record(case, finding),
        at=finding.at,
        todo=shelf.todo(case) if on_shelf else None,
        earliest=case.now if on_shelf else None,
        finding=True,
        recorded=finding.recorded,
    )


def _own_discards(case: Case, reasons: Iterable[Reason], tests: Iterable[Test]) -> list[Reason]:
    """What a person's own stricter rules condemn: true while they are in force, and not a finding."""
    # Rules that are put away must leave nothing behind, so these are reasons and never recorded.
    known = {reason.rule for reason in reasons}
    found = {tried.rule: tried for _, tried in reversed(condemned(case, tests)) if tried.rule not in known}
    return [tried.reason() for tried in found.values()]


def _hidden(reasons: Iterable[Reason], shipped: Case, answers: Answers) -> list[Reason]:
    """What the shipped safety rules ask for beyond a person's own: a wider error hides a doubt as it hides a danger."""
    least: dict[str, Outcome] = {}
    for reason in reasons:
        least[reason.rule] = min(reason.ceiling, least.get(reason.rule, Outcome.PACK))
    if Outcome.DISCARD in least.values():
        return []
    asked = (r for rule in GRADING if rule not in answers for r in rule(shipped) if r.safety)
    return [reason for reason in asked if reason.ceiling < least.get(reason.rule, Outcome.PACK)]


def _missing(reasons: Iterable[Reason], outcome: Outcome) -> Iterator[Missing]:
    """What to do next: on hold, all that holds; else what stands between the cell and the next better outcome."""
    # What only a better outcome would ask for is not yet worth anybody's evening.
    open_ones = [r for r in reasons if r.status is not Status.MET and r.ceiling <= outcome]
    for reason in sorted(open_ones, key=_order_of_work):
        if reason.todo is not None:
            yield Missing(reason.text, reason.todo, reason.earliest)


# Safety first: no test below is worth doing on a cell that the ones above would discard.
_WORK = (
    "chemistry",
    "facts",
    "rechargeable",
    "look",
    "board",
    "voltage",
    "charger",
    "upset",
    "mass",
    "finding",
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
