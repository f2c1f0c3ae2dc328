"""For every shipped rule that asks for something: the command it proposes, run, does move that reason."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tests.cli.bench import Bench
from tests.sample.conftest import Built

FILL = {
    "--look": "clean",
    "--voltage": "4.10V",
    "--rested": "26h",
    "--temperature": "21C",
    "--surroundings": "21C",
    "--capacity": "1.9Ah",
    "--discharge-current": "0.4A",
    "--cutoff": "2.75V",
    "--energy": "6.9Wh",
    "--resistance": "47mohm",
    "--resistance-method": "dc-pulse",
    "--current": "0.4A",
    "--until": "4.2V",
    "--peak-temperature": "24C",
    "--put-in": "1.9Ah",
    "--took": "5h",
    "--chemistry": "nmc",
    "--marking": "'INR18650 2500mAh'",
    "--mass": "45g",
    "--mistake": "bad-contact",
    "--measured-float": "4.18V",
    "--meter": "bench",
    "--because": "'the proposed step was done'",
}
"""What a person would write in the place of the dots for a sound 18650."""
STEPS = 3
"""A work of several steps on several days is done after so many commands."""


def filled(bench: Bench, code: str, reason: dict[str, Any]) -> str:
    """The proposed line with figures where it has dots; without the program's name.

    What is measured again is measured as it was before, by the good meter: same method and resistance, a voltage that
    sank by a millivolt.
    """
    readings = bench.do(f"cell show {code}")["readings"]
    fill = dict(FILL)
    alike = [r for r in readings if r["quantity"] == "resistance"]
    if alike:
        fill["--resistance"] = f"{alike[-1]['value']}ohm"
        fill["--resistance-method"] = alike[-1]["method"]
    volts = [r["value"] for r in readings if r["quantity"] == "voltage" and r["rested_h"]]
    if volts:
        fill["--voltage"] = f"{volts[-1] - 0.001:.3f}V"
    words = reason["todo"]["command"].removeprefix("straycell ").split()
    line = " ".join(fill[words[i - 1]] if word == "..." else word for i, word in enumerate(words))
    return f"{line} --meter bench" if "--voltage" in words or "--resistance" in words else line


def open_reasons(bench: Bench, code: str) -> dict[str, dict[str, Any]]:
    """The reasons of a cell that ask for something, by rule."""
    reasons = bench.do(f"verdict show {code}")["reasons"]
    return {r["rule"]: r for r in reasons if r["todo"] and r["status"] != "met"}


def told(reason: dict[str, Any] | None) -> tuple[Any, ...]:
    """What a move shows in: the figure, the reading behind it, the status, or the step that comes next."""
    if reason is None:
        return ()
    return (reason["status"], reason["text"], reason["reading"], reason["todo"] and reason["todo"]["kind"])


def asking(built: Built) -> dict[str, str]:
    """For every rule that asks for something in the workshop, one cell where it does and nothing forbids it."""
    found: dict[str, str] = {}
    for code, verdict in built.verdicts.items():
        if verdict.outcome.word == "discard":
            continue
        for reason in verdict.reasons:
            if reason.todo is not None and reason.status.value != "met":
                found.setdefault(reason.rule, code)
    return found


def test_the_proposed_command_moves_its_reason(built: Built, tmp_path: Path) -> None:
    """Each rule's command is typed as proposed, figures in the place of the dots, when it says it can be done."""
    stuck = {}
    for rule, code in asking(built).items():
        bench = Bench(tmp_path / f"{rule}.sqlite", built.sample.now.isoformat())
        shutil.copy(built.path, bench.store)
        before = open_reasons(bench, code)[rule]
        line = ""
        for _ in range(STEPS):
            reason = open_reasons(bench, code).get(rule, before)
            at = datetime.fromisoformat(reason["todo"]["not_before"] or bench.now)
            bench.now = (max(datetime.fromisoformat(bench.now), at) + timedelta(minutes=5)).isoformat()
            line = filled(bench, code, reason)
            answer = bench.run(line)
            assert answer.code == 0, (rule, code, line, answer.err)
            if told(open_reasons(bench, code).get(rule)) != told(before):
                break
            if reason["todo"]["kind"] == "discard" and bench.do(f"cell show {code}")["stage"] == "condemned":
                break
        else:
            stuck[rule] = (code, line)
    assert stuck == {}


COVERED = """
board-voltage capacity capacity-contradictory capacity-light capacity-over-rating capacity-pack
charge-temperature charger-end chemistry look look-clean look-mend mass rechargeable
resistance resistance-contradictory resistance-light resistance-pack resistance-solo rest-voltage
self-discharge self-discharge-light self-discharge-pack self-discharge-solo sibling-look-first upset
voltage-floor voltage-over-full warming
"""


def test_the_workshop_shows_each_rule_that_asks_for_something(built: Built) -> None:
    """Without a cell for it, a rule's command would not be tried above."""
    assert set(COVERED.split()) <= set(asking(built))


def test_a_doubtful_voltage_before_a_charge_can_only_be_taken_back(tmp_path: Path) -> None:
    """It can never be measured again: the command supersedes it, and that settles the rule."""
    bench = Bench(tmp_path / "s.sqlite", "2026-03-01T09:00:00+00:00")
    code = bench.do("cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh")[0]["code"]
    bench.do(f"reading add {code} --look clean --voltage 2.01V --rested 2h")
    bench.now = "2026-03-01T12:00:00+00:00"
    bench.do(f"charge add {code} --current 0.2A --until 4.2V")
    reason = open_reasons(bench, code)["voltage-floor"]
    assert reason["todo"]["kind"] == "supersede"
    bench.do(filled(bench, code, reason))
    assert "voltage-floor" not in open_reasons(bench, code)


def test_an_energy_that_does_not_fit_is_measured_again_with_its_energy(tmp_path: Path) -> None:
    """The run is repeated from full, and the line asks for the energy too."""
    bench = Bench(tmp_path / "s.sqlite", "2026-03-01T09:00:00+00:00")
    code = bench.do("cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh")[0]["code"]
    run = "--discharge-current 0.4A --cutoff 2.75V --temperature 21C"
    bench.do(f"charge add {code} --current 0.4A --until 4.2V --end-current 50mA")
    bench.now = "2026-03-01T20:00:00+00:00"
    bench.do(f"reading add {code} --capacity 1.9Ah {run} --energy 12Wh")
    for kind in ("charge", "capacity"):
        reason = open_reasons(bench, code)["capacity-energy"]
        assert reason["todo"]["kind"] == kind
        bench.now = (datetime.fromisoformat(bench.now) + timedelta(hours=8)).isoformat()
        bench.do(filled(bench, code, reason))
    assert "capacity-energy" not in open_reasons(bench, code)
