"""In which order the cells of a pack are joined, and what must be charged or discharged before."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from straycell.cells import Chemistry, position_name
from straycell.matching.pack.groups import Group, joined_ohm
from straycell.matching.screen import Candidate, RestVoltage, UseLimits, charged_to_v
from straycell.quantities import Measured, volts


@dataclass(frozen=True, slots=True)
class Bring:
    """A cell that must be brought to the common voltage first.

    `action` is `charge`, `discharge`, `bring` (measure it, then one of the two) or `charge full`.
    """

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
    """The joining of a pack, at storage voltage; None for one cell alone."""
    cells = [c for group in groups for c in group]
    if len(cells) < 2:
        return None
    chemistry = cells[0].facts.chemistry
    # lfp's plateau hides the state of charge; only full is a voltage that says where a cell is.
    if chemistry is Chemistry.LFP:
        to_v = min(charged_to_v(c, limits) for c in cells)
        why = "lfp tells nothing by its voltage until it is full"
        first = tuple(Bring(c.code, "charge full", to_v, why) for c in cells)
    else:
        to_v, first = _brought(groups, limits)
    order = tuple(tuple(c.code for c in _ordered(group, to_v)) for group in groups)
    near = tuple(_limit_v(group, limits) for group in groups)
    return Joining(to_v, first, order, near, _lines(groups, to_v, first, order, near))


def _ordered(group: Group, to_v: float) -> list[Candidate]:
    """The surest first: nearest to the common voltage; cells without a rest voltage last."""
    return sorted(group, key=lambda c: (abs(c.rest.measured.value - to_v) if c.rest else math.inf, c.code))


def difference(one: RestVoltage, other: RestVoltage, limits: UseLimits) -> Measured:
    """The difference of two rest voltages in V. Readings by one meter share its gain and offset."""
    kelvin = _kelvin(one, other, limits)
    apart_v = abs(one.measured.value - other.measured.value)
    # A cell's own voltage moves up to 0.5 mV a kelvin (`cell-drift`), which is not a difference of charge.
    drift_v = limits.cell_drift * kelvin / math.sqrt(3.0)
    meter_v = limits.meter_drift * kelvin * max(one.measured.u, other.measured.u)
    # One meter's offset is in both readings and cancels; its gain acts on the difference alone.
    same = one.meter and one.meter == other.meter
    if not same or one.alone_u_v is None or other.alone_u_v is None:
        return Measured(apart_v, math.hypot(one.measured.u, other.measured.u, drift_v, meter_v))
    gain_v = one.gain * apart_v / math.sqrt(3.0)
    return Measured(apart_v, math.hypot(one.alone_u_v, other.alone_u_v, gain_v, drift_v, meter_v))


def _kelvin(one: RestVoltage, other: RestVoltage, limits: UseLimits) -> float:
    if one.temperature_c is not None and other.temperature_c is not None:
        return abs(one.temperature_c - other.temperature_c)
    # Two temperatures that nobody noted may differ; readings of one moment share the room.
    return 0.0 if one.at == other.at else limits.unsaid_kelvin


def _brought(groups: Sequence[Group], limits: UseLimits) -> tuple[float, tuple[Bring, ...]]:
    """(common voltage, the cells that must be brought to it): the one that fits most cells as they are.

    It lies in the storage window: a tool that slips on fuller cells finds more energy than on stored ones.
    """
    chemistry = groups[0][0].facts.chemistry
    low_v, high_v = limits.join_low_v[chemistry], limits.join_high_v[chemistry]
    stored = [c for group in groups for c in group if c.rest and low_v <= c.rest.measured.value <= high_v]
    if not stored:
        to_v = round(0.5 * (low_v + high_v), 3)
        return to_v, tuple(_bring(c, to_v, "not at storage voltage") for group in groups for c in group)
    apart = _apart_of(limits)
    tried = [(_brought_to(groups, reference, limits, apart), reference) for reference in stored]
    best, reference = min(
        tried, key=lambda pair: (len(pair[0]), -_rest(pair[1]).measured.value, pair[1].code)
    )
    return round(_rest(reference).measured.value, 3), best


def _rest(c: Candidate) -> RestVoltage:
    assert c.rest is not None
    return c.rest


Apart = Callable[[Candidate, Candidate], Measured]


def _apart_of(limits: UseLimits) -> Apart:
    """`difference` of two cells, reckoned once: around each of 260 cells all of them are compared again."""
    known: dict[tuple[str, str], Measured] = {}

    def apart(one: Candidate, other: Candidate) -> Measured:
        pair = one.code, other.code
        if pair not in known:
            known[pair] = difference(_rest(one), _rest(other), limits)
        return known[pair]

    return apart


def _brought_to(
    groups: Sequence[Group], reference: Candidate, limits: UseLimits, apart: Apart
) -> tuple[Bring, ...]:
    """The cells that cannot be joined as they are, in a pack around one cell's voltage."""
    to_v = _rest(reference).measured.value
    found: list[Bring] = []
    for group in groups:
        bank: list[Candidate] = []
        for c in _ordered(group, to_v):
            because = _too_far(c, reference, bank, limits, apart)
            if because:
                found.append(_bring(c, to_v, because))
            else:
                bank.append(c)
    return tuple(found)


def _bring(c: Candidate, to_v: float, because: str) -> Bring:
    if c.rest is None:
        return Bring(c.code, "bring", round(to_v, 3), because)
    action = "discharge" if c.rest.measured.value > to_v else "charge"
    return Bring(c.code, action, round(to_v, 3), because)


def _too_far(
    c: Candidate, reference: Candidate, bank: Sequence[Candidate], limits: UseLimits, apart: Apart
) -> str:
    """Why a cell may not be joined with the bank as it is; empty when it may."""
    if c.rest is None:
        return "no rest voltage that still holds"
    for other in [reference, *bank]:
        if other.code == c.code:
            continue
        between = apart(c, other)
        # The upper end by U decides: joined cells even out their difference at once, with nothing to limit it
        # but R.
        if between.high > limits.join_v:
            u = f" with U {1000 * (between.high - between.value):.0f} mV"
            return f"{volts(c.rest.measured.value)}, {1000 * between.value:.0f} mV{u} from {other.code}"
    if not bank:
        return ""
    most_v, apart_v = _even_v(c, bank, limits), max(apart(c, b).high for b in bank)
    if apart_v <= most_v:
        return ""
    return f"up to {1000 * apart_v:.0f} mV would drive more than {limits.join_c_rate:g}C of the smaller through it"


def _even_v(c: Candidate, bank: Sequence[Candidate], limits: UseLimits) -> float:
    """The difference in V that drives the allowed current between a cell and the bank."""
    assert c.capacity is not None and c.resistance is not None
    # The smaller side bears the current at the higher rate.
    smaller_ah = min(c.capacity.low, sum(b.capacity.low for b in bank if b.capacity is not None))
    # The lowest likely resistance lets the highest current through.
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
    place = {c.code: position_name(n, k) for n, group in enumerate(groups, 1) for k, c in enumerate(group, 1)}
    found = [
        _step(action, [b.code for b in first if b.action == action], to_v, place)
        for action in ("charge full", "bring", "charge", "discharge")
        if any(b.action == action for b in first)
    ]
    if any(b.action == "charge full" for b in first):
        found.append("then take half of its own measured capacity out of each; join nothing that is full")
    if len(groups[0]) > 1:
        limit = (
            f"{math.floor(1000 * min(near) + 1e-6)} mV" if min(near) >= 0.001 else "what the meter can tell"
        )
        found.append(
            f"let all rest an hour, and measure each once more on the day: join only cells within {limit} of each other"
        )
        for number, codes_of in enumerate(order, 1):
            turn = ", ".join(place[code] for code in codes_of)
            found.append(f"group {number}: join its cells at both bars in this order: {turn}")
    else:
        found.append("let all rest an hour, and measure each once more on the day")
    if len(groups) > 1:
        links = f"link 1 to link {len(groups) - 1}, in this order" if len(groups) > 2 else "link 1"
        found.append(f"then the groups in series: {links}, from the minus end")
    return tuple(found)


def _step(action: str, codes: Sequence[str], to_v: float, place: Mapping[str, str]) -> str:
    """What to do with some cells before any is joined, by their positions where not all need it."""
    what = "every cell" if len(codes) == len(place) else ", ".join(f"{place[c]} {c}" for c in codes)
    if action == "charge full":
        return f"charge {what} full by itself, to {volts(to_v)}, and let it rest an hour: the voltages must agree"
    if action == "bring":
        return f"measure {what}, then charge or discharge it by itself to {volts(to_v)} at rest"
    return f"{action} by itself to {volts(to_v)} at rest: {what}"
