"""Follow one cell under a repeated profile: the charge goes at the mean, the cut-off comes at the worst moment."""

import math
from dataclasses import dataclass

from straycell.physics.curves import interpolate
from straycell.physics.derating import relaxation_s
from straycell.physics.loads import Profile, power_current
from straycell.physics.run_time.march import March, along, share_until, step_hours, taken_ah, terminal_v
from straycell.physics.sources import SourceModel

# A recorded profile may hold a row a second for days; a run marches them many times over.
_MOST_STEPS = 400
_FINE_SHARE = 0.005


@dataclass(frozen=True, slots=True)
class Round:
    """One round of a profile for one cell: per step its length (s), mean and peak draw, and the peak as felt.

    Draws are currents in A or powers in W. `felt` is what, times the whole resistance, gives the voltage drop:
    the peak through the fast part, and what went before through the slow part (first-order, periodic).
    """

    is_power: bool
    seconds: tuple[float, ...]
    mean: tuple[float, ...]
    felt: tuple[float, ...]

    @property
    def period_s(self) -> float:
        return sum(self.seconds)

    @property
    def average(self) -> float:
        return sum(s * m for s, m in zip(self.seconds, self.mean, strict=True)) / self.period_s

    def current(self, draw: float, emf_v: float, ohm: float) -> float:
        """The current in A of one cell for a draw."""
        return power_current(draw, emf_v, ohm) if self.is_power and draw else draw


def approach(state: float, target: float, seconds: float, tau_s: float) -> float:
    """First-order step response: from `state` towards `target` with the time constant `tau_s`, exact."""
    # The exact solution, not Euler: steps of a profile may be much longer than the time constant.
    return target + (state - target) * math.exp(-seconds / tau_s)


def one_round(profile: Profile, slow_share: float, cells: int) -> Round:
    """The round of one cell: `cells` is parallel for currents, series x parallel for powers."""
    steps = [(d, v / cells, v / cells) for d, v in zip(profile.durations_s, profile.values, strict=False)]
    steps = _merged(steps)
    tau = relaxation_s()
    # The slow state repeats each round: one round from zero, and what is kept of a start, give it in closed form.
    from_zero = 0.0
    for seconds, mean, _ in steps:
        from_zero = approach(from_zero, mean, seconds, tau)
    state, felt = from_zero / -math.expm1(-sum(d for d, _, _ in steps) / tau), []
    # The slow branch may peak at either end of a step, after a heavy or before a light one: the worse end counts.
    for seconds, mean, peak in steps:
        ends = approach(state, mean, seconds, tau)
        felt.append((1 - slow_share) * peak + slow_share * max(state, ends))
        state = ends
    return Round(
        profile.power_w is not None,
        tuple(d for d, _, _ in steps),
        tuple(m for _, m, _ in steps),
        tuple(felt),
    )


def _merged(steps: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """At most _MOST_STEPS steps; neighbours are joined by their mean, and keep their peak."""
    # Joined steps keep their peak, because the mean decides the hours but the peak decides the cut-off.
    size = math.ceil(len(steps) / _MOST_STEPS)
    if size == 1:
        return steps
    merged = []
    for at in range(0, len(steps), size):
        part = steps[at : at + size]
        seconds = sum(d for d, _, _ in part)
        merged.append((seconds, sum(d * m for d, m, _ in part) / seconds, max(p for _, _, p in part)))
    return merged


def march_profile(
    model: SourceModel,
    profile: Profile,
    cutoff_v: float,
    *,
    slow_share: float = 0.0,
    series: int = 1,
    parallel: int = 1,
) -> March:
    """Run one cell of a pack of equal cells under the pack's profile, to the first moment below `cutoff_v`.

    `slow_share` is the part of the resistance that builds up over minutes; the rest acts at once.
    """
    is_power = profile.power_w is not None
    cycle = one_round(profile, slow_share, series * parallel if is_power else parallel)
    average, worst = cycle.average, max(cycle.felt)
    hours = charge = energy = 0.0
    marks = [(0.0, 0.0, 0.0)]
    before: tuple[float, float, float, float, float] | None = None
    for x1, emf, ohm in zip(model.x_ah, model.emf_v, model.inner_ohm, strict=True):
        mean_a = cycle.current(average, emf, ohm)
        low_v = terminal_v(emf, cycle.current(worst, emf, ohm), ohm) if mean_a < math.inf else -math.inf
        below = not low_v > cutoff_v
        # The lag follows the mean: diffusion takes minutes to hours and does not see single peaks.
        q1 = taken_ah(x1, model.lag_h, mean_a) if mean_a < math.inf else charge
        if before is None or q1 < 0:
            if below:
                return March(0.0, 0.0, 0.0)
        else:
            x0, q0, i0, v0, low0 = before
            if q0 < 0 < q1:
                # The lag takes some charge before the load has begun: time counts from where none was taken out.
                marks = [(0.0, along(q0 / (q0 - q1), x0, x1), 0.0)]
            share = share_until(low0, low_v, cutoff_v) if below and low_v > -math.inf else float(not below)
            i1 = along(share, i0, mean_a) if mean_a < math.inf else i0
            dq = max(0.0, along(share, q0, q1)) - max(0.0, q0)
            if dq > 0:
                hours += step_hours(dq, i0, i1)
                energy += dq * 0.5 * (v0 + (terminal_v(emf, mean_a, ohm) if mean_a < math.inf else v0))
                charge += dq
            marks.append((hours, along(share, x0, x1), energy))
        if below and hours == 0.0:
            return March(0.0, 0.0, 0.0)
        if below:
            return _last_round(model, cycle, cutoff_v, charge, marks)
        before = (x1, q1, mean_a, terminal_v(emf, mean_a, ohm), low_v)
        if q1 <= 0:
            marks = [(0.0, x1, 0.0)]
    return March(hours, charge, energy)


def _last_round(
    model: SourceModel, cycle: Round, cutoff_v: float, charge: float, marks: list[tuple[float, float, float]]
) -> March:
    """From the last whole round before the mean ends it, step by step to the first moment that falls below.

    `marks` hold (hours, surface charge in Ah, energy in Wh) so far, `charge` (Ah) is what the last one gave.
    """
    times, at, spent = zip(*marks, strict=True)
    hours, begun, energy_end = marks[-1]
    # The mean course may end inside a round; only whole rounds before it are sure to have passed.
    whole_h = math.floor(hours * 3600.0 / cycle.period_s) * cycle.period_s / 3600.0
    x, t, energy = interpolate(whole_h, times, at), whole_h, interpolate(whole_h, times, spent)
    # A long step can cross the cut-off well before its end: half a per cent of the charge bounds that error.
    fine_ah = _FINE_SHARE * model.x_ah[-1]
    # Two rounds: the mean ends the run within one of the last whole round, the worst moment may come in the next.
    for step in (*range(len(cycle.seconds)), *range(len(cycle.seconds))):
        step_h = cycle.seconds[step] / 3600.0
        here, current_a, mean_v = _felt_at(model, cycle, step, x)
        parts = max(1, math.ceil(current_a * step_h / fine_ah)) if current_a < math.inf else 1
        for _ in range(parts):
            if not (here > cutoff_v and current_a < math.inf):
                return March(t, charge + x - begun, energy)
            dx = current_a * step_h / parts
            there, next_a, next_v = _felt_at(model, cycle, step, x + dx)
            if not there > cutoff_v:
                share = share_until(here, there, cutoff_v) if math.isfinite(there) else 0.0
                gone = share * dx
                return March(t + share * step_h / parts, charge + x + gone - begun, energy + gone * mean_v)
            energy += dx * 0.5 * (mean_v + next_v)
            x, t, here, current_a, mean_v = x + dx, t + step_h / parts, there, next_a, next_v
    return March(hours, charge, energy_end)


def _felt_at(model: SourceModel, cycle: Round, step: int, x_ah: float) -> tuple[float, float, float]:
    """Voltage in V at the worst moment of a step; the step's mean current in A, and the voltage at it."""
    emf = interpolate(x_ah, model.x_ah, model.emf_v)
    ohm = interpolate(x_ah, model.x_ah, model.inner_ohm)
    mean_a = cycle.current(cycle.mean[step], emf, ohm)
    mean_v = emf - ohm * mean_a if mean_a < math.inf else -math.inf
    return emf - ohm * cycle.current(cycle.felt[step], emf, ohm), mean_a, mean_v
