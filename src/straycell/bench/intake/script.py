"""What a dialogue may ask, say and have done. It yields these values; whoever drives it sends back the answer."""

from collections.abc import Callable, Generator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Concatenate, ParamSpec, TypeAlias, TypeVar

from straycell.bench.context import Bench
from straycell.bench.intake.store_actions import Found, find_code
from straycell.bench.intake.words import is_code_like
from straycell.cells import CellFacts
from straycell.errors import StraycellError
from straycell.safety import Step

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


Tone = StrEnum("Tone", "PLAIN HEAD GOOD FAULT DANGER")
"""How a line is said: the terminal gives each its weight."""


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


@dataclass(frozen=True, slots=True)
class Say:
    """A line for the person."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Large:
    """A code in large letters."""

    code: str


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


Effect: TypeAlias = Ask | Say | Large | Caution | Act
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


class Scanned(Exception):
    """A cell's code came where something else was asked for. A scanner types wherever the cursor is."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


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
