"""How long a finished device really ran on one charge, held against what was promised, and where to look first."""

from dataclasses import dataclass

from straycell.bench.context import Bench
from straycell.bench.project_match import held_match, require_build, understood
from straycell.errors import BadData
from straycell.matching import Match
from straycell.quantities import Dimension, show


@dataclass(frozen=True, slots=True)
class Ran:
    """A run as recorded. `held` is what its cells are good for as known now; `look_at` what may explain less."""

    project: str
    codes: tuple[str, ...]
    ran_h: float
    held: Match
    look_at: tuple[str, ...]

    @property
    def short(self) -> bool | None:
        """Whether it ran less than the low end; None where no run time could be counted."""
        return None if self.held.runtime is None else self.ran_h < self.held.runtime.low_h


def record_run(bench: Bench, name: str, ran_s: float, *, note: str = "") -> Ran:
    """Record how long a finished device ran, from full to where it stops. It decides nothing. Raises BadData."""
    with bench.writing() as writer:
        build, project = require_build(writer, name), understood(writer.project(name))
        if build.finished_at is None:
            raise BadData(
                f"the build of '{name}' is not finished", f"then it can run: straycell build finish '{name}'"
            )
        since_s = (bench.now - build.finished_at).total_seconds()
        if ran_s > since_s:
            been = show(since_s, Dimension.DURATION)
            raise BadData(f"it was finished {been} ago, and cannot have run longer", "check the figure")
        held = held_match(bench, writer, project, build)
        ran = Ran(name, build.codes, ran_s / 3600.0, held, _look_at(name, project.need.temperature_c))
        writer.record_run(build, ran.ran_h, held.runtime.low_h if held.runtime else None, note)
    return ran


def _look_at(name: str, temperature_c: float) -> tuple[str, ...]:
    # What costs nothing to ask comes first, what opens the device last (common practice).
    return (
        "was it full when it began? measure where its charger ends: straycell charger add NAME --measured-float Q",
        f"how cold was it? the promise is for {show(temperature_c, Dimension.TEMPERATURE)}",
        "what does it draw, asleep and at its peak? straycell load from-drop; then straycell runtime CODE with that",
        "did it stop at its own cut-off, or did its protection or a bad joint stop it?",
        f"then its cells: straycell build dismantle '{name}', and their capacity and self-discharge again; a cell that "
        "leaks inside empties itself, so do not charge it unwatched before that is known",
    )
