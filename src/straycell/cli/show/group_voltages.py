"""`build inspect --groups`: the voltages of a pack's groups as typed, and what they show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from straycell.cli.app import output
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.quantities import Dimension, Window, parse_quantity
from straycell.safe_side import at_most
from straycell.safety import Step

if TYPE_CHECKING:
    from straycell.bench.recording.inspection import Inspected
    from straycell.safety.group_watch import Sinking

_CELL = Window(0.0, 4.6, "one group of a pack")


def group_volts(text: str) -> list[float]:
    """The voltages in V of `3.91V,3.92V`. Raises BadData for a value that is none."""
    return [
        parse_quantity(part.strip(), Dimension.VOLTAGE, window=_CELL, name=f"group {number}")
        for number, part in enumerate(text.split(","), 1)
    ]


def groups_document(found: Inspected) -> dict[str, Any]:
    """The JSON of an inspection: each group's voltage and U, the groups that sink (from 1), and the next day."""
    last = found.build.inspections[-1]
    return {
        "group_voltages_v": [{"value": g.value_v, "expanded_uncertainty": 2 * g.u_v} for g in last.groups],
        "sinking": [
            {"group": s.group + 1, "more_v": s.more_v, "expanded_uncertainty": s.u_v, "since": s.since}
            for s in found.sinking
        ],
        "next_inspection": found.next_at,
    }


def talk_groups(found: Inspected) -> None:
    """What the voltages show: a group that sinks is a danger, else the next day to measure."""
    for one in found.sinking:
        output.talk(_warning(found, one))
    if found.sinking:
        talk_cautions(Step.DISMANTLE)
        return
    if len(found.build.inspections) == 1:
        output.talk("the first voltages of its groups: nothing to compare them with yet")
    if found.next_at is not None:
        output.hint(f"measure the groups again on {output.day(found.next_at)}: straycell due --ahead 90")


def _warning(found: Inspected, one: Sinking) -> str:
    codes = ", ".join(found.build.groups[one.group])
    # The least that is sure: what was seen less its uncertainty.
    sure = at_most(one.more_v - one.u_v, Dimension.VOLTAGE)
    return (
        f"take the pack out of use: group {one.group + 1} ({codes}) sank faster than the others since "
        f"{output.day(one.since)}, by {sure} at least. Its cells are on hold: straycell build dismantle "
        f"'{found.build.project}', then test them"
    )
