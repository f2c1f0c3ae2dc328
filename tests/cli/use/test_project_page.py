"""`project show`: the page says which voltages are per cell, and what to change at the charger and the protection."""

from __future__ import annotations

from typing import Any

from tests.cli.bench import Bench

HEAD = 'name = "float"\n[load]\ncurrent = "100mA"\n[need]\nruntime = "2h"\n'


def filed(bench: Bench, rest: str) -> Any:
    """A project by its text; its JSON and its page."""
    path = bench.store.with_name("float.toml")
    path.write_text(HEAD + rest, encoding="utf-8")
    bench.do(f"project add {path} --replace" if bench.store.exists() else f"project add {path}")
    return bench.do("project show float"), " ".join(bench.run("project show float").out.split())


def test_a_string_says_what_is_for_the_whole_and_what_for_a_cell(bench: Bench) -> None:
    """The device's cut-off is the string's; the protection's is per cell only where it is fitted cell by cell."""
    rest = 'cutoff = "6V"\n[pack]\nseries = 2\n[protection]\nfitted = true\ncutoff = "4.8V"\n'
    _, page = filed(bench, rest)
    assert "stops at 6 V for the whole string, 3 V a cell" in page
    assert "cuts off at 4.8 V for the whole string, 2.4 V a cell" in page
    _, page = filed(bench, rest.replace('"4.8V"', '"2.4V"\nper_cell = true\nbalancing = true'))
    assert "fitted, cell by cell, cuts off at 2.4 V a cell" in page
    _, page = filed(bench, rest.replace("series = 2", 'series = "auto"'))
    assert "stops at 6 V for the whole string " in page and "3 V a cell" not in page


def test_one_cell_needs_no_such_words(bench: Bench) -> None:
    """And without protection the build cannot be finished."""
    found, page = filed(bench, 'cutoff = "3V"\n')
    assert "stops at 3 V pack" in page and "none: the build cannot be finished" in page
    assert found["protection"]["ok"] is False and found["charging"]["ok"] is None
    # What to do is said once, not under each heading.
    assert page.count("write fitted = true") == 1


def test_the_charger_is_shown_with_what_feeds_it_and_what_to_change(bench: Bench) -> None:
    """1.2 kohm is too much for a 14500, 9 V are too much for the charger (8 V: data sheet)."""
    found, page = filed(
        bench,
        'cutoff = "3V"\n[pack]\nforms = ["14500"]\n[charge]\nprogramming_resistor = "1.2kohm"\n'
        'measured_float = "4.18V"\nsupply = "9V"\nsupply_limit = "160mA"\n[protection]\nfitted = true\n',
    )
    assert found["charging"]["ok"] is False
    assert "fed with 9 V, 160 mA at most" in page and "Its charger: change it first" in page
    assert "for a 14500 of 600 mAh: use a programming resistor of 4.7 kohm" in page
    assert "use a supply of 5V" in page and "9.1 kohm" in page


def test_lamps_are_counted_in_words(bench: Bench) -> None:
    """`count 24` is a key of the file, and nobody says that a device draws it."""
    file = bench.store.with_name("reading.toml")
    lamps = 'lamps = { count = 24, drop = "0.55V", across = "10ohm", supply = "3.0V" }'
    file.write_text(f'name = "reading lamp"\n[load]\n{lamps}\n[need]\nruntime = "9h"\ncutoff = "3V"\n')
    page = " ".join(bench.run(f"project add {file}").out.split())
    assert "24 lamps, drop 0.55 V, across 10 ohm, supply 3 V" in page and "count" not in page


def test_a_profile_is_told_as_a_meter_would_show_it(bench: Bench) -> None:
    """50 uA for 59 s and 120 mA for 1 s: their mean by the hand, the peak, and how often it comes again."""
    bench.store.with_name("day.csv").write_text(
        "time_s,current_a\n0,0.00005\n59,0.12\n60,0\n", encoding="utf-8"
    )
    path = bench.store.with_name("sensor.toml")
    path.write_text(
        'name = "sensor"\n[load]\nprofile = "day.csv"\n[need]\nruntime = "2d"\ncutoff = "3.3V"\n',
        encoding="utf-8",
    )
    bench.do(f"project add {path}")
    page = " ".join(bench.run("project show sensor").out.split())
    # (59 s x 0.05 mA + 1 s x 120 mA) / 60 s = 2.049 mA
    assert "profile: 2.049 mA on average, up to 120 mA (2 steps in 60 s, again and again)" in page
