"""A verdict in words: what the cell may do, why, what to do next and when."""

from __future__ import annotations

import math
from datetime import datetime

from straycell.acceptance.reasons import Missing, Outcome, Reason, Verdict
from straycell.cli import output

ALLOWS: dict[Outcome, str] = {
    Outcome.PACK: "may be joined with matched cells in series or parallel",
    Outcome.SOLO: "may serve alone, in single-cell devices",
    Outcome.LIGHT: "may serve alone, in devices that draw little",
    Outcome.HOLD: "not decided yet: do not use it",
    Outcome.DISCARD: "out of use for good: never charge it, never build it in",
}


def headline(verdict: Verdict) -> str:
    """`PACK until 2027-01-31: may be joined ...`: the word, the day until which it holds, what it allows."""
    until_when = f" until {until(verdict)}" if until(verdict) != "-" else ""
    return f"{verdict.outcome.word.upper()}{until_when}: {ALLOWS[verdict.outcome]}"


def why(verdict: Verdict, at_most: int = 99) -> list[str]:
    """The texts of the deciding reasons, the weightiest first."""
    texts = [reason.text for reason in verdict.deciding]
    more = len(texts) - at_most
    return texts[:at_most] + ([f"and {more} more: straycell verdict show {verdict.code}"] if more > 0 else [])


def until(verdict: Verdict) -> str:
    """The day until which a use is allowed; `-` when none is."""
    return output.day(verdict.valid_until) if verdict.outcome > Outcome.HOLD else "-"


def next_steps(verdict: Verdict, now: datetime) -> list[str]:
    """What to do, soonest first, each with the day on which it could decide."""
    if verdict.outcome is Outcome.DISCARD:
        return ["keep it apart, its ends covered, until it goes to the collection point", *_way_back(verdict)]
    steps = [_step(verdict.code, missing, now) for missing in in_order(verdict, now)]
    if not steps and verdict.valid_until is not None:
        steps.append(f"check it again before {output.day(verdict.valid_until)}")
    return steps


def _way_back(verdict: Verdict) -> list[str]:
    """A discard that rests on one reading alone falls only with that reading."""
    behind = {reason.reading for reason in verdict.deciding}
    if len(behind) != 1 or None in behind:
        return []
    return [
        f"only if reading #{behind.pop()} was a mistake: straycell reading supersede ID --mistake WORD "
        "--because TEXT; no later reading brings the cell back"
    ]


def in_order(verdict: Verdict, now: datetime) -> list[Missing]:
    """What is missing, by the day that could decide it."""
    return sorted(verdict.missing, key=lambda missing: max(missing.earliest or now, now))


def _step(code: str, missing: Missing, now: datetime) -> str:
    todo = missing.todo.replace(" CODE", f" {code}")
    if missing.earliest is not None and missing.earliest > now:
        return f"{todo} (could decide from {output.day(missing.earliest)} on)"
    return todo


def say_headline(verdict: Verdict, lead: str = "") -> None:
    """The headline, wrapped."""
    for line in output.wrap(f"{lead}  {headline(verdict)}".strip(), "" if lead else "  "):
        output.say(line)


def page(verdict: Verdict, now: datetime) -> None:
    """The whole verdict for a person."""
    say_headline(verdict, verdict.code)
    reasons = why(verdict)
    if reasons:
        output.section("Why")
        output.bullets(reasons)
    output.section("Next")
    output.bullets(next_steps(verdict, now) or ["nothing: it is ready for a project"])
    output.section("Every rule")
    output.table(
        ["rule", "status", "observed", "limit", "best", "safety"],
        [_row(reason) for reason in verdict.reasons],
        flexible="observed",
        empty="no rule had anything to say",
    )
    output.say("")
    output.say(f"rules: {verdict.rules} ({verdict.rules_hash[:12]}), judged {output.stamp_short(verdict.at)}")


def _row(reason: Reason) -> list[str | None]:
    return [
        reason.rule,
        reason.status.value,
        _figure(reason.observed, reason.unit, reason.expanded_uncertainty),
        _figure(reason.limit, reason.unit),
        reason.ceiling.word,
        "yes" if reason.safety else "",
    ]


def _figure(value: float | str | None, unit: str, expanded: float | None = None) -> str | None:
    """`38.0 ± 1.6 mohm`: the uncertainty with two figures, the value to the same place."""
    if value is None or isinstance(value, str):
        return value
    tail = "" if unit in ("", "1") else f" {unit}"
    if expanded is None or not 0 < expanded < math.inf:
        return f"{value:.4g}{tail}"
    places = max(0, 1 - math.floor(math.log10(expanded)))
    return f"{value:.{places}f} ± {expanded:.{places}f}{tail}"
