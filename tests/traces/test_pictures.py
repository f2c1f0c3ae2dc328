"""The picture for the wall and the curve for the terminal."""

from __future__ import annotations

import io
import subprocess
import sys
from typing import Any

import numpy as np
import pytest
from PIL import Image
from tests.traces.helpers import REFERENCE, Reduce, trace_of

from straycell.pictures.trace import thin_rows, trace_picture
from straycell.traces import Trace, read_trace

PARTS = [(600.0, 0.0, 4.17, 4.17), (3600.0, -2.0, 4.05, 3.0), (600.0, 0.0, 3.2, 3.3)]


def drawn(trace: Trace, reduce: Reduce, title: str = "B00017K") -> Image.Image:
    return Image.open(io.BytesIO(trace_picture(trace, reduce(trace), title)))


def colours(image: Image.Image) -> set[Any]:
    return {colour for _, colour in image.convert("RGB").getcolors(1 << 24) or []}


def test_a_picture_shows_curve_cutoff_and_bands(reduce: Reduce) -> None:
    """Each of the colours of voltage, current, charge, cut-off and discharge band is there."""
    image = drawn(trace_of(PARTS, spacing_s=10), reduce)
    assert image.format == "PNG"
    assert image.size == (1650, 1200)
    wanted = {"#1d4e89", "#a23e12", "#35682d", "#b00020", "#e8eff8"}
    assert {tuple(bytes.fromhex(c[1:])) for c in wanted} <= colours(image)


def test_the_same_trace_gives_the_same_bytes(reduce: Reduce) -> None:
    """No date, no random part."""
    trace = trace_of(PARTS, spacing_s=10)
    assert trace_picture(trace, reduce(trace), "x") == trace_picture(trace, reduce(trace), "x")


@pytest.mark.parametrize("title", ["costs $5 and $6", r"\frac{1}", "äöü · 中", "", "x" * 300])
def test_any_title_can_stand_on_a_picture(title: str, reduce: Reduce) -> None:
    """Signs that a typesetter would trip over are only text here."""
    assert drawn(trace_of(PARTS, spacing_s=60), reduce, title).size == (1650, 1200)


@pytest.mark.parametrize("name", ["pouch-33ah-1c-discharge.csv.gz", "pouch-33ah-hppc-25c.csv.gz"])
def test_recorded_traces_can_be_drawn(name: str, reduce: Reduce) -> None:
    """With four cycles, and with ten pulses."""
    assert drawn(read_trace(REFERENCE / name), reduce).size == (1650, 1200)


def test_a_trace_without_discharge_or_with_one_level_can_be_drawn(reduce: Reduce) -> None:
    """A charge alone, and a rest whose voltage stands."""
    assert drawn(trace_of([(3600.0, 1.0, 3.5, 4.2)], spacing_s=10), reduce).size
    assert drawn(trace_of([(100.0, 0.0, 3.7, 3.7)], spacing_s=10), reduce).size


def test_matplotlib_is_loaded_by_the_picture_alone() -> None:
    """Reading and reducing a trace must not wait for it."""
    code = "import sys, straycell.traces; sys.exit('matplotlib' in sys.modules or 'pandas' in sys.modules)"
    assert (
        subprocess.run([sys.executable, "-c", code], env={"PYTHONPATH": "src"}, check=False).returncode == 0
    )


def test_thinning_keeps_the_ends_and_the_extremes() -> None:
    """A single spike among a million rows is still drawn."""
    values = np.sin(np.linspace(0, 50, 1_000_000))
    values[654_321] = 9.0
    kept = thin_rows(values, 4000)
    assert len(kept) <= 4000
    assert {0, 654_321, 999_999} <= set(kept.tolist())
