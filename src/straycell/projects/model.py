"""A device waiting for cells: its load, its need, what fits, how it is charged and protected."""

from dataclasses import dataclass, fields
from datetime import date

from straycell.cells import FOUR_VOLT, Chemistry, Form
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Load, Profile, ResistiveLoad

# A cell of unknown 4.2 V kind fits where all its kinds are wanted; no project asks for not knowing.
RECHARGEABLE = (*FOUR_VOLT, Chemistry.LFP)
ALL_FORMS = tuple(Form)
DEFAULT_PRIORITY = 3

_LOAD_KINDS: dict[type[Load], str] = {
    ConstantCurrent: "current",
    ConstantPower: "power",
    ResistiveLoad: "resistance",
    Lamps: "lamps",
    Profile: "profile",
}


def load_kind(load: Load) -> str:
    """The word of the project file for this kind of load."""
    return _LOAD_KINDS[type(load)]


@dataclass(frozen=True, slots=True)
class Need:
    """How long it must run (h), where the device stops (V, the whole string), where it works (degC)."""

    runtime_h: float
    cutoff_v: float
    temperature_c: float = 25.0
    peak_current_a: float | None = None


@dataclass(frozen=True, slots=True)
class PackShape:
    """What fits. None for series or parallel means `auto`: the smallest that does it."""

    series: int | None = 1
    parallel: int | None = 1
    forms: tuple[Form, ...] = ALL_FORMS
    chemistries: tuple[Chemistry, ...] = RECHARGEABLE

    @property
    def one_cell(self) -> bool:
        """True when one single cell is asked for, or is the first thing `auto` tries."""
        return self.series in (1, None) and self.parallel in (1, None)


@dataclass(frozen=True, slots=True)
class ChargeSpec:
    """The charger in the device: current (A) or programming resistor (ohm), and what it regulates to (V).

    None means not said in the file; what is assumed then is decided where the charger is judged.
    `supply_rated_v` is what the charger's own sheet lets feed it. `temperature_c` is where it is charged,
    when that is not where it works.
    """

    current_a: float | None = None
    programming_resistor_ohm: float | None = None
    voltage_v: float | None = None
    tolerance: float | None = None
    measured_float_v: float | None = None
    supply_v: float | None = None
    supply_limit_a: float | None = None
    temperature_c: float | None = None
    supply_rated_v: float | None = None


@dataclass(frozen=True, slots=True)
class Protection:
    """Over-charge, over-discharge and over-current protection. `cutoff_v` is per cell when `per_cell`.

    The trip is given by its current (A), or by the resistance (ohm) of one of the two transistors it is felt over.
    `sensing` says how: `transistors`, `shunt` (a resistor of its own), or empty where that is not known.
    """

    fitted: bool = False
    per_cell: bool = False
    balancing: bool = False
    cutoff_v: float | None = None
    trip_current_a: float | None = None
    transistor_ohm: float | None = None
    sensing: str = ""


@dataclass(frozen=True, slots=True)
class Project:
    """A project as understood, defaults filled in. A smaller `priority` is served first."""

    name: str
    load: Load
    need: Need
    priority: int = DEFAULT_PRIORITY
    due: date | None = None
    pack: PackShape = PackShape()
    charge: ChargeSpec | None = None
    protection: Protection = Protection()

    def to_json(self) -> dict[str, object]:
        """The project with plain values only; keys name their unit."""
        return {
            "name": self.name,
            "priority": self.priority,
            "due": self.due.isoformat() if self.due else None,
            "load": {"kind": load_kind(self.load), **_plain_load(self.load)},
            "need": _plain(self.need),
            "pack": {
                "series": self.pack.series or "auto",
                "parallel": self.pack.parallel or "auto",
                "forms": [str(form) for form in self.pack.forms],
                "chemistries": [str(chemistry) for chemistry in self.pack.chemistries],
            },
            "charge": _plain(self.charge) if self.charge else None,
            "protection": _plain(self.protection),
        }


def _plain(item: Need | ChargeSpec | Protection) -> dict[str, object]:
    return {f.name: getattr(item, f.name) for f in fields(item)}


def _plain_load(load: Load) -> dict[str, object]:
    values = {f.name: getattr(load, f.name) for f in fields(load) if f.init}
    return {k: list(v) if isinstance(v, tuple) else v for k, v in values.items() if v is not None}


@dataclass(frozen=True, slots=True)
class FinishFault:
    """One thing that a device lacks, and what to do about it."""

    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.what}: {self.remedy}"


def finish_faults(project: Project, *, series: int | None = None) -> list[str]:
    """`finish_lacks` in words."""
    return [str(lack) for lack in finish_lacks(project, series=series)]


def finish_lacks(project: Project, *, series: int | None = None) -> list[FinishFault]:
    """Every reason why this project cannot be finished, each with what to do; empty when it can.

    `series` is the number of cells in series that was built; the project's own count when not given.
    """
    protection = project.protection
    in_series = series or project.pack.series or 1
    if not protection.fitted:
        return [
            FinishFault(
                "no protection is fitted",
                "over-charge, over-discharge and over-current protection must be in the device; fit it, write "
                "fitted = true under [protection], then add the project again with --replace",
            )
        ]
    faults = []
    if in_series > 1 and not protection.per_cell:
        faults.append(
            FinishFault(
                f"{in_series} cells in series need protection cell by cell",
                "fit it, then write per_cell = true",
            )
        )
    if in_series > 1 and not protection.balancing:
        faults.append(
            FinishFault(f"{in_series} cells in series need balancing", "fit it, then write balancing = true")
        )
    return faults
