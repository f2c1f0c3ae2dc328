"""Times written as numbers, as `1:02:03` or as dates, to seconds."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from straycell.traces.read.trace import Floats

if TYPE_CHECKING:
    import pandas as pd

_CLOCK = re.compile(r"^\s*(?:(\d+)[d ]\s*)?\d+:\d{1,2}(:\d{1,2}([.,]\d+)?)?\s*$")
_DATE = re.compile(r"^\s*\d{4}-\d{1,2}-\d{1,2}|^\s*\d{1,2}[./]\d{1,2}[./]\d{2,4}")
_DAY_S = 86400.0


Stamps = StrEnum("Stamps", "COUNTED CLOCK UTC LOCAL UNCLEAR")
"""What a file's times are: counted from a start, of a clock, or of a calendar (in UTC, local, or unclear)."""


def seconds(column: pd.Series[str], factor: float) -> tuple[Floats, Stamps]:
    """Seconds of a column of text, NaN where a text is not a time, and what kind of time they are.

    Numbers are taken times `factor`; `h:mm:ss` and dates as they are, a calendar's from 1970 on as if it were UTC.
    A clock that passes midnight goes on.
    """
    import pandas as pd

    # A sample decides the kind: one odd line must not turn numbers into clock times.
    sample = [str(text) for text in column.dropna().head(50)]
    if _most(sample, _CLOCK):
        return _unrolled(np.array([_clock(text) for text in column], dtype=np.float64)), Stamps.CLOCK
    if _most(sample, _DATE):
        # A four-digit year first is ISO order; with the year last, most of the world writes the day first.
        day_first = not re.match(r"^\s*\d{4}", sample[0])
        moments = pd.to_datetime(column, errors="coerce", utc=True, dayfirst=day_first, format="mixed")
        # Pandas may keep seconds or microseconds; a fixed unit makes the division by 1e9 right.
        nanoseconds = moments.astype("datetime64[ns, UTC]").to_numpy(dtype="datetime64[ns]")
        missing = np.isnat(nanoseconds)
        values = nanoseconds.astype(np.int64) / 1e9
        values[missing] = np.nan
        return values, _calendar(sample)
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    return numbers * factor, Stamps.COUNTED


def _calendar(sample: list[str]) -> Stamps:
    """Local without a zone. `3/4/2026` is the third of April or the fourth of March: unclear while no figure tells."""
    # All of them: one row with a zone and others without would mix two clocks.
    if all(re.search(r"\d(Z|[+-]\d{2}:?\d{2})$", text.strip()) for text in sample):
        return Stamps.UTC
    parts = [re.match(r"\s*(\d{1,2})/(\d{1,2})/", text) for text in sample]
    told = [part for part in parts if part is not None]
    # A figure above 12 in either place settles the order for the whole file.
    if told and all(int(part[1]) <= 12 and int(part[2]) <= 12 for part in told):
        return Stamps.UNCLEAR
    return Stamps.LOCAL


def _most(sample: list[str], pattern: re.Pattern[str]) -> bool:
    return bool(sample) and sum(bool(pattern.match(text)) for text in sample) > len(sample) / 2


def _clock(text: object) -> float:
    if not isinstance(text, str) or not _CLOCK.match(text):
        return float("nan")
    days, _, rest = text.strip().rpartition("d") if "d" in text else text.strip().rpartition(" ")
    parts = [float(part) for part in rest.replace(",", ".").split(":")]
    parts += [0.0] * (3 - len(parts))
    return float(days or 0) * _DAY_S + parts[0] * 3600 + parts[1] * 60 + parts[2]


def _unrolled(clock_s: Floats) -> Floats:
    """A clock that falls by most of a day passed midnight; a smaller fall stays a fall."""
    # A wrap at midnight falls by nearly a day; a clock set back in summer falls by an hour and must stay visible.
    filled = clock_s[np.isfinite(clock_s)]
    falls = np.diff(filled, prepend=filled[:1]) < -0.5 * _DAY_S
    unrolled = clock_s.copy()
    unrolled[np.isfinite(clock_s)] = filled + _DAY_S * np.cumsum(falls)
    return unrolled
