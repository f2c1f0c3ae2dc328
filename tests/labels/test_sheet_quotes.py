"""What stands on a build sheet: read back from the file and held against the plan, and every limit reckoned again.

The reckoning here knows Ohm, Kirchhoff and the published tables alone; nothing of it is the product's.
"""

from __future__ import annotations

import math
import os
import random
from itertools import pairwise
from pathlib import Path

import pypdfium2
import pytest
from tests.drawing import thinned
from tests.labels.sheet_reader import Quoted, QuotedFuse, read_sheet
from tests.matching.pack_bench import marked, packed, resting, wanted
from tests.matching.single_bench import LIMITS, NOW

from straycell.acceptance.rules import shipped_rules
from straycell.bench.context import Bench
from straycell.bench.paper.build_sheet import sheet_of
from straycell.labels.build_sheet import BuildSheet
from straycell.labels.build_sheet_render import build_sheet_pdf
from straycell.matching import Candidate, as_built
from straycell.matching.screen import Screen, screen_candidate
from straycell.matching.screen.demand import Demand
from straycell.physics.loads import ConstantCurrent
from straycell.projects import Project

Groups = list[list[Candidate]]
BENCH = Bench(Path("nowhere"), shipped_rules(), NOW)
DUST = 1 + 1e-6
PLANS = int(os.environ.get("STRAYCELL_PLANS", "60"))
"""240 in the long run; each is drawn from its own number."""

# An 18650 sheet: 0.1C from 0 to 5 degC, 0.2C to 15, 0.5C to 45, each taken where it is surely reached.
SHEET_C = [(10.0, 0.2), (15.0, 0.2), (20.0, 0.5), (45.0, 0.5)]
# IEC 60127-2 (time-lag): holds 1.5 times for an hour, melts at 2.1; IEC 60269-1 (gG): 1.25 and 1.9.
MINIATURE = (
    0.1,
    0.125,
    0.16,
    0.2,
    0.25,
    0.315,
    0.4,
    0.5,
    0.63,
    0.8,
    1,
    1.25,
    1.6,
    2,
    2.5,
    3.15,
    4,
    5,
    6.3,
    8,
    10,
)
LARGER = (12, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200)
# DIN VDE 0298-4, table 11, column 5 (0.5 mm2: hand-held devices): mm2 and A.
COPPER = dict(
    zip(
        (0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95),
        (3, 12, 15, 18, 26, 34, 44, 61, 82, 108, 135, 168, 207, 250),
        strict=True,
    )
)
NICKEL_A_MM2 = 4.0
OVERLOAD_C = 3.0


def ohm(c: Candidate) -> float:
    assert c.resistance is not None
    return c.resistance.value


def lowest_ohm(c: Candidate) -> float:
    assert c.resistance is not None
    return c.resistance.value - 2 * c.resistance.u


def surely_ah(c: Candidate) -> float:
    assert c.capacity is not None
    return c.capacity.value - 2 * c.capacity.u


def share(group: list[Candidate], which: int) -> float:
    """Kirchhoff: what this cell carries of its group's current at its lowest resistance, the others as measured."""
    conductances = [1 / (lowest_ohm(c) if k == which else ohm(c)) for k, c in enumerate(group)]
    return conductances[which] / sum(conductances)


def worst(groups: Groups, current_a: float, may_c: float) -> float:
    """How near the worst cell comes to what it may have at this rate; 1 is at it."""
    return max(
        current_a * share(group, k) / (may_c * surely_ah(c)) for group in groups for k, c in enumerate(group)
    )


def rate_at(temperature_c: float) -> float:
    """The sheet's charge rate, straight lines between its corners."""
    for (low_c, low), (high_c, high) in pairwise(SHEET_C):
        if low_c <= temperature_c <= high_c:
            return low + (high - low) * (temperature_c - low_c) / (high_c - low_c)
    return 0.0


def check_fuse(
    fuse: QuotedFuse, steady_a: float, peak_a: float, bears_a: float, full_v: float, short_a: float
) -> None:
    """Between the highest load and the weakest part, of the usual series, and able to break what can flow."""
    holds, melts = (1.5, 2.1) if fuse.rated_a in MINIATURE else (1.25, 1.9)
    assert fuse.rated_a in MINIATURE + LARGER
    assert steady_a <= 0.75 * fuse.rated_a * DUST and peak_a <= holds * fuse.rated_a * DUST
    assert melts * fuse.rated_a <= bears_a * DUST
    assert fuse.holds_a >= peak_a / DUST and fuse.before_a <= bears_a * DUST
    assert fuse.dc_v >= full_v and fuse.breaking_a is not None and fuse.breaking_a >= short_a


def check_limits(told: Quoted, asked: Project, groups: Groups, full_v: float) -> None:
    """Every limit on a sheet, from the cells' own figures; `full_v` of one cell."""
    series, parallel = len(groups), len(groups[0])
    assert isinstance(asked.load, ConstantCurrent)
    load_a = asked.load.current_a
    peak_a = max(load_a, asked.need.peak_current_a or 0.0)
    charge_a = asked.charge.current_a if asked.charge and asked.charge.current_a else 0.0
    # Charge and discharge, by temperature, from the worst share.
    assert told.charge[0][0] == 10.0 and told.charge[-1][1] == 45.0
    for low_c, high_c, most_a in told.charge:
        for at_c in (low_c, 0.5 * (low_c + high_c), high_c):
            assert worst(groups, most_a, rate_at(at_c)) <= DUST
    assert worst(groups, told.steady_a, 0.5) <= DUST and worst(groups, told.moment_a, 1.0) <= DUST
    # Not timid either: two figures of the most that is allowed.
    assert worst(groups, told.steady_a, 0.5) > 0.9
    assert load_a <= told.steady_a * 1.1 and worst(groups, load_a, 0.5) <= DUST
    assert told.charge_to_v <= series * full_v + 0.005 and told.full_v <= series * full_v + 0.005
    assert told.charger_ends_v <= series * (full_v + 0.05) * DUST
    # Fuses: the whole pack's, and that of a cell which its neighbours feed.
    bears_a = min(OVERLOAD_C * surely_ah(c) / share(g, k) for g in groups for k, c in enumerate(g))
    short_a = 4.2 * series / sum(1 / sum(1 / lowest_ohm(c) for c in g) for g in groups)
    steady_a = max(load_a, charge_a)
    check_fuse(told.main, steady_a, max(peak_a, charge_a), bears_a, series * full_v, short_a)
    assert told.short_a is not None and told.short_a >= short_a
    most = max(share(g, k) for g in groups for k in range(parallel))
    assert (told.each is None) == (parallel == 1)
    if told.each is not None:
        weakest_a = OVERLOAD_C * min(surely_ah(c) for g in groups for c in g)
        fed_a = max(
            4.2 * sum(1 / lowest_ohm(c) for c in g if c is not shorted) for g in groups for shorted in g
        )
        check_fuse(
            told.each, most * steady_a, most * max(peak_a, charge_a), weakest_a, series * full_v, fed_a
        )
        assert told.tab_mm2 is not None and told.tab_mm2 >= most * told.main.rated_a / NICKEL_A_MM2 / DUST
    # What carries the current until the fuse melts.
    assert told.wire_mm2 is not None and COPPER[told.wire_mm2] >= told.main.rated_a
    if series * parallel > 1:
        assert told.strip_mm2 is not None and told.strip_mm2 >= told.main.rated_a / NICKEL_A_MM2 / DUST
    if parallel > 1:
        # Unequal voltages even out through both cells' resistances, with no more than 0.2C of the smaller side.
        assert told.apart_v is not None and told.apart_v <= 0.030
        for group in groups:
            for k, c in enumerate(group):
                bank = [other for j, other in enumerate(group) if j != k]
                bank_ohm = 1 / sum(1 / ohm(other) for other in bank)
                smaller_ah = min(surely_ah(c), sum(map(surely_ah, bank)))
                assert told.apart_v / (lowest_ohm(c) + bank_ohm) <= 0.2 * smaller_ah * DUST
    # The board: nothing trips at the peak (it may trip at 0.8 of its figure, two transistors 0.57 warm), nor too late.
    assert told.stops_v[0] <= full_v + 0.005 <= told.stops_v[1] + 0.005 <= full_v + 0.06
    assert told.stops_v[2] >= 2.5
    if told.trip_a is not None:
        assert told.trip_a[0] >= peak_a / (0.8 * DUST) and told.trip_a[1] <= bears_a / 1.2 * DUST
    if series > 1:
        held = [sum(c.capacity.value for c in g if c.capacity) for g in groups]
        assert told.balance_a is not None and told.balance_a >= (max(held) - min(held)) / 10
    if told.test_load is not None:
        resistor, watts, falls_v = told.test_load
        drawn_a = series * full_v / resistor
        assert series * full_v * drawn_a <= watts and drawn_a <= load_a * DUST
        assert falls_v >= drawn_a * sum(1 / sum(1 / ohm(c) for c in g) for g in groups) / DUST
    # Energy between the weakest group at 3.5 and at 3.9 V a cell, two figures rounded down.
    least_ah = min(sum(surely_ah(c) for c in g) for g in groups)
    assert 3.5 * series * least_ah * 0.9 <= told.low_wh <= told.expected_wh
    assert told.expected_wh <= 3.9 * series * min(
        sum(c.capacity.value for c in g if c.capacity) for g in groups
    )


def plain(sheet: BuildSheet) -> str:
    """Its sentences without the drawing."""
    return "\n".join((*sheet.facts, *(line for section in sheet.sections for line in section.lines)))


def printed(sheet: BuildSheet) -> str:
    """The text of its file, page after page."""
    document = pypdfium2.PdfDocument(build_sheet_pdf(sheet, NOW))
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def stock(
    series: int, parallel: int, seed: int, *, spread: float = 0.1, full_v: float | None = None
) -> list[Candidate]:
    """Cells enough and three more, unevenly used."""
    chance = random.Random(seed)
    return [
        resting(
            marked(
                n,
                round(chance.gauss(2.4, spread), 3),
                u_ah=chance.choice([0.005, 0.02]),
                resistance_ohm=round(chance.uniform(0.040, 0.055), 4),
                u_ohm=chance.choice([0.0003, 0.001]),
                full_v=full_v,
            ),
            round(chance.uniform(3.78, 3.82), 3),
        )
        for n in range(series * parallel + 3)
    ]


def device(series: int, parallel: int, seed: int) -> Project:
    """A load, sometimes with peaks and a charger of its own."""
    chance = random.Random(seed)
    load_a = round(chance.uniform(0.05, 0.42) * 2.2 * parallel, 4)
    peak = f'peak_current = "{round(chance.uniform(1.1, 1.9) * load_a, 4)}A"' if chance.random() < 0.5 else ""
    charge = ""
    if chance.random() < 0.6:
        charge_a = round(chance.uniform(0.05, 0.4) * 2.2 * parallel, 3)
        charge = (
            f'current = "{charge_a}A"\nvoltage = "{4.1 * series:.2f}V"\ntolerance = "1%"\ntemperature = "25C"'
        )
    return wanted(
        series,
        parallel,
        load=f'current = "{load_a}A"',
        runtime=f"{round(0.4 * 2.2 * parallel / load_a, 3)}h",
        cutoff=f"{3.0 * series:.1f}V",
        need=peak,
        charge=charge,
    )


def planned(asked: Project, cells: list[Candidate]) -> tuple[Groups, str] | None:
    """The groups of a served plan, and its hash."""
    found = packed(asked, *cells)
    by_code = {c.code: c for c in cells}
    return ([[by_code[code] for code in g] for g in found.groups], found.plan or "") if found.served else None


@pytest.mark.parametrize("part", thinned(range(4)))
def test_every_limit_on_the_sheet_of_a_served_plan_holds(part: int) -> None:
    """Random packs of one to five in series and one to five in parallel, read from the sentences and reckoned again."""
    served = 0
    for seed in range(part, PLANS, 4):
        series, parallel = 1 + seed // 4 % 5, 1 + seed // 20 % 5
        full_v = 4.10 if seed % 7 == 0 else None
        asked, cells = device(series, parallel, seed), stock(series, parallel, seed, full_v=full_v)
        if (plan := planned(asked, cells)) is None:
            continue
        served += 1
        told = read_sheet(plain(sheet_of(asked, *plan, BENCH)))
        check_limits(told, asked, plan[0], full_v or 4.2)
    assert served >= PLANS / 4 / 2


def test_the_check_itself_notices_a_limit_that_is_a_tenth_too_high() -> None:
    """The same sheet with its steady current, its fuse or its charge span raised is not passed."""
    asked, cells = device(3, 2, 5), stock(3, 2, 5)
    plan = planned(asked, cells)
    assert plan is not None
    text = plain(sheet_of(asked, *plan, BENCH))
    told = read_sheet(text)
    check_limits(told, asked, plan[0], 4.2)
    for wrong in (
        told.__class__(**{**vars(told), "steady_a": 1.1 * told.steady_a}),
        told.__class__(**{**vars(told), "charge": [(low, high, 1.1 * a) for low, high, a in told.charge]}),
        told.__class__(**{**vars(told), "main": QuotedFuse(16.0, 32.0, 1500.0, 0.1, 99.0)}),
        told.__class__(**{**vars(told), "charge_to_v": told.charge_to_v + 0.1}),
    ):
        with pytest.raises(AssertionError):
            check_limits(wrong, asked, plan[0], 4.2)


@pytest.mark.parametrize(("series", "parallel"), [(1, 1), (1, 2), (3, 2), (4, 4), (13, 20)])
def test_the_printed_sheet_is_the_plan(series: int, parallel: int) -> None:
    """Read back from the PDF's text: every cell at its position with its figures, every limit as in the plan."""
    asked, cells = device(series, parallel, 3), stock(series, parallel, 3)
    # The search for 13 groups of 20 takes its time and is tested elsewhere: as they lie, they are a pack, too.
    as_they_lie = [cells[parallel * g : parallel * (g + 1)] for g in range(series)]
    plan = (as_they_lie, "by-hand") if series > 4 else planned(asked, cells)
    assert plan is not None
    groups, name = plan
    text = printed(sheet_of(asked, groups, name, BENCH))
    told, data = read_sheet(text), as_built(asked, groups, LIMITS, NOW).data
    assert data is not None and name in text
    words, codes = text.split(), {c.code for g in groups for c in g}
    for number, group in enumerate(groups, 1):
        for place, c in enumerate(group):
            position = f"{number}{chr(ord('a') + place)}"
            if series * parallel > 1:
                # On both sides, in the list and in the order of work: the position, then this code and no other.
                named = [after.strip(",") for before, after in pairwise(words) if before == position]
                assert named.count(c.code) >= 3 and not codes - {c.code} & set(named)
    assert told.full_v == pytest.approx(data.full_v, abs=0.05)
    assert [(low, high) for low, high, _ in told.charge] == [(s.from_c, s.to_c) for s in data.currents.charge]
    pairs = [(a, s.most_a) for (_, _, a), s in zip(told.charge, data.currents.charge, strict=True)]
    pairs += [(told.steady_a, data.currents.discharge_a), (told.moment_a, data.currents.peak_a)]
    for shown, exact in pairs:
        # Two figures, rounded down: never above, never a tenth below.
        assert 0.9 * exact < shown <= exact * DUST
    assert told.main.rated_a == data.fusing.main.rated_a and told.main.dc_v == data.fusing.main.dc_v
    assert told.main.breaking_a == data.fusing.main.breaking_a
    assert (told.each.rated_a if told.each else None) == (
        data.fusing.each.rated_a if data.fusing.each else None
    )
    assert told.wire_mm2 == data.fusing.wire_mm2
    check_limits(told, asked, groups, 4.2)


def test_one_function_says_what_a_cell_is_charged_with() -> None:
    """Sheet, match and charger check: the same digits for one cell, at every temperature and by every outcome."""
    for seed in thinned(range(60)):
        chance = random.Random(seed)
        c = stock(1, 1, seed)[0]
        at_c = round(chance.uniform(10, 45), 1)
        asked = wanted(
            1, 1, load='current = "50mA"', runtime="5h", cutoff="3V",
            charge=f'current = "0.1A"\nvoltage = "4.1V"\ntolerance = "1%"\ntemperature = "{at_c}C"',
        )  # fmt: skip
        why = {w.test: w for w in screen_candidate(Screen(Demand(asked), LIMITS, NOW), c).reasons}
        assert why["charger-current"].limit == pytest.approx(min(0.5, rate_at(at_c)) * surely_ah(c))
        told = read_sheet(plain(sheet_of(asked, [[c]], "", BENCH)))
        most_a = next(a for low, high, a in told.charge if low <= at_c <= high)
        assert most_a <= min(0.5, rate_at(at_c)) * surely_ah(c) * DUST
        assert math.isclose(told.charge[-1][2], 0.5 * surely_ah(c), rel_tol=0.1)
