"""What change of a project would serve it with the cells at hand; each is run through the match before it is said."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace

from straycell.acceptance.charger.judge import gentle_resistor, resistor_words
from straycell.cells import Chemistry
from straycell.matching.screen import UseLimits, Why, charge_current_a
from straycell.matching.words import run_hours
from straycell.physics.loads import Lamps
from straycell.physics.resistors import rounded_up
from straycell.projects import Project
from straycell.quantities import amps, ohms, volts
from straycell.safe_side import two_figures

Retry = Callable[[Project], float | None]
"""The run time in h that the match promises a changed project; None where that is not served either."""
RUN_TESTS = frozenset(
    {"runtime", "voltage-drop", "current", "peak-current", "share", "peak-share", "too-few"}
)
CHARGE_TESTS = frozenset({"charger-current", "charge-share"})
STEPS = (1.0, 1.2, 1.5, 2.0, 3.0)
"""How many times the least resistor is tried: beyond that lamps are too dark to be of use."""


@dataclass(frozen=True, slots=True)
class Refused:
    """What is known of a refusal: the tests that failed, the longest run found in h, the most charge current in A, the
    voltages in V of the whole string when full and when its cells may be emptied no further."""

    tests: Collection[str]
    longest_h: float
    most_charge_a: float
    full_v: float
    lowest_v: float


def refused_by(
    project: Project,
    whys: Collection[Why],
    limits: UseLimits,
    chemistries: Collection[Chemistry],
    shape: tuple[int, int],
    longest_h: float = 0.0,
) -> Refused:
    """What the failed tests of a shape (series, parallel) say of the change that would serve it."""
    kinds = [c for c in chemistries if c in limits.cell_cutoff_v]
    given_a = charge_current_a(project.charge) if project.charge is not None else 0.0
    # Limit over share: what the charger may give in all, for the cell that bears most of those that failed.
    bears = [
        w.limit * given_a / w.observed
        for w in whys
        if w.test in CHARGE_TESTS
        and isinstance(w.limit, float)
        and isinstance(w.observed, float)
        and w.observed > 0
    ]
    runs = [w.observed for w in whys if w.test in ("runtime", "voltage-drop") and w.unit == "h"]
    return Refused(
        {w.test for w in whys} | ({"runtime"} if longest_h > 0 else set()),
        max([longest_h, *(h for h in runs if isinstance(h, float))]),
        max(bears, default=0.0),
        max((limits.full_v[c] for c in kinds), default=0.0) * shape[0],
        max((limits.cell_cutoff_v[c] for c in kinds), default=0.0) * shape[0],
    )


def changes(project: Project, refused: Refused, retry: Retry) -> tuple[str, ...]:
    """Every single change that serves it: a shorter need, a lower cut-off, another resistor, a gentler charger."""
    found: list[str] = []
    if RUN_TESTS & set(refused.tests):
        for tries in (_shorter(project, refused), _lower_stop(project, refused), _resistor(project, refused)):
            found += _first_served(tries, retry)
    if CHARGE_TESTS & set(refused.tests):
        found += _first_served(_charger(project, refused), retry)
    return tuple(found)


def _first_served(tries: Iterator[tuple[Project, str]], retry: Retry) -> list[str]:
    for changed, words in tries:
        low_h = retry(changed)
        if low_h is not None:
            return [words.format(hours=run_hours(low_h))]
    return []


def _shorter(project: Project, refused: Refused) -> Iterator[tuple[Project, str]]:
    for share in (0.995, 0.9, 0.75):
        runtime_h = float(f"{share * refused.longest_h:.3g}")
        # Less than a twentieth of what is needed is another device.
        if 0.05 * project.need.runtime_h < runtime_h < project.need.runtime_h:
            need = replace(project.need, runtime_h=runtime_h)
            yield (
                replace(project, need=need),
                f"a need of {runtime_h:g} h would be served by the cells at hand",
            )


def _lower_stop(project: Project, refused: Refused) -> Iterator[tuple[Project, str]]:
    """A cut-off at which they do, where the device's is above what cells may be emptied to."""
    # Half a step below the device's own first: the less of a change, the likelier it can be made.
    for share in (0.5, 1.0):
        stop_v = round(project.need.cutoff_v - share * (project.need.cutoff_v - refused.lowest_v), 2)
        if refused.lowest_v <= stop_v < project.need.cutoff_v:
            need = replace(project.need, cutoff_v=stop_v)
            yield (
                replace(project, need=need),
                f"a cut-off of {volts(stop_v)} would give {{hours}} with the cells at hand",
            )


def _resistor(project: Project, refused: Refused) -> Iterator[tuple[Project, str]]:
    """A larger series resistor of the E24 series: lamps within what they were measured at, for longer."""
    lamps = project.load
    if not isinstance(lamps, Lamps):
        return
    least_ohm = max(lamps.gentle_ohm(refused.full_v), 1.0001 * lamps.across_ohm)
    for ohm in dict.fromkeys(rounded_up(step * least_ohm) for step in STEPS):
        words = f"a series resistor of {ohms(ohm)} instead of {ohms(lamps.across_ohm)} would give {{hours}}"
        yield replace(project, load=lamps.with_resistor(ohm)), words


def _charger(project: Project, refused: Refused) -> Iterator[tuple[Project, str]]:
    """The charger set as the most able cells need it."""
    charge, most_a = project.charge, refused.most_charge_a
    if charge is None or most_a <= 0:
        return
    if charge.programming_resistor_ohm is None:
        current_a = two_figures(most_a, up=False)
        words = f"a charger set to {amps(current_a)} would serve it with the cells at hand"
        yield replace(project, charge=replace(charge, current_a=current_a)), words
        return
    ohm = gentle_resistor(most_a)
    if ohm is not None:
        changed = replace(charge, programming_resistor_ohm=ohm)
        words = f"a programming resistor of {resistor_words(ohm)} would serve it with the cells at hand"
        yield replace(project, charge=changed), words
