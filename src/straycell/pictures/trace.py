"""The picture of a trace: voltage, current and charge over time, with its steps and cut-off."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from straycell.pictures import figure as shared
from straycell.pictures.figure import INK, LINE
from straycell.quantities import Dimension, show
from straycell.traces import StepKind, Trace, TraceResult
from straycell.traces.read.trace import Floats, Ints

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_VOLTS, _AMPS, _CHARGE = "#1d4e89", "#a23e12", "#35682d"
_BANDS = {StepKind.CHARGE: "#eef5e9", StepKind.DISCHARGE: "#e8eff8"}
_MOST_POINTS = 16_000
_MOST_BANDS = 120
_TIMES = ((2 * 86400.0, 86400.0, "d"), (5400.0, 3600.0, "h"), (180.0, 60.0, "min"), (0.0, 1.0, "s"))


def trace_picture(trace: Trace, result: TraceResult, title: str, *, dpi: int = 150) -> bytes:
    """A PNG of a trace, 11 x 8 inches at `dpi`."""
    figure = shared.sheet(11.0, 8.0, dpi)
    draw(figure, trace, result, title)
    return shared.written(figure, "png", (title, result))


def draw(figure: Figure, trace: Trace, result: TraceResult, title: str) -> None:
    """Three panels over one time axis."""
    panels = figure.subplots(3, 1, sharex=True, height_ratios=(3, 1.3, 1.3))
    volts, amps, charge = panels[0], panels[1], panels[2]
    divisor, unit = _time_unit(trace)
    time = trace.time_s / divisor
    out_ah = charge_out(trace, result)
    # A line drawn across missing rows would show a course that nobody measured.
    _line(volts, time, trace.voltage_v, _VOLTS, _breaks(trace, result))
    _line(amps, time, trace.current_a, _AMPS, _breaks(trace, result), stepped=True)
    _line(charge, time, out_ah, _CHARGE, _breaks(trace, result))
    for panel in (volts, amps, charge):
        shared.framed(panel)
        panel.margins(y=0.08)
        _bands(panel, result, divisor)
    amps.axhline(0, color=INK, linewidth=0.6)
    volts.set_ylabel("voltage / V")
    amps.set_ylabel("current / A")
    amps.set_title("negative: discharge", loc="right", fontsize=9, color=INK, pad=2)
    charge.set_ylabel("charge out / Ah")
    charge.set_xlabel(f"time / {unit}")
    length = float(time[-1] - time[0])
    charge.set_xlim(float(time[0]), float(time[-1]) + 0.012 * length)
    # The number at the end of the charge line is above its dot and needs room.
    charge.margins(y=0.25)
    _mark_cutoff(volts, result)
    _name_steps(volts, result, divisor, length)
    _mark_pulses(volts, result, divisor, length)
    _mark_end(volts, charge, result, divisor, out_ah)
    shared.titled(figure, title)
    volts.set_title(_summary(result), loc="left", fontsize=11.5, color=INK, pad=22)


def _time_unit(trace: Trace) -> tuple[float, str]:
    length = float(trace.time_s[-1] - trace.time_s[0])
    return next((divisor, unit) for start, divisor, unit in _TIMES if length >= start)


def thin_rows(values: Floats, most: int) -> Ints:
    """Rows that keep the first, last, lowest and highest of each of `most` / 4 equal shares; all when few."""
    rows = len(values)
    if rows <= most:
        return np.arange(rows, dtype=np.int64)
    edges = np.linspace(0, rows, max(2, most // 4) + 1).astype(np.int64)
    kept: set[int] = set()
    for first, stop in pairwise(edges):
        part = values[first:stop]
        # Extremes and ends of each share: averages would erase pulses and dips, which are what one looks for.
        kept.update((int(first), int(first + part.argmin()), int(first + part.argmax()), int(stop - 1)))
    return np.array(sorted(kept), dtype=np.int64)


def charge_out(trace: Trace, result: TraceResult) -> Floats:
    """Running charge in Ah by row, each step from where the one before ended; a rest keeps it."""
    ends = np.cumsum([0.0, *(-step.charge_ah for step in result.steps)])
    out = np.zeros(trace.rows)
    for step, start in zip(result.steps, ends, strict=False):
        rows = slice(step.first, step.stop)
        passed = trace.time_s[rows] - step.onset_s
        out[rows] = start - step.charge_ah * _share(trace, step.first, step.stop, passed)
    return out - float(out.min())


def _share(trace: Trace, first: int, stop: int, passed_s: Floats) -> Floats:
    """How much of a step's charge has passed at each of its rows, 0 to 1."""
    amps = np.abs(trace.current_a[first:stop])
    spans = np.diff(passed_s, prepend=0.0)
    mean = np.append(amps[:1], 0.5 * (amps[1:] + amps[:-1]))
    running = np.cumsum(mean * spans)
    share: Floats = running / running[-1] if running[-1] > 0 else np.ones(stop - first)
    return share


def _breaks(trace: Trace, result: TraceResult) -> Ints:
    """Rows before which the line is not drawn: something is missing there."""
    found = [step.first for step in result.steps[1:] if not step.follows]
    spacing = np.diff(trace.time_s)
    return np.array([row for row in found if spacing[row - 1] > 0.02 * np.sum(spacing)], dtype=np.int64)


def _line(
    panel: Axes, time: Floats, values: Floats, colour: str, breaks: Ints, stepped: bool = False
) -> None:
    for part in np.split(np.arange(len(time)), breaks):
        kept = part[thin_rows(values[part], _MOST_POINTS)]
        # Steps at thousands of points only blur the picture and multiply its vertices.
        style = "steps-pre" if stepped and len(kept) < 4000 else "default"
        panel.plot(
            time[kept], values[kept], color=colour, linewidth=1.6, drawstyle=style, solid_joinstyle="round"
        )


def _bands(panel: Axes, result: TraceResult, divisor: float) -> None:
    # Beyond this many bands the colours merge to grey, and each costs its own drawing.
    if len(result.steps) > _MOST_BANDS:
        return
    for step in result.steps:
        if step.kind in _BANDS:
            panel.axvspan(
                step.onset_s / divisor, step.end_s / divisor, color=_BANDS[step.kind], linewidth=0, zorder=0
            )


def _mark_cutoff(panel: Axes, result: TraceResult) -> None:
    """The cut-off as a line; where the curve stays far above it, only its name at the foot."""
    low, high = panel.get_ylim()
    # A far cut-off drawn as a line would press the curve flat into the top of the panel.
    near = result.cutoff_v > low - (high - low)
    if near:
        panel.axhline(result.cutoff_v, color=LINE, linewidth=1.1, linestyle=(0, (6, 4)))
        panel.set_ylim(min(low, result.cutoff_v - 0.04 * (high - low)), high)
    panel.annotate(
        f"cut-off {show(result.cutoff_v, Dimension.VOLTAGE)}" + ("" if near else " (far below)"),
        (0.0, result.cutoff_v if near else 0.0),
        xycoords=("axes fraction", "data" if near else "axes fraction"),
        xytext=(5, 4),
        textcoords="offset points",
        ha="left",
        va="bottom",
        fontsize=10,
        color=LINE,
    )


def _mark_pulses(panel: Axes, result: TraceResult, divisor: float, length: float) -> None:
    """A small arrow and number where a pulse too short for its name begins."""
    for pulse in {p.pulse: p for p in result.pulses}.values():
        step = result.steps[pulse.step]
        if step.duration_s / divisor >= 0.05 * length or len(result.steps) > _MOST_BANDS:
            continue
        panel.annotate(
            f"pulse {pulse.pulse}" if pulse.pulse == 1 else str(pulse.pulse),
            (step.onset_s / divisor, step.last_v),
            xytext=(0, -20),
            textcoords="offset points",
            ha="center",
            fontsize=8,
            color=_AMPS,
            arrowprops={"arrowstyle": "-|>", "color": _AMPS, "linewidth": 0.8},
        )


def _name_steps(panel: Axes, result: TraceResult, divisor: float, length: float) -> None:
    """The name of each step above its band, where there is room for it."""
    for step in result.steps if len(result.steps) <= _MOST_BANDS else ():
        width = step.duration_s / divisor
        if width < 0.05 * length:
            continue
        panel.annotate(
            step.kind.value,
            ((step.onset_s / divisor + width / 2), 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 4),
            textcoords="offset points",
            ha="center",
            fontsize=9,
            color=INK,
        )


def _mark_end(volts: Axes, charge: Axes, result: TraceResult, divisor: float, out_ah: Floats) -> None:
    """A dot where the discharge of the figures ends."""
    if result.run is None:
        return
    end = result.run.end_s / divisor
    volts.plot([end], [result.run.end_v], "o", color=_VOLTS, markersize=6, zorder=5)
    level = float(out_ah[result.run.end_row])
    charge.plot([end], [level], "o", color=_CHARGE, markersize=6, zorder=5)
    charge.annotate(
        show(result.run.capacity_ah, Dimension.CAPACITY),
        (end, level),
        xytext=(0, 7),
        textcoords="offset points",
        ha="right",
        va="bottom",
        fontsize=10,
        color=_CHARGE,
    )


def _summary(result: TraceResult) -> str:
    parts: list[str] = []
    if result.capacity is not None and result.energy is not None:
        least = "at least " if result.at_least else ""
        parts.append(least + show(result.capacity.value, Dimension.CAPACITY, u=result.capacity.u))
        parts.append(show(result.energy.value, Dimension.ENERGY, u=result.energy.u))
    if result.dc_resistance is not None:
        dc = result.dc_resistance
        ohms = show(dc.resistance.value, Dimension.RESISTANCE, u=dc.resistance.u)
        parts.append(f"{ohms} d.c. after {dc.pulse_s:g} s")
    if result.temperature_c is not None:
        parts.append(f"{result.temperature_c:.0f} °C")
    return "     ".join(parts) or "nothing was discharged"
