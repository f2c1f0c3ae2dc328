"""One charger, one answer: `charging` of a cell and `match` of a project never contradict each other."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.device_bench import graded, iron

PROJECT = """name = "float lamp"
[load]
current = "50mA"
[need]
runtime = "5h"
cutoff = "{cutoff}"
temperature = "20C"
[charge]
{charge}
temperature = "20C"
[protection]
fitted = true
cutoff = "2.2V"
"""

# (what is known of the charger as options, as lines of the project, whether it may charge the cell)
CHARGERS = [
    ("--current 0.2A", 'current = "0.2A"', None),
    ("--programming-resistor 10kohm", 'programming_resistor = "10kohm"', None),
    ("--current 0.2A --voltage 4.20V", 'current = "0.2A"\nvoltage = "4.20V"', False),
    ("--current 0.2A --voltage 4.20V --tolerance 1%", 'current = "0.2A"\nvoltage = "4.20V"\ntolerance = "1%"', True),
    ("--current 0.2A --voltage 4.10V", 'current = "0.2A"\nvoltage = "4.10V"', True),
    ("--current 0.2A --measured-float 4.18V", 'current = "0.2A"\nmeasured_float = "4.18V"', True),
    ("--current 0.2A --measured-float 4.23V", 'current = "0.2A"\nmeasured_float = "4.23V"', False),
    ("--current 0.2A --voltage 4.35V --tolerance 0.1%", 'current = "0.2A"\nvoltage = "4.35V"\ntolerance = "0.1%"', False),
    ("--current 3A --measured-float 4.18V", 'current = "3A"\nmeasured_float = "4.18V"', False),
    ("--current 0.2A --measured-float 4.18V --supply 9V", 'current = "0.2A"\nmeasured_float = "4.18V"\nsupply = "9V"', False),
    ("--current 0.2A --measured-float 4.18V --supply 4V", 'current = "0.2A"\nmeasured_float = "4.18V"\nsupply = "4V"', False),
    (
        "--current 0.2A --measured-float 4.18V --supply 9V --supply-rated 24V",
        'current = "0.2A"\nmeasured_float = "4.18V"\nsupply = "9V"\nsupply_rated = "24V"',
        True,
    ),
    (
        "--current 0.2A --measured-float 4.18V --supply 5V --supply-limit 0.1A",
        'current = "0.2A"\nmeasured_float = "4.18V"\nsupply = "5V"\nsupply_limit = "0.1A"',
        True,
    ),
]  # fmt: skip


@pytest.fixture(scope="module")
def stocks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, str, str]]:
    """A store with one graded cell of each chemistry, its code, and its clock."""
    found = {}
    for name, make in (("nmc", graded), ("lfp", iron)):
        bench = Bench(tmp_path_factory.mktemp(name) / "shop.sqlite")
        code = make(bench)
        found[name] = (bench.store, code, bench.now)
    return found


@pytest.mark.parametrize(("options", "lines", "ok"), CHARGERS)
@pytest.mark.parametrize("chemistry", ["nmc", "lfp"])
def test_charging_and_match_say_the_same_of_every_charger(
    stocks: dict[str, tuple[Path, str, str]],
    tmp_path: Path,
    chemistry: str,
    options: str,
    lines: str,
    ok: bool | None,
) -> None:
    """Yes and served, or neither; the words of a refusal are the same but for options and keys."""
    store, code, now = stocks[chemistry]
    path = tmp_path / "shop.sqlite"
    path.write_bytes(store.read_bytes())
    bench = Bench(path, now)
    said = bench.run(f"charging {code} {options} --temperature 20C --json").json
    if chemistry == "nmc":
        assert said["ok"] is ok
    else:
        assert said["ok"] is not True  # nothing here is a charger for lfp
    cutoff = "3.0V" if chemistry == "nmc" else "2.6V"
    (tmp_path / "lamp.toml").write_text(PROJECT.format(cutoff=cutoff, charge=lines), encoding="utf-8")
    bench.do(f"project add {tmp_path / 'lamp.toml'}")
    found = bench.run("match 'float lamp' --json").json
    assert found["served"] is (said["ok"] is True)
    if not found["served"]:
        texts = {check["text"] for check in said["checks"]}
        assert any(why["text"] in texts for why in found["not_chosen"]), (texts, found["not_chosen"])
