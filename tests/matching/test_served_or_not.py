"""Small stocks by brute force: a pack is served exactly when any choice of cells passes every check.

The enumeration here knows no search: it forms every group and every pack there is, and asks the checks alone.
"""

from __future__ import annotations

import os
import random
import re
from itertools import combinations

import pytest
from tests.drawing import few, thinned
from tests.matching.pack_bench import large_stock, marked, packed, shelf, wanted
from tests.matching.single_bench import LIMITS, NOW

from straycell.matching import Candidate
from straycell.matching.pack.groups import equivalent, judge_group
from straycell.matching.pack.kinds import by_kind
from straycell.matching.pack.shape_search import best_shape
from straycell.matching.screen.demand import Demand, Screen
from straycell.matching.screen.running import lasts, runs
from straycell.matching.screen.screening import usable
from straycell.projects import Project

STOCKS, PARTS = int(os.environ.get("STRAYCELL_STOCKS", few(96))), len(thinned(range(8)))
"""2,000 in the long run; each is drawn from its own number."""
SHAPES = [(1, 2), (2, 1), (2, 2), (1, 3), (3, 1), (3, 2)]


def drawn(seed: int) -> tuple[Project, list[Candidate]]:
    """A stock of up to seven cells, uneven, and a load near what some choice of them can do."""
    chance = random.Random(seed)
    series, parallel = SHAPES[seed % len(SHAPES)]
    count = chance.randint(series * parallel, max(series * parallel, 7))
    vague = chance.choice([0.0, 0.01, 0.05])
    cells = [
        marked(
            n,
            round(chance.gauss(2.2, 0.35), 3),
            marking=chance.choice(["A", "A", "A", "B"]) if count > 5 else "A",
            u_ah=0.01,
            resistance_ohm=(ohm := round(chance.uniform(0.03, 0.07), 4)),
            u_ohm=vague * ohm,
        )
        for n in range(count)
    ]
    rate = chance.uniform(0.25, 0.52)
    load_a = rate * 2.1 * parallel
    hours = 2.1 * parallel / load_a * chance.uniform(0.6, 0.95)
    need = f'peak_current = "{1.5 * load_a:.4f}A"' if chance.random() < 0.3 else ""
    charge = ""
    if chance.random() < 0.3:
        most_a = chance.uniform(0.3, 0.5) * 2.1 * parallel
        charge = f'current = "{most_a:.3f}A"\nvoltage = "{4.18 * series:.2f}V"\ntolerance = "1%"\ntemperature = "20C"'
    asked = wanted(
        series,
        parallel,
        load=f'current = "{load_a:.4f}A"',
        runtime=f"{hours:.3f}h",
        cutoff=f"{3.0 * series}V",
        need=need,
        charge=charge,
    )
    return asked, cells


def possible(asked: Project, cells: list[Candidate]) -> bool:
    """Whether any choice passes: every subset of each kind as a group, every set of groups without a common cell."""
    series, parallel = asked.pack.series or 1, asked.pack.parallel or 1
    screen = Screen(Demand(asked, series, parallel), LIMITS, NOW)
    for members in by_kind(usable(screen, cells)).values():
        good = []
        for group in combinations(members, parallel):
            (run,) = runs(screen, [equivalent(group, "group")])
            if lasts(screen, run) and all(why.passed for why in judge_group(screen, 1, group)):
                good.append({c.code for c in group})
        if any(sum(map(len, chosen)) == len(set().union(*chosen)) for chosen in combinations(good, series)):
            return True
    return False


@pytest.mark.parametrize("part", range(PARTS))
def test_a_small_stock_is_served_exactly_when_any_choice_passes(part: int) -> None:
    """Both answers occur often; an unserved one is called proven, since every choice was looked at."""
    wrong, served = [], 0
    seeds = range(part, STOCKS, PARTS)
    for seed in seeds:
        asked, cells = drawn(seed)
        # Through the door an unserved one is given advice, which takes five times as long as the search for a pack.
        tried = best_shape(asked, cells, LIMITS, NOW)
        found = tried.plan is not None and packed(asked, *cells).served
        served += found
        if found != possible(asked, cells) or not (found or tried.proven):
            wrong.append(seed)
    assert not wrong
    assert len(seeds) / 8 < served < len(seeds) * 7 / 8


def test_a_large_stock_whose_small_cells_overload_is_served() -> None:
    """1,500 uneven cells for 13 in series of 20 at 0.41C: the least capacity that lasts overloads some cell of each group."""
    asked = wanted(13, 20, load='current = "18A"', runtime="1.4h", cutoff="39V")
    found = packed(asked, *large_stock(1500))
    assert found.served and len({code for group in found.groups for code in group}) == 260


@pytest.mark.parametrize(("runtime", "proven"), [("2.43h", False), ("2.49h", True)])
def test_what_was_only_not_found_is_not_called_impossible(runtime: str, proven: bool) -> None:
    """Thirty cells, four groups of five: too many choices to look at them all; above the mean of the best none can do."""
    asked = wanted(4, 5, load='current = "4.0A"', runtime=runtime, cutoff="12V")
    found = packed(asked, *large_stock(30, seed=5))
    assert not found.served and found.proven is proven
    assert ("is not proven" in " ".join(found.missing)) is not proven


def test_advice_is_put_through_the_match_before_it_is_given() -> None:
    """The cells that are said to be missing, bought and put on the shelf, serve; and none is larger than its size holds."""
    told = 0
    for seed in range(12):
        asked, cells = drawn(seed)
        found = packed(asked, *cells)
        line = next((text for text in found.missing if text.startswith("missing for")), "")
        wish = re.search(
            r": (\d+) (?:more )?free pack cells?, .*? of at least ([\d.]+) (m?Ah) below ([\d.]+) mohm", line
        )
        if wish is None:
            continue
        told += 1
        ah = float(wish[2]) / (1000 if wish[3] == "mAh" else 1)
        assert ah <= 3.9
        kind = re.search(r"'(\w+)'", line)
        bought = [
            marked(
                40 + n,
                ah * 1.001,
                marking=kind[1] if kind else "A",
                u_ah=0.01,
                resistance_ohm=float(wish[4]) / 1000,
            )
            for n in range(int(wish[1]))
        ]
        assert packed(asked, *cells, *bought).served, seed
    assert told >= 3


@pytest.mark.parametrize(
    ("cutoff", "runtime"),
    [("7.0V", "2.1h"), ("6.8V", "1.9h"), ("5.2V", "2.6h")],
    ids=["half", "a-little", "no-room"],
)
def test_a_change_that_is_offered_would_serve(cutoff: str, runtime: str) -> None:
    """Another need, a lower cut-off, one more in parallel: each tried with the words it is given in."""
    stock = shelf(4)
    shape = {"load": 'current = "1A"', "cutoff": cutoff, "runtime": runtime}
    found = packed(wanted(2, 1, **shape), *stock)
    assert not found.served
    told = " ".join(found.missing)
    if lower := re.search(r"a cut-off of ([\d.]+) V would give", told):
        assert packed(wanted(2, 1, **{**shape, "cutoff": f"{lower[1]}V"}), *stock).served
    assert (lower is not None) == (cutoff != "5.2V")
    if less := re.search(r"a need of ([\d.]+) h would be served", told):
        assert packed(wanted(2, 1, **{**shape, "runtime": f"{less[1]}h"}), *stock).served
    if wider := re.search(r"parallel = (\d) would be served", told):
        assert packed(wanted(2, int(wider[1]), **shape), *stock).served
