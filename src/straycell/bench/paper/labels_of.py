"""The labels of cells in the store: what each says now, which are outdated, on which stock each goes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.acceptance import Outcome, RuleSet, figures
from straycell.bench.cell_list import cells_at
from straycell.bench.context import Bench, Reader
from straycell.bench.project_match import require_build
from straycell.builds import Build
from straycell.cells import Cell, Stage
from straycell.errors import UsageFault
from straycell.labels.content import LabelContent, Place, Purpose, box_content, label_content, project_content
from straycell.labels.payload import link_payload
from straycell.labels.stocks.choose import box_stock, by_stock, require_fit
from straycell.labels.stocks.stock import Stock


@dataclass(frozen=True, slots=True)
class CellLabel:
    """One cell's label, and the fingerprint of what its shelf label says now."""

    cell: Cell
    content: LabelContent
    fingerprint: str


def labels_of(
    reader: Reader,
    rules: RuleSet,
    now: datetime,
    codes: Sequence[str],
    *,
    purpose: Purpose = Purpose.SHELF,
    link: str | None = None,
    places: Mapping[str, Place] | None = None,
) -> list[CellLabel]:
    """The labels of these cells, now. `link`: the bench page's address; `places`: where each sits in a build.

    Raises BadData for a discard label of a cell in use, UsageFault for an address that no symbol holds.
    """
    verdicts, evidences = reader.verdicts(rules, now, codes), reader.evidences(codes)
    cells = {cell.code: cell for cell in reader.cells(wanted=codes)} if len(codes) > 1 else {}
    # The person's own calendar day: the date is read off the label where the cell lies.
    today = now.astimezone().date()
    found: list[CellLabel] = []
    for code in codes:
        cell = cells[code] if cells else reader.cell(code)
        known = figures(evidences[code], rules, now)
        # The fingerprint is always the shelf label's, so that --new compares like with like.
        shelf = content = label_content(cell, verdicts[code], known, today=today)
        # A build label shows where it sits instead of what it may do: in a device that is what is looked for.
        if purpose is not Purpose.SHELF:
            place = (places or {}).get(code)
            content = label_content(cell, verdicts[code], known, today=today, purpose=purpose, place=place)
        if link is not None:
            content = replace(content, payload=link_payload(link, code))
        found.append(CellLabel(cell, content, shelf.fingerprint()))
    return found


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which cells get labels, and of what kind: those that everything named here leaves; nothing named, all in the house.

    `new`: only those never printed, or whose shelf label says something else since.
    """

    codes: tuple[str, ...] = ()
    box: str | None = None
    teardown: str | None = None
    outcome: Outcome | None = None
    project: str | None = None
    purpose: Purpose = Purpose.SHELF
    link: str | None = None
    new: bool = False


def wanted_labels(reader: Reader, rules: RuleSet, now: datetime, wanted: Wanted) -> list[CellLabel]:
    """The labels asked for, in the order of the codes given, else by code. Raises BadData, UsageFault."""
    places = places_of(require_build(reader, wanted.project)) if wanted.project is not None else {}
    if wanted.purpose is Purpose.BUILD and not places:
        raise UsageFault("build labels need the project they are for", "add --project NAME")
    codes = [reader.find_code(code) for code in wanted.codes] or list(places)
    if not codes or wanted.project or wanted.box or wanted.teardown:
        there = cells_at(reader, wanted.box, wanted.teardown)
        house = set(inside := [cell.code for cell in there if cell.stage is not Stage.HANDED_OVER])
        # A code beside a box or a build means that cell there; elsewhere it would get the wrong place printed.
        codes = [code for code in codes or inside if code in house and (code in places or not places)]
    codes = list(dict.fromkeys(codes))
    outcome = wanted.outcome
    # A discard label on a cell in use would take it out of use by mistake.
    if wanted.purpose is Purpose.DISCARD and not wanted.codes:
        outcome = Outcome.DISCARD
    if outcome is not None:
        verdicts = reader.verdicts(rules, now, codes)
        codes = [code for code in codes if verdicts[code].outcome is outcome]
    labels = labels_of(reader, rules, now, codes, purpose=wanted.purpose, link=wanted.link, places=places)
    if not wanted.new:
        return labels
    prints = {code: found.fingerprint for code, found in reader.label_prints().items()}
    return [label for label in labels if prints.get(label.cell.code) != label.fingerprint]


def sheet_parts(
    bench: Bench, reader: Reader, wanted: Wanted, known: Mapping[str, Stock], stock: str | None, copies: int
) -> tuple[list[tuple[Stock, list[LabelContent]]], list[CellLabel]]:
    """(each stock with what is printed on it, the labels of cells among that). Raises BadData, UsageFault."""
    if wanted.purpose is Purpose.BOX:
        places = [each for each in place_labels(reader, wanted.box, wanted.project) for _ in range(copies)]
        return [(box_stock(known, stock), places)], []
    labels = wanted_labels(reader, bench.rules, bench.now, wanted)
    return on_stocks(known, labels, stock, copies), labels


def place_labels(reader: Reader, box: str | None, project: str | None) -> list[LabelContent]:
    """The label of a box, of a project's tray, or of every box. Raises BadData."""
    if project is not None:
        build = require_build(reader, project)
        shape = f"{len(build.groups)} in series, {len(build.groups[0])} in parallel"
        return [project_content(project, shape, len(build.codes))]
    chosen = reader.boxes() if box is None else [reader.box(box)]
    return [box_content(b.name, b.kind, b.limit_wh, len(reader.cells(box=b.name))) for b in chosen]


def places_of(build: Build) -> dict[str, Place]:
    """Group and cell count of every cell of a build, from 1 as on the build sheet."""
    groups = len(build.groups)
    return {
        code: Place(build.project, n, groups, m, len(group))
        for n, group in enumerate(build.groups, 1)
        for m, code in enumerate(group, 1)
    }


def on_stocks(
    known: Mapping[str, Stock], labels: Sequence[CellLabel], name: str | None = None, copies: int = 1
) -> list[tuple[Stock, list[LabelContent]]]:
    """Each stock with the labels printed on it, copies side by side. Raises UsageFault for a stock that does not fit."""
    forms = [label.cell.facts.form for label in labels]
    groups = by_stock(known, forms, name)
    # A label that overhangs its cell bridges its poles or lifts off.
    if name is not None:
        require_fit(known, groups[0][0], [(label.cell.code, label.cell.facts.form) for label in labels])
    return [(stock, [labels[n].content for n in places for _ in range(copies)]) for stock, places in groups]
