"""What a cell waits for, read from its verdict: readings that can be taken now, later ones, and what else to do."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from straycell.acceptance import (
    Case,
    Evidence,
    Outcome,
    RuleSet,
    Status,
    Verdict,
    Work,
    WorkKind,
    charge_refusal,
    chemistry_keys,
)
from straycell.acceptance.checks.steps import open_charge
from straycell.bench.context import Bench
from straycell.bench.recording.reading_form import NOTHING_ON_RECORD, RestOnRecord, rest_on_record
from straycell.cells import CellFacts, Stage


class Need(StrEnum):
    """A reading that a cell can wait for, in the order they are asked for."""

    LOOK = "look"
    CHARGE = "full charge"
    CAPACITY = "capacity"
    RESISTANCE = "resistance"
    REST = "rest voltage"
    TABS = "voltage at the tabs"


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a cell waits for: readings of today, readings of a later day, other steps; when that could decide."""

    now: tuple[Need, ...] = ()
    later: tuple[tuple[Need, datetime], ...] = ()
    other: tuple[str, ...] = ()
    decides: datetime | None = None


@dataclass(frozen=True, slots=True)
class Waiting:
    """A cell that waits for readings, where it lies, the voltage at which a charge of its kind ends, its rest so far."""

    code: str
    facts: CellFacts
    needs: tuple[Need, ...]
    box: str | None = None
    full_v: float | None = None
    rest: RestOnRecord = NOTHING_ON_RECORD


_CHARGING = frozenset({Need.CHARGE, Need.CAPACITY})
_NEEDS = {
    WorkKind.LOOK: Need.LOOK,
    WorkKind.REST: Need.REST,
    WorkKind.CHARGE: Need.CHARGE,
    WorkKind.CAPACITY: Need.CAPACITY,
    WorkKind.RESISTANCE: Need.RESISTANCE,
}
_PAIR_FIRST = (Need.LOOK, Need.REST, *(need for need in Need if need not in (Need.LOOK, Need.REST)))
"""While a pair of rest voltages is under way, its reading comes before the run that would end the pair."""


def outlook(verdict: Verdict, evidence: Evidence, rules: RuleSet, now: datetime) -> Outlook:
    """What could move the verdict: readings that can be taken at `now`, those of a later day, other steps.

    Nothing for a cell out of use; no charge and no capacity run for one that may not be charged.
    """
    if verdict.outcome is Outcome.DISCARD:
        return Outlook()
    case = Case(evidence, evidence.facts, rules, now)
    ready: dict[Need, datetime] = {}
    other: list[str] = []
    decides = now
    for reason in verdict.reasons:
        work = reason.todo
        if reason.status is Status.MET or work is None or reason.ceiling > verdict.outcome:
            continue
        decides = max(decides, reason.earliest or now)
        at = work.not_before or now
        for need in _needs(work):
            ready[need] = min(ready.get(need, at), at)
        if work.kind not in _NEEDS:
            other.append(f"{work.words}: {work.command(evidence.code)}")
    # The refusal is asked of the one place that knows it: no list may ask for a charge that is forbidden.
    if charge_refusal(verdict, evidence.facts.chemistry) is not None:
        ready = {need: at for need, at in ready.items() if need not in _CHARGING}
    # A capacity run ends the check: taken first, it would throw the days of waiting away.
    order = _PAIR_FIRST if open_charge(case) is not None else tuple(Need)
    return Outlook(
        tuple(need for need in order if need in ready and ready[need] <= now),
        tuple((need, ready[need]) for need in Need if need in ready and ready[need] > now),
        tuple(dict.fromkeys(other)),
        decides if decides > now else None,
    )


def _needs(work: Work) -> list[Need]:
    """The readings that a piece of work asks for."""
    # Past the board: a rest voltage taken at its outputs would not answer the question.
    if work.at_tabs:
        return [Need.TABS]
    return [_NEEDS[kind] for kind in work.kinds if kind in _NEEDS]


IN_HOUSE = frozenset({Stage.RECEIVED, Stage.SHELVED, Stage.RESERVED})


def what_waits(bench: Bench, code: str | None = None) -> list[Waiting]:
    """The cells in the house that wait for a reading that can be taken now, by code; or this one alone.

    Raises BadData for a code that is not a cell's.
    """
    with bench.reading() as reader:
        cells = [reader.cell(code)] if code is not None else list(reader.cells())
        # A cell in a device cannot be measured where it sits.
        cells = [cell for cell in cells if cell.stage in IN_HOUSE]
        codes = [cell.code for cell in cells]
        verdicts, evidences = reader.verdicts(bench.rules, bench.now, codes), reader.evidences(codes)

    found = []
    for cell in cells:
        evidence = evidences[cell.code]
        needs = outlook(verdicts[cell.code], evidence, bench.rules, bench.now).now
        if needs:
            full_v = bench.rules.figure(
                "full-voltage", *chemistry_keys(cell.facts.chemistry, cell.facts.form)
            )
            rest = rest_on_record(Case(evidence, cell.facts, bench.rules, bench.now), bench.now)
            found.append(Waiting(cell.code, cell.facts, needs, cell.box, full_v, rest))
    return found
