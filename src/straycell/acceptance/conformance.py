"""Does a value clear a limit? Guard band w = U (ILAC-G8:09/2019, JCGM 106:2012)."""

import math
from enum import Enum

from straycell.errors import BadData
from straycell.quantities import Measured

# 4.20 + 0.02 is not 4.22 in binary, nor is 0.5 A over 2.5 Ah 0.2C; a billionth is far below any meter's step.
DUST = 1e-9


class Side(Enum):
    """Where a value with its uncertainty lies against a limit."""

    CLEAR = "clear"
    CLOSE = "close"
    BEYOND = "beyond"


def against_min(value: Measured, limit: float) -> Side:
    """CLEAR when the value is above the limit by U, BEYOND when below it by U, else CLOSE."""
    # ILAC-G8:09/2019: with a guard band w = U the risk of a wrong pass stays below 2.5 %.
    if value.low >= limit:
        return Side.CLEAR
    return Side.BEYOND if value.high < limit else Side.CLOSE


def against_max(value: Measured, limit: float) -> Side:
    """CLEAR when the value is below the limit by U, BEYOND when above it by U, else CLOSE."""
    # The guard band lies inside the limit: a wrongly kept cell burns, a wrongly discarded one costs a walk.
    if value.high <= limit:
        return Side.CLEAR
    return Side.BEYOND if value.low > limit else Side.CLOSE


def conformance_probability(
    value: float, uncertainty: float, lower: float | None = None, upper: float | None = None
) -> float:
    """Probability that the true value lies within the limits (JCGM 106:2012, 7; normal error).

    `value`, its standard `uncertainty` and the limits share one unit. Raises BadData when the uncertainty is
    negative or not a number, or the limits are crossed.
    """
    if not (math.isfinite(value) and math.isfinite(uncertainty)) or uncertainty < 0:
        raise BadData(
            f"uncertainty {uncertainty} of value {value} is not usable", "give a finite u of zero or more"
        )
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    if math.isnan(low) or math.isnan(high) or low > high:
        raise BadData(f"limits {lower} and {upper} are crossed", "give the lower one first")
    # The normal distribution has no limit value for u = 0; an exact value is simply inside or outside.
    if uncertainty == 0:
        return 1.0 if low <= value <= high else 0.0
    return _normal_cdf((high - value) / uncertainty) - _normal_cdf((low - value) / uncertainty)


def _normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
