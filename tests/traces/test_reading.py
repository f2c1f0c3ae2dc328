"""Files as instruments and spreadsheets write them: separators, decimals, units, clocks, headers."""

from __future__ import annotations

import gzip
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from tests.traces.helpers import REFERENCE, Reduce

from straycell.errors import BadData, UsageFault
from straycell.traces import Trace, parse_columns, read_trace

ROWS = [(10.0 * k, 4.19 - 0.002 * k - (0.05 if k > 3 else 0.0), 0.0 if k <= 3 else -1.25) for k in range(30)]


def table(
    head: str, form: str, rows: Sequence[tuple[float | str, ...]] | None = None, end: str = "\n"
) -> bytes:
    """A header line and one line a row, in a form like `{};{};{}`."""
    return end.join([head, *(form.format(*row) for row in rows or ROWS), ""]).encode()


def scaled(time: float, volts: float, amps: float) -> list[tuple[float, ...]]:
    return [(t * time, v * volts, a * amps) for t, v, a in ROWS]


def same(trace: Trace) -> bool:
    """Whether the trace holds ROWS."""
    t, v, a = (np.array(column) for column in zip(*ROWS, strict=True))
    return bool(
        np.allclose(trace.time_s, t) and np.allclose(trace.voltage_v, v) and np.allclose(trace.current_a, a)
    )


PLAIN = "{:.9f},{:.6f},{:.6f}"
HEADERS = {
    "the open format's labels": ("Test Time / s,Voltage / V,Current / A", (1, 1, 1)),
    "the open format's machine names": ("test_time_second,voltage_volt,current_ampere", (1, 1, 1)),
    "names with units": ("time_s,voltage_v,current_a", (1, 1, 1)),
    "brackets": ("Time(s),Voltage(V),Current(A)", (1, 1, 1)),
    "square brackets and milli": ("Time [min],U [mV],I [mA]", (1 / 60, 1000, 1000)),
    "slashes": ("t/h,U/V,I/mA", (1 / 3600, 1, 1000)),
    "milliseconds and spaces": ("Elapsed ms,Voltage mV,Current mA", (1000, 1000, 1000)),
    "no units at all": ("Time,Voltage,Current", (1, 1, 1)),
    "capitals and blanks": ("  TIME (S) , VOLTAGE (V) , CURRENT (A)", (1, 1, 1)),
    "quotes": ('"Time (s)","Voltage (V)","Current (A)"', (1, 1, 1)),
    "another language": ("Zeit (s),Spannung (V),Strom (A)", (1, 1, 1)),
    "glued words": ("TestTime(s),Voltage(V),Current(A)", (1, 1, 1)),
}


@pytest.mark.parametrize("case", HEADERS)
def test_plain_headers_are_understood(case: str) -> None:
    """The columns and their units are found from the header's words."""
    head, factors = HEADERS[case]
    assert same(read_trace(table(head, PLAIN, scaled(*factors))))


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator: str, end: str) -> None:
    """Comma, semicolon and tab; line ends of three kinds."""
    head = separator.join(["time_s", "voltage_v", "current_a"])
    assert same(read_trace(table(head, separator.join(["{:.4f}"] * 3), end=end)))


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas(separator: str) -> None:
    """A decimal comma is found where the columns are separated by something else."""
    head = separator.join(["time_s", "voltage_v", "current_a"])
    text = table(head, separator.join(["{:.4f}"] * 3)).decode().replace(".", ",")
    assert same(read_trace(text.encode()))


def test_decimal_commas_survive_a_bad_cell() -> None:
    """One cell that is no number must not turn all the others into text that is lost."""
    text = table("time_s;voltage_v;current_a", "{:.4f};{:.4f};{:.4f}").decode().replace(".", ",")
    trace = read_trace(text.replace("4,1260", "----").encode())
    assert trace.rows == len(ROWS) - 1
    assert "not a number" in " ".join(trace.warnings)
    assert trace.voltage_v.max() == pytest.approx(4.19)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_text_encodings(encoding: str) -> None:
    """A byte order mark, two-byte text, and a lone degree sign of an old program."""
    rows = [(*row, 23.5) for row in ROWS]
    text = table("time_s,voltage_v,current_a,Temperature (°C)", PLAIN + ",{:.1f}", rows).decode()
    trace = read_trace(text.encode(encoding))
    assert same(trace)
    assert trace.temperature_c is not None and trace.temperature_c[0] == pytest.approx(23.5)


def test_a_block_of_remarks_before_the_header_is_passed_over() -> None:
    """Remarks, blank lines and settings come first in many files; lines are still counted from the top."""
    block = b"Recorder: bench 2\nCell;B00017K\n\nLimits, 3.0 V, 1.25 A\n"
    trace = read_trace(block + table("time_s,voltage_v,current_a", PLAIN))
    assert same(trace)
    assert trace.line_of(0) == 6


def test_a_row_of_units_below_the_header_counts() -> None:
    """Units may stand in a line of their own."""
    text = table("Time,Voltage,Current\ns,mV,mA", PLAIN, scaled(1, 1000, 1000))
    trace = read_trace(text)
    assert same(trace)
    assert trace.line_of(0) == 3


def test_gz_is_unpacked(tmp_path: Path) -> None:
    """By what it is, not by its name."""
    path = tmp_path / "run.csv"
    path.write_bytes(gzip.compress(table("time_s,voltage_v,current_a", PLAIN)))
    assert same(read_trace(path))
    assert same(read_trace(str(path)))


def test_other_columns_and_their_words_do_not_matter() -> None:
    """Remarks, states and further quantities in the file are not read."""
    rows = [(k, *row, "RUN", 5.0) for k, row in enumerate(ROWS)]
    text = table(
        "No,time_s,voltage_v,current_a,State,Charger Voltage (V)", "{},{:.4f},{:.4f},{:.4f},{},{}", rows
    )
    assert same(read_trace(text))


CLOCKS = {
    "h:mm:ss": [f"{t // 3600:.0f}:{t % 3600 // 60:02.0f}:{t % 60:02.0f}" for t, *_ in ROWS],
    "days and hours": [f"0d {t // 3600:.0f}:{t % 3600 // 60:02.0f}:{t % 60:04.1f}" for t, *_ in ROWS],
    "a clock past midnight": [
        f"{(86300 + t) % 86400 // 3600:02.0f}:{(86300 + t) % 3600 // 60:02.0f}:{(86300 + t) % 60:02.0f}"
        for t, *_ in ROWS
    ],
    "ISO dates": [f"2027-03-01 18:{t // 60:02.0f}:{t % 60:02.0f}" for t, *_ in ROWS],
    "ISO dates with T and zone": [f"2027-03-01T18:{t // 60:02.0f}:{t % 60:02.0f}+02:00" for t, *_ in ROWS],
    "day first": [f"13.02.2027 18:{t // 60:02.0f}:{t % 60:02.0f}" for t, *_ in ROWS],
    "unix time": [f"{1.8e9 + t:.1f}" for t, *_ in ROWS],
}


@pytest.mark.parametrize("case", CLOCKS)
def test_times_of_a_clock_count_from_the_first_row(case: str) -> None:
    """Clock times, dates and unix seconds become seconds of the recording."""
    rows = [(clock, v, a) for clock, (_, v, a) in zip(CLOCKS[case], ROWS, strict=True)]
    assert same(read_trace(table("time,voltage_v,current_a", "{};{:.4f};{:.4f}".replace(";", ","), rows)))


def test_the_open_formats_own_columns_win_over_others() -> None:
    """Test time before unix time, ambient before surface temperature, step count before step index."""
    head = "Unix Time / s,Test Time / s,Voltage / V,Current / A,Surface Temperature T1 / degC,"
    head += "Ambient Temperature / degC,Step Index / 1,Step Count / 1"
    rows = [(1.8e9 + t + 99, t, v, a, 31.0, 24.0, k, 1 if k <= 3 else 2) for k, (t, v, a) in enumerate(ROWS)]
    trace = read_trace(table(head, ",".join(["{}"] * 8), rows))
    assert same(trace)
    assert trace.temperature_c is not None and set(trace.temperature_c) == {24.0}
    assert trace.step is not None and list(trace.step[:5]) == [1, 1, 1, 1, 2]


def test_a_step_column_that_counts_rows_is_not_used() -> None:
    """An index of rows within a step would cut the trace into single rows."""
    rows = [(t, v, a, k) for k, (t, v, a) in enumerate(ROWS)]
    trace = read_trace(table("time_s,voltage_v,current_a,step", PLAIN + ",{}", rows))
    assert trace.step is None
    assert any("changes from row to row" in note for note in trace.notes)


def test_kelvin_and_fahrenheit() -> None:
    """Temperatures are kept in degrees Celsius."""
    for unit, value in (("K", 298.15), ("degF", 77.0)):
        rows = [(*row, value) for row in ROWS]
        trace = read_trace(table(f"time_s,voltage_v,current_a,temp ({unit})", PLAIN + ",{}", rows))
        assert trace.temperature_c is not None and trace.temperature_c[0] == pytest.approx(25.0)


def test_a_counter_stands_in_for_a_missing_current() -> None:
    """A tester that writes only mAh: the current is the counter's growth, and it is said."""
    out = np.cumsum([0.0, *(-a * 10 / 3600 * 1000 for _, _, a in ROWS[1:])])
    rows = [(t, v, q) for (t, v, _), q in zip(ROWS, out, strict=True)]
    trace = read_trace(table("time_s,voltage_v,capacity_mah", "{},{:.4f},{:.6f}", rows))
    assert trace.current_a[10] == pytest.approx(-1.25, rel=1e-3)
    assert any("no current column" in warning for warning in trace.warnings)


def test_a_current_without_signs_gets_them_from_the_voltage() -> None:
    """Charge and discharge both written as positive numbers."""
    rows = [(10.0 * k, 3.6 + 0.01 * k, 1.0) for k in range(40)]
    rows += [(400.0 + 10 * k, 4.1, 0.0) for k in range(5)]
    rows += [(450.0 + 10 * k, 4.0 - 0.01 * k, 2.0) for k in range(40)]
    trace = read_trace(table("time_s,voltage_v,current_a", PLAIN, rows))
    assert trace.current_a[5] == pytest.approx(1.0)
    assert trace.current_a[-5] == pytest.approx(-2.0)
    assert any("has no sign" in note for note in trace.notes)


def test_progress_is_told_up_to_the_end() -> None:
    """Shares rise to 1."""
    told: list[float] = []
    read_trace(table("time_s,voltage_v,current_a", PLAIN), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


MAPPINGS = {
    "by header": ("ticks,level,load", "time=ticks in s, voltage=level in V, current=load in A", (1, 1, 1)),
    "by place": ("ticks,level,load", "time=1 in min, voltage=2 in mV, current=3 in mA", (1 / 60, 1000, 1000)),
    "by a header that carries its unit": (
        "ticks [min],level (mV),load/mA",
        "time=ticks [min], voltage=level (mV), current=load/mA",
        (1 / 60, 1000, 1000),
    ),
    "against a header's own unit": (
        "time_s,voltage_v,current_a",
        "time=time_s,voltage=voltage_v in mV,current=current_a in mA",
        (1, 1000, 1000),
    ),
}


@pytest.mark.parametrize("case", MAPPINGS)
def test_columns_can_be_named(case: str) -> None:
    """--columns names what the header does not say, by header or by place."""
    head, mapping, factors = MAPPINGS[case]
    assert same(read_trace(table(head, PLAIN, scaled(*factors)), columns=parse_columns(mapping)))


def test_a_file_without_a_header_is_read_by_places() -> None:
    """Numbers from the first line on."""
    text = table("x", PLAIN).split(b"\n", 1)[1]
    trace = read_trace(text, columns={"time": "1", "voltage": "2", "current": "3"})
    assert same(trace)
    assert trace.line_of(0) == 1


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ("time", "has no '='"),
        ("volume=3", "does not know 'volume'"),
    ],
)
def test_a_mapping_that_does_not_fit_together_is_wrong_usage(mapping: str, words: str) -> None:
    """Exit code 2 for what is wrong on the command line itself."""
    with pytest.raises(UsageFault, match=words):
        parse_columns(mapping)


def test_a_mapped_column_that_is_not_there_is_named() -> None:
    """The message lists the columns that are."""
    with pytest.raises(BadData, match="no column 'level'") as caught:
        read_trace(
            table("time_s,voltage_v,current_a", PLAIN),
            columns={"time": "time_s", "voltage": "level", "current": "current_a"},
        )
    assert "voltage_v" in caught.value.remedy


def test_a_unit_that_does_not_measure_the_quantity_is_wrong_usage() -> None:
    """Millivolts are no time."""
    with pytest.raises(UsageFault, match="not a unit of time"):
        read_trace(
            table("ticks,level,load", PLAIN),
            columns={"time": "ticks in mV", "voltage": "level", "current": "load"},
        )


def test_unix_milliseconds_are_not_taken_for_seconds() -> None:
    """A time of thirteen figures counts milliseconds."""
    rows = [(f"{1.8e12 + 1000 * t:.0f}", v, a) for t, v, a in ROWS]
    assert same(read_trace(table("timestamp,voltage_v,current_a", "{},{:.4f},{:.4f}", rows)))


def test_the_same_time_in_two_units_is_no_second_cell() -> None:
    """Seconds and minutes side by side: the first is taken."""
    rows = [(t, t / 60, v, a) for t, v, a in ROWS]
    assert same(read_trace(table("Time (s),Time (min),voltage_v,current_a", "{},{:.6f},{:.4f},{:.4f}", rows)))


def in_dialect(
    trace: Trace, separator: str, decimal: str, factors: tuple[float, float, float], head: str
) -> bytes:
    """A trace written the way another instrument might."""
    columns = (trace.time_s * factors[0], trace.voltage_v * factors[1], trace.current_a * factors[2])
    lines = [
        separator.join(f"{x:.9g}".replace(".", decimal) for x in row) for row in zip(*columns, strict=True)
    ]
    return "\n".join([head, *lines, ""]).encode()


DIALECTS = {
    "minutes, millivolts, milliamperes": (";", ",", (1 / 60, 1000, 1000), "Zeit [min];U [mV];I [mA]"),
    "hours and the other sign": ("\t", ".", (1 / 3600, 1, -1), "t (h)\tVoltage (V)\tCurrent (A)"),
    "the open format": (",", ".", (1, 1, 1), "test_time_second,voltage_volt,current_ampere"),
}


@pytest.mark.parametrize("case", DIALECTS)
@pytest.mark.parametrize("name", ["pouch-33ah-1c-discharge.csv.gz", "pouch-33ah-hppc-25c.csv.gz"])
def test_a_recorded_trace_means_the_same_in_every_dialect(case: str, name: str, reduce: Reduce) -> None:
    """Capacity, energy and every pulse, whatever the units, the sign, the separator and the decimal mark."""
    separator, decimal, factors, head = DIALECTS[case]
    own = read_trace(REFERENCE / name)
    bare = Trace(own.time_s, own.voltage_v, own.current_a)
    one, other = reduce(bare), reduce(read_trace(in_dialect(bare, separator, decimal, factors, head)))
    assert other.capacity.value == pytest.approx(one.capacity.value, rel=1e-6)
    assert other.energy.value == pytest.approx(one.energy.value, rel=1e-6)
    assert [p.pulse_s for p in other.pulses] == [p.pulse_s for p in one.pulses]
    assert [p.resistance.value for p in other.pulses] == pytest.approx(
        [p.resistance.value for p in one.pulses], rel=1e-4
    )
