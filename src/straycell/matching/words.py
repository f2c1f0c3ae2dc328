"""Numbers as the explanations print them."""

import math

from straycell.quantities import plain


def energy(energy_wh: float) -> str:
    """Three figures: more than that nobody knows of a pack's energy."""
    return f"{plain(energy_wh, 3)} Wh"


def hours(value_h: float, limit_h: float) -> tuple[str, str]:
    """Two times in h, with as many places as it takes to tell them apart."""
    if not math.isfinite(value_h):
        return "without end", f"{limit_h:g} h"
    places = 0 if min(value_h, limit_h) >= 10 else 1
    # Six places of an hour are below a hundredth of a second: further digits would be noise.
    while places < 6 and value_h != limit_h and f"{value_h:.{places}f}" == f"{limit_h:.{places}f}":
        places += 1
    return f"{value_h:.{places}f} h", f"{limit_h:g} h" if places == 0 else f"{limit_h:.{places}f} h"


def run_hours(value_h: float) -> str:
    """A run time as a person says it: `26 min`, `11.6 h`, `7547 h`; never in powers of ten."""
    if not math.isfinite(value_h):
        return "without end"
    if value_h < 1:
        return f"{60 * value_h:.0f} min"
    return f"{value_h:.{2 if value_h < 10 else 1 if value_h < 100 else 0}f} h"


def finite(value: float) -> float | None:
    """The value, or None where it has no end: JSON knows no infinity."""
    return value if math.isfinite(value) else None
