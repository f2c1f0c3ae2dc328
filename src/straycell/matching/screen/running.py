"""The tests of run time: whether a cell runs the device long enough, and still does so at the device's peaks."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.matching.screen import charger
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.demand import Screen
from straycell.matching.words import finite, hours
from straycell.physics.derating import resistance_ratio, shape, steady_over_pulse
from straycell.physics.run_time.losses import with_losses
from straycell.physics.run_time.runtime import RunCell, RunDevice, Runtime, estimate
from straycell.physics.sources import StartsEmpty
from straycell.quantities import Dimension, Measured, amp_hours, volts
from straycell.safe_side import at_least, beside, millivolts

FEW = 12
"""Up to so many cells one by one are quicker than loading numpy."""


@dataclass(frozen=True, slots=True)
class Run:
    """How long a cell runs the device: at its steady current, and with `dip_v` (V) lost at the peaks.

    `peak` is the steady run where no peak matters, and None where the first test already failed.
    """

    steady: Runtime
    peak: Runtime | None = None
    dip_v: float | None = None

    @property
    def promised(self) -> Runtime:
        """The one run time that is reported: with the peaks, where they matter."""
        return self.peak if self.peak is not None else self.steady

    @property
    def low_h(self) -> float:
        """How long it surely runs, peaks counted; 0 where a peak stops it at once."""
        return min(self.steady.low_h, self.peak.low_h if self.peak is not None else 0.0)


def run_time(screen: Screen, c: Candidate, *, dip_v: float, at_least: bool = True) -> Runtime:
    """Run time of a pack of cells like this one; `dip_v` (V) is how far a peak pulls each below its steady voltage.

    `at_least` counts from where the charger ends in the worst case, else from where it is set to.
    """
    try:
        bare = estimate(_asked(screen, c, dip_v, at_least=at_least), _device(screen))
    # A cell that cannot even start the load is an answer of 0 h and no fault of the person.
    except StartsEmpty as fault:
        return Runtime(0.0, 0.0, 0.0, "chemistry curve", "start", (fault.what,))
    return _with_losses(screen, c, bare)


def _asked(screen: Screen, c: Candidate, dip_v: float, *, at_least: bool = True) -> RunCell:
    return c.run_cell(
        screen.limits.cell_cutoff_v[c.facts.chemistry], _full_v(screen, c, at_least=at_least), dip_v
    )


def _device(screen: Screen) -> RunDevice:
    demand, need = screen.demand, screen.demand.project.need
    return RunDevice(
        demand.project.load,
        need.cutoff_v,
        demand.protection_v,
        need.temperature_c,
        demand.series,
        demand.parallel,
    )


def _full_v(screen: Screen, c: Candidate, *, at_least: bool = True) -> float | None:
    demand, chemistry = screen.demand, c.facts.chemistry
    return screen.once(
        ("full", chemistry, at_least),
        lambda: charger.filled_to_v(
            demand.project.charge, chemistry, screen.limits, at_least=at_least, series=demand.series
        ),
    )


def run_times(
    screen: Screen, cells: Sequence[Candidate], dips_v: Sequence[float] | None = None
) -> list[Runtime]:
    """`run_time` of each; many at once where there are many."""
    given_v = [0.0] * len(cells) if dips_v is None else dips_v
    if len(cells) <= FEW:
        return [run_time(screen, c, dip_v=v) for c, v in zip(cells, given_v, strict=True)]
    from straycell.physics.many.run_time import estimate_many

    try:
        asked = [_asked(screen, c, v) for c, v in zip(cells, given_v, strict=True)]
        found = estimate_many(asked, _device(screen))
    # One impossible cell stops a vectorised run: one by one each gets its own answer.
    except BadData:
        return [run_time(screen, c, dip_v=v) for c, v in zip(cells, given_v, strict=True)]
    return [_with_losses(screen, c, run) for c, run in zip(cells, found, strict=True)]


def _with_losses(screen: Screen, c: Candidate, bare: Runtime) -> Runtime:
    """A run time with what it loses beside its load: no other is ever reported."""
    assert c.capacity is not None
    return with_losses(bare, c.capacity.value, c.loss_per_month, screen.demand.parallel)


def runs(screen: Screen, cells: Sequence[Candidate]) -> list[Run]:
    """How long each cell runs the device; peaks are followed only for those that last without them."""
    steady = run_times(screen, cells)
    need_h = screen.demand.project.need.runtime_h
    found = [Run(runtime) for runtime in steady]
    followed: list[int] = []
    dips_v: list[float] = []
    for k, (c, runtime) in enumerate(zip(cells, steady, strict=True)):
        # A peak only shortens a run: what fails without it needs no second, dearer look.
        if runtime.low_h < need_h:
            continue
        dip_v = peak_dip_v(screen, c)
        if dip_v == 0.0:
            found[k] = Run(runtime, runtime, 0.0)
        elif dip_v is not None and dip_v < _spare_v(screen, c):
            followed.append(k)
            dips_v.append(dip_v)
        else:
            found[k] = Run(runtime, None, dip_v)
    at_peak = run_times(screen, [cells[k] for k in followed], dips_v) if followed else []
    for k, dip_v, runtime in zip(followed, dips_v, at_peak, strict=True):
        found[k] = Run(steady[k], runtime, dip_v)
    return found


def peak_dip_v(screen: Screen, c: Candidate) -> float | None:
    """How far in V the peak pulls the cell below its steady voltage; None where its resistance is not known."""
    chemistry = c.facts.chemistry
    added_a = screen.dip_a(chemistry)
    if added_a <= 0:
        return 0.0
    # Unknown is never a pass: without a resistance the dip may be anything.
    if c.resistance is None:
        return None
    return added_a * peak_resistance_ohm(screen, c, c.resistance)


def _spare_v(screen: Screen, c: Candidate) -> float:
    chemistry = c.facts.chemistry
    return screen.limits.full_v[chemistry] - screen.demand.stop_v(chemistry, screen.limits)


def peak_resistance_ohm(screen: Screen, c: Candidate, resistance: Measured) -> float:
    """Resistance in ohm to reckon with at a peak: R + U, grown to the peak's length, nearly empty and cold."""
    chemistry, at_c = c.facts.chemistry, screen.demand.project.need.temperature_c
    return resistance.high * screen.once(
        ("peak-growth", chemistry, c.pulse_s),
        lambda: peak_growth(chemistry, c.pulse_s, screen.limits.peak_s, at_c),
    )


def peak_growth(chemistry: Chemistry, pulse_s: float, peak_s: float, temperature_c: float) -> float:
    """How many times a resistance by a pulse of `pulse_s` counts at a peak of `peak_s`: longer, nearly empty, cold."""
    longer = steady_over_pulse(chemistry, pulse_s).high / steady_over_pulse(chemistry, peak_s).high
    return longer * shape(0.0) * resistance_ratio(temperature_c).high


def final_runtime(screen: Screen, c: Candidate, run: Run) -> Runtime:
    """The run time to print, peaks counted: expected from where the charger is set to, low from the worst it may end at."""
    least_v, runtime = _full_v(screen, c), run.promised
    if least_v is None:
        return runtime
    note = f"the low end counts from {millivolts(least_v, up=False)}, which the charger reaches at least"
    nominal = run_time(screen, c, dip_v=(run.dip_v or 0.0) if run.peak is not None else 0.0, at_least=False)
    # What the charger may leave out is a part of the margin of its own.
    margin_h = (*nominal.margin_h, ("charger", nominal.low_h - runtime.low_h))
    return replace(nominal, low_h=runtime.low_h, margin_h=margin_h, notes=(*nominal.notes, note))


def lasts(screen: Screen, run: Run) -> bool:
    """Whether the cell lasts, peaks or none."""
    return run.low_h >= screen.demand.project.need.runtime_h


def judge_run(screen: Screen, c: Candidate, run: Run) -> Why:
    """Whether it runs long enough at its steady current."""
    assert c.capacity is not None
    end_v = _full_v(screen, c)
    charged = f" charged to {volts(end_v)}" if end_v is not None else ""
    return _long_enough(screen, c, "runtime", f"{amp_hours(c.capacity.value)}{charged}: runs", run.steady)


def judge_drop(screen: Screen, c: Candidate, run: Run) -> Why:
    """The peak comes on top of the steady current: what it pulls down must not stop the device too early."""
    peak_a, dip_v = screen.peak_a(c.facts.chemistry), run.dip_v
    if screen.dip_a(c.facts.chemistry) <= 0:
        return Why(c.code, "voltage-drop", True, "no peak beyond what the run time counts")
    if c.resistance is None or dip_v is None:
        text = "its resistance is not measured: the drop at the peak is not known"
        remedy = "measure its resistance with a d.c. pulse"
        return Why(c.code, "voltage-drop", False, text, unit="ohm", remedy=remedy)
    most_ohm = at_least(peak_resistance_ohm(screen, c, c.resistance), Dimension.RESISTANCE)
    over = f"of {at_least(peak_a, Dimension.CURRENT)} over up to {most_ohm}"
    if run.peak is None:
        spare_v = _spare_v(screen, c)
        took, spare = beside(dip_v, spare_v, Dimension.VOLTAGE)
        text = (
            f"a peak {over} (nearly empty, at {screen.demand.project.need.temperature_c:g} C) takes {took}, and "
            f"from full to the cut-off there are {spare}"
        )
        return Why(c.code, "voltage-drop", False, text, dip_v, spare_v, "V", dip_v - spare_v)
    return _long_enough(
        screen,
        c,
        "voltage-drop",
        f"peaks {over} pull it down by {at_least(dip_v, Dimension.VOLTAGE)}: runs",
        run.peak,
    )


def _long_enough(screen: Screen, c: Candidate, test: str, words: str, runtime: Runtime) -> Why:
    need_h = screen.demand.project.need.runtime_h
    fits = runtime.low_h >= need_h
    ran, needed = hours(runtime.low_h, need_h)
    text = f"{words} {ran} at the low end, {needed} needed"
    short = None if fits else need_h - runtime.low_h
    return Why(c.code, test, fits, text, finite(runtime.low_h), need_h, "h", short)
