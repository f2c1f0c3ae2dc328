"""`straycell intake`: the command that brings the dialogue, the terminal and the store together."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from straycell.bench.context import Bench
from straycell.bench.intake import store_actions, words
from straycell.bench.intake.cell import describe_kind
from straycell.bench.intake.records import outlook_lines
from straycell.bench.intake.script import Key, Say, Scanned, Talk, Tone, act, ask, asking, fault
from straycell.bench.intake.session import intake
from straycell.bench.intake.state import Session, left_over
from straycell.bench.intake.store_actions import CellKept
from straycell.cli.app import context, faults, options, output, tables, values, verbs
from straycell.cli.intake import terminal
from straycell.errors import BadData, StraycellError
from straycell.quantities import count_of
from straycell.teardowns import parse_teardown_code

app = verbs.lone_app()


@app.command()
def run(
    teardown: Annotated[
        str | None, values.text_option("--teardown", "Go on with this tear-down, like AT3.", metavar="CODE")
    ] = None,
    due: Annotated[bool, values.flag("--due", "Go through the cells that wait for a reading.")] = False,
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
        raise typer.Exit(faults.EXIT_INTERRUPTED) from None
    _end(screen, session, offer=not stopped)


def offer_labels(session: Session) -> Talk[None]:
    """A label sheet of tonight's cells, if the person wants one."""
    codes, usual = tuple(session.kept), f"labels-{session.teardown or 'measured'}.pdf"
    prompt = f"label sheet for {count_of(len(codes), 'cell')}? y or a path"
    while codes:
        try:
            text = yield from ask(asking("labels", prompt=prompt))
            if text.casefold() in ("", "n", "no", Key.DONE, Key.NONE):
                return
            path = usual if words.is_yes(text) else text
            yield from act(print_labels, path, codes)
            yield Say(f"{path}: {count_of(len(codes), 'label')}", Tone.GOOD)
            return
        except Scanned as seen:
            yield Say(
                f"{seen.code} is a cell's code and no file. Go on with it: straycell intake", Tone.FAULT
            )
        except StraycellError as error:
            yield fault(error)


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
    for line in left_over(session):
        screen.say(line.text, line.tone)
    kept = list(session.kept.values())
    if not kept:
        screen.say("no cell was recorded")
    # The dialogue spoke on stderr: stdout holds this one document.
    output.emit(
        {
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
        },
        lambda: _table(kept),
    )
    lines = outlook_lines(kept)
    if lines:
        screen.say("What to measure next:", Tone.HEAD)
        for text in lines:
            screen.say(f"  {text}")
        screen.say("When it is measured: straycell intake --due")
    if offer:
        screen.run(offer_labels(session))


def _table(kept: list[CellKept]) -> None:
    if not kept:
        return
    output.say("")
    tables.grid(
        kept,
        {
            "code": lambda each: each.code,
            "kind": lambda each: describe_kind(each.facts, with_marking=False),
            "outcome": lambda each: each.outcome.word,
            "why": lambda each: next(iter(each.because), None),
        },
        flexible="why",
        empty="",
    )
    counts = Counter(each.outcome for each in kept)
    outcomes = ", ".join(f"{counts[outcome]} {outcome.word}" for outcome in sorted(counts, reverse=True))
    output.say(f"{count_of(len(kept), 'cell')}: {outcomes}")
