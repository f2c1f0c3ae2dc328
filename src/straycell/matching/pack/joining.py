"""In which order the cells of a pack are joined, and what must be charged or discharged before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.matching.pack.groups import Group, joined_ohm
from straycell.matching.screen.candidates import Candidate, RestVoltage
from straycell.matching.screen.limits import UseLimits
from straycell.matching.words import volts
from straycell.quantities import Measured


@dataclass(frozen=True, slots=True)
class Bring:
    """A cell that must be brought to the common voltage first. `action` is `charge`, `discharge` or `charge full`."""

    code: str
    action: str
    to_v: float
    because: str


@dataclass(frozen=True, slots=True)
class Joining:
    """How the groups are joined: `order` within each, `limits_v` how near (V) a cell must be to those before it.

    `to_v` is the common rest voltage. `lines` say it all in words, in the order of the work.
    """

    to_v: float
    first: tuple[Bring, ...]
    order: tuple[tuple[str, ...], ...]
    limits_v: tuple[float, ...]
    lines: tuple[str, ...]

    def to_json(self) -> dict[str, object]:
        """With plain values; keys name their unit."""
        return {
            "to_v": self.to_v,
            "first": [
                {"code": b.code, "action": b.action, "to_v": b.to_v, "because": b.because} for b in self.first
            ],
            "order": [list(codes) for codes in self.order],
            "limits_v": list(self.limits_v),
            "lines": list(self.lines),
        }


def plan_joining(groups: Sequence[Group], limits: UseLimits) -> Joining | None:
    """The joining of a pack; None for one cell alone."""
    cells = [c for group in groups for c in group]
    if len(cells) < 2:
        return None
    chemistry = cells[0].facts.chemistry
    full_v = limits.full_v[chemistry]
    if chemistry is Chemistry.LFP:
        why = "lfp tells nothing by its voltage until it is full"
        to_v, first = full_v, tuple(_full(c, full_v, why) for c in cells)
    elif all(c.rest is None for c in cells):
        to_v, first = full_v, tuple(_full(c, full_v, "no rest voltage that still stands") for c in cells)
    else:
        to_v, first = _brought(groups, limits)
    order = tuple(tuple(c.code for c in _ordered(group, to_v)) for group in groups)
    near = tuple(_limit_v(group, limits) for group in groups)
    return Joining(to_v, first, order, near, _lines(groups, to_v, first, order, near))


def _full(c: Candidate, full_v: float, because: str) -> Bring:
    return Bring(c.code, "charge full", full_v, because)


def _ordered(group: Group, to_v: float) -> list[Candidate]:
    """The surest first: nearest to the common voltage; cells without a rest voltage last."""
    return sorted(group, key=lambda c: (abs(c.rest.measured.value - to_v) if c.rest else math.inf, c.code))


def difference(one: RestVoltage, other: RestVoltage, limits: UseLimits) -> Measured:
    """The difference of two rest voltages in V. Readings by one meter share its gain and offset."""
    kelvin = _kelvin(one, other, limits)
    apart_v = abs(one.measured.value - other.measured.value)
    drift_v = limits.cell_drift * kelvin / math.sqrt(3.0)
    same = one.meter and one.meter == other.meter
    if not same or one.alone_u_v is None or other.alone_u_v is None:
        meter_v = limits.meter_drift * kelvin * max(one.measured.u, other.measured.u)
        return Measured(apart_v, math.hypot(one.measured.u, other.measured.u, drift_v, meter_v))
    gain_v = one.gain * apart_v / math.sqrt(3.0)
    meter_v = limits.meter_drift * kelvin * max(one.measured.u, other.measured.u)
    return Measured(apart_v, math.hypot(one.alone_u_v, other.alone_u_v, gain_v, drift_v, meter_v))


def _kelvin(one: RestVoltage, other: RestVoltage, limits: UseLimits) -> float:
    if one.temperature_c is not None and other.temperature_c is not None:
        return abs(one.temperature_c - other.temperature_c)
    return 0.0 if one.at == other.at else limits.unsaid_kelvin


def _brought(groups: Sequence[Group], limits: UseLimits) -> tuple[float, tuple[Bring, ...]]:
    """(common voltage, the cells that must be brought to it): the one that fits most cells as they are."""
    known = [c for group in groups for c in group if c.rest is not None]
    tried = [(_brought_to(groups, reference, limits), reference) for reference in known]
    best, reference = min(
        tried, key=lambda pair: (len(pair[0]), -_rest(pair[1]).measured.value, pair[1].code)
    )
    return round(_rest(reference).measured.value, 3), best


def _rest(c: Candidate) -> RestVoltage:
    assert c.rest is not None
    return c.rest


def _brought_to(groups: Sequence[Group], reference: Candidate, limits: UseLimits) -> tuple[Bring, ...]:
    """The cells that cannot be joined as they are, in a pack around one cell's voltage."""
    to_v = _rest(reference).measured.value
    found: list[Bring] = []
    for group in groups:
        bank: list[Candidate] = []
        for c in _ordered(group, to_v):
            because = _too_far(c, reference, bank, limits)
            if because:
                found.append(_bring(c, to_v, because))
            else:
                bank.append(c)
    return tuple(found)


def _bring(c: Candidate, to_v: float, because: str) -> Bring:
    action = "discharge" if c.rest is not None and c.rest.measured.value > to_v else "charge"
    return Bring(c.code, action, round(to_v, 3), because)


def _too_far(c: Candidate, reference: Candidate, bank: Sequence[Candidate], limits: UseLimits) -> str:
    """Why a cell may not be joined with the bank as it is; empty when it may."""
    if c.rest is None:
        return "no rest voltage that still stands"
    for other in [reference, *bank]:
        if other.code == c.code:
            continue
        apart = difference(c.rest, _rest(other), limits)
        if apart.high > limits.join_v:
            u = f" with U {1000 * (apart.high - apart.value):.0f} mV"
            return f"{volts(c.rest.measured.value)}, {1000 * apart.value:.0f} mV{u} from {other.code}"
    if not bank:
        return ""
    most_v, apart_v = _even_v(c, bank, limits), max(difference(c.rest, _rest(b), limits).high for b in bank)
    if apart_v <= most_v:
        return ""
    return f"up to {1000 * apart_v:.0f} mV would drive more than {limits.join_c_rate:g}C of the smaller through it"


def _even_v(c: Candidate, bank: Sequence[Candidate], limits: UseLimits) -> float:
    """The difference in V that drives the allowed current between a cell and the bank."""
    assert c.capacity is not None and c.resistance is not None
    smaller_ah = min(c.capacity.low, sum(b.capacity.low for b in bank if b.capacity is not None))
    least_ohm = max(0.0, c.resistance.low) + max(0.0, joined_ohm(bank).low)
    return limits.join_c_rate * max(0.0, smaller_ah) * least_ohm


def _limit_v(group: Group, limits: UseLimits) -> float:
    """How near in V two of a group must be on the day, whatever was brought to what."""
    if len(group) < 2:
        return limits.join_v
    rests = [_even_v(c, [b for b in group if b.code != c.code], limits) for c in group]
    return min(limits.join_v, *rests)


def _lines(
    groups: Sequence[Group],
    to_v: float,
    first: tuple[Bring, ...],
    order: tuple[tuple[str, ...], ...],
    near: tuple[float, ...],
) -> tuple[str, ...]:
    found = []
    for action in ("charge full", "charge", "discharge"):
        codes = ", ".join(b.code for b in first if b.action == action)
        if not codes:
            continue
        if action == "charge full":
            found.append(f"charge each full first, to {volts(to_v)}: {codes}; then let them rest an hour")
        else:
            found.append(f"{action} these to {volts(to_v)} at rest first: {codes}")
    if len(groups[0]) > 1:
        limit = (
            f"{math.floor(1000 * min(near) + 1e-6)} mV" if min(near) >= 0.001 else "what the meter can tell"
        )
        found.append(f"measure each once more on the day: join only cells within {limit} of each other")
        for number, codes_of in enumerate(order, 1):
            found.append(f"group {number}: join in this order: {', '.join(codes_of)}")
    if len(groups) > 1:
        word = "groups" if len(groups[0]) > 1 else "cells"
        found.append(f"then the {word} in series, 1 to {len(groups)}, from the minus end")
    return tuple(found)
