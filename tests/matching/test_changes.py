"""What change would serve a project: said only when the match, run again with it, serves."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.matching.pack_bench import STRING, shelf
from tests.matching.single_bench import LIMITS, NOW, cell, project

from straycell.matching import Candidate, Match, serve
from straycell.physics.loads import Lamps
from straycell.projects import Project
from straycell.quantities import ANY_WINDOW, Dimension, parse_quantity

LAMPS = 'lamps = { count = 24, drop = "0.55V", across = "10ohm", supply = "3.0V" }'


def asked(wanted: Project, *cells: Candidate) -> Match:
    return serve(wanted, cells, LIMITS, now=NOW)


def told(found: Match, pattern: str) -> re.Match[str]:
    """The one line of what is missing that says this."""
    lines = [m for line in found.missing if (m := re.search(pattern, line))]
    assert len(lines) == 1, found.missing
    return lines[0]


def hours_of(text: str) -> float:
    return parse_quantity(text, Dimension.DURATION, window=ANY_WINDOW) / 3600.0


def test_a_larger_series_resistor_is_proposed_with_the_hours_it_gives() -> None:
    """24 lamps of 55 mA in all draw three times that from a full cell; an E24 value keeps them within it, and is re-run."""
    lamps, one = project(LAMPS, runtime="40h", cutoff="2.5V"), cell(0, 2.0, u_ah=0.02, resistance_ohm=0.06)
    found = asked(lamps, one)
    assert not found.served and isinstance(lamps.load, Lamps)
    line = told(found, r"a series resistor of (\S+ k?ohm) instead of 10 ohm would give (.+)$")
    ohm = parse_quantity(line[1], Dimension.RESISTANCE, window=ANY_WINDOW)
    changed = replace(lamps, load=lamps.load.with_resistor(ohm))
    again = asked(changed, one)
    assert again.served and again.runtime is not None
    assert again.runtime.low_h == pytest.approx(hours_of(line[2]), rel=0.01) and again.runtime.low_h >= 40
    assert changed.load.current_at(4.2) <= lamps.load.measured_a * 1.001
    assert not any("resistor" in text for text in again.warnings)


def test_no_resistor_is_proposed_where_none_serves() -> None:
    """A year is beyond any resistor at which the lamps still light."""
    found = asked(project(LAMPS, runtime="8000h", cutoff="2.5V"), cell(0, 2.0))
    assert not found.served and not any("series resistor" in line for line in found.missing)


def test_a_lower_cut_off_is_proposed_for_one_cell_too() -> None:
    """A device that stops at 3.5 V leaves a third in the cell; the line is re-run before it is said."""
    wanted, one = (
        project('current = "100mA"', runtime="15h", cutoff="3.6V"),
        cell(0, 2.0, resistance_ohm=0.06),
    )
    line = told(asked(wanted, one), r"a cut-off of (\S+ V) would give (.+) with the cells at hand")
    need = replace(wanted.need, cutoff_v=parse_quantity(line[1], Dimension.VOLTAGE))
    again = asked(replace(wanted, need=need), one)
    assert again.served and again.runtime is not None
    assert again.runtime.low_h == pytest.approx(hours_of(line[2]), rel=0.02)


def test_a_shorter_need_is_proposed_for_one_cell() -> None:
    """What the best cell surely gives, to three figures."""
    wanted, one = project('current = "100mA"', runtime="30h"), cell(0, 2.0)
    line = told(asked(wanted, one), r"a need of (\S+) h would be served")
    again = asked(replace(wanted, need=replace(wanted.need, runtime_h=float(line[1]))), one)
    assert again.served and 10 < float(line[1]) < 20


@pytest.mark.parametrize("setting", ['current = "2A"', 'programming_resistor = "1.2kohm"'])
def test_a_gentler_charger_is_proposed_and_serves(setting: str) -> None:
    """For the cell that bears most of those at hand, by current or by resistor."""
    charge = f'{setting}\nmeasured_float = "4.18V"\ntemperature = "20C"'
    wanted = project('current = "50mA"', runtime="5h", charge=charge)
    cells = [cell(0, 1.0), cell(1, 1.2)]
    found = asked(wanted, *cells)
    line = told(found, r"(?:a charger set to|a programming resistor of) (\S+ \S+?)[ ].*would serve it")
    assert wanted.charge is not None
    if "A" in line[1]:
        changed = replace(wanted.charge, current_a=parse_quantity(line[1], Dimension.CURRENT))
    else:
        ohm = parse_quantity(line[1], Dimension.RESISTANCE, window=ANY_WINDOW)
        changed = replace(wanted.charge, programming_resistor_ohm=ohm)
    assert asked(replace(wanted, charge=changed), *cells).served


def test_a_pack_of_lamps_gets_the_same_proposals() -> None:
    """Two in series of six cells: a cut-off or a resistor, each of which serves when it is tried."""
    lamps = 'lamps = { count = 24, drop = "1.2V", across = "22ohm", supply = "6.0V" }'
    wanted = project(lamps, runtime="45h", cutoff="5.4V", pack="series = 2\nparallel = 1", protection=STRING)
    found = asked(wanted, *shelf(6))
    assert not found.served and isinstance(wanted.load, Lamps)
    line = told(found, r"a series resistor of (\S+ k?ohm) instead of 22 ohm would give (.+)$")
    ohm = parse_quantity(line[1], Dimension.RESISTANCE, window=ANY_WINDOW)
    assert asked(replace(wanted, load=wanted.load.with_resistor(ohm)), *shelf(6)).served
