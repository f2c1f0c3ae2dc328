"""What happens in the demo, step by step, and what is told of it: as JSON, and as a walk short enough to read in one go."""

import os
import shlex
import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from straycell.acceptance import Outcome, Verdict
from straycell.bench import cell_sheet, verdict_words
from straycell.bench.project_match import project_solver
from straycell.bench.wording import shapes, sheet_words
from straycell.builds import Build
from straycell.cells import Cell, Stage
from straycell.cli.app import clock, context, options, output
from straycell.cli.nouns.use import build, label
from straycell.matching import Match
from straycell.plain_text import one_line, screen_lines
from straycell.readings import Item, Quantity
from straycell.safety import Step, cautions_for, cautions_for_all
from straycell.teardowns import Teardown

WIDTH = 80
BEST_FIRST = sorted(Outcome, reverse=True)
SHOWN_CELL = "H000094"
SERVED, UNSERVED = "greenhouse vent opener", "bench lamp"
DISCARDED, BECAUSE = "H000326", "weighed again: still 31 g"
EXAMPLES: dict[Outcome, tuple[str, ...]] = {
    Outcome.PACK: ("H000158",),
    Outcome.SOLO: ("H00027Z",),
    Outcome.LIGHT: ("H000254",),
    Outcome.HOLD: ("H00014A",),
    Outcome.DISCARD: ("H000238", "H00051Z"),
}
WAITING = ("H00056P", "H00067L", "H000342")
"""Cells on hold whose next step differs: the sample text says why each is there."""


@dataclass(frozen=True, slots=True)
class Story:
    """Everything the demo did, in order; the screen and the JSON document both follow from it."""

    now: datetime
    store: Path
    labels: Path
    teardowns: tuple[tuple[Teardown, Mapping[Outcome, int]], ...]
    cells: Mapping[str, Cell]
    verdicts: Mapping[str, Verdict]
    page: cell_sheet.CellSheet
    served: Match
    unserved: Match
    reserved: Build
    label_count: int
    freed: str | None

    def of(self, outcome: Outcome) -> list[Verdict]:
        """The verdicts with this outcome, by code."""
        return [verdict for verdict in self.verdicts.values() if verdict.outcome is outcome]


def live(now: datetime, store: Path, labels: Path) -> Story:
    """Read, match, reserve, print and discard on the store of the running session."""
    bench = context.bench()
    with bench.reading() as reader:
        cells = {cell.code: cell for cell in reader.cells()}
        verdicts = reader.verdicts(bench.rules, now)
        teardowns = _came_out(reader.teardowns(), cells.values(), verdicts)
        page = cell_sheet.sheet_of(bench, reader, SHOWN_CELL)
        solvers = [project_solver(bench, reader, name) for name in (SERVED, UNSERVED)]
    served, unserved = (solve() for solve in solvers)
    with context.writing() as writer:
        reserved = writer.reserve(SERVED, served.groups, served.plan or "")
    # Two writes with the labels between them, as at the bench: the sheet still shows the cell that is discarded next.
    count = _print_labels(labels)
    with context.writing() as writer:
        freed = writer.discard(DISCARDED, BECAUSE)
    return Story(
        now, store, labels, teardowns, cells, verdicts, page, served, unserved, reserved, count, freed
    )


def _came_out(
    teardowns: Sequence[Teardown], cells: Any, verdicts: Mapping[str, Verdict]
) -> tuple[tuple[Teardown, Mapping[Outcome, int]], ...]:
    counts: dict[str | None, Counter[Outcome]] = {}
    for cell in cells:
        counts.setdefault(cell.teardown, Counter())[verdicts[cell.code].outcome] += 1
    return tuple((teardown, counts.get(teardown.code, Counter())) for teardown in teardowns)


def _print_labels(path: Path) -> int:
    """A sheet with every cell in the house; returns how many."""
    with context.reading() as reader:
        codes = [cell.code for cell in reader.cells() if cell.stage is not Stage.HANDED_OVER]
    return label.print_cells(codes, path)


def reading_line(page: cell_sheet.CellSheet, item: Item) -> tuple[str, str, str]:
    """(what, value, how) of one reading or charge, in words."""
    what = {Quantity.AS_FOUND_VOLTAGE: "as found", Quantity.VOLTAGE: "rest voltage"}.get(item.quantity)
    value, how = sheet_words.value_text(item, page.defaults), sheet_words.describe(item)
    return what or item.quantity.value, value, how


def first_step(story: Story, code: str) -> str:
    """What to do next with a cell, the soonest step."""
    return next(iter(verdict_words.next_steps(story.verdicts[code], story.now)), "")


def why(verdict: Verdict) -> str:
    """The weightiest reason in a line; for a cell that nothing holds back, what it was judged by."""
    met = [r.text for r in verdict.reasons if r.rule in ("capacity", "self-discharge")]
    return next((r.text for r in verdict.deciding), "; ".join(met))


def document(story: Story) -> shapes.Json:
    """The whole demo as one JSON document."""
    return {
        "now": story.now,
        "store": story.store,
        "teardowns": [
            shapes.teardown_json(teardown) | {"outcomes": {o.word: n for o, n in counts.items()}}
            for teardown, counts in story.teardowns
        ],
        "cell": shapes.sheet_json(story.page),
        "verdicts": [
            {"code": v.code, "outcome": v.outcome.word, "because": [r.rule for r in v.deciding]}
            for v in story.verdicts.values()
        ],
        "next": [{"code": code, "todo": first_step(story, code)} for code in WAITING],
        "match": story.served.to_json(),
        "unserved": story.unserved.to_json(),
        "reserved": build.document(story.reserved),
        "labels": {"files": [story.labels], "count": story.label_count},
        "discarded": {"code": DISCARDED, "because": BECAUSE, "freed_project": story.freed},
        "cautions": [
            {"id": c.id, "text": c.text, "source": c.source}
            for c in cautions_for_all([Step.TEARDOWN, Step.MATCH, Step.LABEL, Step.DISCARD])
        ],
    }


# --- the walk on screen


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


def _caution(step: Step) -> None:
    """The short words of a step, without the ones that are at the end of the page."""
    texts = [c.text for c in cautions_for(step, quiet=True) if not c.standing]
    _line(" ".join(texts), "  caution: ", at_most=3)


def _teardowns(story: Story) -> None:
    _title("1 Opened, and what came out", "straycell teardown list")
    output.say(f"  {'':<37}cells{_columns({o: o.word for o in BEST_FIRST})}")
    for teardown, counts in story.teardowns:
        row = _columns({o: str(counts.get(o) or "-") for o in BEST_FIRST})
        output.say(f"  {teardown.code:<5} {teardown.title:<31}{sum(counts.values()):>5}{row}")
    _caution(Step.TEARDOWN)


def _columns(texts: Mapping[Outcome, str]) -> str:
    return "".join(texts[o].rjust(len(o.word) + 2) for o in BEST_FIRST)


def _cell(story: Story) -> None:
    page = story.page
    _title("2 One cell, as measured", f"straycell cell show {page.cell.code}")
    for recorded in page.recorded:
        what, value, how = reading_line(page, recorded.item)
        lead = f"  {output.day(recorded.item.at)}  {what:<12}  {value:<17}  "
        output.say((lead + textwrap.shorten(how, WIDTH - len(lead), placeholder=" ...")).rstrip())
    _line(verdict_words.headline(page.verdict), "  = ")
    _line(f"because {why(page.verdict)}", "    ")


def _verdicts(story: Story) -> None:
    _title("3 What each may be used for, and why", "straycell verdict list")
    for outcome in BEST_FIRST:
        count = len(story.of(outcome))
        output.say(f"  {outcome.word:<8}{count:>3}  {verdict_words.ALLOWS[outcome]}")
        for code in EXAMPLES[outcome]:
            _line(why(story.verdicts[code]), f"      {code}: ")


def _next(story: Story) -> None:
    _title("4 What to do next, and when", "straycell verdict show CODE")
    for code in WAITING:
        _line(first_step(story, code), f"  {code}: ", at_most=4)


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
    _caution(Step.MATCH)


def _labels(story: Story) -> None:
    _title("6 Labels with the code as a QR symbol", "straycell label sheet --out FILE.pdf")
    output.say(f"  {story.label_count} labels: {story.labels}")
    _caution(Step.LABEL)


def _discard(story: Story) -> None:
    code = DISCARDED
    _title("7 Out of use for good", f"straycell discard {code} --because TEXT")
    output.say(f"  {code}: {BECAUSE}. No later reading brings it back. Now:")
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
