"""How long reading and reducing a million rows takes, beside what pandas alone takes to read them.

Run: python tests/benchmarks/bench_traces.py [rows]   (also collected by pytest when named on its command line)
The two are run in turn, and their medians compared; the judged limit is three times.
"""

from __future__ import annotations

import io
import statistics
import sys
import time

import numpy as np

ROUNDS = 5
MOST_TIMES = 3.0


def million(rows: int = 1_000_000) -> bytes:
    """A discharge of 2 A with pulses, as a file of the open format with five columns."""
    seconds = np.arange(rows) * 0.01
    amps = np.where(seconds < 60, 0.0, np.where((seconds // 10) % 30 == 7, -4.0, -2.0))
    volts = 4.18 - 1.15 * np.arange(rows) / rows + 0.03 * amps
    step = np.cumsum(np.diff(amps, prepend=amps[0]) != 0)
    out = io.StringIO("Test Time / s,Voltage / V,Current / A,Step Count / 1,Ambient Temperature / degC\n")
    out.seek(0, io.SEEK_END)
    columns = np.column_stack((seconds, volts, amps, step, np.full(rows, 24.5)))
    np.savetxt(out, columns, delimiter=",", fmt=("%.2f", "%.4f", "%.4f", "%d", "%.1f"))
    return out.getvalue().encode()


def measured(raw: bytes, rounds: int = ROUNDS) -> tuple[float, float]:
    """Median seconds of pandas.read_csv alone and of read_trace with reduce_trace, run in turn."""
    import pandas as pd

    from straycell.meters import Accuracy
    from straycell.readings import CautiousDefaults
    from straycell.traces import Conditions, read_trace, reduce_trace

    wide = Accuracy(0.05, 0.01)
    defaults = CautiousDefaults(wide, wide, wide, wide, wide)
    alone, ours = [], []
    for _ in range(rounds):
        start = time.perf_counter()
        pd.read_csv(io.BytesIO(raw))
        alone.append(time.perf_counter() - start)
        start = time.perf_counter()
        trace = read_trace(raw, progress=lambda share: None)
        result = reduce_trace(trace, Conditions(3.0, 4.2, charged_just_before=False), None, defaults)
        ours.append(time.perf_counter() - start)
        assert result.capacity is not None
    return statistics.median(alone), statistics.median(ours)


def test_a_million_rows_take_at_most_three_times_pandas_alone() -> None:
    """Medians of interleaved runs."""
    alone, ours = measured(million())
    assert ours <= MOST_TIMES * alone


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    pandas_s, ours_s = measured(million(count))
    print(
        f"{count} rows: pandas.read_csv {pandas_s:.3f} s, read and reduced {ours_s:.3f} s: {ours_s / pandas_s:.2f} times"
    )
