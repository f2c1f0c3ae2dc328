"""`straycell incident`: something happened to cells; they are held until tested again, or condemned at once."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from straycell.cli.app import clock, context, output, values
from straycell.cli.app.verbs import noun_app
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.errors import BadData
from straycell.safety import Step
from straycell.safety.incidents import RETEST, find_incident, incident_kinds

app = noun_app("Something happened to cells: short circuit, drop, heat, water, a charger that failed.")


@app.command("add")
def add(
    codes: Annotated[
        list[str], typer.Argument(metavar="CODE...", help="The cells it happened to.", show_default=False)
    ],
    kind: Annotated[
        str,
        values.text_option(
            "--kind",
            f"One of: {', '.join(k.id for k in incident_kinds())}; or your own word.",
            metavar="KIND",
        ),
    ],
    note: Annotated[str | None, values.text_option("--note", "What happened.")] = None,
    severe: Annotated[
        bool, typer.Option("--severe", help="Condemn at once, whatever the kind says.")
    ] = False,
) -> None:
    """Record an incident: every cell named is held until look, rest voltage and resistance are recorded anew."""
    known = find_incident(kind)
    worst = severe or (known is not None and known.severe)
    name = known.id if known is not None else kind
    now = clock.now()
    with context.writing(tell_lost=False) as writer:
        found = list(dict.fromkeys(writer.find_code(code) for code in codes))
        before = {code: writer.cell(code).stage for code in found}
        gone = [code for code, stage in before.items() if stage == "handed-over"]
        if gone:
            raise BadData(f"cell {gone[0]} was handed over already", "check the code")
        held_by = {c: b.project for b in writer.builds() for c in b.codes if c in before}
        number = writer.add_incident(name, found, note or "", worst)
        writer.settle()
        cells = [writer.cell(code) for code in found]
        verdicts = writer.verdicts(context.rules(), now, found)
        live = writer.builds()
    still = {code for build in live for code in build.codes}
    lost = sorted({project for code, project in held_by.items() if code not in still})
    inside = [build for build in live if build.finished_at is not None]
    in_device = sorted({build.project for build in inside if before.keys() & set(build.codes)})
    document: dict[str, Any] = {
        "id": number,
        "kind": name,
        "severe": worst,
        "note": note,
        "at": now,
        "why": known.why if known else None,
        "source": known.source if known else None,
        "retest": [] if worst else list(RETEST),
        "freed_projects": lost,
        "in_builds": in_device,
        "cells": [
            {"code": cell.code, "stage": cell.stage, "outcome": verdicts[cell.code].outcome.word}
            for cell in cells
        ],
    }
    rows = [[cell.code, cell.stage.value, verdicts[cell.code].outcome.word] for cell in cells]
    output.emit(
        document, lambda: output.table(["code", "stage", "outcome"], rows, flexible="stage", empty="")
    )
    _talk(worst, known.why if known else "", lost, in_device)
    talk_cautions(Step.INCIDENT, *([Step.DISCARD] if worst else []), kinds=[c.facts for c in cells])


def _talk(severe: bool, why: str, lost: list[str], in_device: list[str]) -> None:
    reason = f": {why}" if why else ""
    if severe:
        output.talk(f"condemned at once{reason}")
    else:
        output.talk(f"held until {', '.join(RETEST[:-1])} and {RETEST[-1]} are recorded again{reason}")
    for project in lost:
        output.talk(f"project '{project}' has lost a cell and waits for another: straycell match '{project}'")
    for project in in_device:
        output.talk(f"a cell of it sits in '{project}': stop using it; straycell build dismantle '{project}'")


@app.command("kinds")
def kinds() -> None:
    """List the known kinds, and which condemn at once."""
    listed = incident_kinds()
    document = [
        {"kind": k.id, "text": k.text, "severe": k.severe, "why": k.why, "source": k.source} for k in listed
    ]
    rows = [[k.id, "condemns" if k.severe else "holds", f"{k.text}: {k.why}"] for k in listed]
    output.emit(document, lambda: output.story(["kind", "what it does", "when, and why"], rows))
