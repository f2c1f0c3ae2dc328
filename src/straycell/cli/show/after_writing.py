"""What a write did to a cell's verdict, shown in two lines, with the cautions of what was seen."""

from __future__ import annotations

from collections.abc import Mapping

from straycell.acceptance.reasons import Outcome
from straycell.bench import verdict_words
from straycell.bench.recording.record import After, Recorded, lost_words
from straycell.cli.app import clock, output
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.keys import RecordKey
from straycell.safety import Step


def talk_recorded(recorded: Recorded, step: Step = Step.MEASURING) -> None:
    """Say on stderr which projects lost a cell, which capacities do not count, and where each cell is now."""
    for line in lost_words(recorded.lost):
        output.talk(line)
    talk_doubts(recorded.doubts, recorded.remedy)
    for after in recorded.after:
        talk_after(after, step)


def talk_doubts(doubts: Mapping[RecordKey, str], remedy: str) -> None:
    """Which capacities do not count, and once what to do."""
    # A capacity that was run and does not count is the costliest surprise: said at once, not at the match.
    for number, why in doubts.items():
        output.talk(f"{number} is {why}")
    if doubts and remedy:
        output.hint(remedy)


def talk_after(after: After, step: Step = Step.MEASURING) -> None:
    """Say where the cell is now, what comes next, and the cautions for that."""
    verdict, kinds = after.verdict, [after.cell.facts]
    output.talk(f"{after.cell.code} is now {verdict_words.headline(verdict)}")
    # Only a discard gives its reason here; a hold gives the next step, and the page gives the rest.
    reasons = verdict_words.why(verdict)
    if verdict.outcome is Outcome.DISCARD and reasons:
        output.talk(f"because {reasons[0]}")
    steps = verdict_words.steps(verdict, clock.now())
    if steps:
        output.hint(f"next: {steps[0].as_next}")
    # A condemned cell is not measured on: the cautions are those of what was seen, not of the step.
    if verdict.outcome is Outcome.DISCARD:
        talk_cautions(*verdict_words.parting(verdict), kinds=kinds)
    else:
        talk_cautions(step, kinds=kinds)
