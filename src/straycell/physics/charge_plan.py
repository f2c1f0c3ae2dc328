"""One charge put together: current against what is allowed, float voltage, supply, heat, time, and what to change."""

from __future__ import annotations

from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.charge_time import ChargeTime, charge_time
from straycell.physics.charging import FloatAnswer, Programmed, linear_heat, safe_resistor
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension, Measured, show


@dataclass(frozen=True, slots=True)
class ChargePlan:
    """`current_a` is the worst case the charger may send, `c_rate` that over the capacity; heat in W, time in h.

    `ok` is False when the cell would be charged too hard or too high; `advice` says what to change.
    """

    current_a: float
    c_rate: float
    allowed_a: float
    ok: bool
    time: ChargeTime | None
    heat_w: float | None
    advice: tuple[str, ...]


def plan_charge(
    chemistry: Chemistry,
    capacity: Measured,
    resistance: Measured | None,
    current: Programmed | float,
    *,
    allowed_a: float,
    float_answer: FloatAnswer | None = None,
    supply_v: float | None = None,
    supply_limit_a: float | None = None,
    load_a: float = 0.0,
) -> ChargePlan:
    """Judge a charge of one cell. `current` is a programmed charger's range, or a current in A taken as exact.

    `allowed_a` comes from the rules (`charging.allowed_current`), `float_answer` from `charging.check_float`.
    """
    if capacity.value <= 0:
        raise BadData(
            f"capacity is {capacity.value:g} Ah, and must be above zero", "measure the capacity first"
        )
    worst_a = current.high_a if isinstance(current, Programmed) else current
    usual_a = current.nominal_a if isinstance(current, Programmed) else current
    c_rate = worst_a / capacity.value
    if allowed_a <= 0:
        return ChargePlan(worst_a, c_rate, 0.0, False, None, None, ("this cell must not be charged",))
    faults, hints = [], []
    if worst_a > allowed_a * (1 + 1e-9):
        faults.append(_too_much(worst_a, allowed_a))
    if float_answer is not None and not float_answer.ok:
        faults.append(float_answer.advice)
    heat_w = None if supply_v is None else linear_heat(supply_v, worst_a)
    most_w = shipped("charging")["heat"]["most_w"]
    if heat_w is not None and heat_w > most_w:
        hints.append(
            f"up to {show(heat_w, Dimension.POWER)} of heat in a linear charger: above {most_w:g} W it throttles itself; "
            "give it air, a lower supply voltage or less current"
        )
    time = charge_time(chemistry, capacity, resistance, usual_a, supply_limit_a=supply_limit_a, load_a=load_a)
    if supply_limit_a is not None and supply_limit_a < worst_a:
        hints.append(_weak_supply(supply_limit_a, allowed_a))
    return ChargePlan(worst_a, c_rate, allowed_a, not faults, time, heat_w, (*faults, *hints, *time.notes))


def _too_much(worst_a: float, allowed_a: float) -> str:
    ohm = show(safe_resistor(allowed_a), Dimension.RESISTANCE)
    return (
        f"{show(worst_a, Dimension.CURRENT)} at worst, {show(allowed_a, Dimension.CURRENT)} allowed: "
        f"make the programming resistor {ohm}"
    )


def _weak_supply(limit_a: float, allowed_a: float) -> str:
    ohm = show(safe_resistor(min(limit_a, allowed_a)), Dimension.RESISTANCE)
    return (
        f"the supply gives {show(limit_a, Dimension.CURRENT)} at most and may collapse under the charger: "
        f"with a programming resistor of {ohm} it does not; a supply is no current limit for the cell"
    )
