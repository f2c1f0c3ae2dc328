"""Charging one cell without hurting it: current, float voltage, time, heat.

The limit in multiples of the capacity per hour is an argument: it is a rule of acceptance, not of physics.
"""

import math
from dataclasses import dataclass

from straycell.cells import Chemistry, members
from straycell.errors import BadData
from straycell.physics.curves import interpolate
from straycell.physics.resistors import rounded_up
from straycell.physics.shipped import shipped
from straycell.quantities import Measured, volts


@dataclass(frozen=True, slots=True)
class Programmed:
    """What a programming resistor asks for, in A: nominal, and the ends of the charger's spread."""

    nominal_a: float
    low_a: float
    high_a: float


def programmed_current(resistor_ohm: float) -> Programmed:
    """The current of a linear charger with this programming resistor: 1200 V / R, up to 10 % either way."""
    if not (math.isfinite(resistor_ohm) and resistor_ohm > 0):
        raise BadData(f"programming resistor: {resistor_ohm:g} ohm", "write it like 4.7kohm")
    rule = shipped("charging")["programming"]
    nominal = rule["volts"] / resistor_ohm
    # The part's own table strays from 1200 / R by -5 to +8 %, within the 10 % of its sheet (data/charging.toml).
    return Programmed(nominal, nominal * (1 - rule["share"]), nominal * (1 + rule["share"]))


def safe_resistor(allowed_a: float) -> float:
    """The smallest E24 programming resistor in ohm whose worst case stays within `allowed_a`."""
    if not (math.isfinite(allowed_a) and allowed_a > 0):
        raise BadData(
            f"allowed charge current: {allowed_a:g} A", "this cell may not be charged: no resistor fits"
        )
    rule = shipped("charging")["programming"]
    # Below this resistor the part's maximum current rules, and the formula no longer holds.
    least = rule["volts"] / rule["most_a"]
    # The charger's worst case, not its nominal current, must stay within what the cell may have.
    return rounded_up(max(least, rule["volts"] * (1 + rule["share"]) / allowed_a))


def allowed_current(
    capacity_ah: float,
    c_rate_limit: float,
    *,
    maker_current_a: float | None = None,
    maker_may_raise: bool = True,
) -> float:
    """The charge current in A that this cell may have; 0 when it may have none.

    `c_rate_limit` is the cautious rule for its chemistry and outcome (0 for a discarded cell). The maker's
    figure lowers it always, and raises it only where the outcome lets it (`maker_may_raise`).
    """
    if not (math.isfinite(capacity_ah) and capacity_ah > 0):
        raise BadData(f"capacity is {capacity_ah:g} Ah, and must be above zero", "measure the capacity first")
    if not (math.isfinite(c_rate_limit) and c_rate_limit >= 0):
        raise BadData(f"charge limit is {c_rate_limit:g}C", "a limit is zero or more")
    allowed = c_rate_limit * capacity_ah
    if maker_current_a is not None and c_rate_limit > 0:
        allowed = maker_current_a if maker_may_raise else min(allowed, maker_current_a)
    return max(0.0, allowed)


def temperature_limit(temperature_c: float) -> float:
    """The highest charge rate (multiples of the capacity per hour) at a temperature; 0 outside the window."""
    table = shipped("charging")["temperature"]
    # Lithium plates on the anode of a cold cell and a hot one ages and vents: outside the sheets' window no current
    # is safe.
    at_c: list[float] = table["at_c"]
    if not at_c[0] <= temperature_c <= at_c[-1]:
        return 0.0
    return interpolate(temperature_c, at_c, table["most_c_rate"])


@dataclass(frozen=True, slots=True)
class FloatAnswer:
    """Whether a charger's end voltage is safe for one cell: its worst case and the limit, both in V."""

    ok: bool
    worst_v: float
    limit_v: float
    advice: str


def float_limit(chemistry: Chemistry) -> float:
    """The voltage in V that no charger may exceed on a cell of this chemistry, whatever was measured."""
    table: dict[str, float] = shipped("charging")["float"]["limit_v"]
    kinds = members(chemistry)
    if any(kind not in table for kind in kinds):
        raise BadData(
            f"chemistry is {chemistry}: no charge voltage is safe for it", "find out the chemistry first"
        )
    return min(table[kind] for kind in kinds)


def float_tolerance() -> float:
    """How far a charger's end voltage may be off where its own tolerance is not known, as a share."""
    return float(shipped("charging")["float"]["tolerance"])


def check_float(
    chemistry: Chemistry,
    charger_v: float,
    *,
    tolerance: float | None = None,
    measured: Measured | None = None,
) -> FloatAnswer:
    """Whether a charger that regulates to `charger_v` (per cell) may charge this chemistry.

    What was measured on this very board, plus its U, counts before the tolerance on the sheet (default 1.5 %).
    """
    limit_v = float_limit(chemistry)
    share = float_tolerance() if tolerance is None else tolerance
    if not (math.isfinite(charger_v) and charger_v > 0 and math.isfinite(share) and share >= 0):
        raise BadData(
            f"charger voltage {charger_v:g} V, tolerance {share:g}", "write them like 4.20V and 1.5%"
        )
    # A measurement on this very board knows its real voltage; a sheet only promises a tolerance for the part.
    worst_v = measured.high if measured is not None else charger_v * (1 + share)
    # A charger set above lfp's limit, most often to 4.2 V, is refused even where one measurement read low: lfp bears
    # 3.65 V.
    if chemistry is Chemistry.LFP and charger_v > limit_v:
        return FloatAnswer(
            False, max(worst_v, charger_v), limit_v, "never charge an lfp cell on a 4.2 V charger"
        )
    if worst_v <= limit_v:
        return FloatAnswer(True, worst_v, limit_v, f"at worst {worst_v:.3f} V, within {limit_v:.2f} V")
    if measured is None:
        remedy = (
            "measure its end voltage on this very board with a good meter, or use a charger of 1 % or better"
        )
    else:
        remedy = "use another charger"
    return FloatAnswer(
        False, worst_v, limit_v, f"may reach {worst_v:.3f} V, above the limit of {limit_v:.2f} V: {remedy}"
    )


def linear_heat(supply_v: float, current_a: float) -> float:
    """The most heat in W of a linear charger: (supply - cell) x current, at the emptiest cell at full current."""
    # The current is reduced below the trickle voltage, so the most heat comes just above it.
    return max(0.0, supply_v - trickle_v()) * current_a


def trickle_v() -> float:
    """The voltage in V of a cell below which a charger only trickles."""
    return float(shipped("charging")["programming"]["trickle_below_v"])


def supply_limit(rated_v: float | None) -> tuple[float, str]:
    """(the voltage in V a charger's supply must stay below, where that is from): its sheet's, else the common part's."""
    if rated_v is not None:
        return rated_v, "as stated for this charger"
    rule = shipped("charging")["supply"]
    return float(rule["most_v"]), str(rule["source"])


def supply_too_high(supply_v: float, rated_v: float | None = None) -> str:
    """Why a supply may destroy a charger, and reach the cell through it; empty when it stays below the limit."""
    most_v, source = supply_limit(rated_v)
    # An absolute maximum is not a working point: equal to it is already too high. The factor only absorbs float noise.
    if supply_v < most_v * (1 - 1e-9):
        return ""
    kind = "this charger" if rated_v is not None else "a single-cell linear charger"
    fed, most = volts(supply_v), volts(most_v)
    return f"a supply of {fed} may destroy {kind}: it bears less than {most} ({source})"
