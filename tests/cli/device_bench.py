"""Cells of known figures for tests of run time, charging and loads: graded, held, and such as may have nothing."""

from __future__ import annotations

from tests.cli.bench import Bench

START, LATER = "2026-03-01T09:00:00+00:00", "2026-04-03T10:00:00+00:00"


def added(bench: Bench, options: str) -> str:
    """A new cell's code."""
    return str(bench.prepare(f"cell add {options}")[0]["code"])


def graded(
    bench: Bench,
    options: str = "--marking 'INR18650 2600mAh'",
    *,
    capacity: str = "2.5Ah",
    current: str = "0.5A",
    full: str = "4.20V",
    cutoff: str = "2.8V",
    rests: tuple[str, str] = ("4.180V", "4.172V"),
) -> str:
    """A cell with everything a verdict needs, measured over a month with good meters; the clock stands after it."""
    bench.now = START
    if not bench.store.exists() or not bench.do("meter list"):
        bench.prepare("meter add blue --like good-multimeter")
        bench.prepare("meter add load --like electronic-load")
    code = added(bench, options)
    charge = f"charge add {code} --current {current} --until {full} --end-current 20mA"
    charge += " --temperature 21C --peak-temperature 26C"
    rest = f"reading add {code} --meter blue --temperature 21C --voltage"
    bench.prepare(f"reading add {code} --look clean --as-found-voltage 3.31V --meter blue --temperature 21C")
    bench.prepare(charge)
    bench.now = "2026-03-01T20:00:00+00:00"
    bench.prepare(
        f"reading add {code} --capacity {capacity} --discharge-current {current} --cutoff {cutoff} "
        "--resistance 60mohm --resistance-method dc-pulse --temperature 21C --meter load"
    )
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.prepare(charge)
    bench.now = "2026-03-04T09:00:00+00:00"
    bench.prepare(f"{rest} {rests[0]} --rested 48h")
    bench.now = "2026-04-03T09:00:00+00:00"
    bench.prepare(f"{rest} {rests[1]} --rested 768h")
    bench.now = LATER
    return code


def small(bench: Bench) -> str:
    """A graded cell of half an ampere-hour."""
    options = "--form 14500 --chemistry lco --rated-capacity 500mAh --confirm-rechargeable"
    return graded(bench, options, capacity="480mAh", current="0.1A")


def iron(bench: Bench) -> str:
    """A measured lfp cell: what it lost in a month was run out of it, as its voltage does not tell."""
    options = "--form 26650 --chemistry lfp --rated-capacity 3Ah"
    cell = {"capacity": "2.9Ah", "current": "0.6A", "full": "3.6V", "cutoff": "2.2V"}
    code = graded(bench, options, **cell, rests=("3.35V", "3.348V"))
    bench.prepare(
        f"reading add {code} --capacity 2.85Ah --discharge-current 0.6A --cutoff 2.2V --temperature 21C --meter load"
    )
    return code


def held(bench: Bench, found: str = "3.5V") -> str:
    """A cell on hold: looked at and found, nothing else."""
    code = added(bench, "--marking 'INR18650 2600mAh'")
    bench.prepare(f"reading add {code} --look clean --as-found-voltage {found}")
    return code
