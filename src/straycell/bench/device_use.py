"""One cell as a device or a charger would use it: its figures, what it may give, how long it runs, what a load draws."""

from dataclasses import dataclass, replace
from datetime import datetime

from straycell.acceptance import Case, Evidence, Outcome, RuleSet, Verdict, chemistry_keys, usable
from straycell.acceptance.checks.retention import Worth, runs
from straycell.bench import verdict_words
from straycell.bench.candidates import candidates
from straycell.bench.context import Reader
from straycell.cells import CellFacts
from straycell.errors import BadData
from straycell.matching import Candidate, UseLimits
from straycell.matching.screen.demand import drawn_between
from straycell.matching.screen.running import peak_growth
from straycell.physics.loads import Load
from straycell.physics.run_time.doubts import known_resistance
from straycell.physics.run_time.for_runtime import Run
from straycell.physics.run_time.losses import with_losses
from straycell.physics.run_time.runtime import RunCell, RunDevice, Runtime, estimate
from straycell.quantities import Dimension, Measured, show
from straycell.safe_side import at_least, beside
from straycell.typed import day


@dataclass(frozen=True, slots=True)
class OneCell:
    """What is known of a cell now. `notes` say how far its capacity can be trusted."""

    code: str
    evidence: Evidence
    verdict: Verdict
    candidate: Candidate
    rules: RuleSet
    notes: tuple[str, ...] = ()

    @property
    def facts(self) -> CellFacts:
        return self.candidate.facts

    def figure(self, limit_id: str) -> float:
        """A limit's figure for this chemistry and form."""
        return self.rules.figure(limit_id, *chemistry_keys(self.facts.chemistry, self.facts.form))

    @property
    def full_v(self) -> float:
        """Where a charge of this chemistry ends here, in V."""
        return self.figure("full-voltage")

    @property
    def capacity(self) -> Measured:
        """Ah. Raises BadData when it was never measured."""
        if self.candidate.capacity is None:
            raise BadData(
                f"cell {self.code} has no capacity: nothing can be counted without one",
                f"measure it from full: straycell reading add {self.code} --capacity ...",
            )
        return self.candidate.capacity

    @property
    def allowed_out_a(self) -> float:
        """The largest steady current in A that the verdict allows."""
        return self.candidate.allowed_out_a(UseLimits.from_rules(self.rules))

    @property
    def peak_factor(self) -> float:
        """How many times the steady current a short peak may be."""
        return UseLimits.from_rules(self.rules).peak_factor


def look_up(reader: Reader, text: str, rules: RuleSet, now: datetime) -> OneCell:
    """A cell by its code as typed. Raises BadData when there is none."""
    code = reader.find_code(text)
    evidence, verdict = reader.evidence(code), reader.verdict(code, rules, now)
    candidate = candidates(reader, rules, now, [code])[0]
    if candidate.capacity is not None:
        least = ("its capacity is a lower bound: it may run longer",) if candidate.at_least else ()
        return OneCell(code, evidence, verdict, candidate, rules, least)
    candidate, notes = _with_any_capacity(Case(evidence, evidence.facts, rules, now), candidate)
    return OneCell(code, evidence, verdict, candidate, rules, notes)


def _with_any_capacity(case: Case, candidate: Candidate) -> tuple[Candidate, tuple[str, ...]]:
    """The latest capacity that no verdict counts (too old, taken otherwise), with a word on it."""
    found = runs(case)
    if not found:
        return candidate, ()
    run = found[-1]
    why = run.why if run.worth is not Worth.COUNTS else "too old"
    note = f"the capacity of {day(run.reading.at)} counts for no verdict ({why}): the low end promises less than it says"
    known = replace(
        candidate,
        capacity=run.value,
        capacity_current_a=run.reading.discharge_current_a,
        capacity_cutoff_v=run.reading.cutoff_v,
    )
    return known, (note,)


def run_cell(one: OneCell) -> RunCell:
    """It as a run time takes it. Raises BadData when its capacity was never measured."""
    return replace(one.candidate.run_cell(one.figure("capacity-cutoff-low")), capacity=one.capacity)


def run_of(one: OneCell, cell: RunCell, device: RunDevice) -> Runtime:
    """The run time of this cell, with what it loses beside the load."""
    return with_losses(estimate(cell, device), one.capacity.value, one.candidate.loss_per_month)


def forbidden(one: OneCell, drawn_a: float | None = None, peak_a: float | None = None) -> list[str]:
    """What its verdict says against this use, weightiest first; empty when nothing does."""
    if not usable(one.verdict.outcome):
        return [verdict_words.headline(one.verdict), *verdict_words.why(one.verdict, at_most=2)]
    asked = (("it draws", drawn_a, 1.0, ""), ("its peaks draw", peak_a, one.peak_factor, " for a moment"))
    more = one.candidate.more_from_maker("discharge")
    for what, flows_a, factor, how_long in asked:
        allowed_a = factor * one.allowed_out_a
        if flows_a is not None and flows_a > allowed_a:
            flows, may = beside(flows_a, allowed_a, Dimension.CURRENT)
            text = f"{what} up to {flows}; this {one.verdict.outcome.word} cell may give {may}{how_long}"
            return [text, *([more] if more else [])]
    return []


def runtime_json(runtime: Runtime) -> dict[str, float]:
    """Hours by the keys of the interface."""
    return {"expected": runtime.expected_h, "low": runtime.low_h, "high": runtime.high_h}


# Room for rounding: the search may land on the limit itself.
_DUST = 1e-9


def most_a(one: OneCell) -> float:
    """The largest steady current in A to look at: what the verdict allows, or would allow a light cell."""
    if usable(one.verdict.outcome):
        return one.allowed_out_a
    # A held cell may be looked at with what a light one could give, so that a person sees if it is worth the
    # test.
    light = one.rules.figure("rate-out", Outcome.LIGHT.word)
    return light * max(one.capacity.low, 1e-3 * one.capacity.value)


def gentle_run(one: OneCell, until_v: float, temperature_c: float) -> Run:
    """A run time to search with: a load above what the cell may give does not last at all."""
    limit_a, cell = most_a(one), run_cell(one)

    def run(load: Load) -> Runtime:
        # Zero hours instead of an error keep the bisection monotonic: more current never lasts longer.
        found = run_of(one, cell, RunDevice(load, until_v, temperature_c=temperature_c))
        if load.current_at(one.full_v) <= limit_a * (1 + _DUST):
            return found
        note = f"it draws more than the {show(limit_a, Dimension.CURRENT)} this cell may give"
        return replace(found, low_h=0.0, notes=(*found.notes, note))

    return run


@dataclass(frozen=True, slots=True)
class Draw:
    """Largest currents in A: over a minute, and over the two seconds of a peak; `dip_v` (V) is lost at the peak.

    The run goes on until the voltage has fallen to `dip_v` above the device's and the protection's cut-off.
    """

    steady_a: float
    peak_a: float
    dip_v: float = 0.0

    def notes(self, until_v: float) -> list[str]:
        """What a peak does, in words."""
        if self.dip_v <= 0:
            return []
        # The person sets a cut-off; the resting voltage at which it is reached is what a meter shows.
        steady_v = show(until_v + self.dip_v, Dimension.VOLTAGE)
        return [
            f"a peak of {at_least(self.peak_a, Dimension.CURRENT)} pulls the voltage up to "
            f"{at_least(self.dip_v, Dimension.VOLTAGE)} further down: the device stops when it is at {steady_v} "
            "between the peaks"
        ]


def draw_of(
    one: OneCell, load: Load, stop_v: float, temperature_c: float, device_peak_a: float | None
) -> Draw:
    """What this load draws between full and `stop_v`; `device_peak_a` (A) are peaks beyond the load itself."""
    limits = UseLimits.from_rules(one.rules)
    steady_a, peak_a, base_a = drawn_between(load, limits, stop_v, one.full_v)
    # A peak inside the load is in its current already; counted again it would cost the cell twice.
    if device_peak_a is None or device_peak_a <= base_a:
        return Draw(steady_a, peak_a)
    dip_v = (device_peak_a - base_a) * _peak_ohm(one, limits, temperature_c)
    return Draw(steady_a, device_peak_a, dip_v)


def _peak_ohm(one: OneCell, limits: UseLimits, temperature_c: float) -> float:
    """The resistance in ohm to reckon with at a peak: R + U at its length, cold and nearly empty, as in a match."""
    resistance, _ = known_resistance(one.capacity, one.candidate.resistance)
    grown = peak_growth(one.facts.chemistry, one.candidate.pulse_s, limits.peak_s, temperature_c)
    # The high end: a promise of hours must hold for the worst resistance that fits the readings.
    return resistance.high * grown
