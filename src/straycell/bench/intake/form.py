"""Questions in a row, each correctable by one key. What is asked next follows from the answers so far."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from straycell.bench.intake.script import Ask, Key, Say, Talk, Tone, ask, fault
from straycell.errors import StraycellError

Answers = Mapping[str, Any]
NOTE = "note"
"""An answer under this name is said to the person and not kept."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question of a form. `take` turns the line typed ("" for Enter) into answers; it raises BadData."""

    key: str
    ask: Ask
    take: Callable[[str], Answers]


@dataclass(frozen=True, slots=True)
class Answered:
    """A question with the line it was answered by, and what that meant."""

    key: str
    text: str
    answers: Answers


Trail = tuple[Answered, ...]
NextQuestion = Callable[[Answers], Question | None]


def merged(trail: Sequence[Answered]) -> dict[str, Any]:
    """All answers of a trail."""
    return {key: value for each in trail for key, value in each.answers.items()}


def fill(
    next_question: NextQuestion,
    trail: Trail = (),
    *,
    redo_last: bool = False,
    former: dict[str, str] | None = None,
) -> Talk[Trail | None]:
    """Ask until nothing is left to ask; None when the person goes back beyond the first question.

    With `redo_last` the last answer of the trail is asked for again, and Enter keeps it. `former` has what was
    typed at questions that are open again; it outlives going back beyond the first.
    """
    done, former, refused = list(trail), dict[str, str]() if former is None else former, ""
    if redo_last and done:
        _reopen(done, former)
    while (question := next_question(merged(done))) is not None:
        kept = former.get(question.key, "")
        text = yield from ask(_asked(question, kept, again=refused == question.key))
        refused = ""
        if text == Key.BACK:
            if not done:
                return None
            _reopen(done, former)
            continue
        if text == Key.DONE:
            yield Say("not here: finish this first, or Ctrl-C drops it", Tone.FAULT)
            continue
        try:
            found = dict(question.take(text or kept))
        except StraycellError as error:
            yield fault(error)
            refused = question.key
            continue
        if note := found.pop(NOTE, ""):
            yield Say(note)
        if text and text != kept:
            former.clear()  # what followed another answer is not a default any more
        former[question.key] = text or kept
        done.append(Answered(question.key, text or kept, found))
    return tuple(done)


def _asked(question: Question, kept: str, *, again: bool) -> Ask:
    """The question with the answer that Enter keeps; right after a refusal its legend is still above."""
    asked = replace(question.ask, default=kept) if kept else question.ask
    return replace(asked, legend="") if again else asked


def _reopen(done: list[Answered], former: dict[str, str]) -> None:
    last = done.pop()
    former[last.key] = last.text
