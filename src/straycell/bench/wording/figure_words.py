"""Figures of rules and reasons as a person writes them: mohm, mAh, per cent, times. JSON keeps SI."""

import math

from straycell.acceptance import Limit
from straycell.acceptance.rules import Shown
from straycell.quantities import Dimension, show

_DIMENSIONS = {
    "V": Dimension.VOLTAGE,
    "A": Dimension.CURRENT,
    "Ah": Dimension.CAPACITY,
    "ohm": Dimension.RESISTANCE,
}
_SMALLER = {
    "ohm Ah": ("mohm Ah", 1e3),
    "V/K": ("mV/K", 1e3),
    "1/K": ("% per K", 1e2),
    "Ah/cm3": ("mAh/cm3", 1e3),
}
_BOUNDS = {"min": "at least", "max": "at most"}


def figure(
    value: float | str | None, unit: str, expanded: float | None = None, shown: Shown = Shown.PLAIN
) -> str | None:
    """`38.0 ± 1.6 mohm`: the uncertainty with two figures, the value to the same place; a word stays a word."""
    if value is None or isinstance(value, str):
        return value
    # No U, or none that is finite: the value stands alone rather than with a spread nobody measured.
    sure = None if expanded is None or not 0 < expanded < math.inf else expanded
    # Units that a person writes in other sizes (mohm, mAh) go the way of all quantities.
    dimension = _DIMENSIONS.get(unit)
    if unit == "1" and shown is not Shown.TIMES:
        dimension = Dimension.FRACTION
    if dimension is not None:
        return show(value, dimension, u=None if sure is None else sure / 2.0)
    if shown is Shown.RATE:
        return f"{value:g}C"
    word, factor = ("times", 1.0) if unit == "1" else _SMALLER.get(unit, (unit, 1.0))
    return f"{_rounded(value * factor, None if sure is None else sure * factor)} {word}".rstrip()


def _rounded(value: float, expanded: float | None) -> str:
    if expanded is None:
        return f"{value:.4g}"
    # Two figures of U, and the value to the same place (GUM 7.2.6).
    places = max(0, 1 - math.floor(math.log10(expanded)))
    return f"{value:.{places}f} ± {expanded:.{places}f}"


def limit_words(limit: Limit) -> str | None:
    """A limit with its figures for every kind of cell it tells apart; None for one that has none."""
    if limit.words:
        return " ".join(limit.words)
    values = limit.values or {}
    if not values:
        return None
    if set(values) == {"gain", "offset"}:
        share, rest = show(values["gain"], Dimension.FRACTION), figure(values["offset"], limit.unit)
        return f"{share} of the reading, and {rest}"
    shown = [
        f"{figure(value, limit.unit, shown=limit.shown)}{_whom(key, len(values))}"
        for key, value in values.items()
    ]
    return f"{_BOUNDS[limit.bound]} {', '.join(shown)}"


def _whom(key: str, count: int) -> str:
    if key == "any":
        return "" if count == 1 else " for any other"
    return " for 4.2 V chemistries" if key == "4.2V" else f" for {key.replace('/', ' ')}"


def known_words(*parts: tuple[str, float | None, Dimension]) -> str:
    """`to 4.2 V, fed with 5 V`: each quantity that is known, in its words."""
    return ", ".join(words.format(show(value, of)) for words, value, of in parts if value is not None)
