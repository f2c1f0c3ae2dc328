"""`straycell build`: cells committed to a project, until it is dismantled."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

from straycell.bench.context import Writer
from straycell.bench.paper.build_sheet import build_sheet
from straycell.bench.project_match import project_solver, require_plan, true_plan, understood, unfit_in
from straycell.bench.recording.finish import OF_DEVICE, Device, finish_build, require_finishable
from straycell.builds import Build
from straycell.cells import Look, Stage
from straycell.cli.app import cautions, clock, context, files, output, prompts, tables, values, verbs
from straycell.cli.show.group_voltages import (
    ask_about,
    group_numbers,
    group_volts,
    groups_document,
    talk_groups,
)
from straycell.cli.show.unfit import codes_in_words, talk_unfit, unfit_document
from straycell.errors import NegativeAnswer, UsageFault
from straycell.matching import Match
from straycell.matching.words import run_hours
from straycell.quantities import Dimension, count_of
from straycell.safety import Step

app = verbs.noun_app("Cells committed to a project, position by position.")
Name = Annotated[str, values.text_argument("NAME", "The project.")]


@app.command("list")
def list_all() -> None:
    """List builds."""
    with context.reading() as reader:
        builds = reader.builds()
        harmed = unfit_in(context.bench(), reader, builds)
    tables.listing(
        builds,
        lambda build: document(build) | {"unfit": unfit_document(build.codes, harmed)},
        {
            "project": lambda b: b.project,
            "state": lambda b: b.state,
            "since": lambda b: output.day(b.reserved_at),
            "cells": lambda b: ", ".join(codes_in_words(b.codes, harmed)),
        },
        flexible="cells",
        empty="no build yet: straycell build reserve NAME",
    )
    talk_unfit(harmed)


@app.command("reserve")
def reserve(
    name: Name,
    plan: Annotated[
        str | None, values.text_option("--plan", "The plan that match printed.", metavar="HASH")
    ] = None,
    cells: Annotated[
        list[str] | None,
        values.option("--cells", "These cells instead of the matched ones.", metavar="CODE..."),
    ] = None,
    more: values.MoreCodes = None,
) -> None:
    """Promise the matched cells, or the named ones, to a project. A plan that is no longer true is refused."""
    if more and not cells:
        raise UsageFault(f"'{more[0]}' is one word too many", "name cells with --cells CODE ...")

    named = [*(cells or []), *(more or [])]
    with context.writing() as writer, output.brief_answers():
        found = (
            require_plan(name, _named(writer, name, named), plan)
            if named
            else true_plan(context.bench(), writer, name, plan)
        )
        made = writer.reserve(name, found.groups, found.plan or "")
    output.emit(document(made), lambda: _say(made))
    # One cell alone has nothing to join, and a sheet for it would only be paper.
    joined = len(made.codes) > 1
    if joined:
        output.hint(f"the sheet to join them by: straycell build sheet '{name}' --out FILE.pdf")
    output.hint(f"next: straycell build finish '{name}' when the cell{'s are' if joined else ' is'} in")
    cautions.talk(Step.BUILD)


def _named(writer: Writer, name: str, cells: list[str]) -> Match:
    """The match of a project with only the named cells to choose from."""
    codes = [writer.find_code(code) for code in cells]
    found = project_solver(context.bench(), writer, name, codes=codes, planning=True)()
    # Named and not needed is a misunderstanding, better told than silently dropped.
    left_out = sorted(set(codes) - {code for group in found.groups for code in group})
    if found.served and left_out:
        raise NegativeAnswer(
            f"project '{name}' does not need {', '.join(left_out)}", "name only the cells it is to have"
        )
    # Cells were named, so the person wants to know which of them fails, not what the stock lacks.
    failed = [why for why in found.not_chosen if not why.passed]
    if not found.served and failed:
        first = failed[0]
        raise NegativeAnswer(f"cell {first.code} does not serve project '{name}': {first.text}", first.remedy)
    return found


@app.command("finish")
@values.takes(OF_DEVICE)
def finish(
    name: Name,
    yes: Annotated[
        bool,
        values.flag(
            "--yes",
            "Beside what is given the device is as its project says, the cautions were followed: do not ask.",
        ),
    ] = False,
    **said: Any,
) -> None:
    """Record that the reserved cells are built in. At a terminal it asks what the device draws and is charged with.

    Refused without protection, without a fuse where the board lets an overload through, and where the cells do not do
    for the device as it was measured.
    """
    from straycell.bench.wording.project_words import device_words

    device, bench = Device(**said), context.bench()
    with bench.reading() as reader, output.brief_answers():
        # Asked before the cautions: nobody should confirm a list for a build that will be refused.
        overload = require_finishable(bench, reader, name, device, ask=not yes and prompts.at_terminal())
        live, says = reader.live_build(name), device_words(understood(reader.project(name)))
    if live is not None and not yes:
        device = _asked(device, says, overload)
    elif live is not None and not device.said():
        output.talk(f"finished for the device as its project says: {says}")
    # And again under the lock, with what was answered, as minutes may pass at the questions.
    with output.brief_answers():
        made = finish_build(bench, name, device)
    output.emit(document(made), lambda: _say(made))
    cautions.talk(Step.BUILD)


_ASKED: tuple[tuple[str, Dimension, str], ...] = (
    ("current_a", Dimension.CURRENT, "what does it draw at its cells, measured now?"),
    ("temperature_c", Dimension.TEMPERATURE, "at what temperature does it work?"),
    ("charge_current_a", Dimension.CURRENT, "what does its charger give, measured now?"),
)


def _asked(device: Device, says: str, overload: str) -> Device:
    """The device with what a person answers; the cells were chosen weeks ago, and devices change on the bench."""
    if not prompts.at_terminal():
        raise UsageFault(
            f"what the device draws and is charged with is not confirmed: by its project {says}",
            "add --yes, and --current, --temperature, --charge-current where it is otherwise",
        )
    output.talk(f"By its project {says}. Enter keeps that.")
    asked = (*_ASKED, ("fuse_a", Dimension.CURRENT, f"{overload}. Which fuse is in?")) if overload else _ASKED
    open_ones = [each for each in asked if getattr(device, each[0]) is None]
    answers = {name: prompts.quantity(question, kind) for name, kind, question in open_ones}
    cautions.talk(Step.BUILD)
    prompts.confirm(False, "was all of this done, and every check of the build sheet?")
    return replace(device, **answers)


@app.command("dismantle")
def dismantle(name: Name) -> None:
    """Take a build apart, or free a reservation. Cells that were built in are on hold until they are tested again."""
    with context.writing() as writer:
        made = writer.dismantle(name)
        cells = {code: writer.cell(code) for code in made.codes}
    # Cells that were only promised have seen no current: they go back as they were.
    if made.finished_at is None:
        freed = f"{made.project}  reservation freed: {', '.join(made.codes)}"
        output.emit(document(made), lambda: output.say_wrapped(freed))
        return
    output.emit(document(made), lambda: _say(made))
    # A build comes apart because a cell of it swelled: that one must not be told to wait for a look.
    gone = [code for code in made.codes if cells[code].stage is Stage.CONDEMNED]
    if gone:
        output.talk(
            f"out of use for good, never charge: {', '.join(gone)}; next: straycell handover add PLACE"
        )
    if len(gone) < len(made.codes):
        whose = "the others are" if gone else "its cells are"
        output.talk(
            f"{whose} received again, on hold until look, rest voltage and resistance are recorded again"
        )
    cautions.talk(Step.DISMANTLE, *([Step.DISCARD] if gone else []))


@app.command("inspect")
def inspect(
    name: Name,
    look: Annotated[
        list[Look] | None, values.word("--look", Look, "What you see; give it again for more.")
    ] = None,
    groups: Annotated[
        str | None,
        values.text_option(
            "--groups", "The rest voltage of every group, from the minus end.", metavar="3.91V,3.92V,..."
        ),
    ] = None,
    meter: Annotated[
        str | None, values.text_option("--meter", "What --groups was taken with.", metavar="M")
    ] = None,
    charged_alone: Annotated[
        str | None,
        values.text_option(
            "--charged-alone", "Groups charged by themselves since the last time, or none.", metavar="2,3"
        ),
    ] = None,
) -> None:
    """Record a look at a finished build, or the voltages of a joined pack's groups.

    A look counts for each of its cells. Measure the groups after joining, after 24 h and 7 days, then every 90 days: a
    group that surely sinks faster than the others, or lies outside its limits, puts the pack on hold.
    """
    from straycell.bench.recording.inspection import Taken, look_at_groups, record_inspection

    for option, given in (("--meter", meter), ("--charged-alone", charged_alone)):
        if given is not None and groups is None:
            raise UsageFault(f"{option} is given without --groups", "give both, or neither")
    if not look and groups is None:
        raise UsageFault("nothing is said of what was seen", "add --look clean, or what you see, or --groups")
    taken = None
    if groups is not None:
        taken = Taken(group_volts(groups), meter, group_numbers(charged_alone))
        bench = context.bench()
        with bench.reading() as reader:
            seen = look_at_groups(reader, name, taken, bench.rules, bench.now)
        taken = replace(taken, charged_alone=ask_about(seen, taken.charged_alone))
    with context.writing() as writer:
        done = record_inspection(writer, name, look or [], taken, context.rules(), clock.now())
    shown = {"look": look or [], "discarded": list(done.bad)}
    shown |= groups_document(done.seen) if done.seen else {}
    output.emit(document(done.build) | shown, lambda: _say(done.build))
    if done.seen is not None:
        talk_groups(done.seen)
    if done.bad:
        output.talk(f"take it out of use: {', '.join(done.bad)} out of use for good")
        cautions.talk(Step.LOOK_BAD)
    elif look:
        output.hint("looked at; the next inspection: straycell due --ahead 200")


@app.command("ran")
def ran(
    name: Name,
    time_s: Annotated[
        float,
        values.quantity("--for", Dimension.DURATION, "From full to where the device stopped.", example="9d"),
    ],
    note: Annotated[str | None, values.text_option("--note", "How warm it was, what stopped it.")] = None,
) -> None:
    """Record how long a finished device really ran on one charge, and hear where to look if it was short.

    It decides nothing: what a cell holds is measured out of the device.
    """
    from straycell.bench.recording.ran import record_run

    done = record_run(context.bench(), name, time_s, note=note or "")
    run = done.held.runtime
    document = {
        "project": done.project,
        "cells": list(done.codes),
        "ran_h": done.ran_h,
        "runtime_h": done.held.to_json()["runtime_h"],
        "short": done.short,
        "look_at": list(done.look_at) if done.short else [],
    }

    def page() -> None:
        output.say(f"{name}  ran {run_hours(done.ran_h)}")
        if run is not None:
            low, expected = run_hours(run.low_h), run_hours(run.expected_h)
            words = "SHORTER than was promised" if done.short else "as was promised"
            output.say_wrapped(f"promised {low} at the low end, {expected} expected: {words}", "  ")
        if done.short:
            output.listed("Where to look, in this order", done.look_at)

    output.emit(document, page)


@app.command("sheet")
def sheet(
    name: Name,
    out: Annotated[Path, values.option("--out", "Where the sheet goes.", metavar="PDF")],
    force: files.Force = False,
) -> None:
    """Draw the positions of a reserved build with their codes, and what to do in which order."""
    from straycell.labels.build_sheet_render import build_sheet_pdf

    bench = context.bench()
    build, content = build_sheet(bench, name)
    files.write_whole(out, build_sheet_pdf(content, bench.now), force=force)
    files.talk_missing_glyphs(content)
    count = count_of(len(build.codes), "cell")
    output.emit(
        {"files": [str(out)], "count": len(build.codes), "labels": list(build.codes)},
        lambda: output.say(f"{out}  {count}, {len(build.groups)} in series"),
        # Six codes show the pattern; a pack's whole list would fill the screen below the answer.
        then=f"labels: straycell label sheet {' '.join(build.codes[:6])}"
        f"{' ...' if len(build.codes) > 6 else ''} --out labels.pdf",
    )
    cautions.talk(Step.BUILD)


def document(build: Build) -> dict[str, Any]:
    """The JSON of a build."""
    return {
        "id": build.id,
        "project": build.project,
        "state": str(build.state),
        "groups": [list(group) for group in build.groups],
        "plan": build.plan,
        "reserved_at": build.reserved_at,
        "finished_at": build.finished_at,
        "dismantled_at": build.dismantled_at,
    }


def _say(build: Build) -> None:
    output.say_wrapped(f"{build.project}  {build.state}: {', '.join(build.codes)}")
