"""A build is finished for the device as it is now, not as its file said weeks ago: the match is asked once more."""

from dataclasses import asdict, dataclass, replace

from straycell.bench.context import Bench, Reader
from straycell.bench.project_match import held_match, understood
from straycell.builds import Build
from straycell.errors import NegativeAnswer
from straycell.matching import Match
from straycell.matching.sheet.currents import fitted_fault
from straycell.physics.loads import ConstantCurrent
from straycell.projects import ChargeSpec, Project, finish_faults
from straycell.projects.parse import MOST_IN_LINE
from straycell.quantities import CELL_WINDOWS, Dimension, Window, show
from straycell.readings import Field


@dataclass(frozen=True, slots=True)
class Device:
    """What was measured of a device; None where it is as its project says.

    What it draws (A, at the cells of the whole build), where it works (degC), what its charger gives (A) and where that
    ends (V, the whole string), and the fuse (A) that is in.
    """

    current_a: float | None = None
    peak_current_a: float | None = None
    temperature_c: float | None = None
    charge_current_a: float | None = None
    measured_float_v: float | None = None
    fuse_a: float | None = None

    def said(self) -> dict[str, float]:
        """What was measured, by name."""
        return {name: value for name, value in asdict(self).items() if value is not None}

    def of(self, project: Project) -> Project:
        """The project with what was measured in the place of what its file says."""
        need, load, charge = project.need, project.load, project.charge
        if self.current_a is not None:
            # One current says nothing of peaks, and a converter draws more as its source sinks: the file's still count.
            need = replace(need, peak_current_a=max(need.peak_current_a or 0.0, _largest_a(project)) or None)
            load = ConstantCurrent(self.current_a)
        if self.temperature_c is not None:
            need = replace(need, temperature_c=self.temperature_c)
        if self.peak_current_a is not None:
            need = replace(need, peak_current_a=self.peak_current_a)
        if self.charge_current_a is not None or self.measured_float_v is not None:
            charge = charge or ChargeSpec()
            if self.charge_current_a is not None:
                # A measured current is the charger's, whatever resistor was meant to set it.
                charge = replace(charge, current_a=self.charge_current_a, programming_resistor_ohm=None)
            if self.measured_float_v is not None:
                charge = replace(charge, measured_float_v=self.measured_float_v)
        return replace(project, need=need, load=load, charge=charge)


OF_DEVICE = (
    Field("current_a", Dimension.CURRENT, "current", "What the device draws at the cells, as measured now."),
    Field("peak_current_a", Dimension.CURRENT, "peak", "Its highest, as measured now."),
    Field("temperature_c", Dimension.TEMPERATURE, "temperature", "Where the device works."),
    Field("charge_current_a", Dimension.CURRENT, "charge", "What its charger gives, as measured now."),
    Field(
        "measured_float_v",
        Dimension.VOLTAGE,
        "end",
        "Where its charger ends, the whole string.",
        typed=Window(0.0, CELL_WINDOWS[Dimension.VOLTAGE].high * MOST_IN_LINE, "a string of cells"),
    ),
    Field("fuse_a", Dimension.CURRENT, "fuse", "The rating of the fuse that is in."),
)
"""What is asked of a device, by the names of its fields."""


def _largest_a(project: Project) -> float:
    """The largest current (A) by the project's file, near the end of its run; 0 of a steady one, which is measured."""
    load = project.load
    return 0.0 if isinstance(load, ConstantCurrent) else load.current_at(project.need.cutoff_v)


@dataclass(frozen=True, slots=True)
class FinishCheck:
    """What keeps a build from being finished in a device: faults of its parts, a fuse that is not stated, its match.

    `found` is None without a build. `overload`: why its fuse matters; `fuse_missing`: why it must be stated.
    """

    faults: tuple[str, ...]
    found: Match | None = None
    overload: str = ""
    fuse_missing: str = ""


def require_finishable(bench: Bench, reader: Reader, name: str, device: Device, *, ask: bool = False) -> str:
    """Raise NegativeAnswer where the build may not be finished in this device; else why its fuse matters, if it does.

    With `ask` a fuse that is not stated yet is no fault: it is asked for.
    """
    check, build = finish_check(bench, reader, name, device), reader.live_build(name)
    faults = [*check.faults, *([check.fuse_missing] if check.fuse_missing and not ask else [])]
    if faults:
        more = "" if len(faults) < 2 else f"and {len(faults) - 1} more: straycell project show"
        raise NegativeAnswer(f"project '{name}' cannot be finished: {faults[0]}", more)
    if check.found is not None and build is not None:
        # The file may have been replaced since: current, temperature and charger are asked again.
        require_fit(check.found, build)
    return check.overload


def require_fit(found: Match, build: Build) -> None:
    """Raise NegativeAnswer where reserved cells no longer do. In a device readings age: that is not a fault."""
    # A reservation is still a choice on the shelf; what is soldered in a device is inspected, not re-matched.
    if not found.served and build.finished_at is None:
        failed = next((why.text for why in found.why if not why.passed), "a figure of theirs is missing")
        raise NegativeAnswer(
            f"the cells that '{build.project}' holds no longer do",
            f"{failed}; straycell build dismantle frees them",
        )


def finish_build(bench: Bench, name: str, device: Device) -> Build:
    """Record that the reserved cells are built into this device. Raises NegativeAnswer as above, BadData, StoreFault."""
    with bench.writing() as writer:
        require_finishable(bench, writer, name, device)
        return writer.finish(name, device.said())


def finish_check(bench: Bench, reader: Reader, name: str, device: Device) -> FinishCheck:
    """Judge a reserved build for the device as it was measured, as the match would."""
    project, build = device.of(understood(reader.project(name))), reader.live_build(name)
    # A pack without protection or fuse can burn on its first short.
    faults = finish_faults(project, series=len(build.groups) if build else None)
    if build is None:
        return FinishCheck(tuple(faults))
    found = held_match(bench, reader, project, build)
    data, fuse_a = found.data, device.fuse_a
    if data is None or data.fusing.faults:
        return FinishCheck((*faults, *(data.fusing.faults if data else ())), found)
    needed = data.fusing.main
    fit = f"fit {show(needed.rated_a or 0.0, Dimension.CURRENT)} time-lag, and give its rating with --fuse"
    if fuse_a is not None and (fault := fitted_fault(needed, fuse_a)):
        faults.append(f"a fuse of {show(fuse_a, Dimension.CURRENT)} does not guard it: {fault}; {fit}")
    missing = f"{data.overload}; {fit}" if data.trips_late and fuse_a is None else ""
    return FinishCheck(tuple(faults), found, data.overload, missing)
