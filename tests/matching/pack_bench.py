"""Shelves and pack projects for the tests of packs, as short as a bench note."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

from tests.matching.single_bench import LIMITS, NOW, cell, project

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry, next_codes
from straycell.matching import Candidate, Match, UseLimits, serve
from straycell.matching.screen.candidates import RestVoltage
from straycell.projects import Project
from straycell.quantities import Measured

STRING = "fitted = true\nper_cell = true\nbalancing = true"


def marked(
    number: int, capacity_ah: float = 2.5, marking: str = "INR18650 2500mAh", **kwargs: object
) -> Candidate:
    """A cell of the kind most packs are made of, unless said otherwise."""
    made = cell(number, capacity_ah, **kwargs)  # type: ignore[arg-type]
    return replace(made, facts=replace(made.facts, marking=marking))


def resting(c: Candidate, volts: float, *, meter: str = "bench", days_ago: float = 1.0) -> Candidate:
    """The cell with a rest voltage by one meter (0.1 % + 2 mV, 1 mV steps)."""
    u = (0.001 * volts + 0.002) / 3**0.5
    at = NOW - timedelta(days=days_ago)
    rest = RestVoltage(Measured(volts, u), at, meter, 0.001 / 12**0.5, 0.001, 21.0)
    return replace(c, rest=rest)


def shelf(count: int, seed: int = 1, first: int = 0, **kwargs: object) -> list[Candidate]:
    """Cells of one marking, as alike as used ones are."""
    chance = random.Random(seed)
    return [
        marked(
            first + n,
            round(chance.gauss(2.4, 0.12), 3),
            u_ah=0.01,
            resistance_ohm=round(chance.uniform(0.040, 0.055), 4),
            u_ohm=0.0005,
            **kwargs,  # type: ignore[arg-type]
        )
        for n in range(count)
    ]


def large_stock(count: int, seed: int = 1) -> list[Candidate]:
    """As many uneven cells of one marking as a lot that was bought and imported."""
    chance, base = random.Random(seed), marked(0)
    return [
        replace(
            base,
            code=code,
            capacity=Measured(round(chance.gauss(2.2, 0.2), 3), 0.01),
            resistance=Measured(round(chance.uniform(0.035, 0.065), 4), 0.0005),
        )
        for code in next_codes("B", 0, count)
    ]


def wanted(
    series: object = 2,
    parallel: object = 2,
    *,
    load: str = 'power = "1.6W"',
    runtime: str = "8h",
    cutoff: str = "6.4V",
    need: str = "",
    charge: str = "",
    protection: str = STRING,
) -> Project:
    """A project for a pack; `auto` in quotes."""
    quoted = ['"auto"' if count == "auto" else count for count in (series, parallel)]
    pack = f"series = {quoted[0]}\nparallel = {quoted[1]}"
    return project(
        load, runtime=runtime, cutoff=cutoff, need=need, pack=pack, charge=charge, protection=protection
    )


def packed(asked: Project, *cells: Candidate, limits: UseLimits = LIMITS) -> Match:
    """The match at NOW through the door for any project."""
    return serve(asked, cells, limits, now=NOW)


def reasons(answer: Match, test: str) -> list[str]:
    """The words of one test, of all groups."""
    return [why.text for why in answer.why if why.test == test]


def why_not(answer: Match, c: Candidate) -> tuple[str, str]:
    """(test, text) that kept one cell out."""
    return next((why.test, why.text) for why in answer.not_chosen if why.code == c.code)


__all__ = ["Chemistry", "Outcome"]
