"""The page beside which a pack is joined, from a build as it is reserved."""

from collections.abc import Sequence

from straycell.bench.candidates import candidates
from straycell.bench.context import Bench
from straycell.bench.project_match import require_build, understood
from straycell.builds import Build
from straycell.cells import Form, position_name
from straycell.labels.build_sheet import BuildSheet, Section
from straycell.labels.build_sheet_drawing import SheetCell
from straycell.matching import Candidate, UseLimits, as_built
from straycell.matching.pack.shape_search import shape_words
from straycell.matching.sheet.words import cell_lines, fact_lines, sheet_notes
from straycell.projects import Project
from straycell.quantities import plain
from straycell.safety import Step, cautions_for
from straycell.safety.energy import Held, mass_g
from straycell.typed import day

MOST_NAMED = 24


def build_sheet(bench: Bench, name: str) -> tuple[Build, BuildSheet]:
    """The build of a project and its sheet. Raises BadData for a project without one."""
    with bench.reading() as reader:
        build, project = require_build(reader, name), understood(reader.project(name))
        known = {c.code: c for c in candidates(reader, bench.rules, bench.now, build.codes)}
    groups = [[known[code] for code in group] for group in build.groups]
    return build, sheet_of(project, groups, build.plan, bench)


def sheet_of(project: Project, groups: Sequence[Sequence[Candidate]], plan: str, bench: Bench) -> BuildSheet:
    """The content of the sheet: drawing, order of work, checks, the labels to print, cautions."""
    limits = UseLimits.from_rules(bench.rules)
    found = as_built(project, groups, limits, bench.now)
    codes = [c.code for group in groups for c in group]
    # Alone in its group a cell is joined to nothing: an order would suggest a choice.
    order = found.joining.order if found.joining and len(groups[0]) > 1 else ()
    turn = {code: number for group in order for number, code in enumerate(group, 1)}
    shape = shape_words(len(groups), len(groups[0])) if len(codes) > 1 else "one cell"
    facts = groups[0][0].facts
    kind = " ".join(part for part in (str(facts.chemistry), str(facts.form), facts.marking) if part)
    labels = f"straycell label sheet {' '.join(codes)} --out labels.pdf"
    if len(codes) > MOST_NAMED:
        labels = (
            f"straycell label sheet CODE ... --out labels.pdf, with the {len(codes)} codes of the list above"
        )
    sections = [Section(*notes) for notes in sheet_notes(project, found, groups, limits)]
    sections.append(Section("Labels to print", (labels,)))
    # `join-equal` is of cells that are joined; on the sheet of one it would be read as noise.
    cautions = [c for c in cautions_for(Step.BUILD) if len(codes) > 1 or c.id != "join-equal"]
    sections.append(Section("Cautions", tuple(c.text for c in cautions)))
    return BuildSheet(
        title=project.name,
        facts=(f"{shape}, {kind}", *fact_lines(found, project, mass_words(groups))),
        groups=tuple(
            tuple(
                SheetCell(position_name(number, place), c.code, turn.get(c.code, 0), ", ".join(cell_lines(c)))
                for place, c in enumerate(group, 1)
            )
            for number, group in enumerate(groups, 1)
        ),
        sections=tuple(sections),
        foot=f"straycell build sheet, '{project.name}', plan {plan}, {day(bench.now)}",
        flat=facts.form in (Form.POUCH, Form.PRISMATIC),
    )


def mass_words(groups: Sequence[Sequence[Candidate]]) -> str:
    """`90 g of cells`, or `about 90 g` where one was not weighed."""
    amounts = [mass_g(Held(c.facts, c.capacity.value if c.capacity else None)) for g in groups for c in g]
    about = "about " if any(amount.estimated for amount in amounts) else ""
    of = " of cells" if len(amounts) > 1 else ""
    grams = sum(amount.value for amount in amounts)
    mass = f"{plain(grams / 1000, 3)} kg" if grams >= 1000 else f"{plain(grams, 3)} g"
    return f"{about}{mass}{of}"
