"""A build sheet read back as a person reads it: the figures out of its sentences, in volts, amperes, ohms and mm2."""

from __future__ import annotations

import re
from dataclasses import dataclass

_SCALE = {"": 1.0, "m": 1e-3, "u": 1e-6, "k": 1e3}
NUMBER = r"(\d+(?:\.\d+)?) (k|m|u)?"


@dataclass(frozen=True)
class QuotedFuse:
    """One fuse: its rating, what it holds and must break before (A), d.c. voltage, and breaking capacity (A)."""

    rated_a: float
    dc_v: float
    breaking_a: float | None
    holds_a: float
    before_a: float


@dataclass(frozen=True)
class Quoted:
    """Everything with a number on the sheet; `charge` is (from degC, to degC, A) of each span."""

    empty_v: float
    nominal_v: float
    full_v: float
    low_wh: float
    expected_wh: float
    charge_to_v: float
    charge: list[tuple[float, float, float]]
    steady_a: float
    moment_a: float
    main: QuotedFuse
    each: QuotedFuse | None
    wire_mm2: float | None
    strip_mm2: float | None
    tab_mm2: float | None
    short_a: float | None
    trip_a: tuple[float, float] | None
    stops_v: tuple[float, float, float]
    balance_a: float | None
    test_load: tuple[float, float, float] | None
    charger_ends_v: float
    apart_v: float | None


def amount(match: re.Match[str], at: int = 1) -> float:
    """The number at group `at` and its prefix after it."""
    return float(match[at]) * _SCALE[match[at + 1] or ""]


def read_sheet(text: str) -> Quoted:
    """The figures of a sheet. Raises where a sentence that every sheet has is missing."""
    told = " ".join(text.split())

    def must(pattern: str) -> re.Match[str]:
        found = re.search(pattern, told)
        assert found is not None, (pattern, told)
        return found

    def may(pattern: str) -> float | None:
        found = re.search(pattern, told)
        return amount(found) if found else None

    data = must(
        r"([\d.]+) V empty, ([\d.]+) V nominal, ([\d.]+) V full; ([\d.]+) Wh at the low end, ([\d.]+) Wh expected"
    )
    charge = must(
        rf"charge (?:the string of \d+|it) to {NUMBER}V at most, with at most (.*?); colder or warmer"
    )
    spans = [
        (float(m[3]), float(m[4]), amount(m))
        for m in re.finditer(rf"{NUMBER}A at ([\d.]+) to ([\d.]+) C", charge[3])
    ]
    give = must(rf"may give {NUMBER}A steadily, {NUMBER}A for a moment")
    stops = must(r"stops the charge between ([\d.]+) and ([\d.]+) V a cell, the discharge at ([\d.]+) V")
    trip = re.search(rf"trips \([^)]*\) between {NUMBER}A and {NUMBER}A", told)
    load = re.search(rf"a resistor of {NUMBER}ohm, {NUMBER}W.*?falls by no more than {NUMBER}V", told)
    return Quoted(
        empty_v=float(data[1]),
        nominal_v=float(data[2]),
        full_v=float(data[3]),
        low_wh=float(data[4]),
        expected_wh=float(data[5]),
        charge_to_v=amount(charge),
        charge=spans,
        steady_a=amount(give),
        moment_a=amount(give, 3),
        main=_fuse(told, "one fuse (?:in the plus wire, right at the cell|right at PACK PLUS)"),
        each=_fuse(told, "between its plus end and the bar") if "for each cell, between" in told else None,
        wire_mm2=may(r"copper wire: ([\d.]+) ()mm2"),
        strip_mm2=may(r"links of nickel: ([\d.]+) ()mm2"),
        tab_mm2=may(r"tab of each cell: ([\d.]+) ()mm2"),
        short_a=may(rf"a short circuit may drive {NUMBER}A"),
        trip_a=(amount(trip), amount(trip, 3)) if trip else None,
        stops_v=(float(stops[1]), float(stops[2]), float(stops[3])),
        balance_a=may(rf"balances at the top with at least {NUMBER}A"),
        test_load=(amount(load), amount(load, 3), amount(load, 5)) if load else None,
        charger_ends_v=amount(must(rf"without cells, ends at {NUMBER}V or less")),
        apart_v=may(rf"join only cells within {NUMBER}V of each other"),
    )


def _fuse(told: str, where: str) -> QuotedFuse:
    found = re.search(
        rf"{where}: {NUMBER}A time-lag, at least ([\d.]+) V d\.c\., breaking capacity "
        rf"(?:at least {NUMBER}A d\.c\.|as much as can be had[^(]*) "
        rf"\(holds {NUMBER}A; it must break before {NUMBER}A\)",
        told,
    )
    assert found is not None, (where, told)
    breaking = amount(found, 4) if found[4] else None
    return QuotedFuse(amount(found), float(found[3]), breaking, amount(found, 6), amount(found, 8))
