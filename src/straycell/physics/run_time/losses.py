"""What a long run loses beside its load: self-discharge, ageing by calendar, and the protection's own current."""

from dataclasses import replace

from straycell.physics.run_time.asked import Runtime
from straycell.physics.shipped import shipped
from straycell.quantities import Measured

# A year of 365.25 days and a twelfth of it: a loss over years must not drift with leap days.
MONTH_H, YEAR_H = 730.5, 8766.0
PROMISE_NOTE = "no promise runs past two years: look at the cells and measure them before that"


def with_losses(run: Runtime, capacity_ah: float, own: Measured | None = None, parallel: int = 1) -> Runtime:
    """The run time with its losses, for a cell of `capacity_ah` in a group of `parallel`: what may be promised.

    `own` is the share of its capacity that this cell was seen to lose a month; the usual one where None. The load
    runs out when load and losses together have taken the charge: t = t0 I / (I + losses).
    """
    mean_a = run.mean_a
    from_h = float(shipped("losses")["ramp_h"]["from"])
    # Up to a week these losses are small beside the other doubts (data/losses.toml).
    if run.high_h <= from_h or mean_a <= 0:
        return run
    lost = {end: _lost_a(end, capacity_ah, own, parallel) for end in ("expected", "low", "high")}
    expected_h = _shortened(run.expected_h, lost["expected"] / mean_a)
    low_h = min(_shortened(run.low_h, lost["high"] / mean_a), expected_h)
    high_h = max(_shortened(run.high_h, lost["low"] / mean_a), expected_h)
    bare_low_h, most_h = low_h, float(shipped("losses")["promise_h"]["most"])
    low_h, left = min(low_h, most_h), expected_h / run.expected_h
    parts = [(what, left * part_h) for what, part_h in run.margin_h]
    # What the losses cost beyond their expected size is a part of the margin of its own.
    lost_h = expected_h - bare_low_h - sum(h for _, h in parts)
    parts += [("losses", lost_h), ("promise", bare_low_h - low_h)] if parts else []
    known = (*run.notes, PROMISE_NOTE) if low_h < bare_low_h else run.notes
    run = replace(run, margin_h=tuple(parts), notes=known)
    if expected_h == run.expected_h:
        return replace(run, low_h=low_h, high_h=high_h)
    share = 1.0 - left
    leak = "its own self-discharge" if own is not None else "usual self-discharge"
    note = f"{leak}, ageing and the protection's own current take {100 * share:.2g} % of the time"
    return replace(run, expected_h=expected_h, low_h=low_h, high_h=high_h, notes=(*run.notes, note))


def _lost_a(end: str, capacity_ah: float, own: Measured | None, parallel: int) -> float:
    """The mean current in A that a cell loses, at one end of what is known."""
    table = shipped("losses")
    monthly = float(table["self_discharge_per_month"][end])
    if own is not None:
        # A measured loss may be negative within its uncertainty; no cell gains charge on the shelf.
        monthly = max(0.0, {"expected": own.value, "low": own.low, "high": own.high}[end])
    ageing, board_a = float(table["ageing_per_year"][end]), float(table["protection_a"][end])
    # What ages away grows from nothing to its whole over the run: on the mean half of it was missing.
    return capacity_ah * (monthly / MONTH_H + 0.5 * ageing / YEAR_H) + board_a / parallel


def _shortened(hours: float, losses: float) -> float:
    """`losses` as a share of the load."""
    ramp = shipped("losses")["ramp_h"]
    # With a jump at a week, more load could run longer than less: the losses fade in (data/losses.toml).
    counted = min(1.0, max(0.0, (hours - ramp["from"]) / (ramp["whole"] - ramp["from"])))
    return float(hours / (1.0 + counted * losses))
