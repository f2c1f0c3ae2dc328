"""`straycell intake`: the command that brings the dialogue, the terminal and the store together."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from straycell.bench.context import Bench
from straycell.bench.intake import closing, store_actions
from straycell.bench.intake.script import Tone
from straycell.bench.intake.session import intake
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import CellKept
from straycell.cli.app import context, options, output, tables
from straycell.cli.app.faults import EXIT_INTERRUPTED
from straycell.cli.app.grammar import lone_app, values
from straycell.cli.intake import terminal
from straycell.errors import BadData
from straycell.teardowns import parse_teardown_code

app = lone_app()


@app.command()
def run(
    teardown: Annotated[
        str | None, values.text_option("--teardown", "Go on with this tear-down, like AT3.", metavar="CODE")
    ] = None,
    due: Annotated[bool, typer.Option("--due", help="Go through the cells that wait for a reading.")] = False,
) -> None:
    """Record in a dialogue: one tear-down, cell after cell, or the readings that are due.

    Each cell is recorded as it is finished. Ctrl-C and Ctrl-D end the evening and drop only the cell at hand.
    """
    code = None if teardown is None else parse_teardown_code(teardown)
    terminal.require_terminal()
    screen = terminal.Terminal(context.bench, options.current().env)
    session = Session(store_actions.start(context.bench(), teardown=code, due=due))
    stopped = False
    try:
        screen.run(intake(session))
    except terminal.Ended:
        stopped = True
    # Cells already kept are in the store: the summary must come even after Ctrl-C.
    except KeyboardInterrupt:
        screen.say("")
        stopped = True
        _end(screen, session, offer=False)
        raise typer.Exit(EXIT_INTERRUPTED) from None
    _end(screen, session, offer=not stopped)


def print_labels(bench: Bench, path: str, codes: Sequence[str]) -> None:
    """A label sheet of these cells in a new file. Raises BadData."""
    from straycell.cli.nouns.use.label import print_cells

    out = Path(path).expanduser()
    # A sheet of last week may still be waiting for the printer.
    if out.exists():
        raise BadData(f"{out} is there already", "name another file")
    if out.suffix.casefold() != ".pdf":
        raise BadData(f"'{path}' is not a PDF", "end the name in .pdf")
    print_cells(codes, out)


def _end(screen: terminal.Terminal, session: Session, *, offer: bool) -> None:
    for line in closing.left_over(session):
        screen.say(line.text, line.tone)
    kept = list(session.kept.values())
    if not kept:
        screen.say("no cell was recorded")
    # The dialogue spoke on stderr: stdout holds this one document.
    output.emit(_document(session, kept), lambda: _table(kept))
    lines = closing.outlook_lines(kept)
    if lines:
        screen.say("What to measure next:", Tone.HEAD)
        for text in lines:
            screen.say(f"  {text}")
        screen.say("When it is measured: straycell intake --due")
    if offer and kept:
        screen.run(closing.offer_labels(session, print_labels))


def _document(session: Session, kept: list[CellKept]) -> dict[str, object]:
    return {
        "teardown": session.teardown,
        "cells": [
            {
                "code": each.code,
                "chemistry": each.facts.chemistry,
                "form": each.facts.form,
                "outcome": each.outcome.word,
                "because": each.because,
                "next": each.outlook.now,
                "later": [{"what": need, "from": at} for need, at in each.outlook.later],
                "other": each.outlook.other,
            }
            for each in kept
        ],
    }


def _table(kept: list[CellKept]) -> None:
    if not kept:
        return
    output.say("")
    tables.table(["code", "kind", "outcome", "why"], closing.rows(kept), flexible="why", empty="")
    output.say(closing.summary(kept))
