"""A run time that counts as nothing where the load draws more than the cell may give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from straycell.acceptance.permission import usable
from straycell.acceptance.reasons import Outcome
from straycell.cli.show.cell_sheet import OneCell, run_of
from straycell.physics.loads import Load
from straycell.physics.run_time.for_runtime import Run
from straycell.physics.run_time.runtime import Runtime
from straycell.quantities import Dimension, show

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


def gentle_run(one: OneCell, arguments: Mapping[str, Any]) -> Run:
    """A run time to search with: a load above what the cell may give does not last at all."""
    limit_a = most_a(one)

    def run(load: Load) -> Runtime:
        # Zero hours instead of an error keep the bisection monotonic: more current never lasts longer.
        found = run_of(one, load, arguments)
        if load.current_at(one.full_v) <= limit_a * (1 + _DUST):
            return found
        note = f"it draws more than the {show(limit_a, Dimension.CURRENT)} this cell may give"
        return replace(found, low_h=0.0, notes=(*found.notes, note))

    return run
