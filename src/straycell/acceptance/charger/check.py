"""Whether a charger is gentle enough for one cell: current, end voltage, supply, load, heat, time, what to change."""

from dataclasses import dataclass

from straycell.acceptance.charger.allowance import ChargeAllowance, ChargeKind
from straycell.acceptance.charger.judge import (
    Charger,
    Check,
    Float,
    gentle_resistor,
    judge_current,
    judge_end_voltage,
    judge_supply,
    resistor_words,
    weak_supply,
)
from straycell.acceptance.reasons import DUST
from straycell.acceptance.rules import RuleSet, chemistry_keys
from straycell.cells import CellFacts, Chemistry
from straycell.physics.charge_time import ChargeTime, Feed, charge_time
from straycell.physics.charging import linear_heat
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension, Measured
from straycell.safe_side import at_least, at_most, beside

__all__ = ["Charger", "ChargerAnswer", "Check", "Float", "check_charger"]


@dataclass(frozen=True, slots=True)
class ChargerAnswer:
    """The answer. `resistor_ohm` is the programming resistor that keeps within `allowance`.

    `time` is None where the charge may not be or never gets anywhere; `heat_w` is at the emptiest cell.
    """

    allowance: ChargeAllowance
    set_a: float
    worst_a: float
    c_rate: float | None
    checks: tuple[Check, ...]
    advice: tuple[str, ...]
    float_v: Float | None
    time: ChargeTime | None
    heat_w: float | None
    resistor_ohm: float | None

    @property
    def ok(self) -> bool | None:
        """True when the charger may be used as it is; None when nothing fails, but it is not shown."""
        if any(check.ok is False for check in self.checks):
            return False
        # Unknown is never a pass: what is not shown keeps the answer from being yes.
        return None if any(check.ok is None for check in self.checks) else True

    @property
    def against(self) -> Check | None:
        """The first check that keeps the answer from being yes."""
        failed = [check for check in self.checks if check.ok is False]
        return next(iter(failed or [check for check in self.checks if check.ok is None]), None)


def check_charger(
    facts: CellFacts,
    allowance: ChargeAllowance,
    charger: Charger,
    rules: RuleSet,
    resistance: Measured | None,
) -> ChargerAnswer:
    """Judge a charger against what the cell may have. `resistance` (ohm, d.c.) sharpens the time.

    The current is judged at what the charger is set to: a weak supply may be swapped for a strong one.
    """
    resistor_ohm = gentle_resistor(allowance.allowed_a)
    if allowance.kind is ChargeKind.NONE:
        checks = [Check("allowed", False, allowance.why, allowance.first[0] if allowance.first else "")]
        float_v, time = None, None
    else:
        float_check, float_v = _end_voltage(facts, charger, rules)
        supply = judge_supply(charger, float_v.set_v)
        time = None if supply else _time(facts.chemistry, allowance, charger, float_v, resistance)
        # Even a gentle charger gets no yes for a cell that nobody looked at.
        unseen = [Check("seen", None, *allowance.unseen)] if allowance.unseen else []
        checks = [
            *unseen,
            judge_current(charger, facts.chemistry, allowance.allowed_a),
            float_check,
            *supply,
            *_weak(charger, allowance.allowed_a),
            *_load(charger),
        ]
    capacity = allowance.capacity
    return ChargerAnswer(
        allowance=allowance,
        set_a=charger.set_a,
        worst_a=charger.worst_a,
        c_rate=charger.set_a / capacity.value if capacity is not None else None,
        checks=tuple(checks),
        advice=_advice(facts.chemistry, allowance, charger, checks, time),
        float_v=float_v,
        time=time,
        heat_w=_heat_w(charger),
        # The common linear part regulates to 4.2 V (data sheets): no resistor makes it fit for lfp.
        resistor_ohm=None if facts.chemistry is Chemistry.LFP else resistor_ohm,
    )


def _end_voltage(facts: CellFacts, charger: Charger, rules: RuleSet) -> tuple[Check, Float]:
    keys = chemistry_keys(facts.chemistry, facts.form)
    full_v = rules.figure("full-voltage", *keys)
    # A marking may lower the limit and never raises it: a print may be misread, and 4.20 V harms no 4.35 V
    # cell.
    bears_v = min(full_v, facts.full_voltage_v or full_v) + rules.figure("voltage-over-full", *keys)
    return judge_end_voltage(charger, facts.chemistry, full_v=full_v, bears_v=bears_v)


def _weak(charger: Charger, allowed_a: float) -> list[Check]:
    """A weak supply endangers nobody: a yes with a word on it."""
    # Too little current only takes longer; the danger lies on the other side.
    text, _, remedy = weak_supply(charger, allowed_a).partition("; ")
    return [Check("supply-limit", True, text, remedy)] if text else []


def _end_a(charger: Charger) -> float:
    return float(shipped("charging")["programming"]["end_share"]) * charger.set_a


def _load(charger: Charger) -> list[Check]:
    """What a device left on draws keeps the current above the charger's end."""
    # The part ends at a tenth of its set current; a larger load keeps the current above that, and it never
    # ends.
    end_a = _end_a(charger)
    if charger.load_a <= 0 or charger.set_a <= 0:
        return []
    load, end = beside(charger.load_a, end_a, Dimension.CURRENT)
    text = f"the load of {load} stays on, the charge ends at {end}"
    if charger.load_a < end_a * (1 - DUST):
        return [Check("load", True, text)]
    return [Check("load", False, f"{text}: it never ends", "switch the device off while it charges")]


def _time(
    chemistry: Chemistry,
    allowance: ChargeAllowance,
    charger: Charger,
    float_v: Float,
    resistance: Measured | None,
) -> ChargeTime | None:
    """From empty to the charger's end; None where it cannot get there."""
    set_v, limit_v = float_v.set_v, float_v.limit_v
    if allowance.capacity is None or set_v is None or set_v > limit_v:
        return None
    # The float as measured decides the tail: ten millivolts more are minutes, not a matter of the set value.
    end_v = charger.measured_float.value if charger.measured_float is not None else set_v
    return charge_time(
        chemistry,
        allowance.capacity,
        resistance,
        Feed(
            charger.set_a,
            charger.supply_v,
            charger.supply_limit_a,
            charger.load_a,
            is_linear=_is_linear(charger),
            ambient_c=charger.ambient_c,
        ),
        charger_v=end_v,
    )


def _is_linear(charger: Charger) -> bool | None:
    """Known of one with a programming resistor; never of one that its sheet lets feed with more than a linear one bears."""
    if charger.programming_resistor_ohm is not None:
        return True
    return None if charger.supply_rated_v is None else False


def _heat_w(charger: Charger) -> float | None:
    """Heat in W of a linear charger at the emptiest cell, where it is hottest."""
    if charger.supply_v is None:
        return None
    limit_a = charger.supply_limit_a
    flowing_a = charger.worst_a if limit_a is None else min(charger.worst_a, limit_a)
    # A linear part drops supply less cell voltage: most at the emptiest cell.
    return linear_heat(charger.supply_v, flowing_a)


def _advice(
    chemistry: Chemistry,
    allowance: ChargeAllowance,
    charger: Charger,
    checks: list[Check],
    time: ChargeTime | None,
) -> tuple[str, ...]:
    """What to change, then what to mind, each once."""
    # What a failed check says is in its text; one that is not shown, or a yes with a word on it, is reported whole.
    found = [check.remedy for check in checks if check.ok is False and check.remedy]
    if allowance.more and any(check.name == "current" and check.ok is False for check in checks):
        found.append(allowance.more)
    found += [f"{check.text}: {check.remedy}" for check in checks if check.ok is not False and check.remedy]
    if allowance.kind is ChargeKind.NONE:
        return tuple(dict.fromkeys([*found, *allowance.first]))
    found = [*allowance.first, *found, *_resistor_hint(chemistry, allowance, charger), *_heat_hint(charger)]
    if allowance.kind is ChargeKind.TEST:
        found.append(
            "stay with it: a test charge is there to be measured, and the verdict decides what follows"
        )
    if not allowance.measured and time is not None:
        found.append(
            "the time is counted from a capacity that was not measured: the cell may hold half of it"
        )
    if time is not None:
        found += [note for note in time.notes if "load" not in note]
    if charger.load_a <= 0:
        end = at_most(_end_a(charger), Dimension.CURRENT)
        found.append(f"switch the device off meanwhile: a load of {end} or more keeps the charge from ending")
    return tuple(dict.fromkeys(found))


def _resistor_hint(chemistry: Chemistry, allowance: ChargeAllowance, charger: Charger) -> list[str]:
    """A charger set by its current: which resistor would do it; one set too low: what the part can give."""
    most_a = float(shipped("charging")["programming"]["most_a"])
    if charger.programming_resistor_ohm is not None:
        if charger.set_a <= most_a * (1 + DUST):
            return []
        asks, most = beside(charger.set_a, most_a, Dimension.CURRENT)
        return [f"this resistor asks for {asks}; such a charger gives {most} at most"]
    resistor_ohm = gentle_resistor(allowance.allowed_a)
    fits = charger.worst_a <= allowance.allowed_a * (1 + DUST)
    if fits or resistor_ohm is None or chemistry is Chemistry.LFP:
        return []
    return [f"a charger with a programming resistor needs {resistor_words(resistor_ohm)} or more"]


def _heat_hint(charger: Charger) -> list[str]:
    heat_w, most_w = _heat_w(charger), float(shipped("charging")["heat"]["most_w"])
    if heat_w is None or heat_w <= most_w:
        return []
    return [
        f"a linear charger turns {at_least(heat_w, Dimension.POWER)} into heat at an empty cell ((supply - cell) x "
        f"current), more than the {at_most(most_w, Dimension.POWER)} a small bare board bears: it gets hot and "
        "slows down; take a lower current or supply, and keep the cell away from it"
    ]
