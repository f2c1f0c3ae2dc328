"""One parallel group: what it holds, how unevenly its cells share a current, and whether each bears its share."""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from straycell.acceptance.reasons import DUST
from straycell.matching.screen import Candidate, Screen, Why, charger
from straycell.quantities import Dimension, Measured, amp_hours, count_of, ohms
from straycell.safe_side import beside

Group = Sequence[Candidate]


def held(group: Group) -> Measured:
    """What a group holds in Ah. Cells measured with one meter err together, so their uncertainties add up."""
    # One meter's error has one sign for all cells, so the uncertainties add and do not average out.
    figures = [c.capacity for c in group if c.capacity is not None]
    return Measured(math.fsum(f.value for f in figures), math.fsum(f.u for f in figures))


def joined_ohm(group: Group) -> Measured:
    """Resistance of a group in ohm; the same goes for its uncertainty."""
    figures = [c.resistance for c in group if c.resistance is not None]
    value, high = (parallel_ohm([f.value + k * f.u for f in figures]) for k in (0.0, 1.0))
    return Measured(value, high - value)


def parallel_ohm(ohm: Sequence[float]) -> float:
    """Resistance in ohm of several in parallel."""
    return 0.0 if min(ohm) <= 0 else 1.0 / math.fsum(1.0 / r for r in ohm)


def equivalent(group: Group, name: str) -> Candidate:
    """The cell of which so many alike would make this group: what its run time is computed for."""
    count, first = len(group), group[0]
    if count == 1:
        return first
    total, joined = held(group), joined_ohm(group)
    cutoffs = [c.capacity_cutoff_v for c in group]
    known = [v for v in cutoffs if v is not None]
    currents = [c.capacity_current_a for c in group if c.capacity_current_a is not None]
    return replace(
        first,
        code=name,
        capacity=Measured(total.value / count, total.u / count),
        at_least=any(c.at_least for c in group),
        resistance=Measured(joined.value * count, joined.u * count),
        # The gentlest test counts: it took the most out of a cell.
        capacity_cutoff_v=min(known) if len(known) == count else None,
        capacity_current_a=min(currents) if len(currents) == count else None,
        # A curve of one cell says nothing of the group.
        own_trace=None,
        rest=None,
        loss_per_month=group_loss(group),
    )


def group_loss(group: Group) -> Measured | None:
    """What a group loses a month, as a share; None unless it is known of every cell."""
    known = [c.loss_per_month for c in group if c.loss_per_month is not None]
    if len(known) < len(group):
        return None
    return Measured(math.fsum(f.value for f in known) / len(known), max(f.u for f in known))


def shares(group: Group) -> list[float]:
    """The largest share of the group's current that each cell may carry, by conductance.

    A cell is taken at its lowest likely resistance, the others as measured.
    """
    # Currents divide by conductance (Kirchhoff): the lowest resistance carries the most.
    figures = [c.resistance or Measured(0.0, 0.0) for c in group]
    return [
        _share(figure.low, [other.value for k, other in enumerate(figures) if k != place])
        for place, figure in enumerate(figures)
    ]


def _share(own_ohm: float, others_ohm: Sequence[float]) -> float:
    if not others_ohm:
        return 1.0
    if own_ohm <= 0:
        # Nothing tells cells of no resistance apart; beside any other one it takes everything.
        return 1.0 / (1 + len(others_ohm)) if max(others_ohm) <= 0 else 1.0
    return 0.0 if min(others_ohm) <= 0 else 1.0 / (1.0 + own_ohm * math.fsum(1.0 / r for r in others_ohm))


def spread_of(group: Group) -> Measured:
    """Largest over smallest resistance, of the pair where it is least sure that it is small."""
    # The pair with the highest upper end decides: within U of the limit is not a pass.
    worst = Measured(1.0, 0.0)
    for one, other in combinations(group, 2):
        pair = _ratio(one.resistance or Measured(0.0, 0.0), other.resistance or Measured(0.0, 0.0))
        worst = max(worst, pair, key=lambda ratio: ratio.high)
    return worst


def _ratio(one: Measured, other: Measured) -> Measured:
    small, large = sorted((one, other), key=lambda figure: figure.value)
    if small.value <= 0:
        return Measured(1.0 if large.value <= 0 else math.inf, 0.0)
    ratio = large.value / small.value
    return Measured(ratio, ratio * math.hypot(large.u / large.value, small.u / small.value))


def judge_group(screen: Screen, number: int, group: Group) -> tuple[Why, ...]:
    """Every test of one group: its spread of resistance, and the share of each current its lowest cell carries."""
    name = f"group {number}"
    total = held(group)
    holds = f"{name} holds {amp_hours(total.value)} in {count_of(len(group), 'cell')}"
    reasons = [
        Why(name, "group", True, f"{holds}: {', '.join(c.code for c in group)}", total.value, unit="Ah")
    ]
    if len(group) == 1:
        return tuple(reasons)
    reasons.append(_spread(screen, name, group))
    limits = [cell_limits(screen, c) for c in group]
    for rows in zip(*limits, strict=True):
        test, what, total_a, _ = rows[0]
        why = _carried(name, test, what, total_a, group, [most_a for *_, most_a in rows])
        charge = screen.demand.project.charge
        # A charger can be set gentler, so its remedy is a figure and not another cell.
        if test == "charge-share" and charge is not None and not why.passed:
            gentle_a = min(row[3] / s for row, s in zip(rows, shares(group), strict=True))
            more = f"; {why.remedy}" if why.remedy else ""
            why = replace(why, remedy=charger.gentler(charge, gentle_a) + more)
        reasons.append(why)
    return tuple(reasons)


def cell_limits(screen: Screen, c: Candidate) -> list[tuple[str, str, float, float]]:
    """What a cell of a group shares: (test, what it is, the group's current in A, the most the cell may carry of it)."""
    limits, parallel, chemistry = screen.limits, screen.demand.parallel, c.facts.chemistry
    out_a = c.allowed_out_a(limits)
    found = [
        ("share", "the device's current", screen.steady_a(chemistry) * parallel, out_a),
        ("peak-share", "its peak", screen.peak_a(chemistry) * parallel, limits.peak_factor * out_a),
    ]
    charge = screen.demand.project.charge
    if charge is not None:
        most_a = charger.allowed_charge_a(screen.demand.project, c, limits)
        found.append(("charge-share", "the charge current", charger.charge_current_a(charge), most_a))
    return found


def _spread(screen: Screen, name: str, group: Group) -> Why:
    ratio, most = spread_of(group), screen.limits.resistance_ratio
    fits = ratio.high <= most * (1 + DUST)
    lowest, highest = (pick(group, key=lambda c: (_ohm(c), c.code)) for pick in (min, max))
    spread = f"{ohms(_ohm(lowest))} ({lowest.code}) to {ohms(_ohm(highest))} ({highest.code})"
    text = f"{name}: {spread}, {ratio.value:.2f} to 1, at most {most:g} to 1"
    if ratio.u > 0:
        text += f" with U {2 * ratio.u:.2f}"
    short = None if fits else ratio.high - most
    # Where the figures agree and only their uncertainty does not, other cells would be no better.
    finer = (
        "a finer measurement of resistance would decide: the excess is its U, not the cells"
        if ratio.value <= most
        else ""
    )
    remedy = "" if fits else finer or f"cells of resistances within {most:g} to 1 of each other"
    return Why(name, "resistance-spread", fits, text, ratio.value, most, "1", short, remedy)


def _ohm(c: Candidate) -> float:
    return c.resistance.value if c.resistance is not None else 0.0


def _carried(
    name: str, test: str, what: str, total_a: float, group: Group, allowed_a: Sequence[float]
) -> Why:
    """The cell that comes nearest to what it may carry decides."""
    parts = list(zip(shares(group), allowed_a, group, strict=True))
    # Not the largest current but the smallest margin: a small cell fails before a large one.
    share, most_a, cell = max(parts, key=lambda part: (part[0] * total_a - part[1], part[2].code))
    carried_a = share * total_a
    fits = carried_a <= most_a * (1 + DUST)
    carried, may = beside(carried_a, most_a, Dimension.CURRENT)
    text = f"{name}: {cell.code} carries up to {100 * share:.0f} % of {what}, {carried}; it may have {may}"
    short = None if fits else carried_a - most_a
    remedy = "" if fits else cell.more_from_maker("charge" if test == "charge-share" else "discharge")
    return Why(name, test, fits, text, carried_a, most_a, "A", short, remedy, cell.code)
