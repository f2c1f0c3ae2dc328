"""What a dialogue may ask, say and have done; and questions in a row, each correctable by one key.

It yields these values; whoever drives it sends back the answer. What is asked next follows from the answers so far.
"""

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Concatenate, ParamSpec, TypeAlias, TypeVar

from straycell.bench.context import Bench
from straycell.bench.intake.store_actions import Found, find_code
from straycell.bench.intake.words import is_code_like, is_yes
from straycell.cells import CellFacts
from straycell.errors import BadData, StraycellError
from straycell.safety import Step
from straycell.shipped import shipped_table

P = ParamSpec("P")
T = TypeVar("T")


class Key(StrEnum):
    """Answers that are one key, the same at every prompt."""

    BACK = "<"
    HELP = "?"
    DONE = "q"
    NONE = "-"
    SAME = "="
    NEXT = "+"


Tone = StrEnum("Tone", "PLAIN HEAD GOOD FAULT DANGER LARGE")
"""How a line is said: the terminal gives each its weight. A code that is written on its cell is said large."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One question; the answer is the line typed. `default` is what Enter takes, `why` what `?` says.

    `legend` is above the prompt each time. Questions of one `history` share what was typed before; "" has none.
    """

    prompt: str
    default: str = ""
    why: str = ""
    legend: str = ""
    history: str = ""


def asking(name: str, more: str = "", **said: str) -> Ask:
    """A question out of the table of questions, with what is said of it at this moment; `more` ends its `why`."""
    asked = Ask(**{**shipped_table("bench/intake/questions.toml")[name], **said})
    return replace(asked, why=f"{asked.why} {more}") if more else asked


@dataclass(frozen=True, slots=True)
class Say:
    """A line for the person."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Caution:
    """The short cautions of some steps, with what the kind of cell adds."""

    steps: tuple[Step, ...]
    facts: CellFacts | None = None


@dataclass(frozen=True, slots=True)
class Act:
    """Something the bench does; the answer is what it returns. Its StraycellErrors come back into the dialogue."""

    does: Callable[..., Any]
    given: tuple[object, ...]

    def on(self, bench: Bench) -> Any:
        """Do it."""
        return self.does(bench, *self.given)


Effect: TypeAlias = Ask | Say | Caution | Act
Talk: TypeAlias = Generator[Effect, Any, T]


def act(does: Callable[Concatenate[Bench, P], T], *given: P.args, **none: P.kwargs) -> Talk[T]:
    """Have something done on the bench of whoever drives the dialogue."""
    answer: T = yield Act(does, given)
    return answer


def advance(dialogue: Talk[Any], text: str | None, carry_out: Callable[[Effect], Any]) -> Ask | None:
    """Give an answer (None: begin) and go on to the next question, or to the end (None).

    What is said and done on the way goes to `carry_out`.
    """
    try:
        effect = dialogue.send(text)
        while not isinstance(effect, Ask):
            try:
                answer = carry_out(effect)
            # Thrown into the dialogue: it knows which answer to ask again, its driver does not.
            except StraycellError as error:
                effect = dialogue.throw(error)
            else:
                effect = dialogue.send(answer)
        return effect
    except StopIteration:
        return None


@dataclass(eq=False)
class Scanned(Exception):
    """A cell's code came where something else was asked for. A scanner types wherever the cursor is."""

    code: str


def found_by(text: str) -> Talk[Found | None]:
    """Whose code a person typed or scanned; None where it is refused, which is said."""
    try:
        return (yield from act(find_code, text))
    except StraycellError as error:
        yield fault(error)
        return None


def ask(question: Ask, *, for_code: bool = False) -> Talk[str]:
    """Ask until the answer is not a plea for help. Raises Scanned for a code, unless the question is `for_code`."""
    while True:
        text: str = yield question
        if is_code_like(text) and not for_code:
            # By its shape alone: a misread code must not become a title, a print or a figure either.
            if (found := (yield from found_by(text))) is not None:
                raise Scanned(found.code)
            continue
        if text != Key.HELP:
            return text
        yield Say(question.why or "Type what it asks for, or Enter for what is in brackets.")
        if question.legend:
            yield Say(question.legend)


def fault(error: StraycellError) -> Say:
    """A refusal in one line: what is wrong, and what to write instead."""
    what, *remedy = error.lines()
    return Say(" ".join([f"{what}.", *(f"{text[:1].upper()}{text[1:]}." for text in remedy)]), Tone.FAULT)


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
    asker: Callable[[Ask], Talk[str]] = ask,
) -> Talk[Trail | None]:
    """Ask until nothing is left to ask; None when the person goes back beyond the first question.

    With `redo_last` the last answer of the trail is asked for again, and Enter keeps it. `former` has what was
    typed at questions that are open again; it outlives going back beyond the first. Raises Scanned when another
    cell than `code` takes the place of this one, unless the `asker` keeps it for later.
    """
    done, former, refused = list(trail), dict[str, str]() if former is None else former, ""
    if redo_last and done:
        _reopen(done, former)
    while (question := next_question(merged(done))) is not None:
        kept = former.get(question.key, "")
        try:
            # A scan may have changed the cell unasked as long as nothing is answered: then the prompt names it.
            named = "" if done else code
            text = yield from asker(_asked(question, kept, named, again=refused == question.key))
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
    words, fault_of_line, unasked = text.split(" "), None, None
    for cut in range(len(words), 0, -1):
        head, rest = " ".join(words[:cut]), " ".join(words[cut:]).strip()
        try:
            found = dict(question.take(head))
            note = found.pop(NOTE, "")
            first = Answered(question.key, head, found)
            if not rest:
                return [(first, note)]
            follows = next_question(merged([*done, first]))
            if follows is None or not follows.joins(rest):
                # "3.62 s" where no look is asked for would be called a duration, and the swelling be lost.
                unasked = BadData(
                    f"'{rest[:20]}' is not asked for after '{head[:20]}'",
                    "type the answer alone; what is wrong with the cell, by its letter alone",
                )
            # The same question again is a doubt about the answer: what follows it was not an answer either.
            if follows is None or follows.key == question.key or not follows.joins(rest):
                continue
            return [(first, note), *_take_line(next_question, [*done, first], follows, rest)]
        except StraycellError as error:
            fault_of_line = fault_of_line or error
    refusal = unasked or fault_of_line
    assert refusal is not None
    raise refusal


def _asked(question: Question, kept: str, code: str, *, again: bool) -> Ask:
    """The question with the answer that Enter keeps; right after a refusal its legend is still above."""
    asked = replace(question.ask, default=kept or question.ask.default, history=question.key)
    asked = replace(asked, prompt=f"{code} {asked.prompt}") if code else asked
    return replace(asked, legend="") if again else asked


def _reopen(done: list[Answered], former: dict[str, str]) -> None:
    last = done.pop()
    former[last.key] = last.text
