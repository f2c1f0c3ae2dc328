"""`straycell rules`: every limit with its source, and whether a file of your own can be taken."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.bench.wording.shapes import Json
from straycell.cli.app import context, output
from straycell.cli.app.grammar.verbs import noun_app
from straycell.cli.show.pieces.figure_words import limit_words
from straycell.errors import EXIT_NEGATIVE

if TYPE_CHECKING:
    from straycell.acceptance.rules import Limit

app = noun_app("Every limit with its source; checking a rule file of your own.")


@app.command("show")
def show() -> None:
    """Show the rules in force. STRAYCELL_RULES names a file of your own that is laid on top of the shipped ones."""
    rules = context.rules()
    limits = list(rules.limits.values())
    document = {"name": rules.name, "hash": rules.hash, "limits": [_limit_json(limit) for limit in limits]}
    output.emit(document, lambda: _page(rules.name, rules.hash, limits))


def _limit_json(limit: Limit) -> Json:
    return {
        "id": limit.id,
        "text": limit.text,
        "quantity": limit.quantity,
        "bound": limit.bound,
        "values": None if limit.values is None else dict(limit.values),
        "unit": limit.unit,
        "words": list(limit.words),
        "decides": limit.decides,
        "safety": limit.safety,
        "source": limit.source,
    }


def _page(name: str, fingerprint: str, limits: list[Limit]) -> None:
    output.say(f"{name}  ({fingerprint[:12]})")
    output.say("A safety rule can be tightened in a file of your own, never loosened.")
    for limit in limits:
        mark = "  [safety]" if limit.safety else ""
        output.section(f"{limit.id}{mark}")
        output.facts(
            [
                ("what", limit.text),
                ("limit", limit_words(limit)),
                ("decides", limit.decides),
                ("source", limit.source),
            ],
            indent="  ",
        )


@app.command("check")
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rule file (TOML).", show_default=False)],
) -> None:
    """Check a rule file: every fault in one pass. Exit 1 when there is one."""
    from straycell.acceptance.rules import read_rules

    found, faults = read_rules(file)
    document = {
        "file": str(file),
        "ok": not faults,
        "name": found.name if found else None,
        "hash": found.hash if found else None,
        "faults": faults,
    }
    output.emit(document, lambda: _tell(file, faults))
    if faults:
        raise typer.Exit(EXIT_NEGATIVE)


def _tell(file: Path, faults: list[str]) -> None:
    if not faults:
        output.say(f"{file}: no fault; put it in force with STRAYCELL_RULES={file}")
        return
    output.say(f"{file}: {len(faults)} fault{'s' if len(faults) > 1 else ''}")
    output.bullets(faults)
