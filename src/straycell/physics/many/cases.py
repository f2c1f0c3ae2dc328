"""The cases of doubts.py for many cells: arrays, cell beside cell (numpy)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from straycell.physics.many.draw import Floats
from straycell.physics.polarisation import Spread, assumed_resistance
from straycell.physics.run_time.doubts import Assumed, Known, Sets, known_resistance, set_out, stiffened
from straycell.physics.temperature import capacity_ratio, lag_ratio, own_heat_k, resistance_ratio
from straycell.quantities import Measured


def known_of(capacities: Sequence[Measured], resistances: Sequence[Measured | None]) -> Known[Floats]:
    """What was measured of each cell, in Ah and ohm."""
    figures = [known_resistance(*pair)[:2] for pair in zip(capacities, resistances, strict=True)]
    ohm, u_ohm = (np.array(column) for column in zip(*figures, strict=True))
    sound = np.minimum(ohm, np.array([assumed_resistance(c.value)[0] for c in capacities]))
    ah, u_ah = (np.array([getattr(c, part) for c in capacities]) for part in ("value", "u"))
    return Known(ah, u_ah, ohm, u_ohm, sound)


def _stiff(
    known: Known[Floats], sets: Sets, temperatures_c: Sequence[float]
) -> tuple[Floats, Floats, Floats]:
    """The ratio of the whole resistance of each cell at its own temperature: expected, low, high."""
    cold = _spread(resistance_ratio, temperatures_c)
    return stiffened(cold, known.sound_ohm, known.pulse_ohm, known.steady_ohm(sets.steady))


def cases_of(known: Known[Floats], sets: Sets, temperature_c: float) -> dict[str, Assumed[Floats]]:
    """The cases of doubts.py; one that equals the expected case is left out."""
    cases = set_out(known, sets, _stiff(known, sets, [temperature_c]), np.maximum)
    expected = cases.pop("expected")
    return {"expected": expected} | {name: c for name, c in cases.items() if not _alike(c, expected)}


def warmest_of(
    known: Known[Floats],
    sets: Sets,
    case: Assumed[Floats],
    temperature_c: float,
    runs: tuple[Floats, Floats],
    pack: int,
) -> Assumed[Floats]:
    """doubts.warmest, cell beside cell; `runs` hold mean current in A and hours, `pack` is the number of its cells."""
    loss_w = runs[0] ** 2 * case.steady_ohm * case.resistance_ratio
    each = zip(loss_w.tolist(), runs[1].tolist(), known.capacity_ah.tolist(), strict=True)
    hot_c = [temperature_c + own_heat_k(*figures, pack) for figures in each]
    return replace(
        case,
        capacity_ratio=_spread(capacity_ratio, hot_c).high,
        resistance_ratio=_stiff(known, sets, hot_c)[1],
        lag_ratio=_spread(lag_ratio, hot_c).low,
    )


def _spread(ratio: Callable[[float], Spread], temperatures_c: Sequence[float]) -> Any:
    """A Spread of arrays: one figure a temperature."""
    found = [ratio(temperature_c) for temperature_c in temperatures_c]
    ends: list[Any] = [np.array([getattr(each, end.name) for each in found]) for end in fields(Spread)]
    return Spread(*ends)


def _alike(one: Assumed[Floats], other: Assumed[Floats]) -> bool:
    return all(np.array_equal(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
