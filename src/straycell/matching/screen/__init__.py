"""The tests that a cell and its device must pass, one by one, each leaving its reason."""

from straycell.matching.screen.candidates import Candidate, RestVoltage, Why
from straycell.matching.screen.cell_tests import DEVICE_TESTS, SHUNT_FROM_A, ask_sensing, protection_trip
from straycell.matching.screen.charger import cell_charge_a, charge_current_a, charged_to_v, highest_float_v
from straycell.matching.screen.demand import Demand, Screen, UseLimits
from straycell.matching.screen.device import device_answers, trip_words
from straycell.matching.screen.running import Run, final_runtime, judge_drop, judge_run, lasts, runs
from straycell.matching.screen.screening import Screened, screen_all, screen_candidate, usable

__all__ = [
    "DEVICE_TESTS",
    "SHUNT_FROM_A",
    "Candidate",
    "Demand",
    "RestVoltage",
    "Run",
    "Screen",
    "Screened",
    "UseLimits",
    "Why",
    "ask_sensing",
    "cell_charge_a",
    "charge_current_a",
    "charged_to_v",
    "device_answers",
    "final_runtime",
    "highest_float_v",
    "judge_drop",
    "judge_run",
    "lasts",
    "protection_trip",
    "runs",
    "screen_all",
    "screen_candidate",
    "trip_words",
    "usable",
]
