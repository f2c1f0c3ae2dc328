"""Without a pinned clock: what is recorded now is not in the future of the write that records it."""

from __future__ import annotations

from datetime import UTC, datetime

from tests.cli.bench import Bench


def test_readings_and_charges_are_recorded_now_by_the_real_clock(bench: Bench) -> None:
    """The moment a person leaves out is the write's own."""
    bench.now = ""  # not pinned
    before = datetime.now(UTC).replace(microsecond=0)  # times are printed in whole seconds
    code = bench.do("cell add --chemistry nmc --form 18650")[0]["code"]
    readings = bench.do(f"reading add {code} --as-found-voltage 3.4V --look clean")
    assert {reading["quantity"] for reading in readings} == {"as-found-voltage", "look"}
    assert all(before <= datetime.fromisoformat(reading["at"]) <= datetime.now(UTC) for reading in readings)
    bench.do(f"charge add {code} --current 0.5A --until 4.2V")
