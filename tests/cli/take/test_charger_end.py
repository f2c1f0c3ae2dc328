"""A charger found to end too high puts the cells it charged on hold; a measurement that was mistyped lets them go."""

from __future__ import annotations

from tests.cli.bench import Bench


def _charged(bench: Bench) -> str:
    bench.prepare('meter add bench --voltage-accuracy "0.05%+1mV" --voltage-resolution 1mV')
    (cell,) = bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    code = str(cell["code"])
    bench.prepare(f"reading add {code} --look clean --as-found-voltage 3.6V --meter bench")
    return code


def _rules(bench: Bench, code: str) -> set[str]:
    return {r["rule"] for r in bench.do(f"verdict show {code}")["reasons"] if r["status"] != "met"}


def test_yesterdays_charges_are_reckoned_when_the_charger_is_measured(bench: Bench) -> None:
    """Typed as 4.20 V: held at once, no charge, in `due`; taken back as mistyped, it is free again."""
    code = _charged(bench)
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"charge add {code} --current 0.5A --until 4.20V --end-current 50mA --charger bay")
    bench.now = "2026-03-03T09:00:00+00:00"
    bench.do("charger add bay --measured-float 4.35V --meter bench")
    assert "charger-end" in _rules(bench, code)
    answer = bench.run(f"charging {code} --current 0.2A --measured-float 4.19V --json")
    assert answer.code == 1 and answer.json["ok"] is False
    assert ("voltage", code) in {(item["kind"], item["code"]) for item in bench.do("due")["due"]}
    bench.do("charger withdraw bay --because 'read 4.35 for 4.19'")
    assert "charger-end" not in _rules(bench, code)
    bench.refused("charger withdraw bay --because 'again'", 3)


def test_too_high_before_and_after_is_a_finding_that_falls_with_a_mistyped_measurement(bench: Bench) -> None:
    """Condemned, though the charge was typed as 4.20 V; a later good measurement lifts nothing."""
    code = _charged(bench)
    bench.do("charger add bay --measured-float 4.35V --meter bench")
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"charge add {code} --current 0.5A --until 4.20V --end-current 50mA --charger bay")
    bench.now = "2026-03-03T09:00:00+00:00"
    bench.do("charger add bay --measured-float 4.34V --meter bench")
    assert bench.do(f"cell show {code}")["stage"] == "condemned"
    bench.now = "2026-03-04T09:00:00+00:00"
    bench.do("charger add bay --measured-float 4.19V --meter bench")
    assert bench.do(f"cell show {code}")["stage"] == "condemned"
    bench.do("charger withdraw bay --because 'of another charger'")
    bench.do("charger withdraw bay --because 'read 4.34 for 4.14'")
    assert bench.do(f"cell show {code}")["stage"] == "received"
    assert "finding-fell-first" in _rules(bench, code)


def test_a_charge_that_is_remembered_later_is_reckoned_too(bench: Bench) -> None:
    """Written down after the measurement, with its own earlier time."""
    code = _charged(bench)
    bench.now = "2026-03-03T09:00:00+00:00"
    bench.do("charger add bay --measured-float 4.35V --meter bench")
    bench.do(f"charge add {code} --current 0.5A --until 4.20V --charger bay --at 2026-03-02T09:00:00+00:00")
    assert "charger-end" in _rules(bench, code)
