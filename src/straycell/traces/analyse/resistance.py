"""Resistance from a step of the load: the pair of IEC 61960, and any single pulse from rest.

The pair (IEC 61960-3, d.c. method): 0.2 It for 10 s, then at once 1 It for 1 s; R = (U1 - U2) / (I2 - I1).
A single pulse: R = (U_rest - U(t)) / I at a time t after its start. A value is meaningless without its pulse
length, temperature and state of charge, so all three are kept with it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from straycell.physics.curves import curves_for, state_of_charge_range
from straycell.quantities import Measured
from straycell.traces.analyse.budget import BudgetLine, Instrument, combined, resistance_lines
from straycell.traces.analyse.runs import Conditions, DischargeRun
from straycell.traces.analyse.steps import Analysis, Step, StepKind
from straycell.traces.read.trace import Floats

READ_AT_S = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 18.0, 29.5, 60.0)
"""Pulse lengths that are reported; 29.5 s, so that a 30 s pulse is read before its last row."""
DC_PULSE_S = 1.0
_LEAST_REST_S = 5.0
_PAIR_RATIO = (4.0, 6.0)
_PAIR_FIRST_S = (8.0, 12.0)
_PAIR_SECOND_S = 0.8
_SAME_AGE = 0.01
_LONG_REST_S = 5400.0
_MOVING_V = 0.05
"""90 min of rest before a voltage is taken for open circuit, else 50 mV (battery storage handbook)."""
_UNKNOWN_GROWTH = 0.1
"""Growth of a resistance in its second second where a single row shows none (common practice)."""


@dataclass(frozen=True, slots=True)
class PulseResistance:
    """One resistance in ohm: after `pulse_s` of `current_a`, at a state of charge (0 to 1) and temperature.

    `pulse` numbers the pulses of a trace from 1, `step` is its step's place; `out_ah` is what had been taken
    out since the discharge began. `soc` is counted where the trace runs from full to the cut-off; else it is the
    middle of `soc_range`, what the rest voltage `rest_v` can mean for the chemistry; else None.
    """

    pulse: int
    pulse_s: float
    current_a: float
    rested_s: float
    out_ah: float
    soc: float | None
    soc_range: tuple[float, float] | None
    rest_v: float | None
    temperature_c: float | None
    resistance: Measured
    lines: tuple[BudgetLine, ...]
    step: int
    method: str


@dataclass(frozen=True, eq=False)
class Setting:
    """What all resistances of one trace share."""

    analysis: Analysis
    runs: list[DischargeRun]
    instrument: Instrument
    conditions: Conditions


def find_pulses(setting: Setting) -> list[PulseResistance]:
    """Every discharge that begins after a rest, read at each length of READ_AT_S that its rows bear."""
    found: list[PulseResistance] = []
    steps, number = setting.analysis.steps, 0
    for k in range(1, len(steps)):
        if not _is_pulse(steps[k - 1], steps[k]):
            continue
        ages = [age for age in READ_AT_S if _is_read(setting.analysis, steps[k], age)]
        number += bool(ages)
        found += [_pulse_at(setting, k, number, age) for age in ages]
    return found


def _is_pulse(before: Step, step: Step) -> bool:
    # The resistance is taken against a settled voltage; a few seconds of rest still move with the last load.
    rested = before.kind is StepKind.REST and before.duration_s >= _LEAST_REST_S
    return rested and step.kind is StepKind.DISCHARGE and step.follows


def _is_read(analysis: Analysis, step: Step, age_s: float) -> bool:
    """True when the rows bear this age, and the doubt about the step's start is no longer than it."""
    if step.open_start_s > age_s * (1 + _SAME_AGE):
        return False
    return any(_bear(ages, age_s) for ages, _ in _ages(analysis, step))


def _bear(ages: Floats, age_s: float) -> bool:
    """True when a row stands at this age, or one on either side between half and twice the age.

    A row at the very start does not count: it may still show the voltage from before the load.
    """
    if np.min(np.abs(ages - age_s)) <= _SAME_AGE * age_s:
        return True
    after = int(np.searchsorted(ages, age_s))
    # Between half and twice the age the voltage is close to straight over the root of the time; further apart it is a
    # guess.
    return 0 < after < len(ages) and 2 * float(ages[after - 1]) >= age_s and float(ages[after]) <= 2 * age_s


def _ages(analysis: Analysis, step: Step) -> Iterator[tuple[Floats, float]]:
    """The rows' ages, and by how many seconds more the pulse may have to be aged to be as old as its name."""
    times, open_s = analysis.trace.time_s[_young(analysis, step)], step.open_start_s
    # A free-running logger writes its first loaded row up to a distance late. Counted from the row before, every pulse
    # would be younger than its name and its resistance too small: the middle of the distance favours no side.
    yield times - step.onset_s - open_s / 2.0, 0.0
    yield times - step.onset_s, open_s / 2.0


def _young(analysis: Analysis, step: Step) -> slice:
    """The rows of a step that its readings can need."""
    end = int(np.searchsorted(analysis.trace.time_s, step.onset_s + 2 * READ_AT_S[-1], side="right"))
    return slice(step.first, max(step.first + 1, min(step.stop, end + 1)))


def _at(analysis: Analysis, step: Step, age_s: float) -> tuple[float, float, float, float]:
    """Voltage, current and the voltage's slope (V/s) in a step at an age; the seconds that its row may be too young."""
    rows = _young(analysis, step)
    found = list(_ages(analysis, step))
    ages, young_s = next((each for each in found if _bear(each[0], age_s)), found[0])
    volts, amps = analysis.trace.voltage_v[rows], analysis.trace.current_a[rows]
    roots = np.sqrt(np.maximum(ages, 0.0))  # diffusion moves the voltage with the root of the time
    # The current has no such law: it is switched, so a straight line between its rows does.
    voltage, current = float(np.interp(np.sqrt(age_s), roots, volts)), float(np.interp(age_s, ages, amps))
    # A row of much later says nothing of the slope at this age: growth is then taken as usual (_UNKNOWN_GROWTH).
    if np.count_nonzero((ages >= 0.25 * age_s) & (ages <= 4.0 * age_s)) < 2:
        return voltage, current, float("nan"), young_s
    # The slope is taken around the age, since a resistance grows with the length of the pulse (budget.py).
    low, high = max(0.5 * age_s, float(ages[0])), min(2.0 * age_s, float(ages[-1]))
    if high <= low:
        return voltage, current, float("nan"), young_s
    # Towards its start a pulse is steepest: a doubt about the start is weighed there.
    high = age_s if step.open_start_s > 0 and low < age_s else high
    slope = (float(np.interp(high, ages, volts)) - float(np.interp(low, ages, volts))) / (high - low)
    return voltage, current, slope, young_s


def _pulse_at(setting: Setting, k: int, number: int, age_s: float) -> PulseResistance:
    before = setting.analysis.steps[k - 1]
    rest_a = float(setting.analysis.trace.current_a[before.stop - 1])
    return _resistance(setting, k, k, before.last_v, rest_a, age_s, number, "pulse")


def _resistance(
    setting: Setting, k: int, began: int, from_v: float, from_a: float, age_s: float, number: int, method: str
) -> PulseResistance:
    """From a voltage and current to those at an age of step `k`; the load began with step `began`."""
    step, before = setting.analysis.steps[k], setting.analysis.steps[began - 1] if began else None
    voltage, current, slope, young_s = _at(setting.analysis, step, age_s)
    # A difference of currents, so that a meter's zero cancels.
    change = from_a - current
    value = (from_v - voltage) / change
    # A single row shows no slope, and no slope must not mean no growth.
    growth = _UNKNOWN_GROWTH * value if np.isnan(slope) else slope / change
    value += abs(growth) * young_s
    lines = resistance_lines(value, change, setting.instrument, step.open_start_s / 2.0, growth)
    rest = before if before is not None and before.kind is StepKind.REST else None
    # The state of charge is that at which the load began: during the pulse nothing worth counting is taken out.
    out_ah, soc = _state(setting.analysis, setting.runs, began)
    span = _from_rest(setting, rest) if soc is None and rest is not None else None
    return PulseResistance(
        pulse=number,
        pulse_s=age_s,
        current_a=abs(current),
        rested_s=rest.duration_s if rest is not None else 0.0,
        out_ah=out_ah,
        soc=soc if span is None else (span[0] + span[1]) / 2,
        soc_range=span,
        rest_v=rest.last_v if rest is not None else None,
        temperature_c=setting.analysis.trace.mean_temperature(
            slice(step.first, step.stop), setting.conditions.temperature_c
        ),
        resistance=combined(value, lines),
        lines=tuple(lines),
        step=k,
        method=method,
    )


def _from_rest(setting: Setting, rest: Step) -> tuple[float, float] | None:
    """The states of charge a rest voltage can mean; a short rest may still be moving by some hundredths of a volt."""
    chemistry = setting.conditions.chemistry
    if chemistry is None or not curves_for(chemistry):
        return None
    volts = setting.instrument.voltage
    moving_v = 0.0 if rest.duration_s >= _LONG_REST_S else _MOVING_V
    # What a short rest may still move is a limit, hence over root 3.
    u_v = float(np.hypot(volts.u(rest.last_v), moving_v / np.sqrt(3)))
    return state_of_charge_range(chemistry, rest.last_v, u_v)


def _state(analysis: Analysis, runs: list[DischargeRun], k: int) -> tuple[float, float | None]:
    """Charge out since the run began (Ah), and the state of charge where the run tells it."""
    run = next((r for r in runs if r.first <= k <= r.last), None)
    if run is None:
        return 0.0, None
    out = -sum(s.charge_ah for s in analysis.steps[run.first : k])
    # A lower bound of the capacity gives no share: the state of charge would look lower than it is.
    if run.at_least or run.capacity_ah <= 0:
        return out, None
    return out, min(1.0, max(0.0, 1 - out / run.capacity_ah))


def find_pair(setting: Setting) -> PulseResistance | None:
    """The first pair as in IEC 61960: a fifth of the current for about 10 s, then the current for 1 s."""
    steps = setting.analysis.steps
    for k in range(1, len(steps)):
        first, second = steps[k - 1], steps[k]
        if _is_pair(first, second, setting.conditions.rated_ah):
            from_a = float(setting.analysis.trace.current_a[first.stop - 1])
            age_s = min(DC_PULSE_S, second.duration_s)
            return _resistance(setting, k, k - 1, first.last_v, from_a, age_s, 0, "pair")
    return None


def _is_pair(first: Step, second: Step, rated_ah: float | None) -> bool:
    if first.kind is not StepKind.DISCHARGE or second.kind is not StepKind.DISCHARGE or not second.follows:
        return False
    ratio = second.current_a / first.current_a
    timed = _PAIR_FIRST_S[0] <= first.duration_s <= _PAIR_FIRST_S[1] and second.duration_s >= _PAIR_SECOND_S
    # Within 0.3 to 1.5 It a current of 1 It is meant; testers hit the nominal only roughly.
    rated = rated_ah is None or 0.3 <= abs(second.current_a) / rated_ah <= 1.5
    # The standard wants 0.2 It and then 1 It, a ratio of 5 (IEC 61960-3 d.c. method).
    return _PAIR_RATIO[0] <= ratio <= _PAIR_RATIO[1] and timed and rated
