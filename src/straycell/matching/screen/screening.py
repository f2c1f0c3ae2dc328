"""The tests a candidate must pass, one by one, each leaving its reason; the first failed one ends it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.cell_tests import CELL_TESTS, DEVICE_TESTS, Test
from straycell.matching.screen.demand import Screen
from straycell.matching.screen.running import Run, judge_drop, judge_run, lasts, runs
from straycell.physics.run_time.runtime import Runtime

_RUN_TESTS = 2


@dataclass(slots=True, eq=False)
class Screened:
    """One candidate and how far it came. Its reasons are put into words when they are asked for.

    `steps` counts the tests it went through, the failed one included; `run` is None where it came not so far.
    """

    screen: Screen
    candidate: Candidate
    run: Run | None
    steps: int
    fits: bool
    _last: Why | None = None

    @property
    def runtime(self) -> Runtime | None:
        """The run time as it is reported, once it was computed."""
        return self.run.promised if self.run is not None else None

    @property
    def reasons(self) -> tuple[Why, ...]:
        """The reason of every test it went through, in order."""
        return tuple(self._reason(step) for step in range(self.steps))

    @property
    def last(self) -> Why:
        """The failed test, or the last one."""
        if self._last is None:
            self._last = self._reason(self.steps - 1)
        return self._last

    def _reason(self, step: int) -> Why:
        if step < len(CELL_TESTS):
            return CELL_TESTS[step].judge(self.screen, self.candidate)
        step -= len(CELL_TESTS)
        if step < _RUN_TESTS:
            assert self.run is not None
            return (judge_run, judge_drop)[step](self.screen, self.candidate, self.run)
        return DEVICE_TESTS[step - _RUN_TESTS].judge(self.screen, self.candidate)


def screen_candidate(screen: Screen, candidate: Candidate) -> Screened:
    """Put one candidate through the tests, up to the first that it fails."""
    return screen_all(screen, [candidate])[0]


def screen_all(screen: Screen, candidates: Sequence[Candidate]) -> list[Screened]:
    """Each candidate through the tests, in order: the cell's own, the run time, those a change of charger would turn."""
    entered = [_failed(screen, c, CELL_TESTS) for c in candidates]
    ran = iter(runs(screen, [c for c, failed in zip(candidates, entered, strict=True) if failed is None]))
    return [
        _after_run(screen, c, next(ran)) if failed is None else Screened(screen, c, None, failed + 1, False)
        for c, failed in zip(candidates, entered, strict=True)
    ]


def _after_run(screen: Screen, c: Candidate, run: Run) -> Screened:
    before = len(CELL_TESTS)
    if not lasts(screen, run):
        steady = run.steady.low_h < screen.demand.project.need.runtime_h
        return Screened(screen, c, run, before + (1 if steady else _RUN_TESTS), False)
    failed = _failed(screen, c, DEVICE_TESTS)
    steps = len(DEVICE_TESTS) if failed is None else failed + 1
    return Screened(screen, c, run, before + _RUN_TESTS + steps, failed is None)


def _failed(screen: Screen, c: Candidate, tests: Sequence[Test]) -> int | None:
    """The place of the first test it fails; None when it passes all."""
    return next((k for k, test in enumerate(tests) if not test.passes(screen, c)), None)


def usable(screen: Screen, candidates: Sequence[Candidate]) -> Iterator[Candidate]:
    """Those that pass every test but the run time, which in a pack is a matter of the group."""
    for c in candidates:
        if _failed(screen, c, CELL_TESTS) is None and _failed(screen, c, DEVICE_TESTS) is None:
            yield c
