"""The page of a verdict."""

from __future__ import annotations

from datetime import datetime

from straycell.acceptance.reasons import Reason, Verdict
from straycell.acceptance.rules import shipped_rules
from straycell.bench.verdict_words import headline, next_steps, why
from straycell.cli.app import output, tables
from straycell.cli.show.figure_words import figure
from straycell.cli.show.outcomes import sign


def say_headline(verdict: Verdict, lead: str = "") -> None:
    """The headline behind its sign, wrapped."""
    for line in output.wrap(
        "  ".join(filter(None, [f"{sign(verdict.outcome)} {lead}".strip(), headline(verdict)])),
        "" if lead else "  ",
    ):
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
    tables.table(
        ["rule", "status", "observed", "limit", "best", "safety"],
        [_row(reason) for reason in verdict.reasons],
        flexible="observed",
        empty="no rule had anything to say",
    )
    output.say("")
    output.say(f"rules: {verdict.rules} ({verdict.rules_hash[:12]}), judged {output.stamp_short(verdict.at)}")


def _row(reason: Reason) -> list[str | None]:
    known = shipped_rules().limits.get(reason.rule)
    quantity = known.quantity if known is not None else ""
    return [
        reason.rule,
        reason.status.value,
        figure(reason.observed, reason.unit, reason.expanded_uncertainty, quantity=quantity),
        figure(reason.limit, reason.unit, quantity=quantity),
        reason.ceiling.word,
        "yes" if reason.safety else "",
    ]
