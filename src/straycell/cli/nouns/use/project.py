"""`straycell project`: devices waiting for cells."""

from pathlib import Path
from typing import Annotated, Any

from straycell.bench.project_match import device_answers_of, understood, unfit_in
from straycell.bench.wording.project_words import charger_words, load_line
from straycell.cli.app import context, output, tables, values, verbs
from straycell.cli.show.unfit import codes_in_words, talk_unfit, unfit_document
from straycell.projects import Project, ProjectFaults, finish_faults, read_project_file
from straycell.quantities import Dimension, show
from straycell.store.book.records import ProjectEntry

app = verbs.noun_app("Devices waiting for cells: load, need, charger and protection, from a TOML file.")
Name = Annotated[str, values.text_argument("NAME", "The project, exactly as named in its file.")]


def document(entry: ProjectEntry, project: Project) -> dict[str, Any]:
    """The JSON of a project: as understood, with where it is and what keeps it from being finished."""
    plain, answers = project.to_json(), device_answers_of(context.bench(), project)
    return {
        **plain,
        "protection": {**_table(plain["protection"]), **_table(answers["protection"])},
        "charging": answers["charging"],
        "state": str(entry.state),
        "added_at": entry.added_at,
        "finish_faults": finish_faults(project),
    }


def _table(value: object) -> dict[str, object]:
    assert isinstance(value, dict)
    return value


@app.command("add")
def add(
    file: Annotated[Path, values.argument("FILE", "The project file (TOML).")],
    replace: Annotated[bool, values.flag("--replace", "Replace the project of that name.")] = False,
) -> None:
    """File a project; several faults of the file are reported at once."""
    try:
        project, text = read_project_file(file)
    except ProjectFaults as refused:
        _list_faults(refused)
        # Every fault is on the page by now; the error is for scripts.
        raise
    # Read before the store is opened: a faulty file must not hold the lock, or make a store.
    with context.writing(create=True) as writer:
        entry = writer.add_project(project.name, text, project.priority, project.due, replace)
    output.emit(
        document(entry, project), lambda: page(entry, project), then=f"next: straycell match '{project.name}'"
    )


def _list_faults(refused: ProjectFaults) -> None:
    """Every fault of the file in full, where there are more than the error on stderr has room for."""
    if len(refused.faults) < 2:
        return
    output.emit(
        {
            "faults": [
                {"key": f.key, "line": f.line, "fault": f.text, "remedy": f.remedy} for f in refused.faults
            ]
        },
        lambda: output.bullets(str(fault) for fault in refused.faults),
    )


@app.command("list")
def list_all() -> None:
    """List the projects, the most urgent first."""
    with context.reading() as reader:
        entries = reader.projects()
    read = [(entry, understood(entry)) for entry in entries]
    tables.listing(
        read,
        lambda each: document(*each),
        {
            "name": lambda each: each[0].name,
            "priority": lambda each: each[0].priority,
            "due": lambda each: each[0].due,
            "state": lambda each: each[0].state,
            "runs": lambda each: f"{each[1].need.runtime_h:g} h",
        },
        flexible="name",
        empty="no project filed yet",
    )


@app.command("show")
def show_one(name: Name) -> None:
    """Show a project as understood, with defaults filled in."""
    with context.reading() as reader:
        entry = reader.project(name)
        build = reader.live_build(name)
        harmed = unfit_in(context.bench(), reader, [build]) if build else {}
    project = understood(entry)
    codes = list(build.codes) if build else []
    shown = {"cells": codes, "unfit": unfit_document(codes, harmed)}
    output.emit(document(entry, project) | shown, lambda: page(entry, project, codes_in_words(codes, harmed)))
    talk_unfit(harmed)


@app.command("drop")
def drop(name: Name) -> None:
    """Give a project up; cells reserved for it are free again."""
    with context.writing() as writer:
        writer.drop_project(name)
        entry = writer.project(name)
    output.emit(
        {"name": name, "state": str(entry.state)},
        lambda: output.say(f"{name}  {entry.state}; its cells are free"),
    )


def page(entry: ProjectEntry, project: Project, codes: list[str] | None = None) -> None:
    """A project for a person."""
    output.say(f"{project.name}  {entry.state}")
    need, pack = project.need, project.pack
    output.facts(
        [
            ("priority", f"{project.priority}" + (f", due {project.due}" if project.due else "")),
            ("load", load_line(project)),
            (
                "runs",
                f"{need.runtime_h:g} h on one charge at {show(need.temperature_c, Dimension.TEMPERATURE)}",
            ),
            ("stops at", _cutoff_words(need.cutoff_v, pack.series)),
            ("peak", show(need.peak_current_a, Dimension.CURRENT) if need.peak_current_a else None),
            ("pack", f"{pack.series or 'auto'} in series, {pack.parallel or 'auto'} in parallel"),
            ("forms", _few([str(f) for f in pack.forms], 11)),
            ("chemistries", _few([str(c) for c in pack.chemistries], 5)),
            ("charger", charger_words(project)),
            ("protection", _protection_words(project)),
            ("cells", ", ".join(codes or [])),
        ],
        indent="  ",
    )
    said = _say_answers(project)
    output.listed(
        "Before it can be finished", [fault for fault in finish_faults(project) if fault not in said]
    )


def _say_answers(project: Project) -> list[str]:
    """What its charger and protection ask, and what to change; returns what was shown."""
    shown: list[str] = []
    words = {"charging": "Its charger", "protection": "Its protection"}
    for name, answer in device_answers_of(context.bench(), project).items():
        assert isinstance(answer, dict)
        # None: it has no such part, so there is nothing to change.
        if answer["ok"] is None:
            continue
        lines = [*answer["found"], *answer["advice"]]
        output.listed(
            f"{words[name]}: {'as it should be' if answer['ok'] else 'change it first'}",
            lines,
        )
        shown += lines
    return shown


def _cutoff_words(cutoff_v: float, series: int | None) -> str:
    """A cut-off is that of the whole string; with its share of one cell where the count is known."""
    # A device's sheet states the string; who sets a protection needs the cell: both are shown.
    whole = show(cutoff_v, Dimension.VOLTAGE)
    if series == 1:
        return whole
    each = f", {show(cutoff_v / series, Dimension.VOLTAGE)} a cell" if series else ""
    return f"{whole} for the whole string{each}"


def _protection_words(project: Project) -> str:
    protection = project.protection
    if not protection.fitted:
        return "none: the build cannot be finished"
    words = ["fitted"]
    if protection.per_cell:
        words.append("cell by cell")
    if protection.cutoff_v is not None:
        each = show(protection.cutoff_v, Dimension.VOLTAGE) + " a cell"
        cut = each if protection.per_cell else _cutoff_words(protection.cutoff_v, project.pack.series)
        words.append(f"cuts off at {cut}")
    return ", ".join(words)


def _few(words: list[str], all_of_them: int) -> str:
    return "any" if len(words) == all_of_them else ", ".join(words)
