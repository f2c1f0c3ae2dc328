"""A verdict in words: what the cell may do, why, what to do next and when."""

from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from straycell.acceptance import Missing, Outcome, Reason, Status, Verdict, WorkKind, usable_until
from straycell.acceptance.permission import charge_barrier
from straycell.bench.wording.figure_words import figure
from straycell.keys import RecordKey
from straycell.safety import Step
from straycell.typed import day


@dataclass(frozen=True, slots=True)
class Todo:
    """One piece of work. `command` is a whole command line with ... where figures go; `from_day` is empty for now.

    `kind` is None for what no reason asks for.
    """

    words: str
    command: str
    from_day: str = ""
    kind: WorkKind | None = None

    @property
    def when(self) -> str:
        """` (could decide from 2027-01-31 on)`."""
        return f" (could decide from {self.from_day} on)" if self.from_day else ""

    @property
    def in_short(self) -> str:
        """`look at it`: for a list."""
        return f"{self.words}{self.when}"

    @property
    def on_page(self) -> str:
        """`look at it: straycell reading add ...`."""
        return f"{self.words}: {self.command}{self.when}"

    @property
    def in_brief(self) -> str:
        """`straycell reading add X --look ...`: the command up to its first option, for who read the whole today."""
        command, *options = self.command.split(" --")
        rest = "".join(f" --{options[0].split()[0]} ..." for _ in options[:1])
        return f"{command}{rest}{self.when}"

    @property
    def as_next(self) -> str:
        """`straycell reading add ... (look at it)`: what follows `next:`."""
        return f"{self.command} ({self.words}){self.when}"


def todos(code: str, missing: list[Missing], now: datetime) -> list[Todo]:
    """The work that is missing in the given order; what several rules ask for appears once."""
    found: dict[tuple[str, str], Todo] = {}
    for item in missing:
        work, ahead = item.todo, item.earliest is not None and item.earliest > now
        todo = Todo(work.words, work.command(code), day(item.earliest) if ahead else "", work.kind)
        found.setdefault((todo.command, todo.words), todo)
    return list(found.values())


OutcomeWord = StrEnum("OutcomeWord", {each.name: each.word for each in sorted(Outcome, reverse=True)})  # type: ignore[misc]
"""What a cell may be used for, as a person writes it."""


ALLOWS: dict[Outcome, str] = {
    Outcome.PACK: "may be joined with matched cells in series or parallel",
    Outcome.SOLO: "may serve alone, in single-cell devices",
    Outcome.LIGHT: "may serve alone, in devices that draw little",
    Outcome.HOLD: "not decided yet: do not use it",
    Outcome.DISCARD: "out of use for good: never charge it, never build it in",
}


# Three fields of a gauge for what a cell may do, as on its label: they differ without any colour.
SIGNS: dict[Outcome, str] = {
    Outcome.PACK: "▮▮▮",
    Outcome.SOLO: "▮▮▯",
    Outcome.LIGHT: "▮▯▯",
    Outcome.HOLD: "···",
    Outcome.DISCARD: "✕✕✕",
}


def headline(verdict: Verdict) -> str:
    """`PACK until 2027-01-31: may be joined ...`: the word, the day until which it holds, what it allows."""
    until_when = f" until {until(verdict)}" if until(verdict) != "-" else ""
    return f"{verdict.outcome.word.upper()}{until_when}: {ALLOWS[verdict.outcome]}"


def after_a_write(verdict: Verdict, shown: Container[RecordKey], *, again: bool) -> str:
    """What the cell is now, in as few words as leave no danger out; a discard says why.

    `shown` are the numbers of the readings beside it, whose figures are not repeated; `again` shortens a hold, too.
    """
    if verdict.outcome is Outcome.DISCARD:
        decides = verdict.deciding[0]
        limit = figure(decides.limit, decides.unit) if isinstance(decides.limit, float) else None
        beside = limit is not None and decides.reading in shown
        because = f"{decides.reading}: limit {limit}" if beside else why(verdict)[0]
        return f"DISCARD, never charge it ({because})"
    return "HOLD: do not use it" if again and verdict.outcome is Outcome.HOLD else headline(verdict)


def why(verdict: Verdict, at_most: int = 99) -> list[str]:
    """The texts of the deciding reasons, the weightiest first."""
    texts = _each_figure_once(verdict.deciding)
    more = len(texts) - at_most
    return texts[:at_most] + ([f"and {more} more: straycell verdict show {verdict.code}"] if more > 0 else [])


def _each_figure_once(reasons: Sequence[Reason]) -> list[str]:
    """`1480 mAh is 74%: solo, not enough for pack`: a figure that answers several steps appears once."""
    by_figure: dict[str, list[Reason]] = {}
    for reason in reasons:
        by_figure.setdefault(reason.figure or reason.text, []).append(reason)
    reached = {outcome.word for outcome in Outcome}
    texts = []
    for known, same in by_figure.items():
        answers = sorted((reason.answer for reason in same), key=lambda answer: answer not in reached)
        texts.append(f"{known}: {', '.join(answers)}" if len(same) > 1 else same[0].text)
    return texts


def until(verdict: Verdict) -> str:
    """The day until which a use is allowed; `-` when none is."""
    return day(usable_until(verdict.outcome, verdict.valid_until))


def next_steps(verdict: Verdict, now: datetime) -> list[str]:
    """What to do, soonest first, each with the day on which it could decide."""
    return [step.on_page for step in steps(verdict, now)]


_VERBS: dict[WorkKind, str] = {
    WorkKind.LOOK: "look",
    WorkKind.REST: "rest voltage",
    WorkKind.CHARGE: "charge",
    WorkKind.CHARGER: "charger",
    WorkKind.CAPACITY: "capacity",
    WorkKind.RESISTANCE: "resistance",
    WorkKind.MASS: "weigh",
    WorkKind.WEIGH: "weigh",
    WorkKind.TEMPERATURE: "temperature",
    WorkKind.CORRECT: "correct",
    WorkKind.SUPERSEDE: "supersede",
    WorkKind.DISCARD: "discard",
    WorkKind.WAIT: "wait",
}


def next_in_short(verdict: Verdict, now: datetime) -> str | None:
    """The soonest thing to do as a word or two, or the day on which it could decide; None where nothing is."""
    if verdict.outcome is Outcome.DISCARD:
        return "hand over"
    first = next(iter(in_order(verdict, now)), None)
    if first is None:
        return None
    later = first.earliest is not None and first.earliest > now
    return f"wait: {day(first.earliest)}" if later else _VERBS[first.todo.kind]


def steps(verdict: Verdict, now: datetime) -> list[Todo]:
    """What to do, soonest first; the way out for a cell out of use, the next check for one that nothing lacks."""
    if verdict.outcome is Outcome.DISCARD:
        apart = "keep it apart, its ends covered, until it goes to the collection point"
        back = _way_back(verdict)
        # "May it ever come back?" is asked of every one of them.
        final = "" if back else "; no later record brings it back"
        return [Todo(f"{apart}{final}", "straycell handover add PLACE"), *back]
    found = todos(verdict.code, in_order(verdict, now), now)
    if not found and verdict.valid_until is not None:
        found.append(Todo(f"check it again before {day(verdict.valid_until)}", "straycell due"))
    return found


def _way_back(verdict: Verdict) -> list[Todo]:
    """A discard that rests on one reading alone falls only with that reading."""
    # Several readings condemn: taking one back would change nothing, so no way is shown.
    behind = {reason.reading for reason in verdict.deciding}
    if len(behind) != 1 or None in behind:
        return []
    number = behind.pop()
    command = f"straycell reading supersede {number} --mistake WORD --because TEXT"
    no_other = "no later reading brings the cell back"
    return [Todo(f"only if reading {number} was a mistake ({no_other})", command)]


def in_order(verdict: Verdict, now: datetime) -> list[Missing]:
    """What is missing, by the day that could decide it; no charge and no run while one is forbidden."""
    barred = () if charge_barrier(verdict) is None else (WorkKind.CHARGE, WorkKind.CAPACITY)
    # What could decide soonest comes first: a person reads the first line and goes.
    return sorted(
        (missing for missing in verdict.missing if missing.todo.kind not in barred),
        key=lambda missing: max(missing.earliest or now, now),
    )


_DAMAGE = ("look-damage", "look-deformed", "look-returned", "look-rust-stain")


def handling(verdict: Verdict) -> list[Step]:
    """The steps whose cautions go with a cell that is looked at: it is measured next, or parted with."""
    return parting(verdict) if verdict.outcome is Outcome.DISCARD else [Step.MEASURING]


def parting(verdict: Verdict) -> list[Step]:
    """The step whose cautions a cell out of use asks for: what was seen of it says which."""
    failed = {r.rule for r in verdict.reasons if r.status is Status.FAILED}
    # A damaged cell goes outdoors, not into a box among others: words for both would contradict each other.
    if not failed.isdisjoint(_DAMAGE):
        return [Step.LOOK_BAD]
    return [Step.LOW_VOLTAGE, Step.DISCARD] if "voltage-floor" in failed else [Step.DISCARD]
