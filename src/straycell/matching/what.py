"""What today's stock can give to a load without a project: the best of each small shape, longest run first."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.acceptance import Outcome
from straycell.acceptance.permission import FREE
from straycell.matching.one_project import Match
from straycell.matching.pack.match_pack import serve
from straycell.matching.pack.shape_search import try_shape
from straycell.matching.screen import Candidate, UseLimits
from straycell.physics.loads import ConstantCurrent, ConstantPower, Load
from straycell.projects import Need, PackShape, Project, Protection

SHAPES = ((1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (3, 1), (3, 2), (4, 1))
"""(series, parallel): what a maker joins on a bench (common practice, no published source)."""
CONVERTER = 0.85
"""Efficiency of a converter to a voltage of its own (common practice, no published source)."""
EMPTY_V, ROOM_C = 2.5, 25.0
"""Where an unknown device is taken to stop, in V a cell: the lowest cut-off of the usual cell sheets; and where it works."""
LONGEST_H, LEAST_H = 1e5, 1.0 / 60.0


@dataclass(frozen=True, slots=True)
class Stock:
    """The match of each shape that can feed the load, longest first; `waiting` are free cells on hold that a round of
    tests might add."""

    offers: tuple[Match, ...]
    waiting: tuple[str, ...]


def load_of(voltage_v: float | None, current_a: float | None, power_w: float | None) -> Load:
    """A power behind a converter where a voltage is given, else the current as it is drawn from the cells."""
    # A converter takes its loss from the cells, and draws more current as they sink.
    if power_w is not None:
        return ConstantPower(power_w, CONVERTER)
    assert current_a is not None
    return (
        ConstantCurrent(current_a) if voltage_v is None else ConstantPower(voltage_v * current_a, CONVERTER)
    )


def what_it_gives(load: Load, cells: Sequence[Candidate], limits: UseLimits, *, now: datetime) -> Stock:
    """Every shape of SHAPES that can feed the load for a minute at least, with the longest run it promises."""
    offers = [found for shape in SHAPES if (found := _longest(load, shape, cells, limits, now)) is not None]
    offers.sort(
        key=lambda found: (-(found.runtime.low_h if found.runtime else 0.0), sum(map(len, found.groups)))
    )
    # Free cells on hold may be just short of one reading: a round of tests can bring them back into the choice.
    waiting = [c.code for c in cells if c.stage in FREE and c.outcome is Outcome.HOLD]
    return Stock(tuple(offers), tuple(waiting))


def _longest(
    load: Load,
    shape: tuple[int, int],
    cells: Sequence[Candidate],
    limits: UseLimits,
    now: datetime,
) -> Match | None:
    """The match with the longest promise; None where the shape cannot feed the load."""
    asked = _device(load, shape, LEAST_H)
    # Asked for longer than any stock lasts, every shape is refused, and the refusal says how far it got.
    reach_h = try_shape(_device(load, shape, LONGEST_H), cells, limits, now, shape).longest_h
    # Screening is more hopeful than the full check, so the promise is tried a little lower until it holds.
    for share in (1.0 - 1e-9, 0.97, 0.9, 0.75, 0.5):
        need_h = share * reach_h
        if need_h < LEAST_H:
            return None
        found = serve(replace(asked, need=replace(asked.need, runtime_h=need_h)), cells, limits, now=now)
        if found.served:
            return found
    return None


def _device(load: Load, shape: tuple[int, int], runtime_h: float) -> Project:
    """A device that stops where its cells are empty, charged outside, with the protection that every pack needs."""
    series, parallel = shape
    return Project(
        f"{series}S{parallel}P",
        load,
        Need(runtime_h, EMPTY_V * series, ROOM_C),
        pack=PackShape(series, parallel),
        protection=Protection(fitted=True, per_cell=series > 1, balancing=series > 1),
    )
