"""The demo on screen: short enough to read in one go, each step with the command that does the same."""

import os
import shlex
import shutil
import sys
import textwrap
from collections.abc import Iterable, Mapping
from pathlib import Path

from straycell.acceptance import Outcome
from straycell.bench import verdict_words
from straycell.cli.app import clock, options, output
from straycell.cli.nouns.keep import demo_story
from straycell.cli.nouns.keep.demo_story import Story
from straycell.plain_text import one_line, screen_lines
from straycell.safety import Step, cautions_for

WIDTH = 80
BEST_FIRST = sorted(Outcome, reverse=True)


def show(story: Story) -> None:
    """Print the walk."""
    output.say(f"An invented workshop on the evening of {output.day(story.now)}: {len(story.cells)} cells.")
    _teardowns(story)
    _cell(story)
    _verdicts(story)
    _next(story)
    _match(story)
    _labels(story)
    _discard(story)
    _end(story)


def _title(text: str, command: str) -> None:
    """A step's heading, with the command that shows or does it at the right edge."""
    current = options.current()
    # The command at the edge teaches while the eye stays on the story.
    gap = " " * max(2, WIDTH - len(text) - len(command))
    text, command = one_line(text), one_line(command)
    heading = f"\x1b[1m{text}\x1b[0m" if current.in_colour else text
    print(file=current.stdout)
    print(f"{heading}{gap}{command}".rstrip(), file=current.stdout)


def _line(text: str, lead: str = "  ", at_most: int = 2) -> None:
    """One entry, wrapped under itself, cut after `at_most` lines."""
    # Cut to two lines: the walk must fit a few screens, and each command shows the rest.
    hang = " " * len(lead)
    output.say(
        *textwrap.wrap(
            screen_lines(text),
            WIDTH,
            initial_indent=lead,
            subsequent_indent=hang,
            max_lines=at_most,
            placeholder=" ...",
            break_on_hyphens=False,
        )
    )


def _caution(texts: Iterable[str]) -> None:
    _line(" ".join(texts), "  caution: ", at_most=3)


def _teardowns(story: Story) -> None:
    _title("1 Opened, and what came out", "straycell teardown list")
    output.say(f"  {'':<37}cells{_columns({o: o.word for o in BEST_FIRST})}")
    for teardown, counts in story.teardowns:
        row = _columns({o: str(counts.get(o) or "-") for o in BEST_FIRST})
        output.say(f"  {teardown.code:<5} {teardown.title:<31}{sum(counts.values()):>5}{row}")
    _caution(demo_story.cautions(Step.TEARDOWN))


def _columns(texts: Mapping[Outcome, str]) -> str:
    return "".join(texts[o].rjust(len(o.word) + 2) for o in BEST_FIRST)


def _cell(story: Story) -> None:
    page = story.page
    _title("2 One cell, as measured", f"straycell cell show {page.cell.code}")
    for recorded in page.recorded:
        what, value, how = demo_story.reading_line(page, recorded.item)
        lead = f"  {output.day(recorded.item.at)}  {what:<12}  {value:<17}  "
        output.say((lead + textwrap.shorten(how, WIDTH - len(lead), placeholder=" ...")).rstrip())
    _line(verdict_words.headline(page.verdict), "  = ")
    _line(f"because {demo_story.why(page.verdict)}", "    ")


def _verdicts(story: Story) -> None:
    _title("3 What each may be used for, and why", "straycell verdict list")
    for outcome in BEST_FIRST:
        count = len(story.of(outcome))
        output.say(f"  {outcome.word:<8}{count:>3}  {verdict_words.ALLOWS[outcome]}")
        for code in demo_story.EXAMPLES[outcome]:
            _line(demo_story.why(story.verdicts[code]), f"      {code}: ")


def _next(story: Story) -> None:
    _title("4 What to do next, and when", "straycell verdict show CODE")
    for code in demo_story.WAITING:
        _line(demo_story.first_step(story, code), f"  {code}: ", at_most=4)


def _match(story: Story) -> None:
    found, refused = story.served, story.unserved
    _title("5 A project and its cell", f"straycell match '{found.project}'")
    for group in found.groups:
        _line(f"{', '.join(group)} serves the {found.project}: the least cell that does it", "  ")
    # Three of some twenty tests; the demo shows how a reason reads, the page shows all.
    telling = [w for w in found.why if w.test in ("current", "runtime", "charger-voltage")]
    for why in telling:
        _line(why.text, "    + ")
    # One example of each kind: kept for a harder job, not fit, and the wrong size.
    for test in ("kept", "outcome", "form"):
        other = next((w for w in found.not_chosen if w.test == test), None)
        if other is not None:
            _line(f"{other.code}: {other.text}", "    - ")
    nearest = refused.nearest or next(iter(refused.not_chosen), None)
    if nearest is not None:
        _line(f"{refused.project} is not served: {nearest.text}", "  ", at_most=3)
    _line(f"Reserved for it: {', '.join(story.reserved.codes)}; promised to nobody else now.", "  ")
    _caution(demo_story.cautions(Step.MATCH))


def _labels(story: Story) -> None:
    _title("6 Labels with the code as a QR symbol", "straycell label sheet --out FILE.pdf")
    output.say(f"  {story.label_count} labels: {story.labels}")
    _caution(demo_story.cautions(Step.LABEL))


def _discard(story: Story) -> None:
    code = demo_story.DISCARDED
    _title("7 Out of use for good", f"straycell discard {code} --because TEXT")
    output.say(f"  {code}: {demo_story.BECAUSE}. No later reading brings it back. Now:")
    now = " ".join(caution.text for caution in cautions_for(Step.DISCARD) if not caution.standing)
    _line(now, "  caution: ", at_most=5)


def _end(story: Story) -> None:
    standing = next(c for c in cautions_for(Step.DISCARD) if c.standing)
    output.say("")
    _line(standing.text, "", at_most=4)
    _title("Look around in it yourself", "")
    activate = Path(sys.prefix, "bin", "activate")
    # Run as .venv/bin/straycell, the next commands would not be found by their bare name.
    if shutil.which("straycell") is None and activate.exists():
        output.say(f"  . {shlex.quote(str(activate))}")
    output.say(
        *(
            f"  set {name}={value}" if os.name == "nt" else f"  export {name}={shlex.quote(value)}"
            for name, value in (("STRAYCELL_STORE", str(story.store)), (clock.PIN, story.now.isoformat()))
        ),
        "  straycell cell list --outcome hold",
        "Or begin your own, in a new shell:  straycell store init",
    )
