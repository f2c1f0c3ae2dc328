"""What a write did to a cell's verdict, shown in two lines, with the cautions of what was seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from straycell.acceptance.reasons import Outcome
from straycell.bench import verdict_words
from straycell.bench.recording.record import After, Recorded, lost_words
from straycell.cli.app import clock, output, read_today
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.keys import RecordKey
from straycell.safety import Step


def talk_recorded(recorded: Recorded, step: Step = Step.MEASURING) -> None:
    """Say on stderr which projects lost a cell, which capacities do not count, and where each cell is now."""
    for line in lost_words(recorded.lost):
        output.talk(line)
    talk_doubts(recorded.doubts, recorded.remedy)
    # What a capacity must be to count is the next step then; a second one beside it would be read past.
    with_next = not recorded.doubts
    if len(recorded.after) == 1:
        talk_after(recorded.after[0], step, with_next=with_next)
    else:
        _talk_many(recorded.after, step, with_next=with_next)


def _talk_many(found: Sequence[After], step: Step, *, with_next: bool) -> None:
    """The same of many cells: one line for those that are alike, and the cautions of all once."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    steps: dict[Step, None] = {}
    for after in found:
        verdict = after.verdict
        work = verdict_words.steps(verdict, clock.now())
        discarded = verdict.outcome is Outcome.DISCARD
        because = (verdict_words.why(verdict) or [""])[0] if discarded else ""
        said = (verdict_words.in_brief(verdict), because, work[0].in_short if work else "")
        alike.setdefault(said, []).append(after.cell.code)
        steps.update(dict.fromkeys(verdict_words.parting(verdict) if discarded else [step]))
    for (became, why, todo), codes in alike.items():
        output.talk(f"{', '.join(codes)}: now {became}")
        if why:
            output.talk(f"because {why}")
        if todo and with_next:
            output.hint(f"next: {todo}")
    talk_cautions(*steps, kinds=[after.cell.facts for after in found])


def talk_doubts(doubts: Mapping[RecordKey, str], remedy: str) -> None:
    """Which capacities do not count, and once what to do."""
    # A capacity that was run and does not count is the costliest surprise: said at once, not at the match.
    for number, why in doubts.items():
        output.talk(f"{number} is {why}")
    known = "remedy of a capacity"
    if doubts and remedy and known not in read_today.read_in_full():
        output.hint(remedy)
        read_today.remember([known])


def talk_after(after: After, step: Step = Step.MEASURING, *, with_next: bool = True) -> None:
    """Say where the cell is now, what comes next, and the cautions for that."""
    verdict, kinds = after.verdict, [after.cell.facts]
    steps = verdict_words.steps(verdict, clock.now())
    # What to do next is reported whole once a day for each kind of work, like a caution; after that a reminder is enough.
    known = read_today.read_in_full()
    work = {f"next {step.words}" for step in steps[:1]}
    again = not with_next or (bool(work) and work <= known)
    said = verdict_words.in_brief(verdict) if again else verdict_words.headline(verdict)
    output.talk(f"{after.cell.code} is now {said}")
    # Only a discard gives its reason here; a hold gives the next step, and the page gives the rest.
    reasons = verdict_words.why(verdict)
    if verdict.outcome is Outcome.DISCARD and reasons:
        output.talk(f"because {reasons[0]}")
    if steps and with_next:
        output.hint(f"next: {steps[0].in_brief if again else steps[0].as_next}")
    if verdict.outcome is Outcome.DISCARD:
        talk_cautions(*verdict_words.parting(verdict), kinds=kinds)
    else:
        talk_cautions(step, kinds=kinds)
    if with_next:
        read_today.remember(work)
