"""`build inspect --groups`: the voltages of a pack's groups as typed, and what they show."""

from collections.abc import Collection
from typing import Any

from straycell.bench.recording.inspection import Seen
from straycell.builds import Build, BuildState
from straycell.cli.app import cautions, output, prompts
from straycell.errors import BadData, UsageFault
from straycell.quantities import Dimension, Window, parse_quantity, show
from straycell.safe_side import at_most
from straycell.safety import Step
from straycell.safety.group_watch import Edge, Outside, Sinking, next_inspection

_CELL = Window(0.0, 4.6, "one group of a pack")
_NONE = "none"
_DIGITS = 3
"""A store keeps up to 1000 groups of a build."""


def group_volts(text: str) -> list[float]:
    """The voltages in V of `3.91V,3.92V`. Raises BadData for a value that is none."""
    return [
        parse_quantity(part.strip(), Dimension.VOLTAGE, window=_CELL, name=f"group {number}")
        for number, part in enumerate(text.split(","), 1)
    ]


def group_numbers(text: str | None) -> frozenset[int] | None:
    """The groups (from 0) of `2,3`; empty for `none`, None where nothing was said. Raises BadData for anything else."""
    if text is None:
        return None
    if text.strip().casefold() == _NONE:
        return frozenset()
    parts = [part.strip() for part in text.split(",")]
    for part in parts:
        # isdecimal alone takes digits of other scripts, and int() reads them, too.
        if not (part.isascii() and part.isdecimal() and 0 < len(part) <= _DIGITS and int(part)):
            raise BadData(
                f"'{part}' is not a group", "number the groups from 1 at the minus end: 2,3; or none"
            )
    return frozenset(int(part) - 1 for part in parts)


def ask_about(seen: Seen, charged_alone: Collection[int] | None) -> frozenset[int]:
    """Which groups were charged alone: as said, else asked for each that rose by itself.

    Raises UsageFault where nobody can be asked, and where a voltage outside the limits is not confirmed.
    """
    alone = set(charged_alone or ())
    for rise in seen.rises if charged_alone is None else ():
        number, sure = rise.group + 1, at_most(rise.sure_v, Dimension.VOLTAGE)
        words = (
            f"group {number} rose by {sure} at least since {output.day(rise.since)} and the others did not: "
            "was it charged alone?"
        )
        if not prompts.at_terminal():
            raise UsageFault(words, f"add --charged-alone {number}, or --charged-alone none")
        if prompts.agrees(words):
            alone.add(rise.group)
    for one in seen.outside if prompts.at_terminal() else ():
        # A slip of the finger would take a sound pack out of use.
        volts = show(one.voltage.value, Dimension.VOLTAGE)
        if not prompts.agrees(
            f"group {one.group + 1} at {volts} is outside its limits: measured twice, and so?"
        ):
            raise UsageFault(
                "not confirmed: nothing was changed", "measure it again, then record what you find"
            )
    return frozenset(alone)


def groups_document(found: Seen) -> dict[str, Any]:
    """The JSON of an inspection: each group's voltage and U, the groups that sink (from 1), and the next day."""
    last = found.build.inspections[-1]
    return {
        "group_voltages_v": [{"value": g.value_v, "expanded_uncertainty": 2 * g.u_v} for g in last.groups],
        "sinking": [
            {"group": s.group + 1, "more_v": s.more_v, "expanded_uncertainty": s.u_v, "since": s.since}
            for s in found.sinking
        ],
        "outside": [
            {
                "group": o.group + 1,
                "edge": str(o.edge),
                "value_v": o.voltage.value,
                "expanded_uncertainty": o.voltage.expanded,
                "limit_v": o.limit_v,
                "sure": o.sure,
            }
            for o in found.outside
        ],
        "charged_alone": [number for number, g in enumerate(last.groups, 1) if g.charged_alone],
        "next_inspection": next_inspection(found.build),
    }


def talk_groups(found: Seen) -> None:
    """What the voltages show: a group outside its limits or that sinks is a danger, else the next day to measure."""
    output.talk(*(_out_of_limits(found, far) for far in found.outside))
    outside = {far.group for far in found.outside}
    for one in found.sinking:
        if one.group not in outside:
            output.talk(_warning(found, one))
    if found.sinking or found.outside:
        cautions.talk(Step.DISMANTLE)
        return
    output.talk(*_alone_words(found.build))
    if len(found.build.inspections) == 1:
        output.talk("the first voltages of its groups: nothing to compare them with yet")
    if (next_at := next_inspection(found.build)) is not None:
        output.hint(f"measure the groups again on {output.day(next_at)}: straycell due --ahead 90")


def _alone_words(build: Build) -> list[str]:
    """What is said of the groups that were charged alone since the inspection before."""
    words = []
    for number, group in enumerate(build.inspections[-1].groups):
        if not group.charged_alone:
            continue
        if len([one for one in build.inspections if one.groups[number].charged_alone]) == 1:
            words.append(
                f"group {number + 1} was charged alone: it is compared with the others from now on only"
            )
        else:
            # A sound group needs that once, after joining; a leak needs it for ever.
            words.append(
                f"group {number + 1} had to be charged alone before: one of its cells may leak. Charge it no "
                f"more by itself; straycell build dismantle '{build.project}' and test its cells"
            )
    return words


def _apart(build: Build) -> str:
    """How its cells come out of the pack; a reservation that is over only waits for the hands."""
    if build.state is BuildState.DISMANTLED:
        return "Take the pack apart, its reservation is over"
    return f"Take the pack apart: straycell build dismantle '{build.project}'"


def _out_of_limits(found: Seen, one: Outside) -> str:
    codes = ", ".join(found.build.groups[one.group])
    volts, limit = show(one.voltage.value, Dimension.VOLTAGE), show(one.limit_v, Dimension.VOLTAGE)
    side = "above" if one.edge is Edge.OVER_FULL else "below"
    where = f"is {side} its limit of {limit}" if one.sure else f"is too close to its limit of {limit} to call"
    return (
        f"take the pack out of use, charge it no more: group {one.group + 1} ({codes}) at {volts} {where}. "
        f"{_apart(found.build)}; straycell verdict show {found.build.groups[one.group][0]} says what is to be done"
    )


def _warning(found: Seen, one: Sinking) -> str:
    codes = ", ".join(found.build.groups[one.group])
    # The least that is sure: what was seen less its uncertainty.
    sure = at_most(one.more_v - one.u_v, Dimension.VOLTAGE)
    return (
        f"take the pack out of use: group {one.group + 1} ({codes}) sank faster than the others since "
        f"{output.day(one.since)}, by {sure} at least. Its cells are on hold. {_apart(found.build)}, then test them"
    )
