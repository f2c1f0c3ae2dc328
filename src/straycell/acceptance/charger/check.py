"""Whether a charger is gentle enough for one cell: current, end voltage, supply, load, heat, time, what to change."""

from __future__ import annotations

from dataclasses import dataclass

from straycell.acceptance.charger.allowance import ChargeAllowance, ChargeKind
from straycell.acceptance.rules import RuleSet, chemistry_keys
from straycell.cells import CellFacts, Chemistry
from straycell.errors import BadData
from straycell.physics.charge_time import ChargeTime, charge_time
from straycell.physics.charging import (
    check_float,
    linear_heat,
    programmed_current,
    safe_resistor,
    supply_too_high,
)
from straycell.physics.resistors import bands
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension, Measured, show

_DUST = 1e-9


@dataclass(frozen=True, slots=True)
class Charger:
    """What is known of a charger: exactly one of `current_a` and `programming_resistor_ohm`, the rest where known.

    Voltages in V, `tolerance` a share, `load_a` what a device left on draws meanwhile in A. `supply_rated_v` is
    what its own sheet lets feed it; where that is not said, the common linear part's limit counts.
    """

    current_a: float | None = None
    programming_resistor_ohm: float | None = None
    voltage_v: float | None = None
    tolerance: float | None = None
    measured_float: Measured | None = None
    supply_v: float | None = None
    supply_limit_a: float | None = None
    supply_rated_v: float | None = None
    load_a: float = 0.0

    @property
    def set_a(self) -> float:
        """What it is set to, nominal."""
        if self.programming_resistor_ohm is not None:
            return programmed_current(self.programming_resistor_ohm).nominal_a
        return self.current_a or 0.0

    @property
    def worst_a(self) -> float:
        """The most it may give: what decides."""
        if self.programming_resistor_ohm is not None:
            return programmed_current(self.programming_resistor_ohm).high_a
        return self.current_a or 0.0

    @property
    def float_is_told(self) -> bool:
        """True when something was said of its end voltage: what was not said of it counts at its worst."""
        return not (self.voltage_v is None and self.tolerance is None and self.measured_float is None)


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was asked. `ok` None: open, it was not measured. `remedy` says what to change."""

    name: str
    ok: bool | None
    text: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Float:
    """The end voltage in V: set to, at worst, and what the cell bears."""

    set_v: float | None
    worst_v: float | None
    limit_v: float


@dataclass(frozen=True, slots=True)
class ChargerAnswer:
    """The answer. `ok`: no check failed. `resistor_ohm` is the programming resistor that keeps within `allowance`.

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
    def ok(self) -> bool:
        """True when the charger may be used as it is."""
        return all(check.ok is not False for check in self.checks)


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
        time = _time(facts.chemistry, allowance, charger, float_v, resistance)
        checks = [
            _current(facts.chemistry, allowance, charger),
            float_check,
            *_supply(charger, float_v, allowance.allowed_a),
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
        resistor_ohm=None if facts.chemistry is Chemistry.LFP else resistor_ohm,
    )


def gentle_resistor(allowed_a: float) -> float | None:
    """The E24 programming resistor in ohm whose worst case stays within `allowed_a`; None when none does."""
    try:
        return safe_resistor(allowed_a)
    except BadData:
        return None


def resistor_words(ohm: float) -> str:
    """`15 kohm (brown green orange gold)`."""
    return f"{show(ohm, Dimension.RESISTANCE)} ({' '.join(bands(ohm))})"


def _amps(current_a: float) -> str:
    return show(current_a, Dimension.CURRENT)


def _volts(voltage_v: float) -> str:
    return show(voltage_v, Dimension.VOLTAGE)


def _current(chemistry: Chemistry, allowance: ChargeAllowance, charger: Charger) -> Check:
    worst_a, allowed_a = charger.worst_a, allowance.allowed_a
    spread = f"up to {_amps(worst_a)}" if worst_a > charger.set_a else _amps(worst_a)
    text = f"the charger gives {spread}, this cell may have {_amps(allowed_a)}"
    if worst_a <= allowed_a * (1 + _DUST):
        return Check("current", True, text)
    if charger.programming_resistor_ohm is None or chemistry is Chemistry.LFP:
        return Check("current", False, text, f"set the charger to {_amps(allowed_a)} or less")
    resistor_ohm = gentle_resistor(allowed_a)
    if resistor_ohm is None:
        return Check("current", False, text, "no programming resistor makes this charger gentle enough")
    nominal_a = programmed_current(resistor_ohm).nominal_a
    remedy = (
        f"use a programming resistor of {resistor_words(resistor_ohm)} or more: {_amps(nominal_a)} nominal"
    )
    return Check("current", False, text, remedy)


def _end_voltage(facts: CellFacts, charger: Charger, rules: RuleSet) -> tuple[Check, Float]:
    """Fine only if the worst case, or what was measured on this very board plus U, is what the cell bears."""
    chemistry, name = facts.chemistry, "end-voltage"
    keys = chemistry_keys(chemistry, facts.form)
    full_v = rules.figure("full-voltage", *keys)
    highest_v = min(full_v, facts.full_voltage_v or full_v) + rules.figure("voltage-over-full", *keys)
    four_volt_v = rules.figure("full-voltage", "4.2V")
    set_v = charger.voltage_v
    if set_v is None and (chemistry is not Chemistry.LFP or charger.programming_resistor_ohm is not None):
        set_v = four_volt_v
    if set_v is None:
        text = f"its end voltage is not given, and {chemistry} never goes on a {four_volt_v:.1f} V charger"
        remedy = f"use a charger for {chemistry} and give its voltage, like --voltage 3.6V"
        return Check(name, False, text, remedy), Float(None, None, highest_v)
    answer = check_float(chemistry, set_v, tolerance=charger.tolerance, measured=charger.measured_float)
    limit_v = min(highest_v, answer.limit_v)
    known = Float(set_v, answer.worst_v, limit_v)
    if set_v > limit_v:
        text = f"the charger ends at {_volts(set_v)}, this cell bears {_volts(limit_v)}"
        if chemistry is Chemistry.LFP:
            text += f": never charge an lfp cell on a {four_volt_v:.1f} V charger"
        return Check(name, False, text, f"use a charger for {chemistry}"), known
    text = f"its end voltage may reach {answer.worst_v:.3f} V, this cell bears {limit_v:.2f} V"
    if answer.worst_v <= limit_v + _DUST:
        return Check(name, True, text), known
    if charger.measured_float is not None:
        return Check(name, False, text, "use another charger"), known
    remedy = "measure it on this very board (--measured-float), or use a charger of 1 % or better"
    if charger.tolerance is None:
        usual = show(float(shipped("charging")["float"]["tolerance"]), Dimension.FRACTION)
        remedy = (
            "measure it on this very board (--measured-float), or state what its sheet says (--tolerance; "
            f"{usual} counts where nothing is said)"
        )
    return Check(name, False if charger.float_is_told else None, text, remedy), known


def _supply(charger: Charger, float_v: Float, allowed_a: float) -> list[Check]:
    checks = []
    supply_v, limit_a = charger.supply_v, charger.supply_limit_a
    if supply_v is not None and float_v.set_v is not None and supply_v <= float_v.set_v:
        text = f"a supply of {_volts(supply_v)} cannot fill a cell to {_volts(float_v.set_v)}"
        checks.append(Check("supply", False, text, "use a supply of a higher voltage, like 5V"))
    if supply_v is not None:
        checks += _too_high(charger, supply_v)
    if limit_a is not None and limit_a < charger.worst_a:
        text = (
            f"the supply gives {_amps(limit_a)}, the charger asks for {_amps(charger.set_a)}: the supply is "
            "the limit, and one that collapses under it starts again and again"
        )
        checks.append(Check("supply-limit", None, text, _softer(charger, min(limit_a, allowed_a))))
    return checks


def _too_high(charger: Charger, supply_v: float) -> list[Check]:
    """A supply at or above what the charger bears destroys it, and a dead one may hand the supply on to the cell."""
    text = supply_too_high(supply_v, charger.supply_rated_v)
    if not text:
        return []
    remedy = "use a supply of 5V"
    if charger.supply_rated_v is None and charger.programming_resistor_ohm is None:
        remedy += ", or state what its own sheet lets feed it (--supply-rated)"
    return [Check("supply-high", False, text, remedy)]


def _softer(charger: Charger, limit_a: float) -> str:
    resistor_ohm = gentle_resistor(limit_a)
    if charger.programming_resistor_ohm is None or resistor_ohm is None:
        return f"set the charger to {_amps(limit_a)} or less"
    return f"for this supply use a programming resistor of {resistor_words(resistor_ohm)} or more"


def _end_a(charger: Charger) -> float:
    return float(shipped("charging")["programming"]["end_share"]) * charger.set_a


def _load(charger: Charger) -> list[Check]:
    """What a device left on draws keeps the current above the charger's end."""
    end_a = _end_a(charger)
    if charger.load_a <= 0 or charger.set_a <= 0:
        return []
    text = f"the load of {_amps(charger.load_a)} stays on, the charge ends at {_amps(end_a)}"
    if charger.load_a < end_a * (1 - _DUST):
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
    if charger.supply_v is not None and (charger.supply_v <= set_v or _too_high(charger, charger.supply_v)):
        return None
    end_v = charger.measured_float.value if charger.measured_float is not None else set_v
    return charge_time(
        chemistry,
        allowance.capacity,
        resistance,
        charger.set_a,
        charger_v=end_v,
        supply_limit_a=charger.supply_limit_a,
        load_a=charger.load_a,
    )


def _heat_w(charger: Charger) -> float | None:
    """Heat in W of a linear charger at the emptiest cell, where it is hottest."""
    if charger.supply_v is None:
        return None
    limit_a = charger.supply_limit_a
    flowing_a = charger.worst_a if limit_a is None else min(charger.worst_a, limit_a)
    return linear_heat(charger.supply_v, flowing_a)


def _advice(
    chemistry: Chemistry,
    allowance: ChargeAllowance,
    charger: Charger,
    checks: list[Check],
    time: ChargeTime | None,
) -> tuple[str, ...]:
    """What to change, then what to mind, each once."""
    # What a failed check says stands in its text; an open one must say what is open, too.
    found = [check.remedy for check in checks if check.ok is False and check.remedy]
    found += [f"{check.text}: {check.remedy}" for check in checks if check.ok is None]
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
        end = _amps(_end_a(charger))
        found.append(f"switch the device off meanwhile: a load of {end} or more keeps the charge from ending")
    return tuple(dict.fromkeys(found))


def _resistor_hint(chemistry: Chemistry, allowance: ChargeAllowance, charger: Charger) -> list[str]:
    """A charger set by its current: which resistor would do it; one set too low: what the part can give."""
    most_a = float(shipped("charging")["programming"]["most_a"])
    if charger.programming_resistor_ohm is not None:
        if charger.set_a <= most_a * (1 + _DUST):
            return []
        return [
            f"this resistor asks for {_amps(charger.set_a)}; such a charger gives {_amps(most_a)} at most"
        ]
    resistor_ohm = gentle_resistor(allowance.allowed_a)
    fits = charger.worst_a <= allowance.allowed_a * (1 + _DUST)
    if fits or resistor_ohm is None or chemistry is Chemistry.LFP:
        return []
    return [f"a charger with a programming resistor needs {resistor_words(resistor_ohm)} or more"]


def _heat_hint(charger: Charger) -> list[str]:
    heat_w, most_w = _heat_w(charger), float(shipped("charging")["heat"]["most_w"])
    if heat_w is None or heat_w <= most_w:
        return []
    return [
        f"a linear charger turns {show(heat_w, Dimension.POWER)} into heat at an empty cell ((supply - cell) x "
        f"current), more than the {show(most_w, Dimension.POWER)} a small bare board bears: it gets hot and "
        "slows down; take a lower current or supply, and keep the cell away from it"
    ]
