"""What a cell waits for, read from its verdict: readings that can be taken now, later ones, and what else to do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from straycell.acceptance.reasons import Outcome, Reason, Status, Verdict
from straycell.acceptance.rules import chemistry_keys
from straycell.bench.context import Bench
from straycell.cells import CellFacts, Chemistry, Stage
from straycell.readings import Charge, Reading

if TYPE_CHECKING:
    from straycell.acceptance import Evidence, RuleSet
    from straycell.acceptance.case import Case


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
    """A cell that waits for readings, where it lies, and the voltage at which a charge of its kind ends."""

    code: str
    facts: CellFacts
    needs: tuple[Need, ...]
    box: str | None = None
    full_v: float | None = None


_CHARGING = frozenset({Need.CHARGE, Need.CAPACITY})
_BY_RULE: dict[str, Need] = {
    "look": Need.LOOK,
    "look-mend": Need.LOOK,
    "warming": Need.CHARGE,
    "charge-temperature": Need.CHARGE,
    "board-voltage": Need.TABS,
    "voltage-floor": Need.REST,
    "voltage-over-full": Need.REST,
}
_PAIR_FIRST = (Need.LOOK, Need.REST, *(need for need in Need if need not in (Need.LOOK, Need.REST)))
"""While a pair of rest voltages is under way, its reading comes before the run that would end the pair."""
_BY_START: dict[str, Need] = {"capacity": Need.CAPACITY, "resistance": Need.RESISTANCE}


def outlook(verdict: Verdict, evidence: Evidence, rules: RuleSet, now: datetime) -> Outlook:
    """What could move the verdict: readings that can be taken at `now`, those of a later day, other steps.

    Nothing for a cell out of use; no charge and no capacity run for one that may not be charged.
    """
    from straycell.acceptance.case import Case

    if verdict.outcome is Outcome.DISCARD:
        return Outlook()
    case = Case(evidence, evidence.facts, rules, now)
    ready: dict[Need, datetime] = {}
    other: list[str] = []
    decides = now
    for reason in verdict.reasons:
        if reason.status is Status.MET or not reason.todo or reason.ceiling > verdict.outcome:
            continue
        asked = list(_asked_by(reason, case))
        decides = max(decides, reason.earliest or now)
        for need, at in asked:
            ready[need] = min(ready.get(need, at or now), at or now)
        if not asked:
            other.append(reason.todo.replace(" CODE", f" {evidence.code}"))
    if _must_not_charge(verdict, evidence):
        ready = {need: at for need, at in ready.items() if need not in _CHARGING}
    order = _PAIR_FIRST if _open_window(case) is not None else tuple(Need)
    return Outlook(
        tuple(need for need in order if need in ready and ready[need] <= now),
        tuple((need, ready[need]) for need in Need if need in ready and ready[need] > now),
        tuple(dict.fromkeys(other)),
        decides if decides > now else None,
    )


def _must_not_charge(verdict: Verdict, evidence: Evidence) -> bool:
    """A failed safety rule, or a doubt whether it can be recharged at all."""
    doubtful = any(r.rule == "rechargeable" and r.status is not Status.MET for r in verdict.reasons)
    return (
        doubtful
        or verdict.safety_failed
        or evidence.facts.chemistry in (Chemistry.PRIMARY, Chemistry.UNKNOWN)
    )


def _asked_by(reason: Reason, case: Case) -> Iterator[tuple[Need, datetime | None]]:
    """(what a reason asks for, from when on)."""
    if reason.rule in _BY_RULE:
        yield _BY_RULE[reason.rule], reason.earliest
    elif reason.rule == "rest-voltage":
        yield _rest(reason, case)
    elif reason.rule.startswith("self-discharge"):
        yield _self_discharge(reason, case)
    elif reason.rule == "sibling-look":
        if "look" in reason.todo:
            yield Need.LOOK, None
        if "self-discharge" in reason.todo:
            yield _self_discharge(reason, case)
    elif reason.rule == "upset":
        words = {"look": Need.LOOK, "rest voltage": Need.REST, "resistance": Need.RESISTANCE}
        yield from ((need, None) for word, need in words.items() if word in reason.todo)
    else:
        need = next((n for start, n in _BY_START.items() if reason.rule.startswith(start)), None)
        measures = need is not None and f"measure the {need.value} first" not in reason.todo
        if need is not None and measures and "note the" not in reason.todo:
            yield need, reason.earliest


def _rest(reason: Reason, case: Case) -> tuple[Need, datetime | None]:
    if reason.status is not Status.UNMEASURED:
        return Need.CHARGE, reason.earliest
    window = _open_window(case)
    if window is not None and not window[1]:
        return Need.REST, _first_rest(window[0], case)
    return Need.REST, reason.earliest


def _self_discharge(reason: Reason, case: Case) -> tuple[Need, datetime | None]:
    """A full charge, then a first rest voltage a day later, then a second one days after it."""
    window = _open_window(case)
    if reason.rule == "self-discharge" or reason.rule == "sibling-look":
        if window is None:
            return Need.CHARGE, None
        charge, inside = window
        if not inside:
            return Need.REST, _first_rest(charge, case)
        if case.facts.chemistry is Chemistry.LFP and len(inside) > 1:
            return Need.CAPACITY, reason.earliest
    return Need.REST, reason.earliest


def _first_rest(charge: Charge, case: Case) -> datetime:
    return charge.at + timedelta(hours=case.figure("pair-rest"))


def _open_window(case: Case) -> tuple[Charge, list[Reading]] | None:
    """The latest full charge that nothing has disturbed, with the rest voltages after it."""
    from straycell.acceptance.checks.pairs import windows

    undisturbed = [(c, inside) for c, inside in windows(case) if not case.disturbed(c.at, case.now)]
    return undisturbed[-1] if undisturbed else None


IN_HOUSE = frozenset({Stage.RECEIVED, Stage.SHELVED, Stage.RESERVED})


def what_waits(bench: Bench, code: str | None = None) -> list[Waiting]:
    """The cells in the house that wait for a reading that can be taken now, by code; or this one alone.

    Raises BadData for a code that is no cell's.
    """
    with bench.reading() as reader:
        cells = [reader.cell(code)] if code is not None else list(reader.cells())
        cells = [cell for cell in cells if cell.stage in IN_HOUSE]
        codes = [cell.code for cell in cells]
        verdicts, evidences = reader.verdicts(bench.rules, bench.now, codes), reader.evidences(codes)
    found = []
    for cell in cells:
        needs = outlook(verdicts[cell.code], evidences[cell.code], bench.rules, bench.now).now
        if needs:
            full_v = bench.rules.figure(
                "full-voltage", *chemistry_keys(cell.facts.chemistry, cell.facts.form)
            )
            found.append(Waiting(cell.code, cell.facts, needs, cell.box, full_v))
    return found
