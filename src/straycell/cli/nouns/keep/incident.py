"""`straycell incident`: something happened to cells; they are held until tested again, or condemned at once."""

from typing import Annotated

from straycell.bench.recording import discard, record
from straycell.cli.app import cautions, clock, context, output, tables, values, verbs
from straycell.cli.show import after_writing, verdict_page
from straycell.errors import UsageFault
from straycell.readings import Mistake
from straycell.safety import Step
from straycell.safety.incidents import RETEST, incident_kinds

app = verbs.noun_app("Something happened to cells: short circuit, drop, heat, water, a charger that failed.")


@app.command("add")
def add(
    codes: Annotated[list[str], values.argument("CODE...", "The cells it happened to.")],
    kind: Annotated[
        str,
        values.text_option(
            "--kind",
            f"One of: {', '.join(k.id for k in incident_kinds())}; or your own word.",
            metavar="KIND",
        ),
    ],
    note: Annotated[str | None, values.text_option("--note", "What happened.")] = None,
    severe: Annotated[bool, values.flag("--severe", "Condemn at once, whatever the kind says.")] = False,
) -> None:
    """Record an incident: every cell named is held until it is tested and checked again."""
    done = discard.record_incident(context.bench(), codes, kind, note=note or "", severe=severe)
    outcomes = [(after.cell, after.verdict.outcome.word) for after in done.after]
    output.emit(
        {
            "id": done.number,
            "kind": done.name,
            "severe": done.severe,
            "note": note,
            "at": clock.now(),
            "why": done.kind.why if done.kind else None,
            "source": done.kind.source if done.kind else None,
            "retest": [] if done.severe else list(RETEST),
            "freed_projects": sorted(project for project, (_, inside) in done.lost.items() if not inside),
            "in_builds": sorted(project for project, (_, inside) in done.lost.items() if inside),
            "cells": [{"code": cell.code, "stage": cell.stage, "outcome": word} for cell, word in outcomes],
        },
        lambda: tables.grid(
            done.after,
            {
                "code": lambda after: after.cell.code,
                "stage": lambda after: after.cell.stage,
                "outcome": lambda after: verdict_page.outcome_cell(after.verdict.outcome),
            },
            flexible="stage",
            empty="",
        ),
    )
    reason = f": {done.kind.why}" if done.kind else ""
    # On stderr also with --json: whoever reads only the data must not miss that a cell is condemned.
    if done.severe:
        output.talk(f"condemned at once{reason}")
    else:
        output.talk(f"held until {', '.join(RETEST[:-1])} and {RETEST[-1]} are recorded again{reason}")
    output.hint("of the wrong cell, or another kind? straycell incident withdraw CODE moves it")
    # A device that runs on a harmed cell is the more urgent danger, so it is named even with --quiet.
    output.talk(*record.lost_words(done.lost))
    cautions.talk(
        Step.INCIDENT, *([Step.DISCARD] if done.severe else []), kinds=[cell.facts for cell, _ in outcomes]
    )


@app.command("withdraw")
def withdraw(
    code: Annotated[str, values.text_argument("CODE", "The cell it was recorded of.")],
    because: values.BecauseOption,
    mistake: Annotated[
        Mistake | None, values.word("--mistake", Mistake, "Follows from the other options.")
    ] = None,
    right_cell: Annotated[
        str | None, values.text_option("--right-cell", "The cell it really happened to.", metavar="CODE")
    ] = None,
    kind: Annotated[
        str | None, values.text_option("--kind", "What really happened (incident kinds).", metavar="KIND")
    ] = None,
    severe: Annotated[bool, values.flag("--severe", "That condemns at once.")] = False,
    number: Annotated[
        str | None, values.text_option("--incident", "Which one, of several.", metavar="NUMBER")
    ] = None,
) -> None:
    """Take back an incident of the wrong cell or kind: it moves to the right one, the history keeps both.

    What happened never vanishes. A cell that looks fine afterwards is tested again, not withdrawn.
    """
    if mistake is None and right_cell is None and kind is None and not severe:
        raise UsageFault(
            "what was wrong is missing: the cell, or the kind",
            "--right-cell CODE or --kind KIND; with --mistake wrong-cell alone its other cells keep it",
        )
    mistake = mistake or (Mistake.MISTYPED if right_cell is None else Mistake.WRONG_CELL)
    done = discard.withdraw_incident(
        context.bench(),
        code,
        mistake,
        because,
        right_cell=right_cell,
        name=kind,
        severe=severe,
        number=number,
    )
    document = {
        "code": done.cell,
        "kind": done.was.kind,
        "at": done.was.at,
        "mistake": mistake,
        "because": because,
        "counts_of": done.now_of,
        "counts_as": done.kind,
        "severe": done.severe,
        "cells": [
            {"code": a.cell.code, "stage": a.cell.stage, "outcome": a.verdict.outcome.word}
            for a in done.recorded.after
        ],
    }
    counts = f"it counts as '{done.kind}' of {done.now_of}" if done.now_of else "its other cells keep it"
    line = f"'{done.was.kind}' of {done.cell} taken back as {mistake}: {counts}"
    output.emit(document, lambda: output.say(line))
    after_writing.talk_recorded(done.recorded, Step.INCIDENT)


@app.command("kinds")
def kinds() -> None:
    """List the known kinds, and which condemn at once."""
    output.emit(
        [
            {"kind": k.id, "text": k.text, "severe": k.severe, "why": k.why, "source": k.source}
            for k in incident_kinds()
        ],
        lambda: tables.story(
            incident_kinds(),
            {
                "kind": lambda k: k.id,
                "what it does": lambda k: "condemns" if k.severe else "holds",
                "when, and why": lambda k: f"{k.text}: {k.why}",
            },
        ),
    )
