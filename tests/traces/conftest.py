"""The limits of error the test curves are read with."""

from __future__ import annotations

import pytest
from tests.traces.helpers import Reduce

from straycell.meters import Accuracy, Meter, Resolution
from straycell.readings import CautiousDefaults
from straycell.traces import Conditions, Trace, TraceResult, reduce_trace


@pytest.fixture(scope="session")
def defaults() -> CautiousDefaults:
    """The cautious limits of the shipped rules' draft."""
    return CautiousDefaults(
        voltage=Accuracy(0.005, 0.010),
        capacity=Accuracy(0.05),
        resistance=Accuracy(0.10, 0.020),
        resistance_unknown_method=Accuracy(0.10, 0.030),
        temperature=Accuracy(0.0, 2.0),
    )


@pytest.fixture(scope="session")
def meter() -> Meter:
    """A good load: 0.1 % + 2 mV, 1 mV steps, 0.5 % + 1 mAh."""
    steps = Resolution(((float("inf"), 0.001),))
    return Meter(
        "load", voltage=Accuracy(0.001, 0.002), voltage_resolution=steps, capacity=Accuracy(0.005, 0.001)
    )


@pytest.fixture(scope="session")
def reduce(defaults: CautiousDefaults, meter: Meter) -> Reduce:
    """reduce_trace with a 4.2 V cell's limits unless told otherwise."""

    def _reduce(trace: Trace, **changes: object) -> TraceResult:
        said = (changes.pop("meter", meter), changes.pop("defaults", defaults))
        given: dict[str, object] = {"cutoff_v": 3.0, "full_voltage_v": 4.2, "charged_just_before": False}
        return reduce_trace(trace, Conditions(**{**given, **changes}), *said)  # type: ignore[arg-type]

    return _reduce
