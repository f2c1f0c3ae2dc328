"""Fuses, wire, strip and board of a pack in words, every figure rounded to the safe side."""

from __future__ import annotations

import math

from straycell.matching.sheet.data import PackData
from straycell.matching.sheet.fusing import Fuse, figures
from straycell.matching.words import amps, energy, volts
from straycell.quantities import Dimension
from straycell.safe_side import at_least, at_most, two_figures

_D = Dimension


def fuse_lines(data: PackData) -> tuple[str, ...]:
    """What to fit, in the order of the work; a fault in place of a fuse that does not exist."""
    fusing = data.fusing
    where = "one fuse in the plus wire, right at the cell" if data.alone else "one fuse right at PACK PLUS"
    lines = [_fuse(where, fusing.main)]
    if fusing.each is not None:
        lines.append(
            _fuse(
                "and a fuse (or fusible strip) for each cell, between its plus end and the bar", fusing.each
            )
        )
    wire = (
        f"{fusing.wire_mm2:g} mm2 or more"
        if fusing.wire_mm2
        else "beyond the usual tables: ask an electrician"
    )
    strip = two_figures(fusing.strip_mm2, up=True)
    bars = "" if data.alone else f"; bars and links of nickel: {strip:g} mm2 or more in all"
    lines.append(f"copper wire: {wire}{bars}")
    if data.parallel > 1:
        lines.append(f"tab of each cell: {two_figures(fusing.tab_mm2, up=True):g} mm2 of nickel or more")
    care = "insulate both ends" if data.alone else "insulate every bar, work on one joint at a time"
    lines.append(f"a short circuit may drive {_short(fusing.main)}: {care}")
    return tuple(lines)


def _fuse(where: str, fuse: Fuse) -> str:
    if fuse.rated_a is None:
        return f"{where}: {fuse.fault}"
    return (
        f"{where}: {amps(fuse.rated_a)} time-lag, at least {volts(fuse.dc_v)} d.c., breaking capacity {_breaking(fuse)} "
        f"(holds {at_least(fuse.load_a, _D.CURRENT)}; it must break before {at_most(fuse.bears_a, _D.CURRENT)})"
    )


def _breaking(fuse: Fuse) -> str:
    if not math.isfinite(fuse.breaking_a):
        return "as much as can be had: the resistance is not known well enough to say"
    return f"at least {amps(fuse.breaking_a)} d.c."


def _short(fuse: Fuse) -> str:
    return (
        at_least(fuse.short_a, _D.CURRENT) if math.isfinite(fuse.short_a) else "a current that nobody knows"
    )


def danger_lines(data: PackData) -> tuple[str, ...]:
    """What lamps would get beyond their old device, what a high voltage or energy means; empty where none is."""
    high, found = figures()["high"], [data.lamps] if data.lamps else []
    if data.full_v > high["volts"]:
        found.append(f"{volts(data.full_v)} when full: {high['volts_text']}")
    if data.expected_wh > high["wh"]:
        found.append(f"{energy(data.expected_wh)}: {high['wh_text']}")
    return tuple(found)
