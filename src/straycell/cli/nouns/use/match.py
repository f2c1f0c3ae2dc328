"""`straycell match`: which cell a project gets, why that one, and why not the others. It changes nothing."""

from pathlib import Path
from typing import Annotated

from straycell.bench.project_answer import ProjectAnswer, project_answer
from straycell.bench.project_match import stock_solver
from straycell.builds import Build
from straycell.cli.app import cautions, context, files, options, output, values, verbs
from straycell.cli.nouns.use.match_choices import choices_of, match_cells, match_what
from straycell.cli.show import picture
from straycell.cli.show.match_page import held_document, held_page, page, page_of_all
from straycell.errors import NegativeAnswer, UsageFault
from straycell.safety import Step

app = verbs.lone_app()


@app.command()
def match(
    name: Annotated[str | None, values.text_argument("NAME", "The project; or --all.")] = None,
    everyone: Annotated[
        bool, values.flag("--all", "All pending projects at once; no cell is used twice.")
    ] = False,
    cells: Annotated[
        list[str] | None,
        values.option(
            "--cells",
            "A dry run with these cells; --cells A,B --cells C,D puts two choices side by side.",
            metavar="CODE...",
        ),
    ] = None,
    what: Annotated[
        str | None, values.text_option("--what", 'A load without a project, like "5V 300mA".', metavar="LOAD")
    ] = None,
    chart: Annotated[
        bool, values.flag("--chart", "Draw the candidates' run times, or what the groups hold.")
    ] = False,
    out: Annotated[
        Path | None,
        values.option("--out", "The chart as a picture (.png or .svg).", metavar="FILE"),
    ] = None,
    force: files.Force = False,
    more: values.MoreCodes = None,
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
        match_cells(name, choices_of(cells, more or []))
        cautions.talk(Step.MATCH)
        return
    if name is None:
        _match_all()
        return
    _match_one(project_answer(context.bench(), name, drawn=chart or out is not None), chart, out, force)


def _match_one(answer: ProjectAnswer, chart: bool, out: Path | None, force: bool) -> None:
    if answer.build is not None:
        _tell_held(answer, answer.build)
        return
    found, drawn = answer.found, answer.drawn
    if out is not None and drawn is not None:
        picture.write(drawn, out, force)

    def show_it() -> None:
        page(found, answer.mass)
        if chart and drawn is not None:
            output.section(drawn.title)
            picture.say(drawn, options.current().columns)

    output.emit(answer.to_json() | ({"picture": out} if out else {}), show_it)
    # The page comes first: a no without its reasons would be asked again with the next cell.
    if not found.served:
        raise NegativeAnswer(
            f"project '{found.project}' is not served by the cells in store",
            output.brief(_first(found.missing)),
        )
    cautions.talk(Step.MATCH)


def _match_what(what: str, name: str | None, everyone: bool, cells: list[str] | None) -> None:
    if name is not None or everyone or cells:
        raise UsageFault("--what is a load without a project", "give it alone")
    match_what(what)
    cautions.talk(Step.MATCH)


def _tell_held(answer: ProjectAnswer, build: Build) -> None:
    from straycell.bench.recording.finish import require_fit

    output.emit(held_document(answer.to_json(), build), lambda: held_page(answer.found, build))
    with output.brief_answers():
        require_fit(answer.found, build)
    cautions.talk(Step.MATCH)


def _match_all() -> None:
    bench = context.bench()
    with bench.reading() as reader:
        solve = stock_solver(bench, reader)
    found = solve()
    output.emit(found.to_json(), lambda: page_of_all(found))
    if found.unserved:
        count = f"{len(found.unserved)} of {len(found.unserved) + len(found.plans)} projects are not served"
        first = found.unserved[0]
        names = ", ".join(f"'{m.project}'" for m in found.unserved)
        raise NegativeAnswer(
            output.brief(f"{count}: {names}"), output.brief(f"'{first.project}': {_first(first.missing)}")
        )
    cautions.talk(Step.MATCH)


def _first(missing: tuple[str, ...]) -> str:
    # One reason on stderr: the others are on the page.
    return missing[0] if missing else ""
