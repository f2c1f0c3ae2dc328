"""What a run time is asked of, and what it says.

One cell as it was measured, and the device that a pack of cells like it feeds; the parts of an answer that one cell and
many share.
"""

import math
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import OcvCurve, all_curves, curves_for
from straycell.physics.derating import COLDEST_KNOWN_C, check_temperature, lag_ratio
from straycell.physics.loads import Lamps, Load
from straycell.physics.own_pulses import ONE_PULSE, Taken
from straycell.physics.shipped import shipped
from straycell.physics.sources import OwnTrace
from straycell.quantities import Measured

LAMPS_DARK = "lamps too dark"


@dataclass(frozen=True, slots=True)
class RunCell:
    """One cell of the pack: capacity in Ah, resistance in ohm, and how they were taken (0.2C to the end, one pulse).

    `cell_cutoff_v` is the cell's own cut-off, `full_voltage_v` where its charger ends when that is below the
    chemistry's full voltage. `dip_v` is how far a peak pulls it down: the device's and the protection's cut-off come
    so much earlier.
    """

    chemistry: Chemistry
    capacity: Measured
    resistance: Measured | None = None
    own_trace: OwnTrace | None = None
    cell_cutoff_v: float | None = None
    full_voltage_v: float | None = None
    capacity_current_a: float | None = None
    capacity_cutoff_v: float | None = None
    taken: Taken = ONE_PULSE
    dip_v: float = 0.0

    def check(self) -> None:
        """Raise BadData where no run time can be counted from such figures."""
        capacity, ohm = self.capacity, self.resistance
        if not (math.isfinite(capacity.value) and capacity.value > 0 and capacity.u >= 0):
            raise BadData(
                f"capacity is {capacity.value:g} Ah, and must be above zero", "measure the capacity first"
            )
        if ohm is not None and not (math.isfinite(ohm.value) and ohm.value >= 0):
            raise BadData(
                f"resistance is {ohm.value:g} ohm, and must be zero or more", "measure it once more"
            )


@dataclass(frozen=True, slots=True)
class RunDevice:
    """What the pack feeds: `load` as drawn at its terminals, `cutoff_v` the device's for the whole string.

    `protection_cutoff_v` is per cell. The pack has `series` groups of `parallel` cells and works at `temperature_c`.
    """

    load: Load
    cutoff_v: float
    protection_cutoff_v: float | None = None
    temperature_c: float = 25.0
    series: int = 1
    parallel: int = 1

    def check(self) -> None:
        """Raise BadData where it asks for nothing that could run."""
        cutoff_v = self.cutoff_v
        if not (math.isfinite(cutoff_v) and cutoff_v >= 0):
            raise BadData(
                f"cut-off is {cutoff_v:g} V, and must be zero or more", "write it for the whole string"
            )
        if self.series < 1 or self.parallel < 1:
            raise BadData(f"a pack of {self.series}S{self.parallel}P", "series and parallel are one or more")
        check_temperature(self.temperature_c)

    def first_stop(self, cell: RunCell) -> tuple[str, float]:
        """What ends the run first when the voltage falls, and that voltage in V a cell; the device on a tie."""
        protection_v, load = self.protection_cutoff_v, self.load
        stops = [
            ("device cut-off", self.cutoff_v / self.series + cell.dip_v),
            ("cell cut-off", cell.cell_cutoff_v),
            ("protection cut-off", None if protection_v is None else protection_v + cell.dip_v),
            # Where lamps no longer light: a run below it is of no use to anybody.
            (LAMPS_DARK, load.dark_v / self.series if isinstance(load, Lamps) else None),
        ]
        known = [(name, volts) for name, volts in stops if volts is not None]
        # The highest voltage is reached first as the cell empties, whichever part it belongs to.
        return max(known, key=lambda item: item[1])


@dataclass(frozen=True, slots=True)
class Runtime:
    """Hours: `expected`, and `low` to `high`; `low` is meant to hold nineteen times out of twenty.

    `basis` says what it was computed from, `stop` which cut-off ends the run, `notes` what to know besides.
    `mean_a` is what one cell gives on the mean, in A. `margin_h` are the parts of `expected` less `low` in h, which
    add up to it; empty where many cells were estimated at once.
    """

    expected_h: float
    low_h: float
    high_h: float
    basis: str
    stop: str
    notes: tuple[str, ...] = ()
    mean_a: float = 0.0
    margin_h: tuple[tuple[str, float], ...] = ()


class DrawsNothing(BadData):
    """A load that takes no current at this pack's voltage: no run time has an end."""

    def __init__(self) -> None:
        super().__init__(
            "it draws nothing at this pack's voltage",
            "look at the load's supply voltage once more",
            of="load",
        )


def known_curves(chemistry: Chemistry) -> tuple[OcvCurve, ...]:
    """The sets that speak for a chemistry; for an unknown one all of them, which makes the low end very low."""
    # Every chemistry is possible, so the worst set decides the low end; a guess would promise what nobody measured.
    curves = all_curves() if chemistry is Chemistry.UNKNOWN else curves_for(chemistry)
    if not curves:
        raise BadData(
            f"chemistry is {chemistry}: no published curve speaks for it", "only its own trace could answer"
        )
    return curves


def margin_share(
    basis: str, rate_c: float, temperature_c: float, known_c: float = 0.0, quick: bool = False
) -> tuple[float, float]:
    """The shares of the time that a run may be shorter and longer by than the model says (data/margin.toml).

    `rate_c` is the rate at which the charge leaves: of a profile, the mean over its charge, not over its time.
    `quick`: the cell's own pulses show that its diffusion is not slow.
    """
    table = shipped("margin")[basis.replace(" ", "_")]
    per_rate = table["per_rate_quick" if quick else "per_rate"]
    # A trace was measured at its own rate, so the model is only in doubt for what goes beyond that.
    beyond = max(0.0, rate_c ** table["rate_power"] - known_c ** table["rate_power"])
    # Diffusion is what the model knows least, and the cold slows it: the doubt grows with it.
    stiff = lag_ratio(temperature_c).expected ** table["cold_power"]
    # Away from the trace's own rate, to either side, its curve is freed of a drop and a lag that sets differ in.
    longer = float(table["base"] + table["per_step"] * abs(rate_c - known_c))
    # What diffusion does at a higher rate only ends a run early: no published set outlasts the high end for it.
    return float(min(table["most"], longer + per_rate * beyond * stiff)), longer


def margin_of(
    basis: str, cell: RunCell, rate_c: float, temperature_c: float, quick: bool
) -> tuple[tuple[float, float], tuple[float, float]]:
    """What the model may be wrong by: shares of the time, and V by which the cut-off may come early and late."""
    known_c = 0.0
    if cell.own_trace is not None:
        currents = cell.own_trace.currents()
        known_c = sum(currents) / len(currents) / cell.capacity.value
    table = shipped("margin")[basis.replace(" ", "_")]
    share = margin_share(basis, rate_c, temperature_c, known_c, quick)
    return share, (float(table["off_v"]), float(table["off_up_v"]))


def checked_rate(temperature_c: float) -> float:
    """The rate up to which both ends were held against the tables of the full model; 0 where none was made."""
    data = shipped("margin")
    if temperature_c > data["checked_to_c"]:
        return 0.0
    return max((row["most_c"] for row in data["checked"] if row["from_c"] <= temperature_c), default=0.0)


MEASURES = {
    "capacity": "its capacity on a better meter",
    "resistance": "its resistance by a pulse",
    "cold": "a discharge trace taken in that cold",
    "stiff": "a pulse and a discharge trace taken in that cold",
    "model": "a discharge trace at the device's own current, or d.c. pulses of 1 s and of 30 s,",
    "losses": "its own self-discharge",
}
_OWN_CURRENT = "a discharge trace at the device's own current"


def narrowing(runtime: Runtime) -> str:
    """One line when `low` gives away more than 15 % of the expected time: which measurement would narrow it."""
    if not runtime.margin_h or runtime.low_h >= 0.85 * runtime.expected_h:
        return ""
    largest = max(runtime.margin_h, key=lambda part: part[1])[0]
    away = 1.0 - runtime.low_h / runtime.expected_h
    return f"the low end gives away {away:.0%}: {MEASURES.get(largest, _OWN_CURRENT)} would narrow it most"


def notes_of(
    cell: RunCell, device: RunDevice, stop: tuple[str, float], expected_h: float, rate_c: float
) -> list[str]:
    """What to know besides, in words."""
    notes = []
    chemistry, temperature_c, trace = cell.chemistry, device.temperature_c, cell.own_trace
    if chemistry is Chemistry.UNKNOWN:
        notes.append("chemistry unknown: the low end takes the worst of all published curves")
    stopped_by, stop_v = stop
    if expected_h == 0.0 and stopped_by == LAMPS_DARK:
        notes.append("the lamps stay dark: they need a higher voltage than the cell gives")
    elif expected_h == 0.0:
        notes.append("the voltage falls below the cut-off as soon as the load is switched on")
    most_c = checked_rate(temperature_c)
    # 1 % of room: a load of just 0.5C is not to be called unchecked for the last digit of its mean.
    if rate_c > 1.01 * most_c:
        notes.append(
            f"{rate_c:.2g}C at {temperature_c:.3g} C: beyond what this was checked at, neither end is a promise "
            "(checked: up to 0.5C at 0 to 40 C, up to 1C at 15 to 40 C)"
        )
    if temperature_c < COLDEST_KNOWN_C:
        notes.append("below -20 C no cell sheet gives a figure: the low end is nothing")
    if stopped_by == LAMPS_DARK and expected_h > 0.0:
        notes.append(
            f"counted until the lamps go dark at {stop_v:.2f} V: below that they get less than a useful current"
        )
    # A trace of a shallower discharge shows nothing below its end; what is left there is not a promise.
    if trace is not None and trace.voltage_v[-1] > stop_v + 0.05:
        notes.append(
            f"the trace ends at {trace.voltage_v[-1]:.2f} V, above the cut-off: what is left is not counted"
        )
    return notes
