"""What a reading was taken with, and the uncertainty that follows from it.

Accuracy limits are taken as rectangular, resolution steps too (JCGM 100:2008, 4.3.7 and F.2.2.1).
"""

import math
import re
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache
from typing import Any

from straycell.errors import BadData, UsageFault
from straycell.quantities import ANY_WINDOW, Dimension, parse_quantity, show
from straycell.shipped import shipped_table


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error: a share of the reading (gain) plus a fixed part (offset) in the base unit."""

    gain: float = 0.0
    offset: float = 0.0

    def limit(self, value: float) -> float:
        """Largest error of the instrument at this value, in the base unit."""
        return self.gain * abs(value) + self.offset

    def u(self, value: float) -> float:
        """Standard uncertainty from the limits, rectangular."""
        # A limit of error without a distribution is rectangular (JCGM 100:2008, 4.3.7).
        return self.limit(value) / math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Resolution:
    """Smallest step shown. `steps` are (below this value, step), the last with an infinite bound."""

    steps: tuple[tuple[float, float], ...] = ()

    def step(self, value: float) -> float:
        return next((step for bound, step in self.steps if abs(value) < bound), 0.0)

    def u(self, value: float) -> float:
        # A step is rectangular over its full width, hence root 12 and not root 3 (JCGM 100:2008, F.2.2.1).
        return self.step(value) / math.sqrt(12.0)


ACCURACIES = {
    "voltage": Dimension.VOLTAGE,
    "capacity": Dimension.CAPACITY,
    "resistance": Dimension.RESISTANCE,
    "temperature": Dimension.TEMPERATURE,
}
"""What a meter can have an accuracy for: the one list that options, columns, pages and JSON are made of."""


@dataclass(frozen=True, slots=True)
class Meter:
    """One instrument. An accuracy of None means: not known for this quantity, the cautious default holds."""

    name: str
    like: str = ""
    voltage: Accuracy | None = None
    voltage_resolution: Resolution = field(default_factory=Resolution)
    capacity: Accuracy | None = None
    resistance: Accuracy | None = None
    temperature: Accuracy | None = None
    compared_on: date | None = None

    def accuracy_words(self, quantity: str) -> str:
        """`0.5% + 2 mV`: its accuracy for one of `ACCURACIES`; empty when unknown."""
        return show_accuracy(getattr(self, quantity), ACCURACIES[quantity])


@dataclass(frozen=True, slots=True)
class MeterClass:
    """A shipped kind of instrument, with where its figures come from."""

    name: str
    text: str
    source: str
    meter: Meter


def parse_accuracy(text: str, dimension: Dimension) -> Accuracy:
    """`0.5%+2mV`, `5%` or `10mohm`: P% of the reading, a quantity, or both joined by +."""
    gain = offset = None
    for part in text.split("+"):
        if "%" in part:
            if gain is not None:
                raise BadData(f"accuracy '{text}' has two percentages", "write it like 0.5%+2mV")
            gain = parse_quantity(part, Dimension.FRACTION, window=ANY_WINDOW, name="accuracy")
        else:
            if offset is not None:
                raise BadData(f"accuracy '{text}' has two fixed parts", "write it like 0.5%+2mV")
            offset = parse_quantity(part, dimension, window=ANY_WINDOW, name="accuracy")
    # Zero would make the guard band vanish, and a value at the limit would pass.
    if not (gain or 0.0) + (offset or 0.0) > 0 or (offset or 0.0) < 0:
        raise BadData(
            f"accuracy '{text}' is not above zero", "no instrument is exact: write it like 0.5%+2mV"
        )
    return Accuracy(gain or 0.0, offset or 0.0)


_STEP = re.compile(r"^([^<]+)(?:<(.+))?$")


def parse_resolution(text: str, dimension: Dimension = Dimension.VOLTAGE) -> Resolution:
    """`1mV`, or by range: `1mV<4V,10mV` (1 mV below 4 V, 10 mV from there on)."""
    steps: list[tuple[float, float]] = []
    for part in text.split(","):
        match = _STEP.match(part.strip())
        if match is None:
            raise BadData(f"resolution '{text}' is not understood", "write it like 1mV or 1mV<4V,10mV")
        step = parse_quantity(match[1], dimension, window=ANY_WINDOW, name="resolution")
        bound = (
            parse_quantity(match[2], dimension, window=ANY_WINDOW, name="resolution")
            if match[2]
            else math.inf
        )
        if step <= 0 or bound <= (steps[-1][0] if steps else 0.0):
            raise BadData(
                f"resolution '{text}' needs steps above zero and rising ranges", "write it like 1mV<4V,10mV"
            )
        steps.append((bound, step))
    # A range that is not named has the last step: no step would mean an exact display.
    if steps[-1][0] != math.inf:
        steps.append((math.inf, steps[-1][1]))
    return Resolution(tuple(steps))


def show_accuracy(accuracy: Accuracy | None, dimension: Dimension) -> str:
    """`0.5% + 2 mV`; empty when unknown."""
    if accuracy is None:
        return ""
    parts = [show(accuracy.gain, Dimension.FRACTION)] if accuracy.gain else []
    parts += [show(accuracy.offset, dimension)] if accuracy.offset else []
    return " + ".join(parts)


BEST, WORST = "best", "worst"
"""The entries of meter_classes.toml that are not kinds of instruments but the bounds for all of them."""
_SHOWN = 40
_TYPICAL = {"voltage": 3.7, "capacity": 2.0, "resistance": 0.05, "temperature": 22.0}
"""By quantity: where a meter's limits of error are held against the bound."""


@lru_cache(maxsize=1)
def _entries() -> dict[str, MeterClass]:
    return {name: _meter_class(name, entry) for name, entry in shipped_table("meter_classes.toml").items()}


@lru_cache(maxsize=1)
def meter_classes() -> dict[str, MeterClass]:
    """The shipped kinds of instruments by name, from meter_classes.toml."""
    return {name: found for name, found in _entries().items() if name not in (BEST, WORST)}


def best_accuracy(quantity: str) -> Accuracy:
    """Of the best instruments there are; no error at all for what no meter is named for."""
    return getattr(_entries()[BEST].meter, quantity, None) or Accuracy()


def untrue(meter: Meter) -> str:
    """Why a meter's figures cannot be true; empty when they can: its guard bands would be next to nothing, or all."""
    best, worst = _entries()[BEST].meter, _entries()[WORST].meter
    for name, typical in _TYPICAL.items():
        stated: Accuracy | None = getattr(meter, name)
        bound: Accuracy | None = getattr(best, name)
        if stated is None or bound is None:
            continue
        # Compared at a typical value, since gain and offset trade against each other.
        if stated.limit(typical) < bound.limit(typical):
            least = best.accuracy_words(name)
            return f"its {name} accuracy of {meter.accuracy_words(name)} is below {least}, the best there is"
        # 5 V typed for 5 mV would condemn every cell: as found it may have been at any voltage.
        most: Accuracy = getattr(worst, name)
        if stated.limit(typical) > most.limit(typical):
            shown = meter.accuracy_words(name)[:_SHOWN]
            return f"its {name} accuracy of {shown} is above {worst.accuracy_words(name)}: nothing could be told by it"
    step = meter.voltage_resolution.step(_TYPICAL["voltage"])
    # Half a step is what rounding alone does: no instrument is truer than its own display.
    if meter.voltage is not None and meter.voltage.limit(_TYPICAL["voltage"]) < step / 2:
        shown = show(step, Dimension.VOLTAGE)
        return f"its voltage accuracy of {meter.accuracy_words('voltage')} is finer than half of the {shown} that it shows"
    return ""


def _meter_class(name: str, entry: dict[str, str]) -> MeterClass:
    accuracies: dict[str, Any] = {
        quantity: parse_accuracy(entry[f"{quantity}_accuracy"], dimension)
        for quantity, dimension in ACCURACIES.items()
        if f"{quantity}_accuracy" in entry
    }
    meter = Meter(
        name=name,
        like=name,
        voltage_resolution=parse_resolution(entry["voltage_resolution"])
        if "voltage_resolution" in entry
        else Resolution(),
        **accuracies,
    )
    return MeterClass(name, entry["text"], entry["source"], meter)


def meter_like(name: str, like: str) -> Meter:
    """A meter of its own name with a shipped class's figures."""
    classes = meter_classes()
    if like not in classes:
        raise UsageFault(f"meter class '{like}' is not known", f"choose one of: {', '.join(classes)}")
    return replace(classes[like].meter, name=name)
