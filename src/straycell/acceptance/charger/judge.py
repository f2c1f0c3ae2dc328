"""The one check of a charger: its end voltage, supply and current, for a cell alone and for a string.

`charging` asks it of a cell, `match` and the build sheet of a project: the same charger gets the same answer.
"""

from dataclasses import dataclass

from straycell.acceptance.reasons import DUST
from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.charging import (
    check_float,
    programmed_current,
    safe_resistor,
    supply_limit,
    supply_too_high,
)
from straycell.physics.resistors import bands
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension, Measured, ohms, show, volts
from straycell.safe_side import at_least, at_most, beside, millivolts


@dataclass(frozen=True, slots=True)
class Charger:
    """What is known of a charger: exactly one of `current_a` and `programming_resistor_ohm`, the rest where known.

    Voltages in V, `tolerance` a share, `load_a` what a device left on draws meanwhile in A. `supply_rated_v` is
    what its own sheet lets feed it; where that is not given, the common linear part's limit counts. `ambient_c` in degC
    is where it lies.
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
    ambient_c: float = 25.0

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
    def silent(self) -> bool:
        """True when nothing at all is known of its end voltage: then nothing shows that it suits a cell."""
        return self.voltage_v is None and self.tolerance is None and self.measured_float is None


@dataclass(frozen=True, slots=True)
class Naming:
    """What a person writes to say more of a charger: options of a command, or keys of a project file."""

    measured: str = "--measured-float"
    tolerance: str = "--tolerance"
    voltage: str = "--voltage 3.6V"
    rated: str = "--supply-rated"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was asked. `ok` None: not shown. `remedy` says what to change, also beside a yes."""

    name: str
    ok: bool | None
    text: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Float:
    """The end voltage in V a cell: set to, at worst, and what the cell bears."""

    set_v: float | None
    worst_v: float | None
    limit_v: float


def set_voltage(charger: Charger, chemistry: Chemistry, full_v: float, series: int) -> float | None:
    """What it regulates to in V a cell: the usual `full_v` where nothing is given, never so for lfp or a string."""
    if charger.voltage_v is not None:
        return charger.voltage_v / series
    # lfp on an assumed 4.2 V would be over-charged by half a volt; a string multiplies any mistake.
    return None if chemistry is Chemistry.LFP or series > 1 else full_v


def judge_end_voltage(
    charger: Charger,
    chemistry: Chemistry,
    *,
    full_v: float,
    bears_v: float,
    series: int = 1,
    naming: Naming | None = None,
) -> tuple[Check, Float]:
    """Fine only if the worst case, or what was measured on this very board plus U, is what the cell bears.

    `full_v` is the usual charge voltage of the chemistry, `bears_v` the most this cell takes, both a cell.
    """
    says, name = naming or Naming(), "end-voltage"
    set_v = set_voltage(charger, chemistry, full_v, series)
    # A programming resistor names the part, and that part has one voltage.
    if set_v is None and charger.programming_resistor_ohm is not None and series == 1:
        set_v = float(shipped("charging")["programming"]["regulates_v"])
    if set_v is None:
        text = f"its end voltage is not given, and {chemistry} never goes on a 4.2 V charger"
        remedy = f"use a charger for {chemistry} and give its voltage, like {says.voltage}"
        if chemistry is not Chemistry.LFP:
            text = "its end voltage is not given: no voltage is assumed for a string"
            remedy = f"look up its voltage and give it: {says.voltage}"
        return Check(name, False, text, remedy), Float(None, None, bears_v)
    measured = charger.measured_float
    if measured is not None and series > 1:
        # The cells of a string share the voltage measured over it, and its U with it.
        measured = Measured(measured.value / series, measured.u / series)
    answer = check_float(chemistry, set_v, tolerance=charger.tolerance, measured=measured)
    # The lower of cell and chemistry: a marking cannot lift what sheets state (4.20 +/- 0.05 V).
    limit_v = min(bears_v, answer.limit_v)
    worst_v = max(answer.worst_v, set_v) if set_v > limit_v else answer.worst_v
    known = Float(set_v, worst_v, limit_v)
    each = " a cell" if series > 1 else ""
    reaches, bears = millivolts(worst_v, up=True), millivolts(limit_v, up=False)
    text = f"the charger may reach {reaches}{each} ({_how(charger, set_v * series)}), this cell bears {bears}"
    if worst_v <= limit_v + DUST:
        return Check(name, True, text), known
    if set_v > limit_v:
        if chemistry is Chemistry.LFP:
            text += ": never charge an lfp cell on a 4.2 V charger"
        return Check(name, False, text, f"use a charger for {chemistry} that ends within that"), known
    if charger.measured_float is not None:
        return Check(name, False, text, "use another charger: its measured worst case is beyond that"), known
    remedy = f"measure it on this very board ({says.measured}), or use a charger of 1 % or better"
    if charger.tolerance is None:
        usual = show(float(shipped("charging")["float"]["tolerance"]), Dimension.FRACTION)
        remedy = (
            f"measure it on this very board ({says.measured}), or give what its sheet says ({says.tolerance}; "
            f"{usual} counts where nothing is given)"
        )
    # Nothing known is "not shown", a known tolerance that is too wide is a no: only the second is a fact.
    return Check(name, None if charger.silent else False, text, remedy), known


def _how(charger: Charger, set_v: float) -> str:
    if charger.measured_float is not None:
        measured = volts(charger.measured_float.value)
        return f"set to {volts(set_v)}, measured {measured} and the meter's error"
    if charger.tolerance is None:
        return f"set to {volts(set_v)}, tolerance not given"
    return f"set to {volts(set_v)}, tolerance {show(charger.tolerance, Dimension.FRACTION)}"


def judge_supply(
    charger: Charger, end_v: float | None, *, series: int = 1, naming: Naming | None = None
) -> list[Check]:
    """What feeds it: enough to fill the cells to `end_v` (V, all of them), less than what destroys the charger."""
    checks, fed_v, says = [], charger.supply_v, naming or Naming()
    if fed_v is None:
        return []
    # For a string nothing is assumed of the charger's own limit: no usual part is known.
    if series == 1 or charger.supply_rated_v is not None:
        text = supply_too_high(fed_v, charger.supply_rated_v)
        if text:
            remedy = "use a supply of 5V" if series == 1 else "use a supply of less voltage"
            if charger.supply_rated_v is None and charger.programming_resistor_ohm is None:
                remedy += f", or state what its own sheet lets feed it ({says.rated})"
            checks.append(Check("supply-high", False, text, remedy))
    # No charger lifts: a linear one needs its supply above the cell's end voltage.
    if end_v is not None and fed_v <= end_v:
        cells = "a cell" if series == 1 else "the cells"
        text = f"a supply of {volts(fed_v)} cannot fill {cells} to {volts(end_v)}"
        checks.append(Check("supply", False, text, "use a supply of a higher voltage"))
    return checks


def most_supply_v(charger: Charger) -> float:
    """What its supply must stay below, in V."""
    return supply_limit(charger.supply_rated_v)[0]


def judge_current(charger: Charger, chemistry: Chemistry, allowed_a: float, parallel: int = 1) -> Check:
    """Its worst case, shared evenly by `parallel` cells, within what one of them may have."""
    worst_a = charger.worst_a
    each, may = beside(worst_a / parallel, allowed_a * (1 + DUST), Dimension.CURRENT)
    spread, all_of_it = "up to " * (worst_a > charger.set_a), at_least(worst_a, Dimension.CURRENT)
    gives = f"{all_of_it}, {each} for each of {parallel} in parallel" if parallel > 1 else each
    text = f"the charger gives {spread}{gives}, this cell may have {may}"
    # Programming by resistor spreads by ± 10 % (data sheet): the most it may give decides, not the nominal.
    if worst_a / parallel <= allowed_a * (1 + DUST):
        return Check("current", True, text)
    return Check("current", False, text, gentler(charger, allowed_a * parallel, chemistry))


def gentler(charger: Charger, allowed_a: float, chemistry: Chemistry | None = None) -> str:
    """What to change so that it gives no more than this, in A."""
    if charger.programming_resistor_ohm is None or chemistry is Chemistry.LFP:
        return f"set the charger to {at_most(allowed_a, Dimension.CURRENT)} or less"
    resistor_ohm = gentle_resistor(allowed_a)
    if resistor_ohm is None:
        return "use another charger: no programming resistor makes this one gentle enough"
    nominal = at_least(programmed_current(resistor_ohm).nominal_a, Dimension.CURRENT)
    return f"use a programming resistor of {resistor_words(resistor_ohm)} or more: {nominal} nominal"


def weak_supply(charger: Charger, allowed_a: float) -> str:
    """What a supply that gives less than the charger asks for does, and what to change; empty where it gives enough."""
    limit_a = charger.supply_limit_a
    # A collapsing supply resets the part, which starts its charge again and again.
    if limit_a is None or limit_a >= charger.worst_a:
        return ""
    asks, gives = beside(charger.worst_a, limit_a, Dimension.CURRENT)
    return (
        f"the supply gives {gives}, the charger asks for up to {asks}: a supply that collapses under this "
        f"load keeps restarting; {gentler(charger, min(limit_a, allowed_a))}"
    )


def gentle_resistor(allowed_a: float) -> float | None:
    """The E24 programming resistor in ohm whose worst case stays within `allowed_a`; None when none does."""
    # E24 values are what shops sell (IEC 60063).
    try:
        return safe_resistor(allowed_a)
    except BadData:
        return None


def resistor_words(ohm: float) -> str:
    """`15 kohm (brown green orange gold)`."""
    return f"{ohms(ohm)} ({' '.join(bands(ohm))})"
