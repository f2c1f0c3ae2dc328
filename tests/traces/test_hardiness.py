"""No file at all may end in a traceback: damaged bytes give a trace or an error of the user's family."""

from __future__ import annotations

import random

import pytest
from tests.traces.helpers import BROKEN, Reduce

from straycell.errors import StraycellError
from straycell.pictures.runs import run_curves
from straycell.pictures.trace import trace_picture
from straycell.traces import parse_columns, read_trace

SEEDS = [path for path in sorted(BROKEN.iterdir()) if path.suffix == ".csv"]


def mangled(raw: bytes, dice: random.Random) -> bytes:
    """A few of the things that happen to files: cut, doubled, swapped, overwritten."""
    data = bytearray(raw)
    for _ in range(dice.randint(1, 6)):
        if not data:
            break
        place, length = dice.randrange(len(data)), dice.randint(1, 40)
        kind = dice.randrange(5)
        if kind == 0:
            del data[place : place + length]
        elif kind == 1:
            data[place:place] = data[place : place + length]
        elif kind == 2:
            data[place] = dice.choice(b',;\t\n\r"-+.eE0123456789:/\x00\xff\xb0 ')
        elif kind == 3:
            data[place:place] = dice.choice([b"NaN", b"inf", b"-", b"\n\n", b"1e400", b",,", b"time_s", b'"'])
        else:
            del data[place:]
    return bytes(data)


@pytest.mark.parametrize("seed", range(12))
def test_mangled_files_never_give_a_traceback(seed: int, reduce: Reduce) -> None:
    """Each of fifty mangled files is read and reduced, or refused in words."""
    dice = random.Random(seed)
    for _ in range(50):
        raw = mangled(dice.choice(SEEDS).read_bytes(), dice)
        try:
            trace = read_trace(raw)
        except StraycellError as fault:
            assert fault.what
            continue
        result = reduce(trace)
        result.to_json()
        run_curves("", (trace, result)).lines()
        assert result.capacity is None or result.capacity.u >= 0


def test_doubtful_files_can_still_be_drawn(reduce: Reduce) -> None:
    """Whatever is taken with a warning also makes a picture."""
    for name in ("gap-in-the-discharge.csv", "coarse-clock.csv", "only-a-rest.csv", "contact-lost.csv"):
        trace = read_trace(BROKEN / name)
        assert trace_picture(trace, reduce(trace), name, dpi=40).startswith(b"\x89PNG")


@pytest.mark.parametrize("seed", range(3))
def test_any_mapping_is_taken_or_refused(seed: int) -> None:
    """--columns with anything in it."""
    dice = random.Random(seed)
    words = [
        "time",
        "voltage",
        "current",
        "step",
        "=",
        ",",
        " in ",
        "mV",
        "1",
        "2",
        "99",
        "time_s",
        "0",
        "-1",
        "ä",
        "",
    ]
    raw = (BROKEN / "stopped-early.csv").read_bytes()
    for _ in range(200):
        text = "".join(dice.choice(words) for _ in range(dice.randint(1, 12)))
        try:
            read_trace(raw, columns=parse_columns(text))
        except StraycellError as fault:
            assert fault.what
