"""From a recorded curve to figures that can be trusted. Imports numpy: load it where it is needed, not for help.

layout, columns, table          the file: separator, header words, units, rows as numbers and times
cleaning, sign, from_file       what is left out and why, which current is discharge, the Trace
steps, runs                     rest, charge, discharge; a discharge from full to cut-off
noise, budget, resistance       what the rows tell of the instrument; uncertainty line by line; pulses and pairs
reduce                          the figures and their JSON
derived, own_curve              readings and charges to record; few points to foresee the next discharge
"""

from straycell.traces.analyse.reduce import TraceResult, reduce_trace
from straycell.traces.analyse.runs import Conditions
from straycell.traces.analyse.steps import Step, StepKind
from straycell.traces.read.columns import parse_columns
from straycell.traces.read.from_file import read_trace
from straycell.traces.read.trace import Trace

__all__ = [
    "Conditions",
    "Step",
    "StepKind",
    "Trace",
    "TraceResult",
    "parse_columns",
    "read_trace",
    "reduce_trace",
]
