"""Run times at 0, 10, 25 and 40 degC against PyBaMM's full model (tables made by make_temperature_tables.py).

The blind sets were named before they were solved and set no figure. With the cell's own heat (`lumped`) a run is
longer than isothermal; the low end counts on none of it. Resistance, capacity and trace are those of 25 degC.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from tests.drawing import FULL
from tests.physics.asking import asked
from tests.physics.physics_tables import FOLDER, own_trace

from straycell.acceptance.rules import shipped_rules
from straycell.cells import Chemistry
from straycell.physics.derating import lag_ratio, own_heat_k, resistance_ratio
from straycell.physics.loads import ConstantCurrent, ConstantPower, Load
from straycell.physics.own_pulses import Pulse, Taken, is_quick
from straycell.physics.run_time.asked import MEASURES, narrowing
from straycell.physics.run_time.doubts import cases_of
from straycell.physics.run_time.runtime import OwnTrace, Runtime, estimate
from straycell.physics.shipped import median, shipped
from straycell.quantities import Measured

SETS = tuple(sorted(path.stem.removeprefix("runs_at_") for path in FOLDER.glob("runs_at_*.csv")))
GAS = 8.314
RULES = shipped_rules()


@cache
def lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


@cache
def said(name: str) -> dict[str, str]:
    """The head of a set's table."""
    pairs = (line[1:].split(":", 1) for line in lines(FOLDER / f"runs_at_{name}.csv") if line.startswith("#"))
    return {key.strip(): value.strip() for key, value in pairs}


def rows(kind: str, name: str) -> Iterator[dict[str, str]]:
    return iter(csv.DictReader(s for s in lines(FOLDER / f"{kind}_at_{name}.csv") if not s.startswith("#")))


BLIND = tuple(name for name in SETS if said(name)["role"] == "blind")


@dataclass(frozen=True)
class Compared:
    """One run of the full model beside what the tool says."""

    name: str
    at_c: float
    rate_c: float
    expected: float
    low: float
    high: float
    heat: str


@cache
def pulse_ohm(name: str, at_c: float, pulse_s: float = 1.0) -> float:
    """Resistance at half charge."""
    return next(
        float(row["ohm"])
        for row in rows("pulse", name)
        if (float(row["temperature_c"]), float(row["pulse_s"])) == (at_c, pulse_s)
    )


BASES = ("curve", "curve and pulses", "trace", "trace and pulses")
"""From what is known: the chemistry's curve or the cell's own trace; alone or with pulses of 1 and 30 s, one in the cold."""


def own_pulses(name: str, at_c: float) -> list[Pulse]:
    """Of 1 s and 30 s in a room, and of 1 s where the device works."""
    taken = {(1.0, 25.0), (30.0, 25.0), (1.0, min(at_c, 25.0))}
    return [Pulse(Measured(pulse_ohm(name, c, s), 0.0), s, c) for s, c in sorted(taken)]


def shown_quick(name: str) -> bool:
    return is_quick(float(said(name)["capacity_ah"].split()[0]), own_pulses(name, 25.0))


def told(
    name: str, load: Load, cutoff_v: float, at_c: float, trace: OwnTrace | None, pulses: Sequence[Pulse] = ()
) -> Runtime:
    words = said(name)["capacity_ah"].split()
    return estimate(
        *asked(
            Chemistry(said(name)["chemistry"]),
            Measured(float(words[0]), 0.0),
            Measured(pulse_ohm(name, 25.0), 0.0),
            load,
            cutoff_v=cutoff_v,
            temperature_c=at_c,
            own_trace=trace,
            capacity_cutoff_v=float(words[-2]),
            taken=Taken(pulses=tuple(pulses)),
        )
    )


@cache
def compared(name: str, basis: str) -> tuple[Compared, ...]:
    """Every run of a set; the trace's own run is not asked for itself."""
    found = []
    trace = own_trace(name, 0.2) if basis.startswith("trace") else None
    for row in rows("runs", name):
        at_c, rate_c, hours = (float(row[key]) for key in ("temperature_c", "rate_c", "hours"))
        if trace and (at_c, rate_c, row["kind"]) == (25.0, 0.2, "current"):
            continue
        load = {"current": ConstantCurrent, "power": ConstantPower}[row["kind"]](float(row["value"]))
        pulses = own_pulses(name, at_c) if basis.endswith("pulses") else []
        run = told(name, load, float(row["cutoff_v"]), at_c, trace, pulses)
        expected, low, high = (end / hours for end in (run.expected_h, run.low_h, run.high_h))
        found.append(Compared(name, at_c, rate_c, expected, low, high, row["heat"]))
    return tuple(found)


KNOWN = pytest.mark.parametrize("basis", BASES if FULL else (BASES[0], BASES[-1]))


@KNOWN
@pytest.mark.parametrize("name", SETS)
def test_the_low_end_is_kept_to_half_the_capacity_per_hour_at_0_to_40_and_to_1c_from_15(
    name: str, basis: str
) -> None:
    """Every load, every cut-off, worn and blind sets too; nor does any of them, warmed by its own loss, outlast the high end."""
    found = [c for c in compared(name, basis) if c.rate_c <= 0.5 or c.at_c >= 15.0]
    assert len(found) > 50 and not [c for c in found if c.low > 1.0 or c.high < 1.0]


@KNOWN
def test_the_high_end_is_no_excuse(basis: str) -> None:
    """At the median over all sets it is beyond the truth by an eighth at most where it was checked."""
    for at_c, most_c in LEAST[basis]:
        assert median([c.high for c in of_all(basis, at_c, most_c)]) <= 1.13


@pytest.mark.parametrize(
    "name", sorted({n for n in SETS if any(r["heat"] == "lumped" for r in rows("runs", n))})
)
def test_no_cell_warms_beyond_the_bound_of_its_own_loss(name: str) -> None:
    """By the loss that the tool reckons with, in W: the full model's cells stay within a degree below it."""
    ah = float(said(name)["capacity_ah"].split()[0])
    ohm = Taken().resisting(Measured(pulse_ohm(name, 25.0), 0.0))
    for row in rows("runs", name):
        if row["heat"] == "lumped":
            at_c, amps, warmest_c = (float(row[key]) for key in ("temperature_c", "value", "warmest_c"))
            case = cases_of(Chemistry(said(name)["chemistry"]), Measured(ah, 0.0), ohm, at_c)["expected"]
            loss_w = amps**2 * case.steady_ohm * case.resistance_ratio
            # The heat of mixing and of entropy, which the loss leaves out, is a degree or two at 0.2C.
            assert warmest_c <= at_c + own_heat_k(loss_w, 9.9, ah, 1) + 1.5


def test_no_cell_is_taken_to_lose_less_heat_than_it_radiates() -> None:
    """By Stefan and Boltzmann, a plastic wrap of emissivity 0.9 near 25 degC, and a sphere of the densest cell's volume."""
    radiated_w_m2k = 4.0 * 0.9 * 5.67e-8 * 298.15**3
    cm3 = 2.5 / RULES.limits["capacity-density"].value()
    surface_m2 = 1e-4 * math.pi ** (1 / 3) * (6.0 * cm3) ** (2 / 3)
    assert own_heat_k(0.1, 100.0, 2.5, 1) >= 0.1 / (radiated_w_m2k * surface_m2)


def test_a_pack_warms_more_than_a_cell_and_a_short_run_less_than_a_long_one() -> None:
    """Surface over volume falls as the cube root of the number; a watt for a minute is 60 J."""
    one, eight = (own_heat_k(0.1, 100.0, 2.5, cells) for cells in (1, 8))
    assert eight == pytest.approx(2.0 * one, abs=0.3) and own_heat_k(0.0, 100.0, 2.5, 8) == 0.0
    # 60 J in the 10.2 cm3 of the densest cell of 2.5 Ah, 2 J/(cm3 K): 2.9 K.
    assert own_heat_k(1.0, 1 / 60, 2.5, 1) == pytest.approx(2.94, abs=0.25)


# Least median of low over truth at (degC, most rate). The goals are 0.96, 0.90, 0.84 to 0.5C and 0.85 at 1C: pulses of two
# lengths reach them but for a hundredth. Without them every cell may be one whose run diffusion ends (margin.toml). With
# a pulse in the cold 0.93 and 0.90 were wished for: a measured cell and a sheet forbid it (test_measured_cells.py).
LEAST = {
    "trace and pulses": {(25.0, 0.5): 0.95, (10.0, 0.5): 0.90, (0.0, 0.5): 0.835, (25.0, 1.0): 0.85},
    "trace": {(25.0, 0.5): 0.89, (10.0, 0.5): 0.86, (0.0, 0.5): 0.74, (25.0, 1.0): 0.48},
    "curve and pulses": {(25.0, 0.5): 0.91, (10.0, 0.5): 0.85, (0.0, 0.5): 0.80, (25.0, 1.0): 0.83},
    "curve": {(25.0, 0.5): 0.86, (10.0, 0.5): 0.78, (0.0, 0.5): 0.67, (25.0, 1.0): 0.45},
}
MOST_OFF = {25.0: 0.02, 10.0: 0.055, 0.0: 0.10}


def of_all(basis: str, at_c: float, most_c: float) -> list[Compared]:
    """Runs at a temperature, up to 0.5C or at 1C alone: of all sets, or of those that their pulses show to be quick."""
    names = [name for name in SETS if not basis.endswith("pulses") or shown_quick(name)]
    found = [c for n in names for c in compared(n, basis) if c.at_c == at_c and c.heat == "isothermal"]
    return [c for c in found if (c.rate_c <= 0.5 if most_c <= 0.5 else c.rate_c == most_c)]


@KNOWN
@pytest.mark.parametrize(("at_c", "most_c"), LEAST["trace"])
def test_the_low_end_is_no_excuse_in_the_cold(at_c: float, most_c: float, basis: str) -> None:
    """At the median over all sets, blind and worn ones too."""
    assert median([c.low for c in of_all(basis, at_c, most_c)]) >= LEAST[basis][at_c, most_c]


@KNOWN
@pytest.mark.parametrize("at_c", MOST_OFF)
def test_the_expected_time_in_the_cold_is_off_by_at_most_a_tenth(at_c: float, basis: str) -> None:
    """At the median up to 0.5C."""
    assert median([abs(c.expected - 1.0) for c in of_all(basis, at_c, 0.5)]) <= MOST_OFF[at_c]


def test_the_blind_sets_are_those_named_before_they_were_solved() -> None:
    """By the history of the script: three for the first margins, four more for those that own pulses narrow.

    One of the four, ORegan2022-spent, broke `low` by up to 10 % in the cold: what a cell of unknown pulses may be was
    widened for it, and it is blind no more. The other three were only looked at afterwards.
    """
    assert set(BLIND) == {"OKane2022", "Ai2020-worn", "Marquis2019-worn"}
    assert {name for name in SETS if said(name)["role"] == "blind to pulses"} == {
        "Ramadass2004",
        "Ramadass2004-worn",
        "Mohtat2020-spent",
        "ORegan2022-spent",
    }


def test_self_heating_only_lengthens_a_run() -> None:
    """Which is why counting on none of it is the cautious side."""
    for name in SETS:
        runs = {
            (row["temperature_c"], row["rate_c"], row["cutoff_v"], row["heat"]): float(row["hours"])
            for row in rows("runs", name)
            if row["kind"] == "current"
        }
        for (at_c, rate_c, cutoff_v, heat), hours in runs.items():
            if heat == "lumped":
                assert hours >= 0.999 * runs[at_c, rate_c, cutoff_v, "isothermal"]


def lag_h(name: str, at_c: float) -> float:
    """Charge that 0.5C leaves behind against 0.2C, in h, to the set's lower cut-off."""
    low_v = float(said(name)["capacity_ah"].split()[-2])
    charge = {
        float(row["rate_c"]): float(row["ah"])
        for row in rows("runs", name)
        if (row["heat"], row["kind"]) == ("isothermal", "current")
        and (float(row["temperature_c"]), float(row["cutoff_v"])) == (at_c, low_v)
    }
    return (charge[0.2] - charge[0.5]) / 0.3


def test_the_activation_energies_are_those_of_the_tables() -> None:
    """R ln(ratio) / (1/T - 1/T0) from 0 and 25 degC, of the used sets that are not worn."""
    data = shipped("temperature")
    names = [name for name in SETS if said(name)["role"] == "used" and "worn" not in name]
    names.sort(key=lambda name: data["resistance"]["source"].index(name))
    colder = 1 / 273.15 - 1 / 298.15
    stiff = [GAS * math.log(pulse_ohm(n, 0.0) / pulse_ohm(n, 25.0)) / colder / 1000 for n in names]
    slow = [GAS * math.log(lag_h(n, 0.0) / lag_h(n, 25.0)) / colder / 1000 for n in names]
    assert data["resistance"]["kj_mol"] == pytest.approx(stiff, abs=0.1)
    assert data["lag"]["kj_mol"] == pytest.approx(slow, abs=0.1)


def test_a_trace_taken_in_the_cold_narrows_the_low_end_there() -> None:
    """What it shows is no doubt any more: the same run at 0 degC, with the trace of 25 degC and with one of 0 degC."""
    name, cutoff_v = "Marquis2019", 3.3
    warm = own_trace(name, 0.2)
    # A trace at 0 degC by the tool's own law: only the width of the answers is compared.
    stiff, slow = resistance_ratio(0.0).expected, lag_ratio(0.0).expected
    assert stiff > 1.5 and slow > 1.5
    cold = OwnTrace(warm.ah_out, warm.voltage_v, warm.current_a, temperature_c=0.0)
    load = ConstantCurrent(warm.current_a if isinstance(warm.current_a, float) else warm.current_a[0])
    runs = [told(name, load, cutoff_v, 0.0, trace) for trace in (warm, cold)]
    before, after = (run.low_h / run.expected_h for run in runs)
    assert after > before + 0.03 and not {"cold", "stiff"} & {p for p, h in runs[1].margin_h if h > 0}


@pytest.mark.parametrize(
    ("rate_c", "at_c", "is_checked"),
    [
        (0.5, 0.0, True),
        (0.5, 40.0, True),
        (0.55, 0.0, False),
        (1.0, 15.0, True),
        (1.0, 40.0, True),
        (1.0, 14.0, False),
        (0.2, -1.0, False),
        (0.2, 41.0, False),
    ],
)
def test_beyond_what_was_checked_it_says_so(rate_c: float, at_c: float, is_checked: bool) -> None:
    """Both ends stay figures, but no promise."""
    load = ConstantCurrent(rate_c * 0.86742)
    run = told("Marquis2019", load, 3.2, at_c, own_trace("Marquis2019", 0.2))
    assert any("a promise" in note for note in run.notes) is not is_checked


def test_a_cell_is_shown_quick_by_both_of_its_pulses_only_and_never_within_their_uncertainty() -> None:
    """No set that diffusion ends early at 1C is; a pair with a doubt that reaches the limit says nothing."""
    slow = {name for name in SETS if not shown_quick(name)}
    assert {"ORegan2022", "ORegan2022-worn", "ORegan2022-spent", "OKane2022"} <= slow
    ah = float(said("Ai2020")["capacity_ah"].split()[0])
    pair = own_pulses("Ai2020", 25.0)
    assert is_quick(ah, pair) and not is_quick(ah, pair[:1]) and not is_quick(ah, [])
    vague = [Pulse(Measured(p.resistance.value, 0.1 * p.resistance.value), p.seconds, 25.0) for p in pair]
    apart = [pair[0], Pulse(pair[1].resistance, 30.0, 5.0)]
    assert not is_quick(ah, vague) and not is_quick(ah, apart)


def test_a_pulse_in_the_cold_counts_where_it_was_taken() -> None:
    """Of a quick cell that is known to be stiff the run is shorter, of a supple one longer; a slow one never gains."""
    load = ConstantCurrent(0.43)
    warm = own_pulses("Marquis2019", 25.0)
    run = {}
    for factor in (1.0, 4.0):
        cold = Pulse(Measured(factor * warm[0].resistance.value, 0.0), 1.0, 0.0)
        run[factor] = told("Marquis2019", load, 3.3, 0.0, own_trace("Marquis2019", 0.2), [*warm, cold])
    unknown = told("Marquis2019", load, 3.3, 0.0, own_trace("Marquis2019", 0.2), warm)
    assert run[4.0].expected_h < unknown.expected_h < run[1.0].expected_h
    assert run[4.0].low_h < unknown.low_h < run[1.0].low_h
    supple = Pulse(Measured(warm[0].resistance.value, 0.0), 1.0, 0.0)
    slow = [told("Marquis2019", load, 3.3, 0.0, None, pulses) for pulses in ([warm[0]], [warm[0], supple])]
    assert slow[1].low_h <= slow[0].low_h


def test_a_resistance_taken_in_the_cold_is_not_one_of_a_room() -> None:
    """The same cell measured at 0 degC: the run at 25 is that of its warm resistance, within the sets' spread."""
    name, load = "Mohtat2020", ConstantCurrent(0.5 * 4.9)
    ah = float(said(name)["capacity_ah"].split()[0])
    warm, cold = Measured(pulse_ohm(name, 25.0), 0.0), Measured(pulse_ohm(name, 0.0), 0.0)
    kind = Chemistry(said(name)["chemistry"])
    runs = [
        estimate(
            *asked(kind, Measured(ah, 0.0), ohm, load, cutoff_v=3.3, taken=Taken(temperature_c=at_c))
        ).expected_h
        for ohm, at_c in ((warm, 25.0), (cold, 0.0), (cold, None))
    ]
    assert runs[2] < 0.98 * runs[0] and runs[1] == pytest.approx(runs[0], rel=0.02)


def test_one_line_says_which_measurement_would_narrow_a_wide_low_end() -> None:
    """More than 15 % given away: a trace at the device's current at 1C, one in the cold at 0 degC; else nothing."""
    name, trace = "Marquis2019", own_trace("Marquis2019", 0.2)
    fast = told(name, ConstantCurrent(0.86), 3.2, 25.0, trace)
    assert "a discharge trace at the device's own current" in narrowing(fast)
    cold = told(name, ConstantCurrent(0.17), 3.2, -20.0, trace)
    assert MEASURES["cold"] in narrowing(cold)
    assert narrowing(told(name, ConstantCurrent(0.1), 3.2, 25.0, trace)) == ""
