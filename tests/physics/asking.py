"""What a run time is asked of, as one list of what a test knows."""

from dataclasses import fields
from typing import Any

from straycell.cells import Chemistry
from straycell.physics.loads import Load
from straycell.physics.run_time.runtime import RunCell, RunDevice
from straycell.quantities import Measured

_OF_DEVICE = {field.name for field in fields(RunDevice)}


def asked(
    chemistry: Chemistry, capacity: Measured, resistance: Measured | None, load: Load, **more: Any
) -> tuple[RunCell, RunDevice]:
    """The cell and the device; each word goes to the one that knows it."""
    device = {name: value for name, value in more.items() if name in _OF_DEVICE}
    cell = {name: value for name, value in more.items() if name not in _OF_DEVICE}
    return RunCell(chemistry, capacity, resistance, **cell), RunDevice(load, **device)
