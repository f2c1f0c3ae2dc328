"""The guided intake on a page: the same dialogue as at the terminal, one question a screen.

A dialogue is a generator that yields what it asks, says and wants done (`bench.intake.script`). It lives in memory: what
was finished is in the store, and a page that is started again begins with the next cell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock
from typing import Any

from straycell.bench.intake import closing
from straycell.bench.intake.script import Ask, Caution, Large, Say, Talk, Tone
from straycell.bench.intake.session import KEYS, intake
from straycell.bench.intake.state import Session
from straycell.errors import StraycellError

Do = Callable[[object], Any]
Cautions = Callable[[Caution], list[str]]


@dataclass
class Conversation:
    """One device's evening. `step` counts the questions: an answer to an earlier one is not taken twice."""

    session: Session
    dialogue: Talk[None]
    lines: list[Say | Large] = field(default_factory=list)
    question: Ask | None = None
    step: int = 0
    lock: Lock = field(default_factory=Lock)

    def begin(self, do: Do, cautions: Cautions) -> None:
        """Go to the first question."""
        self._run(do, cautions, lambda: next(self.dialogue))

    def answer(self, step: int, text: str, do: Do, cautions: Cautions) -> None:
        """Take the answer to question `step` and go to the next one."""
        with self.lock:
            # The answer got lost on the way and was sent again: the dialogue is further already.
            if step != self.step or self.question is None:
                return
            self.lines = []
            self._run(do, cautions, lambda: self.dialogue.send(text))

    def end(self) -> None:
        """Drop the cell in hand; what was finished is in the store."""
        with self.lock:
            self.dialogue.close()
            self.question = None
            self._close()

    def _run(self, do: Do, cautions: Cautions, resume: Callable[[], Any]) -> None:
        try:
            effect = resume()
            while not isinstance(effect, Ask):
                try:
                    said = self._carry_out(effect, do, cautions)
                # Thrown into the dialogue: it knows which answer to ask again.
                except StraycellError as error:
                    effect = self.dialogue.throw(error)
                else:
                    effect = self.dialogue.send(said)
            self.question, self.step = effect, self.step + 1
        except StopIteration:
            self.question = None
            self._close()

    def _carry_out(self, effect: object, do: Do, cautions: Cautions) -> Any:
        if isinstance(effect, Say | Large):
            # The page has buttons for the keys that the terminal explains first.
            self.lines += [] if effect == Say(KEYS) else [effect]
            return None
        if isinstance(effect, Caution):
            self.lines += [Say(text, Tone.FAULT) for text in cautions(effect)]
            return None
        return do(effect)

    def _close(self) -> None:
        self.lines += closing.left_over(self.session)
        self.lines += [Say(text) for text in closing.outlook_lines(list(self.session.kept.values()))]


def converse(session: Session) -> Conversation:
    """An evening that has not begun."""
    return Conversation(session, intake(session))
