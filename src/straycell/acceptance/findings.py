"""Findings: what a rule as shipped saw of a cell, with the records that alone show it; and the tests after one fell.

In: evidence. Out: a finding for every condemning reason, each named by what it rests on. The law: the records and
facts of its basis alone give the same finding at any later time, so nothing that comes later can lift it. It
falls only when one of them was a mistake, and then the cell is tested again before it is used.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import product
from typing import cast

from straycell.acceptance.case import Case, Seen, Test, Tried
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
from straycell.acceptance.checks.identity import tested_by, tested_since
from straycell.acceptance.checks.pairs import checked_after
from straycell.acceptance.evidence import BestSibling, Evidence, Fall, Finding, Record
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, together
from straycell.acceptance.rules import chemistry_keys, shipped_rules
from straycell.cells import CellFacts, Chemistry, members

FALL_FIRST = "finding-fell-first"
"""The rule's name while the cell is not measured again: before that it has no charge."""
CONDEMNING: tuple[Test, ...] = (
    identity.not_rechargeable,
    identity.severe_incidents,
    look.damage,
    look.returned,
    voltage.deep_discharges,
    voltage.over_charges,
    ended.ended_above,
    warming.hot_charges,
    warming.warm_charges,
    cold.frozen_charges,
    plausible.bottomless,
    first_day.lost_at_once,
    resting.hot_at_rest,
    capacity.worn_out,
    resistance.far_too_high,
    leakage.leaks,
    shelf.sinkings,
    shelf.losses,
)
"""All of them are asked, and all they see is recorded: a cell that two records condemn keeps one of them."""


def condemned(case: Case, tests: Iterable[Test] = CONDEMNING) -> list[tuple[Test, Tried]]:
    """What the rules of a case condemn, each with the test that saw it."""
    return [(test, tried) for test in tests for tried in test(case) if tried.side is Side.BEYOND]


def find(
    evidence: Evidence, recorded: datetime, case: Case | None = None, tests: Iterable[Test] = CONDEMNING
) -> tuple[Finding, ...]:
    """Every finding in the evidence under the shipped rules, also under other chemistries said of the cell.

    `recorded` is the moment they bear; `case` is the evidence under the shipped rules, where a caller has one, and
    `tests` are those that it has not answered yet.
    """
    # A person's file may loosen what is not a safety rule; findings outlive that file and so never rest on
    # it.
    shipped = shipped_rules()
    # A cell that one of its stated chemistries condemns stays condemned until that statement is withdrawn.
    own = case or Case(evidence, evidence.facts, shipped, recorded)
    seen = [(own, *each) for each in condemned(own, tests)]
    said = (evidence.facts.chemistry, *evidence.other_chemistries)
    kinds = {kind for each in said for kind in members(each)} - {evidence.facts.chemistry}
    for other in (evidence.under(kind) for kind in sorted(kinds, key=list(Chemistry).index)):
        under = Case(other, other.facts, shipped, recorded)
        seen += [(under, *each) for each in condemned(under)]
    found = (finding for each, test, tried in seen for finding in findings_of(each, test, tried, recorded))
    return tuple({finding.digest: finding for finding in found}.values())


def findings_of(case: Case, test: Test, tried: Tried, recorded: datetime) -> Iterator[Finding]:
    """One condemning answer as a finding: its test is asked again with its records alone, to see what it rests on.

    A fact that was said twice gives two: the second holds where the first was a mistake.
    """
    # Written down beside each rule, the list of what it rests on would rot; asked, it cannot be wrong.
    alone = alone_with(case, tried.records)
    test(alone)
    records = {record.key for record in tried.records}
    reason = tried.reason()
    for facts in product(*map(case.evidence.fact_keys, sorted(alone.asked))):
        yield Finding(
            case.evidence.code,
            reason.rule,
            reason.text,
            reason.observed,
            reason.expanded_uncertainty,
            reason.limit,
            reason.unit,
            reason.source,
            reason.safety,
            frozenset(records.union(facts)),
            reason.at or recorded,
            recorded,
        )


def stands(finding: Finding, withdrawn: Collection[str]) -> bool:
    """True until a record or fact of its basis was superseded or withdrawn as a mistake. Nothing else counts."""
    # Age, better readings and later opinions count for nothing: what was seen of a cell stays true of it.
    return finding.basis.isdisjoint(withdrawn)


# --- the basis -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Alone(Case):
    """A case that holds the records of one finding and notes the facts that are asked for."""

    asked: set[str] = field(default_factory=set, compare=False, repr=False)

    def figure(self, limit_id: str, *keys: str) -> float:
        self._note(() if keys else self.rules.limit(limit_id).rests_on)
        return super().figure(limit_id, *keys)

    def known_figure(self, limit_id: str) -> float | None:
        self._note(self.rules.limit(limit_id).rests_on)
        return super().known_figure(limit_id)

    @property
    def keys(self) -> tuple[str, ...]:
        known = self.evidence.facts
        return chemistry_keys(known.chemistry, known.form)

    def _note(self, names: Iterable[str]) -> None:
        self.asked.update(names)


class _Watched:
    """Facts of a cell that note which of them are asked for."""

    def __init__(self, facts: CellFacts, asked: set[str]) -> None:
        self._facts, self._asked = facts, asked

    def __getattr__(self, name: str) -> object:
        self._asked.add(name)
        return getattr(self._facts, name)


def alone_with(case: Case, records: Iterable[Record]) -> Alone:
    """The same cell and rules with these records and nothing else."""
    # Facts are watched because `condemning` tests read them anywhere, also deep in `Case`.
    asked: set[str] = set()
    facts = cast(CellFacts, _Watched(case.facts, asked))
    return Alone(_only(case.evidence, tuple(records)), facts, case.rules, case.now, asked=asked)


def _only(evidence: Evidence, records: tuple[Record, ...]) -> Evidence:
    keys = {record.key for record in records}
    return replace(
        evidence,
        readings=tuple(r for r in evidence.readings if r.key in keys),
        charges=tuple(c for c in evidence.charges if c.key in keys),
        upsets=tuple(u for u in evidence.upsets if u.key in keys),
        best_sibling=next((r for r in records if isinstance(r, BestSibling)), None),
        sibling_signs=(),
        floats=tuple(c for c in evidence.floats if c.key in keys),
        # What came between two records could only decline a finding; alone, they must still give it.
        installed_at=(),
        findings=(),
        falls=(),
        condemned=None,
    )


def tested_again(case: Case) -> Iterator[Reason]:
    """Look, rest voltage, resistance and a self-discharge check, all taken after the latest fall."""
    falls = [fall for fall in case.evidence.falls if not _put_right_at_once(case, fall)]
    if not falls:
        return
    # What was mistaken once may be mistaken about the cell in hand (`finding-fell`): it is met as an unknown
    # one.
    fall = max(falls, key=lambda f: (f.at, f.rule))
    # Until look, voltage and resistance are there, a charge could be the one that the wrong reading warned
    # of.
    measured = tested_since(case, fall.at)
    done = {**measured, "self-discharge check": checked_after(case, fall.at)}
    lacking = [name for name, there in done.items() if not there]
    what = f"the finding '{fall.rule}' fell on {fall.at:%Y-%m-%d} with a mistake"
    yield case.reason(
        "finding-fell",
        Status.UNMEASURED if lacking else Status.MET,
        Outcome.HOLD if lacking else Outcome.PACK,
        f"{what}; still to do: {', '.join(lacking)}" if lacking else f"{what}; tested again since",
        Seen(fall.rule, at=fall.at),
        rule=None if all(measured.values()) else FALL_FIRST,
        todo=together(f"record {', '.join(lacking)} again", tested_by(case, lacking)),
        earliest=case.now if lacking else None,
    )


def _put_right_at_once(case: Case, fall: Fall) -> bool:
    """Undone by the same bench within the hour, and measured again clear of the limit by U."""
    # Within the hour the cell is still in the hand that measured it (`undone-within`).
    within = timedelta(hours=case.figure("undone-within"))
    # Another bench does not hold the cell: it cannot have measured it again.
    if not fall.same_bench or fall.at - fall.found_at > within:
        return False
    answers = [tried for test in CONDEMNING for tried in test(case) if tried.rule == fall.rule]
    if any(tried.side is not Side.CLEAR for tried in answers):
        return False
    return not fall.measurable or any(_new(tried, fall, within) for tried in answers)


def _new(tried: Tried, fall: Fall, within: timedelta) -> bool:
    """True for an answer that rests on what was put in the mistake's place, or was taken just after it."""
    return any(
        record.key in fall.instead or fall.found_at <= record.at <= fall.found_at + within
        for record in tried.records
        if not isinstance(record, BestSibling)
    )
