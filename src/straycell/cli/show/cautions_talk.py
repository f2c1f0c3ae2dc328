"""The cautions for the step at hand, on stderr, wherever a step leads to handling a cell.

With --quiet they come in their fewest words; no danger is ever left out.
"""

from __future__ import annotations

from collections.abc import Iterable

from straycell.acceptance.reasons import Status, Verdict
from straycell.cells import CellFacts, Chemistry, Form
from straycell.cli.app import options, output
from straycell.safety import Step, cautions_for_all, fewest_words


def talk_cautions(*steps: Step, kinds: Iterable[CellFacts] = (), full: bool = False) -> None:
    """Say the cautions of these steps, and those that the kinds of cell at hand add. Short unless `full`.

    With --quiet what is full becomes short, and what is short says its dangers and where to turn.
    """
    wanted = [*steps]
    facts = list(kinds)
    if any(known.chemistry is Chemistry.PRIMARY for known in facts):
        wanted.append(Step.PRIMARY)
    if any(known.form is Form.POUCH for known in facts):
        wanted.append(Step.POUCH)
    quiet = options.current().quiet
    found = fewest_words(wanted) if quiet else cautions_for_all(wanted, quiet=not full)
    texts = [caution.text for caution in found]
    for text in texts if full else [" ".join(texts)]:
        output.talk(f"caution: {text}")


_DAMAGE = ("look-damage", "look-deformed", "look-returned", "look-rust-stain")


def parting(verdict: Verdict) -> list[Step]:
    """The steps whose cautions a cell out of use asks for: those of damage only where it was seen."""
    damaged = any(r.rule in _DAMAGE and r.status is Status.FAILED for r in verdict.reasons)
    return [Step.LOOK_BAD, Step.DISCARD] if damaged else [Step.DISCARD]
