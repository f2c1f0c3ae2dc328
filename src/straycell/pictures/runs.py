"""A discharge over the charge that came out, beside runs of its siblings and the curve its rating promises."""

from collections.abc import Sequence

from straycell.cells import CellFacts
from straycell.physics.curves import curves_for
from straycell.pictures.curves import Curve, Curves, Role
from straycell.pictures.trace import charge_out, thin_rows
from straycell.quantities import Dimension, count_of, show
from straycell.traces import Trace, TraceResult

MOST_POINTS = 600
"""A picture is some 1,500 dots wide, a terminal some 150."""
_RATED_STEPS = 200

Run = tuple[Trace, TraceResult]


def run_curves(title: str, own: Run, siblings: Sequence[Run] = (), facts: CellFacts | None = None) -> Curves:
    """The run of a trace, x in mAh; of a trace without a discharge its voltage over hours."""
    trace, result = own
    level = ("cut-off", result.cutoff_v)
    if result.run is None:
        kept = thin_rows(trace.voltage_v, MOST_POINTS)
        rest = tuple((float(trace.time_s[row]) / 3600.0, float(trace.voltage_v[row])) for row in kept)
        return Curves(f"{title}: nothing was discharged", "h", "V", (Curve("voltage", rest),), level=level)
    others = [points for run in siblings if (points := _run_points(run))]
    label = f"{count_of(len(others), 'sibling')}"
    curves = [Curve(label, points, Role.FAINT) for points in others]
    if facts is not None and (rated := _rated_points(facts, result)):
        words = f"rated {show(facts.rated_capacity_ah or 0.0, Dimension.CAPACITY)}: published curve less current x resistance"
        curves.append(Curve(words, rated, Role.GHOST))
    least = "at least " if result.at_least else ""
    ah = result.capacity.value if result.capacity else result.run.capacity_ah
    u = result.capacity.u if result.capacity else None
    curves.append(Curve(f"this run: {least}{show(ah, Dimension.CAPACITY, u=u)}", _run_points(own)))
    return Curves(title, "mAh", "V", tuple(curves), level=level)


def _run_points(own: Run) -> tuple[tuple[float, float], ...]:
    """(mAh out, V) of the run that the figures are from; empty without one."""
    trace, result = own
    if result.run is None:
        return ()
    first, stop = result.steps[result.run.first].first, result.run.end_row + 1
    out, volts = charge_out(trace, result), trace.voltage_v[first:stop]
    # Counted from the row before: the first row under load comes when some charge is out already.
    start = float(out[max(0, first - 1)])
    return tuple(
        (1e3 * (float(out[first + row]) - start), float(volts[row])) for row in thin_rows(volts, MOST_POINTS)
    )


def _rated_points(facts: CellFacts, result: TraceResult) -> tuple[tuple[float, float], ...]:
    """(mAh, V) of a cell that holds what is printed, down to the cut-off; empty where too little is known."""
    sets, rated_ah, run = curves_for(facts.chemistry), facts.rated_capacity_ah, result.run
    if not sets or not rated_ah or run is None:
        return ()
    # The sheet's resistance, else this cell's own: a curve without any would promise what no cell keeps.
    ohm = facts.rated_resistance_ohm or (
        result.dc_resistance.resistance.value if result.dc_resistance else 0.0
    )
    drop = abs(run.current_a) * ohm
    points = [
        (1e3 * rated_ah * step / _RATED_STEPS, sets[0].voltage(1.0 - step / _RATED_STEPS) - drop)
        for step in range(_RATED_STEPS + 1)
    ]
    return (
        tuple(point for point in points if point[1] >= result.cutoff_v)
        if points[0][1] > result.cutoff_v
        else ()
    )
