"""What a write did to a cell's verdict, shown in two lines, with the cautions of what was seen."""

from collections.abc import Mapping, Sequence

from straycell.acceptance import Outcome
from straycell.bench import verdict_words
from straycell.bench.recording.record import After, Recorded, lost_words
from straycell.cli.app import cautions, clock, output
from straycell.keys import RecordKey
from straycell.safety import Step


def talk_recorded(recorded: Recorded, step: Step = Step.MEASURING) -> None:
    """Say on stderr which projects lost a cell, which capacities do not count, and where each cell is now."""
    output.talk(*lost_words(recorded.lost))
    # Of a cell out of use no capacity counts for anything.
    doubts = recorded.doubts if any(a.verdict.outcome is not Outcome.DISCARD for a in recorded.after) else {}
    talk_doubts(doubts, recorded.remedy)
    # What a capacity must be to count is the next step then; a second one beside it would be read past.
    with_next = not doubts
    shown = {item.id for item in recorded.items}
    if len(recorded.after) == 1:
        _talk_one(recorded.after[0], step, shown, with_next=with_next)
    else:
        _talk_many(recorded.after, step, shown, with_next=with_next)


def _talk_many(found: Sequence[After], step: Step, shown: set[RecordKey], *, with_next: bool) -> None:
    """The same of many cells: one line for those that are alike, and the cautions of all once."""
    alike: dict[tuple[str, str], list[str]] = {}
    for after in found:
        work = verdict_words.steps(after.verdict, clock.now())
        became = verdict_words.after_a_write(after.verdict, shown, again=True)
        alike.setdefault((became, work[0].in_short if work else ""), []).append(after.cell.code)
    for (became, todo), codes in alike.items():
        output.talk(f"{', '.join(codes)}: now {became}")
        if todo and with_next:
            output.hint(f"next: {todo}")
    _talk_cautions(found, step)


def talk_doubts(doubts: Mapping[RecordKey, str], remedy: str) -> None:
    """Which capacities do not count, and once what to do."""
    # A capacity that was run and does not count is the costliest surprise: said at once, not at the match.
    output.talk(*(f"{number} is {why}" for number, why in doubts.items()))
    known = "remedy of a capacity"
    if doubts and remedy and known not in cautions.read_in_full():
        output.hint(remedy)
        cautions.remember([known])


def _talk_one(after: After, step: Step, shown: set[RecordKey], *, with_next: bool) -> None:
    """Say where the cell is now, what comes next, and the cautions for that."""
    verdict = after.verdict
    steps = verdict_words.steps(verdict, clock.now())
    # What to do next is reported whole once a day for each kind of work, like a caution; after that a reminder is enough.
    work = {f"next {step.words}" for step in steps[:1]}
    again = not with_next or (bool(work) and work <= cautions.read_in_full())
    out = verdict.outcome is Outcome.DISCARD
    became = verdict_words.after_a_write(verdict, shown, again=again)
    output.talk(f"{after.cell.code}{':' if out else ' is' if again else ' is now'} {became}")
    # Where discards go is one errand for all of them; what to do with this one now is in the cautions.
    if steps and with_next and not (out and again):
        output.hint(f"next: {steps[0].in_brief if again or out else steps[0].as_next}")
    _talk_cautions([after], step, room=cautions.BESIDE_ANSWER if with_next else 0)
    if with_next:
        cautions.remember(work)


def _talk_cautions(found: Sequence[After], step: Step, *, room: int = cautions.BESIDE_ANSWER) -> None:
    """The cautions of what is done next: with a cell out of use it is put away."""
    steps: dict[Step, None] = {}
    for after in found:
        out = after.verdict.outcome is Outcome.DISCARD
        steps.update(dict.fromkeys(verdict_words.parting(after.verdict) if out else [step]))
    cautions.talk(*steps, kinds=[after.cell.facts for after in found], room=room)
