"""The page of a verdict, and an outcome on a screen: a word, a sign that is seen without colours, and a colour."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from straycell.acceptance import Outcome, Reason, Status, Verdict, shipped_rules
from straycell.acceptance.rules import Shown
from straycell.bench.verdict_words import SIGNS, OutcomeWord, headline, next_steps, why
from straycell.bench.wording.figure_words import figure
from straycell.cli.app import output, tables, values

# --- how near a figure is to its limit

WIDTH = 11
_CENTRE = WIDTH // 2
_SPAN = 0.5
"""The bar shows half below to half above the limit: a value further off needs no closer look."""


def limit_bar(observed: object, limit: object, expanded_uncertainty: float | None) -> str:
    """`──●──│     `: the limit in the middle, the value with its U; empty where either is not a figure above 0."""
    if not isinstance(observed, int | float) or not isinstance(limit, int | float) or limit <= 0:
        return ""
    spread = expanded_uncertainty or 0.0
    low, at, high = (_place(value / limit) for value in (observed - spread, observed, observed + spread))
    dash, dot, rim = _signs()
    drawn = [dash if low <= place <= high else " " for place in range(WIDTH)]
    # The value is drawn last: where it hides the limit, it is at the limit.
    drawn[_CENTRE] = rim
    drawn[at] = dot
    return "".join(drawn)


def _place(ratio: float) -> int:
    return min(WIDTH - 1, max(0, _CENTRE + round((ratio - 1.0) / _SPAN * _CENTRE)))


def _signs() -> tuple[str, str, str]:
    return ("─", "●", "│") if output.can_show("─●│") else ("-", "o", "|")


def say_headline(verdict: Verdict, lead: str = "") -> None:
    """The headline behind its sign, wrapped."""
    output.say(
        *output.wrap(
            "  ".join(filter(None, [f"{sign(verdict.outcome)} {lead}".strip(), headline(verdict)])),
            "" if lead else "  ",
        )
    )


def say_forbidden(code: str, against: Sequence[str]) -> None:
    """What speaks against a use, above the figures, which would read as a permission."""
    if against:
        output.say_wrapped(f"NOT ALLOWED  {code}: {against[0]}")
        output.bullets(against[1:])
        output.say("")


def page(verdict: Verdict, now: datetime, *, everything: bool = False) -> None:
    """The verdict for a person: what failed, is close or missing; with `everything` also what is met."""
    say_headline(verdict, verdict.code)
    output.listed("Why", why(verdict))
    output.listed("Next", next_steps(verdict, now) or ["nothing: it is ready for a project"])
    # What is met explains nothing that a person could do.
    open_ones = [reason for reason in verdict.reasons if reason.status is not Status.MET]
    met = [reason for reason in verdict.reasons if reason.status is Status.MET]
    shown = [*open_ones, *(met if everything else [])]
    if shown:
        output.section("Every rule" if everything else "Not met")
        tables.table(
            ["rule", "status", "observed", "limit", "how near", "best", "safety"],
            [row_of(reason) for reason in shown],
            # A limit cut short would be read as another limit.
            flexible=None,
            empty="",
            spare="how near",
        )
    output.say("")
    if met and not everything:
        output.say(f"{len(met)} {'more met' if open_ones else 'rules, all met'}: --all shows them")
    output.say(f"rules: {verdict.rules} ({verdict.rules_hash[:12]}), judged {output.stamp_short(verdict.at)}")


def row_of(reason: Reason) -> list[str | None]:
    """A reason as a row of its table: its figures read as those of the limit behind it."""
    known = shipped_rules().behind(reason.rule)
    shown = known.shown if known is not None else Shown.PLAIN
    return [
        reason.rule,
        reason.status.value,
        figure(reason.observed, reason.unit, reason.expanded_uncertainty, shown=shown),
        figure(reason.limit, reason.unit, shown=shown),
        limit_bar(reason.observed, reason.limit, reason.expanded_uncertainty),
        reason.ceiling.word,
        "yes" if reason.safety else "",
    ]


OutcomeOption = Annotated[
    Outcome | None,
    values.word("--outcome", OutcomeWord, "Only cells with this outcome.", meaning=Outcome.from_word),
]


# Blue to yellow to red keeps apart for all common kinds of colour blindness (Okabe and Ito, Color Universal Design).
_PLAIN = {
    Outcome.PACK: ("###", "bold cyan"),
    Outcome.SOLO: ("##-", "cyan"),
    Outcome.LIGHT: ("#--", "blue"),
    Outcome.HOLD: ("...", "yellow"),
    Outcome.DISCARD: ("XXX", "bold red"),
}


def sign(outcome: Outcome) -> str:
    """Three characters; plain ones where the stream cannot show the others."""
    drawn, (plain, _) = SIGNS[outcome], _PLAIN[outcome]
    return drawn if output.can_show(drawn) else plain


def outcome_cell(outcome: Outcome) -> tables.Marked:
    """`▮▮▮ pack` for a table."""
    return tables.Marked(f"{sign(outcome)} {outcome.word}", _PLAIN[outcome][1])
