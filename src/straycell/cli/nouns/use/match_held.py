"""`match` of a project that has its cells: what it holds and whether they still do, instead of a new plan."""

from __future__ import annotations

from straycell.builds import Build
from straycell.cli.app import output
from straycell.cli.show.match_page import say_cells
from straycell.matching import Match
from straycell.matching.words import run_hours

_STATE_WORDS = {"reserved": "reserved", "finished": "built"}


def held_document(found: Match, build: Build) -> dict[str, object]:
    """The JSON of `match`, with the plan by which the cells were reserved and how far the build is."""
    since = build.finished_at or build.reserved_at
    return found.to_json() | {"plan": build.plan, "state": str(build.state), "since": since}


def held_page(found: Match, build: Build) -> None:
    """For a person: since when, which cells, and what no longer holds of them."""
    finished = build.finished_at is not None
    word, since = _STATE_WORDS[str(build.state)], output.day(build.finished_at or build.reserved_at)
    output.say_wrapped(
        f"{build.project} has been {word} since {since} and keeps its cells; no new match was made"
    )
    say_cells(found)
    if found.runtime is not None:
        output.say(f"  runs {run_hours(found.runtime.low_h)} at the low end as they are known now")
    # In a device a reading ages without anybody's fault; on the shelf it may have failed since.
    failed = [why for why in found.why if not why.passed]
    if failed:
        output.section("Not as a new match would want it" if finished else "No longer true of them")
        output.bullets(f"{why.code}: {why.text}" if why.code else why.text for why in failed)
    if not finished:
        output.hint(f"next: straycell build finish '{build.project}'")
    output.hint(f"for other cells: straycell build dismantle '{build.project}', then match it again")
