"""The guided intake on a page: the same dialogue as at the terminal, one question a screen.

A dialogue is a generator that yields what it asks, says and wants done (`bench.intake.script`). It lives in memory: what
was finished is in the store, and a page that is started again begins with the next cell.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from threading import Lock
from typing import Any

from straycell.bench.context import Bench
from straycell.bench.intake.records import outlook_lines
from straycell.bench.intake.script import Act, Ask, Caution, Effect, Say, Talk, Tone, advance
from straycell.bench.intake.session import KEYS, intake
from straycell.bench.intake.state import Session, left_over

Cautions = Callable[[Caution], list[str]]


@dataclass
class Conversation:
    """One device's evening. `step` counts the questions: an answer to an earlier one is not taken twice."""

    session: Session
    dialogue: Talk[None]
    lines: list[Say] = field(default_factory=list)
    question: Ask | None = None
    step: int = 0
    # A phone sends an impatient second tap while the first answer is still being written.
    lock: Lock = field(default_factory=Lock)

    def begin(self, bench: Bench, cautions: Cautions) -> None:
        """Go to the first question."""
        self._go_on(None, bench, cautions)

    def answer(self, step: int, text: str, bench: Bench, cautions: Cautions) -> None:
        """Take the answer to question `step` and go to the next one."""
        with self.lock:
            # The answer got lost on the way and was sent again: the dialogue is further already.
            if step != self.step or self.question is None:
                return
            self.lines = []
            self._go_on(text, bench, cautions)

    def end(self) -> None:
        """Drop the cell in hand; what was finished is in the store."""
        with self.lock:
            self.dialogue.close()
            self.question = None
            self._close()

    def _go_on(self, text: str | None, bench: Bench, cautions: Cautions) -> None:
        carry_out = partial(self._carry_out, bench, cautions)
        self.question = advance(self.dialogue, text, carry_out)
        if self.question is None:
            self._close()
        else:
            self.step += 1

    def _carry_out(self, bench: Bench, cautions: Cautions, effect: Effect) -> Any:
        if isinstance(effect, Say):
            # The page has buttons for the keys that the terminal explains first.
            self.lines += [] if effect == Say(KEYS) else [effect]
            return None
        if isinstance(effect, Caution):
            self.lines += [Say(text, Tone.FAULT) for text in cautions(effect)]
            return None
        assert isinstance(effect, Act)
        return effect.on(bench)

    def _close(self) -> None:
        self.lines += left_over(self.session)
        self.lines += [Say(text) for text in outlook_lines(list(self.session.kept.values()))]


def converse(session: Session) -> Conversation:
    """An evening that has not begun."""
    return Conversation(session, intake(session))
