"""The list that goes with condemned cells: alike cells on one line, damaged and intact ones never on the same.

Unknown is never intact: what cannot be diagnosed before carriage counts as damaged (special provision 376). What may
apply to the carriage is named with its source; nothing here decides it (carriage.toml).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Any

from straycell.acceptance import Evidence, Outcome, Reason, Status, Verdict, hold_of
from straycell.cells import Chemistry
from straycell.readings import Quantity
from straycell.safety.energy import Amount, Held, energy_wh, mass_g, total
from straycell.safety.incidents import find_incident
from straycell.shipped import shipped_table


class Condition(StrEnum):
    """State of a cell for carriage."""

    INTACT = "intact"
    DAMAGED = "damaged or defective"


NOT_LOOKED_OVER = "not looked over"
"""How the reason begins where a cell counts as damaged because nobody looked at it."""


def carriage() -> dict[str, Any]:
    """carriage.toml."""
    return shipped_table("safety/handover/carriage.toml")


def condition_of(evidence: Evidence, verdict: Verdict) -> tuple[Condition, str]:
    """(intact or damaged, why it is out of use) of a condemned cell."""
    # ADR special provision 376 names leaks, damage, and what cannot be diagnosed before carriage.
    against = [r for r in verdict.reasons if r.status is not Status.MET and r.ceiling <= Outcome.HOLD]
    bad = [r for r in against if r.rule == "upset" or not _leaves_intact(r)]
    if bad:
        # What would be done with a cell on hold is not done with one that leaves.
        final = [r for r in against if r.ceiling is Outcome.DISCARD]
        happened = [r for r in bad if r.rule == "upset" and r not in final]
        return Condition.DAMAGED, _words([*final, *happened] or bad)
    why = _words([r for r in against if r.ceiling is Outcome.DISCARD]) or "discarded"
    missing = _undiagnosed(evidence)
    if missing:
        return Condition.DAMAGED, f"{why}; {missing}"
    return Condition.INTACT, why


def _leaves_intact(reason: Reason) -> bool:
    """True where the rules of carriage.toml say so, and for a hold that rests on nothing that was seen of the cell."""
    if reason.status is Status.UNMEASURED or reason.rule in carriage()["intact"]["rules"]:
        return True
    return reason.ceiling is Outcome.HOLD and not hold_of(reason.rule).due


def _words(reasons: list[Reason]) -> str:
    return "; ".join(dict.fromkeys(_word(r) for r in reasons[:2]))


def _word(reason: Reason) -> str:
    if reason.rule == "upset" and reason.status is Status.UNMEASURED and reason.at is not None:
        return f"{reason.observed} on {reason.at:%Y-%m-%d}, not tested since"
    return reason.text


def _undiagnosed(evidence: Evidence) -> str:
    """Why a cell without a sign of damage cannot be called intact; empty when it can."""
    text = carriage()["not-diagnosed"]["text"]
    # Special provision 376: what cannot be diagnosed prior to carriage counts as damaged or defective.
    looks = [r for r in evidence.readings if r.quantity is Quantity.LOOK]
    if not looks:
        return f"{NOT_LOOKED_OVER} by anybody: {text}"
    if evidence.condemned is not None and looks[-1].at < evidence.condemned.at:
        return f"{NOT_LOOKED_OVER} since it was discarded: {text}"
    return ""


def is_critical(evidence: Evidence, verdict: Verdict) -> bool:
    """True when it may still react: look, history or a measurement says heat, gas, fire, or a short inside."""
    # What may still react needs P911 instead of P908 (special provision 376).
    signs = carriage()["critical"]
    # A person may discard a cell that is only held for its warmth: a hold of these rules is a sign, too.
    if any(r.rule in signs["rules"] and r.status is Status.FAILED for r in verdict.reasons):
        return True
    looks = {str(word) for r in evidence.readings for word in r.look}
    known = [find_incident(upset.kind) for upset in evidence.upsets]
    return bool(looks & set(signs["looks"])) or any(k and k.id in signs["incidents"] for k in known)


@dataclass(frozen=True, slots=True)
class HandoverCell:
    """One cell on the list. `why` is why it is out of use; energy in Wh, mass in g."""

    code: str
    chemistry: str
    form: str
    marking: str
    condition: Condition
    critical: bool
    why: str
    energy: Amount
    mass: Amount

    @classmethod
    def of(cls, evidence: Evidence, verdict: Verdict) -> HandoverCell:
        """From what is known of a condemned cell."""
        condition, why = condition_of(evidence, verdict)
        held = Held(evidence.facts, _capacity(evidence))
        return cls(
            evidence.code,
            str(_chemistry(evidence)),
            str(evidence.facts.form),
            evidence.facts.marking,
            condition,
            condition is Condition.DAMAGED and is_critical(evidence, verdict),
            why,
            energy_wh(held),
            mass_g(held),
        )


@dataclass(frozen=True, slots=True)
class MayApply:
    """A carriage rule that may apply: what it says and where that is written."""

    id: str
    name: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class HandoverLine:
    """Alike cells: one condition, one chemistry, one form. `un` and `rules` may apply, no more."""

    condition: Condition
    critical: bool
    chemistry: str
    form: str
    un: str
    rules: tuple[str, ...]
    cells: tuple[HandoverCell, ...]

    @property
    def count(self) -> int:
        return len(self.cells)

    @property
    def energy(self) -> Amount:
        return total(cell.energy for cell in self.cells)

    @property
    def mass(self) -> Amount:
        return total(cell.mass for cell in self.cells)


@dataclass(frozen=True, slots=True)
class HandoverList:
    """Everything the printed list shows."""

    number: str
    place: str
    bench: str
    opened_at: datetime
    lines: tuple[HandoverLine, ...]
    closed_at: datetime | None = None

    @property
    def cells(self) -> tuple[HandoverCell, ...]:
        return tuple(cell for line in self.lines for cell in line.cells)

    @property
    def energy(self) -> Amount:
        return total(line.energy for line in self.lines)

    @property
    def mass(self) -> Amount:
        return total(line.mass for line in self.lines)

    @property
    def rules(self) -> tuple[MayApply, ...]:
        """The rules named on the lines, each once, in order."""
        return tuple(may_apply(name) for name in dict.fromkeys(r for line in self.lines for r in line.rules))

    def closed(self, at: datetime) -> HandoverList:
        return replace(self, closed_at=at)

    def to_json(self) -> dict[str, Any]:
        """Plain values that `from_json` reads back."""
        # Kept whole with the hand-over: what was signed must read the same when rules and words have changed.
        return {
            "number": self.number,
            "place": self.place,
            "bench": self.bench,
            "opened_at": self.opened_at.isoformat(),
            "closed_at": self.closed_at.isoformat() if self.closed_at else None,
            "ask": carriage()["ask"],
            "count": len(self.cells),
            "energy_wh": self.energy.value,
            "energy_estimated": self.energy.estimated,
            "mass_g": self.mass.value,
            "mass_estimated": self.mass.estimated,
            "lines": [_line_json(line) for line in self.lines],
            "rules": [asdict(rule) for rule in self.rules],
        }

    @classmethod
    def from_json(cls, body: Mapping[str, Any]) -> HandoverList:
        """The list as it was kept."""
        closed = body["closed_at"]
        return cls(
            body["number"],
            body["place"],
            body["bench"],
            datetime.fromisoformat(body["opened_at"]),
            tuple(_line_of(entry) for entry in body["lines"]),
            datetime.fromisoformat(closed) if closed else None,
        )


def may_apply(rule: str) -> MayApply:
    """A carriage rule by its id."""
    entry = carriage()["rule"][rule]
    return MayApply(rule, entry["name"], entry["text"], entry["source"])


def make_list(
    number: str, place: str, bench: str, opened_at: datetime, cells: Sequence[HandoverCell]
) -> HandoverList:
    """Cells gathered into lines, the damaged first. Same cells, same list, in whatever order they come."""
    groups: dict[tuple[bool, bool, str, str, bool], list[HandoverCell]] = {}
    for cell in sorted(cells, key=lambda c: c.code):
        # Damaged and intact cells go under different packing instructions (P908 or P911 against P909).
        key = (
            cell.condition is Condition.INTACT,
            not cell.critical,
            cell.chemistry,
            cell.form,
            _is_small(cell),
        )
        groups.setdefault(key, []).append(cell)
    lines = tuple(_line(tuple(found)) for _, found in sorted(groups.items(), key=lambda entry: entry[0]))
    return HandoverList(number, place, bench, opened_at, lines)


def _line(cells: tuple[HandoverCell, ...]) -> HandoverLine:
    first = cells[0]
    return HandoverLine(
        first.condition, first.critical, first.chemistry, first.form, _un(first), _rules(first), cells
    )


def _un(cell: HandoverCell) -> str:
    # UN 3480 is lithium ion, UN 3090 lithium metal; which one an unknown cell is, nobody may guess.
    kind = {Chemistry.PRIMARY: "metal", Chemistry.UNKNOWN: "unknown"}.get(Chemistry(cell.chemistry), "ion")
    return str(carriage()["un"][kind]["number"])


def _is_small(cell: HandoverCell) -> bool:
    """Within the energy and mass of consumer collection (special provision 636), estimates included."""
    # Special provision 636: up to 500 g and 20 Wh a cell.
    figures = carriage()["figure"]
    most_wh, most_g = float(figures["cell-wh"]["value"]), float(figures["piece-g"]["value"])
    return cell.energy.value <= most_wh and cell.mass.value <= most_g


def _rules(cell: HandoverCell) -> tuple[str, ...]:
    # 49 CFR 173.185(f) must be used for damaged cells; the exception for disposal (d) may not (PHMSA
    # 24-0050).
    if cell.condition is Condition.DAMAGED:
        return ("376-911" if cell.critical else "376-908", "us-damaged", "epa")
    return (*(("636",) if _is_small(cell) else ()), "377", "epa")


def _chemistry(evidence: Evidence) -> Chemistry:
    """As entered; not known when an earlier valid entry says rechargeable where this one does not."""
    now = evidence.facts.chemistry
    others = evidence.other_chemistries
    # Ion or metal decides the UN number; where two entries disagree about that, the paper says not known.
    disputed = any((kind is Chemistry.PRIMARY) is not (now is Chemistry.PRIMARY) for kind in others)
    return Chemistry.UNKNOWN if disputed else now


def _capacity(evidence: Evidence) -> float | None:
    runs = [r.value for r in evidence.readings if r.quantity is Quantity.CAPACITY and r.value]
    return runs[-1] if runs else None


def _line_json(line: HandoverLine) -> dict[str, Any]:
    return {
        "count": line.count,
        "condition": str(line.condition),
        "critical": line.critical,
        "chemistry": line.chemistry,
        "form": line.form,
        "energy_wh": line.energy.value,
        "energy_estimated": line.energy.estimated,
        "mass_g": line.mass.value,
        "mass_estimated": line.mass.estimated,
        "un": line.un,
        "may_apply": list(line.rules),
        "cells": [asdict(cell) | {"condition": str(cell.condition)} for cell in line.cells],
    }


def _line_of(entry: Mapping[str, Any]) -> HandoverLine:
    cells = tuple(
        HandoverCell(
            **{
                **cell,
                "condition": Condition(cell["condition"]),
                "energy": Amount(**cell["energy"]),
                "mass": Amount(**cell["mass"]),
            }
        )
        for cell in entry["cells"]
    )
    return HandoverLine(
        Condition(entry["condition"]),
        entry["critical"],
        entry["chemistry"],
        entry["form"],
        entry["un"],
        tuple(entry["may_apply"]),
        cells,
    )
