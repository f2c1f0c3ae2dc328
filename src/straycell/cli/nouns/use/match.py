"""`straycell match`: which cell a project gets, why that one, and why not the others. It changes nothing."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.bench.candidates import candidates
from straycell.cells import position_name
from straycell.cli.app import clock, context, options, output
from straycell.cli.app.files import Force, write_whole
from straycell.cli.app.grammar import values
from straycell.cli.app.grammar.verbs import lone_app
from straycell.cli.nouns.use.project import limits, understood
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.cli.show.picture import kind_of
from straycell.errors import NegativeAnswer, UsageFault
from straycell.matching.pack.shapes import shape_words
from straycell.matching.words import run_hours
from straycell.quantities import Dimension, show
from straycell.safety import Step

if TYPE_CHECKING:
    from straycell.builds import Build
    from straycell.matching import Match, StockPlan
    from straycell.pictures.bars import Chart
    from straycell.store.reader import Reader

app = lone_app()
SHOWN = 8


def match_project(
    reader: Reader, name: str, *, codes: Collection[str] | None = None, planning: bool = False
) -> Match:
    """The match of one filed project with the stock as it is now, or with the named cells alone.

    With `planning` a project without protection gets its cells too: they can wait for it together.
    """

    from straycell.bench.project_match import project_match

    return project_match(context.bench(), reader, name, codes=codes, planning=planning)


@app.command()
def match(
    name: Annotated[str | None, values.text_argument("NAME", "The project; or --all.")] = None,
    everyone: Annotated[
        bool, typer.Option("--all", help="All pending projects at once; no cell is used twice.")
    ] = False,
    cells: Annotated[
        list[str] | None,
        typer.Option(
            "--cells",
            metavar="CODE...",
            help="A dry run with these cells; --cells A,B --cells C,D puts two choices side by side.",
            show_default=False,
        ),
    ] = None,
    what: Annotated[
        str | None,
        values.text_option("--what", 'A load without a project, like "5V 300mA".', metavar="LOAD"),
    ] = None,
    chart: Annotated[
        bool, typer.Option("--chart", help="Draw the candidates' run times, or what the groups hold.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="The chart as a picture (.png or .svg).", show_default=False
        ),
    ] = None,
    force: Force = False,
    more: Annotated[list[str] | None, typer.Argument(hidden=True, metavar="[CODE]...")] = None,
) -> None:
    """Find the least capable cells that do the project's job, with every reason. Nothing is reserved.

    With --what: what the stock can give to a load, in each small shape.
    """
    if more and not cells:
        raise UsageFault(f"'{more[0]}' is one word too many", "name cells with --cells CODE ...")
    if what is not None:
        _match_what(what, name, everyone, cells)
        return
    if everyone == (name is not None):
        given = "a project and --all" if everyone else "neither a project nor --all"
        raise UsageFault(f"match was given {given}", "name one project, or write --all")
    if name is None and cells:
        raise UsageFault("--cells needs a project", "name the project first")
    if cells and name is not None:
        from straycell.cli.nouns.use.match_choices import choices_of, match_cells

        with context.reading() as reader:
            match_cells(reader, name, choices_of(cells, more or []))
        talk_cautions(Step.MATCH)
        return
    if name is None:
        _match_all()
        return
    with context.reading() as reader:
        build = reader.live_build(name)
        # A project that has its cells is asked whether they are still fit, not for others.
        if build is not None:
            _tell_held(reader, name, build)
            return
        found = match_project(reader, name)
        # The same checks as for a charger on its own: one charger gets one answer everywhere.
        answers = device_answers_of(reader, name, found)
        drawn = _drawn(reader, name, found) if chart or out is not None else None
        mass = mass_of(reader, found)
    if out is not None and drawn is not None:
        from straycell.pictures.bars import chart_picture

        write_whole(out, chart_picture(drawn, kind_of(out)), force=force)
    document = found.to_json() | answers | _weighed(mass) | ({"picture": out} if out else {})

    def show_it() -> None:
        page(found, mass)
        if chart:
            _say_chart(drawn)

    output.emit(document, show_it)
    # The page comes first: a no without its reasons would be asked again with the next cell.
    if not found.served:
        raise NegativeAnswer(
            f"project '{name}' is not served by the cells in store", output.brief(_first(found.missing))
        )
    talk_cautions(Step.MATCH)


def _drawn(reader: Reader, name: str, found: Match) -> Chart:
    from straycell.cli.show.match_chart import chart_of

    rules, now = context.rules(), clock.now()
    return chart_of(understood(reader.project(name)), found, candidates(reader, rules, now), limits(), now)


def _say_chart(drawn: Chart | None) -> None:
    from straycell.pictures.bars import chart_lines

    if drawn is not None:
        output.section(drawn.title)
        for line in chart_lines(drawn, options.current().columns):
            output.say(line)


def _match_what(what: str, name: str | None, everyone: bool, cells: list[str] | None) -> None:
    from straycell.cli.nouns.use.match_choices import match_what

    if name is not None or everyone or cells:
        raise UsageFault("--what is a load without a project", "give it alone")
    with context.reading() as reader:
        match_what(reader, what)
    talk_cautions(Step.MATCH)


def _tell_held(reader: Reader, name: str, build: Build) -> None:
    from straycell.bench.project_match import held_match
    from straycell.bench.recording.finish import require_fit
    from straycell.cli.nouns.use.match_held import held_document, held_page

    found = held_match(context.bench(), reader, understood(reader.project(name)), build)
    answers = device_answers_of(reader, name, found)
    weighed = _weighed(mass_of(reader, found))
    output.emit(held_document(found, build) | answers | weighed, lambda: held_page(found, build))
    with output.brief_answers():
        require_fit(found, build)
    talk_cautions(Step.MATCH)


def device_answers_of(reader: Reader, name: str, found: Match) -> dict[str, object]:
    """What the project's charger and protection ask, in the shape it got."""
    from straycell.matching import device_answers

    return device_answers(understood(reader.project(name)), limits(), len(found.groups) or None)


def plan_all(reader: Reader) -> StockPlan:
    """The plan of every pending project with the stock as it is now."""
    from straycell.matching import match_all
    from straycell.store.book.records import ProjectState

    rules, now = context.rules(), clock.now()
    # What is reserved or built is promised: planning over it would take cells out of devices.
    pending = [understood(e) for e in reader.projects() if e.state is ProjectState.PENDING]
    return match_all(pending, candidates(reader, rules, now), limits(), now=now)


def _match_all() -> None:
    with context.reading() as reader:
        found = plan_all(reader)
    output.emit(found.to_json(), lambda: page_of_all(found))
    if found.unserved:
        count = f"{len(found.unserved)} of {len(found.unserved) + len(found.plans)} projects are not served"
        first = found.unserved[0]
        names = ", ".join(f"'{m.project}'" for m in found.unserved)
        raise NegativeAnswer(
            output.brief(f"{count}: {names}"), output.brief(f"'{first.project}': {_first(first.missing)}")
        )
    talk_cautions(Step.MATCH)


def page_of_all(found: StockPlan) -> None:
    """All projects for a person: who gets what, who goes without and why."""
    if not found.plans and not found.unserved:
        output.talk("no project is waiting: file one with: straycell project add FILE")
    for plan in found.plans:
        say_cells(plan)
        if plan.runtime is not None:
            output.say(f"  runs {run_hours(plan.runtime.low_h)} at the low end")
        _say_reserve(plan)
    for plan in found.unserved:
        _say_wrapped(f"{plan.project}: not served")
        output.bullets(plan.missing)
    if found.plans:
        open_ones = ", ".join(f"'{m.project}'" for m in found.unserved if not m.proven)
        proof = "no plan serves more" if found.gap <= 0 else f"within {found.gap:.1%} of the bound"
        if open_ones:
            proof += f"; whether {open_ones} could be served is not proven"
        output.section("How good that is")
        output.bullets(
            [
                f"{len(found.plans)} of {len(found.plans) + len(found.unserved)} projects, the most urgent first: {proof}",
                f"capacity spent beyond the least that would do: {show(found.surplus_ah, Dimension.CAPACITY)}",
            ]
        )
    spare = [why for why in found.cells if why.test == "kept"]
    if spare:
        output.section("Kept")
        output.bullets(f"{why.code}: {why.text}" for why in spare[:SHOWN])
        if len(spare) > SHOWN:
            output.say(f"    and {len(spare) - SHOWN} more: straycell match --all --json")


def _first(missing: tuple[str, ...]) -> str:
    # One reason on stderr: the others are on the page.
    return missing[0] if missing else ""


def mass_of(reader: Reader, found: Match) -> str:
    """What the chosen cells weigh, in words; empty where none are chosen."""
    from straycell.bench.paper.build_sheet import mass_words

    codes = [code for group in found.groups for code in group]
    return mass_words([candidates(reader, context.rules(), clock.now(), codes)]) if codes else ""


def _weighed(mass: str) -> dict[str, object]:
    return {"mass": mass} if mass else {}


def page(found: Match, mass: str = "") -> None:
    """A match for a person; `mass` in words."""
    if found.served:
        say_cells(found)
        if found.runtime is not None:
            run = found.runtime
            output.say(f"  runs {run_hours(run.low_h)} at the low end, {run_hours(run.expected_h)} expected")
            output.say(f"  counted from {run.basis}; ends at {run.stop}")
        output.section("Why this one" if found.joining is None else "Why these")
        told = (why.text for why in found.why if why.test not in _TOLD_ELSEWHERE)
        output.bullets(dict.fromkeys(told))
    else:
        _say_wrapped(f"{found.project}: not served")
        output.section("What is missing")
        output.bullets(found.missing)
    say_pack(found, mass)
    if found.joining is not None:
        output.section("Joining, in this order")
        output.bullets(found.joining.lines)
    # What the lamps would get is said once, among the pack's own data.
    said = found.data.lamps if found.data is not None else ""
    if mind := [line for line in found.warnings if line != said]:
        output.section("Mind")
        output.bullets(mind)
    # A person trusts a choice when the rejected ones have reasons, too.
    if found.not_chosen:
        output.section("Why not the others")
        output.bullets(f"{why.code}: {why.text}" for why in found.not_chosen[:SHOWN])
        if len(found.not_chosen) > SHOWN:
            output.say(
                f"    and {len(found.not_chosen) - SHOWN} more: straycell match '{found.project}' --json"
            )
    if found.served:
        output.say("")
        output.say(f"plan {found.plan}")
        _say_reserve(found)


def say_pack(found: Match, mass: str) -> None:
    """The pack's own data: voltages, energy, mass, size, currents by temperature, fuses, the board to look for."""
    from straycell.matching.sheet.fuse_words import danger_lines, fuse_lines
    from straycell.matching.sheet.words import charge_lines, data_lines, discharge_line

    if found.data is None:
        return
    output.section("The pack" if found.joining is not None else "The cell in it")
    board = "a board that fits: " + "; ".join(found.data.board)
    data = found.data
    lines = (*data_lines(data, mass), *charge_lines(data), discharge_line(data), *fuse_lines(data), board)
    output.bullets((*danger_lines(found.data), *lines))


def _say_reserve(plan: Match) -> None:
    for line in output.command_lines(f"straycell build reserve '{plan.project}'", f"--plan {plan.plan}"):
        output.say(line)


def _say_wrapped(text: str) -> None:
    output.say_wrapped(text)


_TOLD_ELSEWHERE = ("group", "place")


def say_cells(found: Match) -> None:
    """One cell on the line of its project; the groups of a pack each on a line of their own."""
    if found.joining is None:
        _say_wrapped(f"{found.project}: {' | '.join(' + '.join(group) for group in found.groups)}")
        return
    series, parallel = len(found.groups), len(found.groups[0])
    _say_wrapped(f"{found.project}: {shape_words(series, parallel)}")
    held = {why.code: why.observed for why in found.why if why.test == "group"}
    for number, group in enumerate(found.groups, 1):
        ah = held.get(f"group {number}")
        holds = f"  {show(ah, Dimension.CAPACITY)}" if isinstance(ah, float) else ""
        placed = " + ".join(f"{position_name(number, place)} {code}" for place, code in enumerate(group, 1))
        output.say_wrapped(f"group {number}{holds}: {placed}", "  ", "    ")
    spread = show(found.spread_ah or 0.0, Dimension.CAPACITY)
    gap = (
        "proven"
        if not found.gap
        else f"within {show(found.gap, Dimension.FRACTION)} of the best there can be"
    )
    output.say(f"  groups apart by {spread}; {gap}")
