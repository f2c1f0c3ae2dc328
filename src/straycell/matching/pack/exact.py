"""Every pack there is of a few cells: what the search by capacity does not find, this finds, or proves that there is none.

A group passes or fails by itself, so a pack is a choice of groups that pass and share no cell.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

from straycell.matching.pack.groups import equivalent, judge_group
from straycell.matching.screen import Candidate, Run, Screen, lasts, runs

MOST_GROUPS, MOST_STEPS = 4000, 100_000


@dataclass(frozen=True, slots=True)
class Exact:
    """The groups with their runs, none where there are none; `proven` where every choice was looked at."""

    groups: tuple[tuple[Candidate, ...], ...] = ()
    runs: tuple[Run, ...] = ()
    proven: bool = False


def every_choice(screen: Screen, cells: Sequence[Candidate]) -> Exact:
    """The first pack that passes, of the groups with the least to spare; nothing where they are too many to look at."""
    series, parallel = screen.demand.series, screen.demand.parallel
    if comb(len(cells), parallel) > MOST_GROUPS:
        return Exact()
    ordered = sorted(cells, key=lambda c: c.code)
    subsets = list(combinations(range(len(ordered)), parallel))
    members = [tuple(ordered[k] for k in subset) for subset in subsets]
    found = runs(screen, [equivalent(group, "group") for group in members])
    good = [
        (run.steady.low_h, k)
        for k, (group, run) in enumerate(zip(members, found, strict=True))
        if lasts(screen, run) and all(why.passed for why in judge_group(screen, 1, group))
    ]
    masks = [(sum(1 << cell for cell in subsets[k]), k) for _, k in sorted(good)]
    chosen, complete = _disjoint(masks, series)
    return Exact(tuple(members[k] for k in chosen), tuple(found[k] for k in chosen), complete)


def _disjoint(masks: Sequence[tuple[int, int]], wanted: int) -> tuple[list[int], bool]:
    """(as many groups without a common cell as wanted, or none; whether all choices were looked at)."""
    steps = 0
    stack: list[tuple[int, int, list[int]]] = [(0, 0, [])]
    while stack:
        start, used, chosen = stack.pop()
        if len(chosen) == wanted:
            return chosen, True
        for at in range(len(masks) - 1, start - 1, -1):
            mask, k = masks[at]
            if not mask & used:
                stack.append((at + 1, used | mask, [*chosen, k]))
        steps += 1
        if steps > MOST_STEPS:
            return [], False
    return [], True
