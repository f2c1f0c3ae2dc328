"""`build ran`: how long a device really ran, held against the promise; recorded for ever, and it decides nothing."""

from __future__ import annotations

from tests.cli.bench import Bench
from tests.cli.use.conftest import DEVICE as NAME


def test_a_short_run_is_told_with_where_to_look(device: Bench) -> None:
    """The same run time as `match` has, short below its low end; the figure stays in the history of its cell."""
    promised = device.run(f"match '{NAME}' --json").json["runtime_h"]
    (code,) = device.do(f"project show '{NAME}'")["cells"]
    verdict = device.do(f"verdict show {code}")
    done = device.do(f"build ran '{NAME}' --for {promised['low'] * 0.6:.1f}h --note 'a mild week'")
    assert done["short"] is True and done["runtime_h"] == promised and done["cells"] == [code]
    assert any("build dismantle" in line for line in done["look_at"])
    page = device.run(f"build ran '{NAME}' --for 2h").out
    assert "SHORTER than was promised" in page and "Where to look" in page
    history = device.run(f"cell history {code}").out
    assert "device-ran" in history and "a mild week" in history
    again = device.do(f"verdict show {code}")
    assert [r["status"] for r in again["reasons"]] == [r["status"] for r in verdict["reasons"]]
    assert device.run("store check").code == 0


def test_a_run_as_promised_asks_for_nothing(device: Bench) -> None:
    """At the low end and beyond it."""
    low = device.run(f"match '{NAME}' --json").json["runtime_h"]["low"]
    for hours in (low + 0.01, low * 2):
        done = device.do(f"build ran '{NAME}' --for {hours:.3f}h")
        assert done["short"] is False and done["look_at"] == []


def test_what_cannot_have_run_is_refused(device: Bench) -> None:
    """Longer than it is built, not built, not filed; nothing is recorded."""
    (code,) = device.do(f"project show '{NAME}'")["cells"]
    assert "cannot have run longer" in device.refused(f"build ran '{NAME}' --for 5d", 3)
    assert "no build" in device.refused("build ran 'bench lamp' --for 5h", 3)
    assert device.refused("build ran nothing --for 5h", 3)
    assert "device-ran" not in device.run(f"cell history {code}").out
    device.do(f"build dismantle '{NAME}'")
    assert "no build" in device.refused(f"build ran '{NAME}' --for 5h", 3)
