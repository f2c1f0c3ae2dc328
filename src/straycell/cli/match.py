"""`straycell match`: which cell a project gets, why that one, and why not the others. It changes nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from straycell.cli import clock, desk, output, values
from straycell.cli.cautions_talk import talk_cautions
from straycell.cli.offers import candidates
from straycell.cli.project import understood
from straycell.cli.verbs import lone_app
from straycell.errors import NegativeAnswer
from straycell.safety import Step

if TYPE_CHECKING:
    from straycell.matching import Match
    from straycell.store.reader import Reader

app = lone_app()
SHOWN = 8


def match_project(reader: Reader, name: str) -> Match:
    """The match of one filed project with the stock as it stands now."""
    from straycell.matching import UseLimits, match_single

    rules, now = desk.rules(), clock.now()
    project = understood(reader.project(name))
    return match_single(project, candidates(reader, rules, now), UseLimits.from_rules(rules), now=now)


@app.command()
def match(name: Annotated[str, values.text_argument("NAME", "The project.")]) -> None:
    """Find the least cell that does the project's job, with every reason. Nothing is reserved."""
    with desk.reading() as reader:
        found = match_project(reader, name)
    output.emit(found.to_json(), lambda: page(found))
    if not found.served:
        raise NegativeAnswer(f"project '{name}' is not served by the cells in store", _first(found.missing))
    talk_cautions(Step.MATCH)


def _first(missing: tuple[str, ...]) -> str:
    return missing[0] if missing else ""


def page(found: Match) -> None:
    """A match for a person."""
    if found.served:
        cells = " | ".join(" + ".join(group) for group in found.groups)
        output.say(f"{found.project}: {cells}")
        if found.runtime is not None:
            run = found.runtime
            output.say(f"  runs {run.low_h:.3g} h at the low end, {run.expected_h:.3g} h expected")
            output.say(f"  counted from {run.basis}; ends at {run.stop}")
        output.section("Why this one")
        output.bullets(why.text for why in found.why)
    else:
        output.say(f"{found.project}: not served")
        output.section("What is missing")
        output.bullets(found.missing)
    if found.warnings:
        output.section("Mind")
        output.bullets(found.warnings)
    if found.not_chosen:
        output.section("Why not the others")
        output.bullets(f"{why.code}: {why.text}" for why in found.not_chosen[:SHOWN])
        if len(found.not_chosen) > SHOWN:
            output.say(
                f"    and {len(found.not_chosen) - SHOWN} more: straycell match '{found.project}' --json"
            )
    if found.served:
        output.say("")
        output.say(f"plan {found.plan}: straycell build reserve '{found.project}' --plan {found.plan}")
