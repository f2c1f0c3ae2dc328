"""What a write did to a cell's verdict, told in two lines, with the cautions of what was seen."""

from __future__ import annotations

from straycell.acceptance.reasons import Outcome
from straycell.cli.app import clock, context, output
from straycell.cli.show import verdict_page
from straycell.cli.show.cautions_talk import parting, talk_cautions
from straycell.safety import Step


def talk_after(code: str, step: Step = Step.MEASURING) -> None:
    """Say on stderr where the cell stands now, what comes next, and the cautions for that."""
    now = clock.now()
    with context.reading() as reader:
        verdict = reader.verdict(code, context.rules(), now)
        facts = reader.cell(code).facts
    output.talk(f"{code} is now {verdict_page.headline(verdict)}")
    reasons = verdict_page.why(verdict)
    if verdict.outcome is Outcome.DISCARD and reasons:
        output.talk(f"because {reasons[0]}")
    steps = verdict_page.steps(verdict, now)
    if steps:
        output.hint(f"next: {steps[0].as_next}")
    if verdict.outcome is Outcome.DISCARD:
        talk_cautions(*parting(verdict), kinds=[facts])
    else:
        talk_cautions(step, kinds=[facts])
