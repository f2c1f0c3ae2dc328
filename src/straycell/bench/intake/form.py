"""Questions in a row, each correctable by one key. What is asked next follows from the answers so far."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from straycell.bench.intake.script import Ask, Key, Say, Scanned, Talk, Tone, ask, fault
from straycell.bench.intake.words import is_yes
from straycell.errors import StraycellError

Answers = Mapping[str, Any]
NOTE = "note"
"""An answer under this name is said to the person and not kept."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question of a form. `take` turns the line typed ("" for Enter) into answers; it raises BadData.

    `joins` tells whether the rest of a line may answer it, behind the answers before it.
    """

    key: str
    ask: Ask
    take: Callable[[str], Answers]
    joins: Callable[[str], bool] = bool


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
    code: str = "",
) -> Talk[Trail | None]:
    """Ask until nothing is left to ask; None when the person goes back beyond the first question.

    With `redo_last` the last answer of the trail is asked for again, and Enter keeps it. `former` has what was
    typed at questions that are open again; it outlives going back beyond the first. Raises Scanned when another
    cell than `code` takes the place of this one.
    """
    done, former, refused = list(trail), dict[str, str]() if former is None else former, ""
    if redo_last and done:
        _reopen(done, former)
    while (question := next_question(merged(done))) is not None:
        kept = former.get(question.key, "")
        try:
            # A scan may have changed the cell unasked as long as nothing is answered: then the prompt names it.
            named = "" if done else code
            text = yield from ask(_asked(question, kept, named, again=refused == question.key))
        except Scanned as seen:
            if (yield from _leaves(seen.code, code, answered=bool(done))):
                raise
            continue
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
            taken = _take_line(next_question, done, question, text or kept)
        except StraycellError as error:
            yield fault(error)
            refused = question.key
            continue
        if text and text != kept:
            former.clear()  # what followed another answer is not a default any more
        for each, note in taken:
            if note:
                yield Say(note)
            done.append(each)
        # A doubted answer is none: Enter, pressed in haste, must not keep it.
        former |= {each.key: each.text for each, _ in taken if each.key in each.answers}
    return tuple(done)


def _leaves(seen: str, code: str, *, answered: bool) -> Talk[bool]:
    """Whether the cell in hand is left for the one whose code was scanned; asked when answers would be lost."""
    if seen == code:
        yield Say(f"{seen}: yes, that is this cell")
        return False
    if not answered or not code:
        return True
    yield Say(f"{seen} is another cell. What was typed of {code} is not recorded yet.", Tone.FAULT)
    text = yield from ask(Ask(f"y drops it and goes to {seen}; Enter stays with {code}"), for_code=True)
    return is_yes(text)


def _take_line(
    next_question: NextQuestion, done: Sequence[Answered], question: Question, text: str
) -> list[tuple[Answered, str]]:
    """The answers that a line gives, with their notes: to this question and, after a blank, to those that follow.

    As many words as make an answer are one. Raises the fault of the first answer when the line is not used up.
    """
    words, fault_of_line = text.split(" "), None
    for cut in range(len(words), 0, -1):
        head, rest = " ".join(words[:cut]), " ".join(words[cut:]).strip()
        try:
            found = dict(question.take(head))
            note = found.pop(NOTE, "")
            first = Answered(question.key, head, found)
            if not rest:
                return [(first, note)]
            follows = next_question(merged([*done, first]))
            # The same question again is a doubt about the answer: what follows it was not an answer either.
            if follows is None or follows.key == question.key or not follows.joins(rest):
                continue
            return [(first, note), *_take_line(next_question, [*done, first], follows, rest)]
        except StraycellError as error:
            fault_of_line = fault_of_line or error
    assert fault_of_line is not None
    raise fault_of_line


def _asked(question: Question, kept: str, code: str, *, again: bool) -> Ask:
    """The question with the answer that Enter keeps; right after a refusal its legend is still above."""
    asked = replace(question.ask, default=kept or question.ask.default, history=question.key)
    asked = replace(asked, prompt=f"{code} {asked.prompt}") if code else asked
    return replace(asked, legend="") if again else asked


def _reopen(done: list[Answered], former: dict[str, str]) -> None:
    last = done.pop()
    former[last.key] = last.text
