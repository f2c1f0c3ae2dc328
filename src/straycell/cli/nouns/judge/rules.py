"""`straycell rules`: every limit with its source, and whether a file of your own can be taken."""

from pathlib import Path
from typing import Annotated

import typer

from straycell.acceptance import Limit, RuleSet, read_rules
from straycell.acceptance.grounds import grounds_words
from straycell.bench.wording.figure_words import limit_words
from straycell.cli.app import context, output, values, verbs
from straycell.errors import EXIT_NEGATIVE, BadData
from straycell.plain_text import one_line
from straycell.quantities import count_of
from straycell.typed import nearest_words

app = verbs.noun_app("Every limit with its source; checking a rule file of your own.")


@app.command("show")
def show(
    limit_id: Annotated[str | None, values.argument("ID", "Only this limit.")] = None,
) -> None:
    """Show the rules in force, all or one. STRAYCELL_RULES names a file of your own that changes the shipped ones."""
    rules = context.rules()
    limits = list(rules.limits.values()) if limit_id is None else [_named(rules, limit_id)]
    output.emit(
        {
            "name": rules.name,
            "hash": rules.hash,
            "limits": [
                {
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
                    "grounds": list(limit.grounds),
                }
                for limit in limits
            ],
        },
        lambda: _page(rules.name, rules.hash, limits),
    )


def _named(rules: RuleSet, limit_id: str) -> Limit:
    limit = rules.behind(limit_id)
    if limit is None:
        near = nearest_words(limit_id, list(rules.limits))
        hint = f"did you mean {', '.join(near)}? " if near else ""
        raise BadData(
            f"there is no limit {one_line(limit_id)[:80]}", f"{hint}all of them: straycell rules show"
        )
    if limit.id != limit_id:
        output.talk(f"{one_line(limit_id)[:80]}: not the name of a limit; it is judged under {limit.id}")
    return limit


def _page(name: str, fingerprint: str, limits: list[Limit]) -> None:
    output.say(
        f"{name}  ({fingerprint[:12]})",
        "A safety rule can be tightened in a file of your own, never loosened.",
    )
    for limit in limits:
        mark = "  [safety]" if limit.safety else ""
        output.section(f"{limit.id}{mark}")
        output.facts(
            [
                ("what", limit.text),
                ("limit", limit_words(limit)),
                ("decides", limit.decides),
                ("source", limit.source),
                ("rests on", grounds_words(limit.grounds)),
            ],
            indent="  ",
        )


@app.command("check")
def check(
    file: Annotated[Path, values.argument("FILE", "A rule file (TOML).")],
) -> None:
    """Check a rule file: every fault in one pass. Exit 1 when there is one."""
    # The file is read as it would be in force, so that a check cannot pass what a command refuses.
    found, faults = read_rules(file)
    output.emit(
        {
            "file": str(file),
            "ok": not faults,
            "name": found.name if found else None,
            "hash": found.hash if found else None,
            "faults": faults,
        },
        lambda: _tell(file, faults),
    )
    # Exit 1 and no message: every fault is on the page already.
    if faults:
        raise typer.Exit(EXIT_NEGATIVE)


def _tell(file: Path, faults: list[str]) -> None:
    if not faults:
        output.say(f"{file}: no fault; put it in force with STRAYCELL_RULES={file}")
        return
    output.say(f"{file}: {count_of(len(faults), 'fault')}")
    output.bullets(faults)
