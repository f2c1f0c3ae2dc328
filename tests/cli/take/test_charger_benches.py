"""Each bench has its own "left bay": merged, the measurements of one say nothing of the charges of the other."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.take.test_charger_end import _rules

NEXT_DAY, LATER, LAST = (f"2026-03-{n:02d}T09:00:00+00:00" for n in (2, 3, 4))
CHARGED = "--current 0.5A --until 4.20V --end-current 50mA --charger 'left bay'"


def _bench(folder: Path, letter: str) -> Bench:
    """A bench of this letter with a meter and one cell, found and looked at."""
    bench = Bench(folder / f"{letter}.sqlite")
    bench.prepare(f"store init --bench {letter}")
    bench.prepare('meter add bench --voltage-accuracy "0.05%+1mV" --voltage-resolution 1mV')
    bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    bench.prepare(f"reading add {_code(bench, letter)} --look clean --as-found-voltage 3.6V --meter bench")
    return bench


def _code(bench: Bench, letter: str) -> str:
    return next(str(c["code"]) for c in bench.do("cell list") if str(c["code"]).startswith(letter))


def _two(folder: Path) -> tuple[Bench, Bench]:
    """Bench A charged its cell, bench B only measured its own left bay, before and after that: far too high."""
    a, b = _bench(folder, "A"), _bench(folder, "B")
    b.prepare("charger add 'left bay' --measured-float 4.35V --meter bench")
    a.now = NEXT_DAY
    a.prepare(f"charge add {_code(a, 'A')} {CHARGED}")
    b.now = LATER
    b.prepare("charger add 'left bay' --measured-float 4.34V --meter bench")
    return a, b


@pytest.mark.parametrize("into", ["A", "B"])
def test_another_benchs_charger_of_the_same_name_is_another_charger(tmp_path: Path, into: str) -> None:
    """Merged into either of them: the cell is neither condemned nor held by what the other bench measured."""
    here, there = _two(tmp_path) if into == "A" else reversed(_two(tmp_path))
    here.now = LAST
    here.do(f"store merge {there.store}")
    code = _code(here, "A")
    assert here.do(f"cell show {code}")["stage"] == "received"
    assert "charger-end" not in _rules(here, code)
    names = {c["name"] for c in here.do("charger list")}
    assert names == {"left bay" if into == "B" else "left bay (bench B)"}
    assert here.run("store check").code == 0


@pytest.mark.parametrize("into", ["A", "B"])
def test_a_bench_s_own_charge_is_reckoned_after_a_merge_too(tmp_path: Path, into: str) -> None:
    """B charged a cell in its bay, and finds it too high: condemned on both, whichever took in the other."""
    a, b = _two(tmp_path)
    b.now = "2026-03-02T12:00:00+00:00"
    b.do(f"charge add {_code(b, 'B')} {CHARGED}")
    here, there = (a, b) if into == "A" else (b, a)
    here.now = LAST
    here.do(f"store merge {there.store}")
    assert here.do(f"cell show {_code(here, 'B')}")["stage"] == "condemned"
    assert here.do(f"cell show {_code(here, 'A')}")["stage"] == "received"


def test_a_charger_of_another_bench_goes_by_its_letter(tmp_path: Path) -> None:
    """A charge in it, its next measurement, and a charge of the other bench corrected here stay that charger's."""
    a, b = _two(tmp_path)
    b.now = "2026-03-02T12:00:00+00:00"
    charge = b.do(f"charge add {_code(b, 'B')} --current 0.5A --until 4.00V --charger 'left bay'")
    number = next(r["id"] for r in charge["readings"]) if "readings" in charge else charge["id"]
    a.now = LAST
    a.do(f"store merge {b.store}")
    assert "no float" in a.refused(f"charging {_code(a, 'A')} --current 0.2A --charger 'left bay'", 3)
    a.do(f"reading supersede {number} --mistake mistyped --until 4.20V --because 'read wrong'")
    code = _code(a, "B")
    assert a.do(f"cell show {code}")["stage"] == "condemned"
    own = _code(a, "A")
    a.do(
        f"charge add {own} --current 0.5A --until 4.2V --charger 'left bay (bench B)' --at '2026-03-02 13:00'"
    )
    assert a.do(f"cell show {own}")["stage"] == "condemned"
    a.do("charger withdraw 'left bay (bench B)' --because 'the wrong range'")
    b.now = "2026-03-05T09:00:00+00:00"
    b.do(f"store merge {a.store}")
    assert b.do(f"cell show {code}")["stage"] == b.do(f"cell show {own}")["stage"] == "received"
    # What A corrected names B's bay, as B calls it.
    named = set(re.findall(r'"charger": "([^"]+)"', json.dumps(b.do(f"cell show {code}"))))
    assert named == {"left bay"}
