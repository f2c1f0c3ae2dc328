"""One run time: `runtime` of a cell and `match` of a project with the same load say the same, to the printed digit."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.device_bench import graded

PROJECT = """name = "tide clock"
[load]
{load}
[need]
runtime = "{runtime}"
cutoff = "3.1V"
temperature = "12C"
{peak}
[protection]
fitted = true
"""
PROFILE = "time_s,current_a\n0,0.010\n50,0.300\n55,0.010\n3600,0.010\n"
LOADS = [
    ("--current 50mA", 'current = "50mA"', "", "20h"),
    ("--power 0.3W", 'power = "0.3W"', "", "10h"),
    ("--current 50mA --peak 0.6A", 'current = "50mA"', 'peak_current = "0.6A"', "20h"),
    ("--resistance 80ohm", 'resistance = "80ohm"', "", "10h"),
    ("--current 250uA", 'current = "250uA"', "", "1000h"),
    ("--profile day.csv", 'profile = "day.csv"', "", "20h"),
    ("--profile day.csv --peak 0.9A", 'profile = "day.csv"', 'peak_current = "0.9A"', "20h"),
    ("--profile day.csv --peak 0.2A", 'profile = "day.csv"', 'peak_current = "0.2A"', "20h"),
]


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    """One graded cell."""
    bench = Bench(tmp_path_factory.mktemp("clock") / "shop.sqlite")
    code = graded(bench)
    return bench.store, code, bench.now


@pytest.mark.parametrize(("options", "load", "peak", "runtime"), LOADS)
def test_runtime_and_match_and_sheet_say_one_time(
    stock: tuple[Path, str, str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    options: str,
    load: str,
    peak: str,
    runtime: str,
) -> None:
    """A profile's peaks count once; a peak beyond it lifts the cut-off in both."""
    monkeypatch.chdir(tmp_path)
    store, code, now = stock
    path = tmp_path / "shop.sqlite"
    path.write_bytes(store.read_bytes())
    bench = Bench(path, now)
    Path("day.csv").write_text(PROFILE, encoding="utf-8")
    Path("clock.toml").write_text(PROJECT.format(load=load, peak=peak, runtime=runtime), encoding="utf-8")
    bench.do("project add clock.toml")
    line = f"runtime {code} {options} --until 3.1V --temperature 12C"
    one, found = bench.do(line)["runtime_h"], bench.do("match 'tide clock'")["runtime_h"]
    for end in ("expected", "low", "high"):
        assert found[end] == pytest.approx(one[end], rel=1e-6)
    told = re.search(r"count on ([\d.]+ h); ([\d.]+ h) expected", bench.run(line).out)
    page = re.search(
        r"runs ([\d.]+ h) at the low end, ([\d.]+ h) expected", bench.run("match 'tide clock'").out
    )
    assert told is not None and page is not None and told.groups() == page.groups()
    assert "e+" not in bench.run(line).out
