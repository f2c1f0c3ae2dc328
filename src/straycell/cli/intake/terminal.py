"""The person's side of a dialogue: one line in, words out on stderr, so that stdout stays data."""

import shutil
import sys
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any

from straycell.bench.context import Bench
from straycell.bench.intake.script import Act, Ask, Caution, Effect, Say, Talk, Tone, advance
from straycell.cli.app import cautions, options, output
from straycell.cli.intake.glyphs import large
from straycell.cli.intake.line_editor import LineEditor
from straycell.errors import UsageFault
from straycell.safety import added_by, spoken_cautions

_WEIGHT = {Tone.HEAD: "1", Tone.GOOD: "32", Tone.FAULT: "33", Tone.DANGER: "1;31"}
_CSI = "\x1b["
_LEGENDS_WHOLE = 3


class Ended(Exception):
    """The input ended (Ctrl-D): there is nobody to ask any more."""


def require_terminal() -> None:
    """Raise UsageFault when nobody can be asked."""
    if not all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr)):
        raise UsageFault(
            "intake asks a person, and there is no terminal here",
            "in a script: straycell cell add, reading add; many at once: import cells, import readings",
        )


class Terminal:
    """Shows and asks; everything else is done on the bench as it is at that moment."""

    def __init__(self, bench: Callable[[], Bench], env: Mapping[str, str]) -> None:
        self._bench = bench
        self._plain = bool(env.get("NO_COLOR")) or env.get("TERM") == "dumb"
        self._read_tonight: frozenset[str] = frozenset()
        self._legends: Counter[str] = Counter()
        self._editor = LineEditor()

    def run(self, dialogue: Talk[Any]) -> None:
        """Drive a dialogue to its end. Raises Ended, KeyboardInterrupt."""
        text = None
        while (question := advance(dialogue, text, self._carry_out)) is not None:
            text = self.ask(question)

    def _carry_out(self, effect: Effect) -> Any:
        if isinstance(effect, Say):
            return self.say(effect.text, effect.tone)
        if isinstance(effect, Caution):
            return self.caution(effect)
        assert isinstance(effect, Act)
        return effect.on(self._bench())

    def ask(self, question: Ask) -> str:
        """The line typed, blanks at its ends and keys that steer a terminal cut away."""
        if question.legend:
            self._legend(question.legend)
        default = f" [{question.default}]" if question.default else ""
        colon = "" if question.prompt.endswith("?") and not default else ":"
        *above, last = self._wrap(f"{question.prompt}{default}{colon}")
        for line in above:
            print(line, file=sys.stderr)
        typed = self._editor.read(f"{last} ", question.history)
        if typed is None:
            print(file=sys.stderr)
            raise Ended
        return _tidy(typed)

    def _legend(self, text: str) -> None:
        """Whole for the first cells of an evening, then its first line: all of it each time is read past."""
        self._legends[text] += 1
        first, *more = text.split("\n")
        self.say(text if not more or self._legends[text] <= _LEGENDS_WHOLE else f"{first}  ? all letters")

    def say(self, text: str, tone: Tone = Tone.PLAIN) -> None:
        if tone is Tone.LARGE:
            self._large(text)
            return
        for paragraph in text.split("\n"):
            for line in self._wrap(paragraph):
                self._print(line, tone)

    def _large(self, code: str) -> None:
        """The code in large letters, with an empty line above and below."""
        # Read from arm's length, with a pen in a gloved hand.
        print(file=sys.stderr)
        for line in large(code, self._width(), "█" if output.can_show("█", sys.stderr) else "#"):
            self._print(line, Tone.HEAD)
        print(file=sys.stderr)

    def caution(self, caution: Caution) -> None:
        """In full when the danger is new today, after that in one short line."""
        steps = [*caution.steps, *added_by([caution.facts] if caution.facts is not None else [])]
        # What this evening said counts even where the state folder cannot be written.
        known = self._read_tonight | cautions.read_in_full()
        texts, in_full = spoken_cautions(steps, known, quiet=options.current().quiet)
        for text in texts:
            self.say(f"! {text}", Tone.FAULT)
        self._read_tonight = known.union(in_full)
        cautions.remember(in_full)

    def _print(self, line: str, tone: Tone) -> None:
        weight = "" if self._plain else _WEIGHT.get(tone, "")
        print(f"{_CSI}{weight}m{line}{_CSI}0m" if weight else line, file=sys.stderr)

    def _wrap(self, text: str) -> list[str]:
        lead = " " * (len(text) - len(text.lstrip(" ")))
        return output.wrapped(text, self._width(), rest=lead + "  ")

    @staticmethod
    def _width() -> int:
        # Beyond a hundred columns the eye loses the line.
        return max(40, min(shutil.get_terminal_size((80, 24)).columns, 100))


def _tidy(line: str) -> str:
    """Arrow keys and the like leave escape sequences in a plain line; what they leave is not an answer."""
    return "".join(c for c in line.split("\x1b")[0] if c.isprintable()).strip()
