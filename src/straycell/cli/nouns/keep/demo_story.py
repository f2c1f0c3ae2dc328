"""What happens in the demo, step by step, and what is worth telling of it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from straycell.acceptance import Outcome, Verdict
from straycell.bench import verdict_words
from straycell.bench.cell_sheet import CellSheet, sheet_of
from straycell.bench.project_match import project_match
from straycell.bench.wording import shapes, sheet_words
from straycell.builds import Build
from straycell.cells import Cell, Stage
from straycell.cli.app import context
from straycell.cli.nouns.use import build, label
from straycell.matching import Match
from straycell.readings import Item, Quantity
from straycell.safety import Step, cautions_for, cautions_for_all
from straycell.teardowns import Teardown

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
    page: CellSheet
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
    with context.reading() as reader:
        cells = {cell.code: cell for cell in reader.cells()}
        verdicts = reader.verdicts(context.rules(), now)
        teardowns = _came_out(reader.teardowns(), cells.values(), verdicts)
        bench = context.bench()
        page = sheet_of(bench, reader, SHOWN_CELL)
        served, unserved = (project_match(bench, reader, name) for name in (SERVED, UNSERVED))
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


def reading_line(page: CellSheet, item: Item) -> tuple[str, str, str]:
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


def cautions(step: Step) -> list[str]:
    """The short words of a step, without the ones that are at the end of the page."""
    return [c.text for c in cautions_for(step, quiet=True) if not c.standing]
