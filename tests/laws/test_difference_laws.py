"""Two readings by one meter share its gain and offset: their difference, against the `uncertainties` library."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import NMC, Bench, day, good, reason
from uncertainties import ufloat

from straycell.acceptance import shipped_rules
from straycell.acceptance.case import Case
from straycell.acceptance.checks.pairs import Pair, errors_of, make_pair
from straycell.meters import Accuracy, Meter, Resolution

gains = st.floats(0, 0.01)
offsets = st.floats(0.0001, 0.02)
steps = st.floats(0.0001, 0.01)
firsts = st.floats(4.13, 4.2)
drops = st.floats(0, 0.05)


def meter(name: str, gain: float, offset: float, step: float) -> Meter:
    return Meter(name, voltage=Accuracy(gain, offset), voltage_resolution=Resolution(((math.inf, step),)))


def pair_of(first: float, second: float, one: Meter, other: Meter) -> tuple[Case, Pair]:
    """Two rest voltages at the same temperature, a fortnight apart."""
    bench = Bench(NMC).charge(2.0).rest(first, 3.2, meter=one).rest(second, 17.2, meter=other)
    case = Case(bench.evidence(), NMC, shipped_rules(), day(20))
    return case, make_pair(case, case.charges[0], *case.rest_voltages)


@given(gains, offsets, steps, firsts, drops)
def test_the_difference_by_one_meter_is_free_of_its_offset(
    gain: float, offset: float, step: float, first: float, drop: float
) -> None:
    """One gain and one offset for both, a step for each: the library keeps track of what is shared."""
    same = meter("one", gain, offset, step)
    g, o = ufloat(1, gain / math.sqrt(3) or 1e-18), ufloat(0, offset / math.sqrt(3))
    shown = [v * g + o + ufloat(0, step / math.sqrt(12)) for v in (first, first - drop)]
    _, difference = errors_of(*pair_of(first, first - drop, same, same))
    assert difference == pytest.approx((shown[0] - shown[1]).std_dev, rel=1e-6)


@given(gains, offsets, steps, firsts, drops)
def test_the_difference_by_two_meters_has_botherrors_of_whole(
    gain: float, offset: float, step: float, first: float, drop: float
) -> None:
    """Nothing is shared: the root of the sum of both squared, the limits of each taken as one rectangle."""
    one, other = meter("one", gain, offset, step), meter("other", gain, offset, step)
    values = (first, first - drop)
    shown = [
        v + ufloat(0, (gain * v + offset) / math.sqrt(3)) + ufloat(0, step / math.sqrt(12)) for v in values
    ]
    _, difference = errors_of(*pair_of(*values, one, other))
    assert difference == pytest.approx((shown[0] - shown[1]).std_dev, rel=1e-6)


@given(gains, offsets, firsts, drops)
def test_a_difference_by_one_meter_is_known_better_than_by_two(
    gain: float, offset: float, first: float, drop: float
) -> None:
    """The reason to keep to one meter."""
    one, other = meter("one", gain, offset, 1e-4), meter("other", gain, offset, 1e-4)
    _, same = errors_of(*pair_of(first, first - drop, one, one))
    _, mixed = errors_of(*pair_of(first, first - drop, one, other))
    assert same < mixed


def test_the_verdict_shows_the_better_difference() -> None:
    """Self-discharge by one meter carries a smaller U than by two of the same kind."""

    def big_u(second_meter: Meter) -> float:
        first_meter = meter("one", 0.0005, 0.002, 0.001)
        bench = good(first=None, second=None)
        bench.rest(4.180, 3.2, meter=first_meter).rest(4.172, 18.2, meter=second_meter)
        found = reason(bench.verdict(), "self-discharge").expanded_uncertainty
        assert found is not None
        return found

    assert big_u(meter("one", 0.0005, 0.002, 0.001)) < 0.6 * big_u(meter("two", 0.0005, 0.002, 0.001))
