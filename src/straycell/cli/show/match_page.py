"""A match on the screen: who gets which cells, why these, why not the others, the pack they make."""

from collections.abc import Iterator, Sequence
from typing import Any

from straycell.builds import Build
from straycell.cells import position_name
from straycell.cli.app import output
from straycell.matching import Match, StockPlan, Why
from straycell.matching.explain import NO_PROTECTION, PLAIN
from straycell.matching.pack.shape_search import shape_words
from straycell.matching.sheet.words import charge_lines, danger_lines, data_lines, discharge_line, fuse_lines
from straycell.matching.words import run_hours
from straycell.quantities import Dimension, show

SHOWN = 8


def page_of_all(found: StockPlan) -> None:
    """All projects for a person: who gets what, who goes without and why."""
    if not found.plans and not found.unserved:
        output.talk("no project is waiting: file one with: straycell project add FILE")
    for plan in found.plans:
        say_cells(plan)
        if plan.runtime is not None:
            output.say(f"  runs {run_hours(plan.runtime.low_h)} at the low end")
        _say_reserve(plan)
    for plan in found.unserved:
        output.say_wrapped(f"{plan.project}: not served")
        output.bullets(plan.missing)
    if found.plans:
        open_ones = ", ".join(f"'{m.project}'" for m in found.unserved if not m.proven)
        proof = "no plan serves more" if found.gap <= 0 else f"within {found.gap:.1%} of the bound"
        if open_ones:
            proof += f"; whether {open_ones} could be served is not proven"
        output.listed(
            "How good that is",
            [
                f"{len(found.plans)} of {len(found.plans) + len(found.unserved)} projects, the most urgent first: {proof}",
                f"capacity spent beyond the least that would do: {show(found.surplus_ah, Dimension.CAPACITY)}",
            ],
        )
    # Eight are enough to see the kind of cell that is left; the rest is for scripts.
    spare = [why for why in found.cells if why.test == "kept"]
    if spare:
        output.listed("Kept", (f"{why.code}: {why.text}" for why in spare[:SHOWN]))
        if len(spare) > SHOWN:
            output.say(f"    and {len(spare) - SHOWN} more: straycell match --all --json")


def page(found: Match, mass: str = "") -> None:
    """A match for a person; `mass` in words."""
    if found.served:
        say_cells(found)
        if found.runtime is not None:
            run = found.runtime
            output.say(
                f"  runs {run_hours(run.low_h)} at the low end, {run_hours(run.expected_h)} expected",
                f"  counted from {run.basis}; ends at {run.stop}",
            )
        output.section("Why this one" if found.joining is None else "Why these")
        output.bullets(dict.fromkeys(_tightest(found)))
    else:
        output.say_wrapped(f"{found.project}: not served")
        output.listed("What is missing", _each_once(found.missing))
    say_pack(found, mass)
    if found.joining is not None:
        output.listed("Joining, in this order", found.joining.lines)
    # What the lamps would get is said once, among the pack's own data.
    said = found.data.lamps if found.data is not None else ""
    missing = " ".join(found.missing)
    # A dry run plans without protection: there only the warning says that it is missing.
    known = (said, NO_PROTECTION) if NO_PROTECTION.partition(":")[0] in missing else (said,)
    output.listed("Mind", (line for line in found.warnings if line not in known))
    # A person trusts a choice when the rejected ones have reasons, too.
    others = _reasons_once([why for why in found.not_chosen if not _answered(why, missing)])
    if others:
        output.listed("Why not the others", others)
        output.say(f"    each cell's own: straycell match '{found.project}' --json")
    if found.served:
        output.say("", f"plan {found.plan}")
        _say_reserve(found)


def _tightest(found: Match) -> Iterator[str]:
    """Every test once: what is asked of each group alike, of the group that comes nearest to its limit."""
    asked = [why for why in found.why if why.test not in _SHOWN_ELSEWHERE]
    for why in asked:
        same = [w for w in asked if w.test == why.test and w.code.startswith("group ")]
        if len(same) < 2 or why not in same:
            yield why.text
        elif why is max(same, key=_share_of_limit):
            yield f"of {len(same)} groups the tightest is {why.text}"


def _share_of_limit(why: Why) -> float:
    if isinstance(why.observed, float) and isinstance(why.limit, float) and why.limit:
        return why.observed / why.limit
    return 0.0


def _each_once(lines: Sequence[str]) -> Iterator[str]:
    """The nearest cell is named without its reason where that rules out every cell."""
    for line in lines:
        near, _, reason = line.removeprefix(_NEAREST).partition(": ")
        repeated = line.startswith(_NEAREST) and any(reason in other for other in lines if other is not line)
        yield f"{_NEAREST}{near}" if repeated else line


_NEAREST = "nearest: "


def _answered(why: Why, missing: str) -> bool:
    return why.text in missing or f"{why.code} would serve" in missing


def _reasons_once(others: Sequence[Why]) -> list[str]:
    """Each reason once, the nearest cell's first: with all its cells, or how many fail that test for a like reason."""
    texts: dict[str, dict[str, list[str]]] = {}
    for why in others:
        texts.setdefault(why.test, {}).setdefault(why.text, []).append(why.code)
    lines = []
    for test, reasons in texts.items():
        listed = list(reasons.items())
        for text, codes in listed if len(listed) <= ALIKE else listed[:1]:
            more = f" and {len(codes) - SHOWN} more" if len(codes) > SHOWN else ""
            lines.append(f"{', '.join(codes[:SHOWN])}{more}: {text}")
        if len(listed) > ALIKE:
            count = sum(len(codes) for _, codes in listed[1:])
            lines.append(
                f"{count} more {'would do as well' if test == 'kept' else PLAIN.get(test, 'fail that test')}"
            )
    return lines


ALIKE = 3
"""With more different reasons of one kind than this, the nearest is told and the others are counted."""


def say_pack(found: Match, mass: str) -> None:
    """The pack's own data: voltages, energy, mass, size, currents by temperature, fuses, the board to look for."""
    if found.data is None:
        return
    output.section("The pack" if found.joining is not None else "The cell in it")
    board = "a board that fits: " + "; ".join(found.data.board)
    data = found.data
    lines = (*data_lines(data, mass), *charge_lines(data), discharge_line(data), *fuse_lines(data), board)
    output.bullets((*danger_lines(found.data), *lines))


def _say_reserve(plan: Match) -> None:
    output.say(*output.command_lines(f"straycell build reserve '{plan.project}'", f"--plan {plan.plan}"))


_SHOWN_ELSEWHERE = ("group", "place")


def say_cells(found: Match) -> None:
    """One cell on the line of its project; the groups of a pack each on a line of their own."""
    if found.joining is None:
        output.say_wrapped(f"{found.project}: {' | '.join(' + '.join(group) for group in found.groups)}")
        return
    series, parallel = len(found.groups), len(found.groups[0])
    output.say_wrapped(f"{found.project}: {shape_words(series, parallel)}")
    held = {why.code: why.observed for why in found.why if why.test == "group"}
    for number, group in enumerate(found.groups, 1):
        ah = held.get(f"group {number}")
        holds = f"  {show(ah, Dimension.CAPACITY)}" if isinstance(ah, float) else ""
        placed = " + ".join(f"{position_name(number, place)} {code}" for place, code in enumerate(group, 1))
        output.say_wrapped(f"group {number}{holds}: {placed}", "  ", "    ")
    # A spread that no deal can lessen is not a fault of the plan, so its proof is shown beside it.
    spread = show(found.spread_ah or 0.0, Dimension.CAPACITY)
    gap = (
        "proven"
        if not found.gap
        else f"within {show(found.gap, Dimension.FRACTION)} of the best there can be"
    )
    output.say(f"  groups apart by {spread}; {gap}")


# --- a project that has its cells ---------------------------------------------------------------------

_STATE_WORDS = {"reserved": "reserved", "finished": "built"}


def held_document(answer: dict[str, Any], build: Build) -> dict[str, Any]:
    """The JSON of `match`, with the plan by which the cells were reserved and how far the build is."""
    since = build.finished_at or build.reserved_at
    return answer | {"plan": build.plan, "state": str(build.state), "since": since}


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
    output.listed(
        "Not as a new match would want it" if finished else "No longer true of them",
        (f"{why.code}: {why.text}" if why.code else why.text for why in failed),
    )
    if not finished:
        output.hint(f"next: straycell build finish '{build.project}'")
    output.hint(f"for other cells: straycell build dismantle '{build.project}', then match it again")
