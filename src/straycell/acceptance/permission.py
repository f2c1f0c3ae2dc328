"""May a cell be charged, used, offered? The one place that answers: every screen, label and plan asks it.

In: what its verdict says, until when that holds, and the stage of its life. Out: yes, or why not.
"""

from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance.reasons import Outcome, Reason, Status, Verdict
from straycell.acceptance.rules import hold_of
from straycell.cells import CellFacts, Chemistry, Stage

FREE = (Stage.RECEIVED, Stage.SHELVED)
"""Stages in which a cell is nobody's."""


def least_outcome(*, joined: bool) -> Outcome:
    """What a cell must be: `pack` to be joined with others, `light` to serve by itself."""
    return Outcome.PACK if joined else Outcome.LIGHT


def usable(outcome: Outcome) -> bool:
    """True for an outcome that allows any use at all."""
    return outcome >= least_outcome(joined=False)


def usable_until(outcome: Outcome, valid_until: datetime | None) -> datetime | None:
    """Until when a verdict allows a use; None where it allows none, or names no end."""
    # A date beside a hold or a discard would read like a permission up to then.
    return valid_until if usable(outcome) else None


@dataclass(frozen=True, slots=True)
class Permission:
    """What a cell is fit for at a moment. `in_date`: no reading has grown too old."""

    outcome: Outcome
    stage: Stage
    in_date: bool

    @property
    def free(self) -> bool:
        """True for a cell that nobody holds."""
        return self.stage in FREE

    def may_use(self, *, joined: bool = False) -> bool:
        """True when a device may use it, by itself or `joined` with others."""
        # Joined cells share currents and states, so one weak cell endangers the others: pack needs the
        # strictest grade.
        return self.in_date and self.outcome >= least_outcome(joined=joined)

    def against_offer(self, *, joined: bool = False) -> list[str]:
        """Why it may not be offered, in words; empty where it may."""
        # All reasons at once: a person who settles one should not meet the next an hour later.
        least = least_outcome(joined=joined)
        faults = [] if self.outcome >= least else [f"is {self.outcome.word}, not {least.word}"]
        faults += [] if self.free else [f"is {self.stage}"]
        return faults + ([] if self.in_date else ["has a verdict that has run out"])


def maker_may_raise(outcome: Outcome, facts: CellFacts) -> bool:
    """Whether the figure of a cell's maker counts where it is above the rules' rate."""
    # A light cell is worn, and a sleeve put on later bears another cell's figures.
    return outcome > Outcome.LIGHT and not facts.rewrapped


def more_from_maker(outcome: Outcome, facts: CellFacts, code: str, what: str) -> str:
    """How to record the maker's `charge` or `discharge` current; empty where it is recorded or could not raise."""
    known_a = facts.maker_charge_current_a if what == "charge" else facts.maker_discharge_current_a
    if known_a is not None or not maker_may_raise(outcome, facts):
        return ""
    return (
        f"if its maker's sheet allows more, record that: straycell cell correct {code or 'CODE'} "
        f"--maker-{what}-current Q --because TEXT"
    )


def out_of_use(outcome: Outcome | None, stage: Stage, chemistry: Chemistry) -> bool:
    """True for a cell that nobody may charge or use again, whatever else is known of it. None: no verdict."""
    # Any one of the three is enough: a warning too many costs a label, one too few a fire.
    gone = stage in (Stage.CONDEMNED, Stage.HANDED_OVER, Stage.WITHDRAWN)
    return gone or outcome is Outcome.DISCARD or chemistry is Chemistry.PRIMARY


def permission(outcome: Outcome, stage: Stage, valid_until: datetime | None, now: datetime) -> Permission:
    """What its verdict allows at `now` (UTC); a verdict holds up to the moment it names, and not at it."""
    # An expired verdict is not a verdict: since then a cell may have sunk, and nobody has looked.
    return Permission(outcome, stage, valid_until is None or now < valid_until)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a cell may have no charge at all, and what to do before anything else."""

    why: str
    first: str


def charge_refusal(verdict: Verdict, chemistry: Chemistry) -> Refusal | None:
    """Why a cell may have no charge, not even a test charge; None where it may have one."""
    if chemistry is Chemistry.PRIMARY:
        return Refusal(
            "it is not rechargeable: never charge it", "tape its ends; it goes to the collection point"
        )
    if verdict.outcome is Outcome.DISCARD:
        because = next((r.text for r in verdict.deciding), "")
        return Refusal(
            f"it is discarded: never charge it ({because})", "keep it apart; it goes to the collection point"
        )
    # 3.65 V and 4.20 V are both usual: the wrong one over-charges an lfp cell by half a volt.
    if chemistry is Chemistry.UNKNOWN:
        return Refusal(
            "its chemistry is not known: no charge voltage is safe for it", "find out the chemistry first"
        )
    barrier = charge_barrier(verdict)
    if barrier is None:
        return None
    first = f"{barrier.todo.words}: {barrier.todo.command(verdict.code)}" if barrier.todo else ""
    return Refusal(f"no charge yet: {barrier.text}", first)


def charge_barrier(verdict: Verdict) -> Reason | None:
    """The reason for which a cell may not be charged before it is settled; None where there is none."""
    return next(
        (
            reason
            for reason in verdict.reasons
            # A rule that only keeps the cell at `light` has done its work; one that holds it forbids the charge.
            if reason.safety and reason.ceiling <= Outcome.HOLD and reason.status is not Status.MET
            # Some questions are answered by looking or measuring, never by trying a charge.
            if reason.status is Status.FAILED or not hold_of(reason.rule).charge
        ),
        None,
    )
