"""One recorded curve as plain arrays, in SI units, negative current on discharge."""

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Trace:
    """One cell's curve; all arrays have one entry a row, rows in the file's order, times never falling.

    `time_s` counts from the recording's own zero; `current_a` is negative on discharge (`notes` says how that
    was found). `step` numbers the instrument's own steps, `step_time_s` the time since such a step began,
    `counter_ah` is the instrument's own count; None where the file has no such column. `line` is each row's
    line in the file. `began_at` is the first row's time stamp where the file has a calendar's, without a zone if it
    is of some local clock. `warnings` doubt the file, `notes` only say how it was read.
    """

    time_s: Floats
    voltage_v: Floats
    current_a: Floats
    temperature_c: Floats | None = None
    step: Ints | None = None
    step_time_s: Floats | None = None
    counter_ah: Floats | None = None
    line: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    began_at: datetime | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def rows(self) -> int:
        return len(self.time_s)

    def line_of(self, row: int) -> int:
        """The file's line of a row; the row's own number, from 1, for a trace that came from no file."""
        return int(self.line[row]) if len(self.line) else row + 1

    def mean_temperature(self, rows: slice, given_c: float | None) -> float | None:
        """The mean in C of what the file tells of some rows; `given_c` where it tells nothing."""
        if self.temperature_c is None:
            return given_c
        known = self.temperature_c[rows]
        known = known[np.isfinite(known)]
        return float(known.mean()) if len(known) else given_c
