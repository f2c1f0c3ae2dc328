"""What a run time is asked of: one cell as it was measured, and the device that a pack of cells like it feeds."""

import math
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.loads import Lamps, Load
from straycell.physics.own_pulses import ONE_PULSE, Taken
from straycell.physics.sources import OwnTrace
from straycell.physics.temperature import check_temperature
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
