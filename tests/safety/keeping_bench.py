"""A household of a few cells for the tests of `due`: the good cell of the acceptance tests, kept on a shelf."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from tests.acceptance.bench import Bench, day, good

from straycell.acceptance import Evidence, assess, load_rules
from straycell.acceptance.case import Case
from straycell.builds import Build
from straycell.cells import Cell, Stage
from straycell.safety.due.gather import due_now, survey
from straycell.safety.due.survey import DueItem, Household, Kept, MeterCheck

RULES = load_rules()
CODES = ("A00001O", "A00002M", "A00003K", "A00004I", "A00005G")


def kept(
    bench: Bench | Evidence,
    at: float,
    *,
    code: str = CODES[0],
    stage: Stage = Stage.SHELVED,
    box: str | None = "tin",
    condemned: float | None = None,
    build: str | None = None,
    teardown: str | None = None,
    added: float = 0.0,
) -> Kept:
    """One cell as it stands so many days after the tear-down."""
    evidence = replace(bench.evidence(), findings=bench.judged(at)[1]) if isinstance(bench, Bench) else bench
    evidence = replace(evidence, code=code)
    cell = Cell(code, evidence.facts, stage, teardown, None, box, day(added))
    now = day(at)
    return Kept(
        cell,
        Case(evidence, evidence.facts, RULES, now),
        assess(evidence, RULES, now),
        None if condemned is None else day(condemned),
        build,
    )


def household(
    *cells: Kept,
    at: float,
    boxes: dict[str, str] | None = None,
    builds: tuple[Build, ...] = (),
    meters: tuple[MeterCheck, ...] = (),
) -> Household:
    kinds = {"tin": "metal box", "shelf": "shelf", "drum": "hand-over drum"} if boxes is None else boxes
    return Household(cells, kinds, builds, meters, day(at))


def due(bench: Bench | Evidence, at: float, **more: object) -> dict[str, DueItem]:
    """What is due for one cell by kind, as of a day."""
    found = due_now(survey(household(kept(bench, at, **more), at=at)), day(at))  # type: ignore[arg-type]
    return {item.kind.id: item for item in found}


def when(bench: Bench | Evidence, kind: str, at: float, **more: object) -> datetime | None:
    """When a kind falls due, as things stand on a day."""
    items = survey(household(kept(bench, at, **more), at=at))  # type: ignore[arg-type]
    return next((item.at for item in items if item.kind.id == kind), None)


def stored(at: float = 20.0, volts: float = 3.85, *, days: float = 1.5) -> Bench:
    """The good cell after its check, let down to storage voltage, with its first rest voltage there."""
    return good().charge(at, until=3.85).rest(volts, at + days)
