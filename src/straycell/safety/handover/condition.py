"""Is a condemned cell intact, or damaged or defective: what its list line and its packing follow from.

Unknown is never intact: what cannot be diagnosed before carriage counts as damaged (special provision 376).
"""

from enum import StrEnum
from typing import Any

from straycell.acceptance.evidence import Evidence
from straycell.acceptance.reasons import Outcome, Reason, Status, Verdict
from straycell.readings import Quantity
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
    rules = carriage()["damaged"]["rules"]
    against = [r for r in verdict.reasons if r.status is not Status.MET and r.ceiling <= Outcome.HOLD]
    bad = [r for r in against if r.rule in rules and r.status in (Status.FAILED, Status.CLOSE)]
    bad += [r for r in against if r.rule == "upset" and r not in bad]
    if bad:
        return Condition.DAMAGED, _words(bad)
    why = _words([r for r in against if r.ceiling is Outcome.DISCARD]) or "discarded"
    missing = _undiagnosed(evidence)
    if missing:
        return Condition.DAMAGED, f"{why}; {missing}"
    return Condition.INTACT, why


def _words(reasons: list[Reason]) -> str:
    return "; ".join(dict.fromkeys(r.text for r in reasons[:2]))


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
