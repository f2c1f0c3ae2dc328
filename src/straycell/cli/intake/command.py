"""`straycell intake`: the command that brings the dialogue, the terminal and the store together."""

from __future__ import annotations

from typing import Annotated

import typer

from straycell.cli.app import options, output, tables, values
from straycell.cli.app.faults import EXIT_INTERRUPTED
from straycell.cli.app.verbs import lone_app
from straycell.cli.intake import closing, hands, terminal
from straycell.cli.intake.evening import intake
from straycell.cli.intake.script import Kept, Tone
from straycell.cli.intake.state import Evening
from straycell.teardowns import parse_teardown_code

app = lone_app()


@app.command()
def run(
    teardown: Annotated[
        str | None, values.text_option("--teardown", "Go on with this tear-down, like AT3.", metavar="CODE")
    ] = None,
    due: Annotated[bool, typer.Option("--due", help="Walk the cells that wait for a reading.")] = False,
) -> None:
    """The guided evening: one tear-down, cell after cell, or the readings that are due.

    Each cell is recorded as it is finished. Ctrl-C and Ctrl-D end the evening and drop only the cell at hand.
    """
    code = None if teardown is None else parse_teardown_code(teardown)
    terminal.require_terminal()
    screen = terminal.Terminal(hands.do, options.current().env)
    evening = Evening(hands.start(teardown=code, due=due))
    stopped = False
    try:
        screen.run(intake(evening))
    except terminal.Ended:
        stopped = True
    except KeyboardInterrupt:
        screen.say("")
        stopped = True
        _end(screen, evening, offer=False)
        raise typer.Exit(EXIT_INTERRUPTED) from None
    _end(screen, evening, offer=not stopped)


def _end(screen: terminal.Terminal, evening: Evening, *, offer: bool) -> None:
    for line in closing.left_over(evening):
        screen.say(line.text, line.tone)
    kept = list(evening.kept.values())
    if not kept:
        screen.say("no cell was recorded")
    output.emit(_document(evening, kept), lambda: _table(kept))
    lines = closing.outlook_lines(kept)
    if lines:
        screen.say("What to measure next:", Tone.HEAD)
        for text in lines:
            screen.say(f"  {text}")
        screen.say("When it is measured: straycell intake --due")
    if offer and kept:
        screen.run(closing.offer_labels(evening))


def _document(evening: Evening, kept: list[Kept]) -> dict[str, object]:
    return {
        "teardown": evening.teardown,
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


def _table(kept: list[Kept]) -> None:
    if not kept:
        return
    output.say("")
    tables.table(["code", "kind", "outcome", "why"], closing.rows(kept), flexible="why", empty="")
    output.say(closing.summary(kept))
