"""A cell that must not stay in its device is marked wherever the build is shown, in words, and in JSON."""

from __future__ import annotations

import pytest
from tests.cli.bench import Bench
from tests.cli.use.conftest import DEVICE as NAME


def test_a_sound_device_bears_no_mark(device: Bench) -> None:
    """Neither word nor line."""
    shown = device.do(f"project show '{NAME}'")
    assert len(shown["cells"]) == 1 and shown["unfit"] == []
    for line in ("build list", f"project show '{NAME}'"):
        answer = device.run(line)
        assert "DISCARD" not in answer.out and "stop using" not in answer.err


@pytest.mark.parametrize(
    ("happened", "word"),
    [
        ("discard {code} --because 'it hisses'", "discard"),
        ("incident add --kind fire {code}", "discard"),
        ("incident add --kind drop {code}", "hold"),
    ],
)
def test_a_harmed_cell_is_marked_in_its_device(device: Bench, happened: str, word: str) -> None:
    """Behind its code, with the reason and what to do; with --json and --quiet the lines on stderr stay."""
    (code,) = device.do(f"project show '{NAME}'")["cells"]
    device.do(happened.format(code=code))
    for line in ("build list", f"project show '{NAME}'"):
        answer = device.run(line)
        assert f"{code} ({word.upper()})" in answer.out
        for more in ("", " --json", " --quiet"):
            err = device.run(line + more).err
            assert f"{code} is {word.upper()}" in err and "stop using that" in err
    (build,) = (b for b in device.do("build list") if b["project"] == NAME)
    for unfit in (build["unfit"], device.do(f"project show '{NAME}'")["unfit"]):
        assert [(each["code"], each["outcome"]) for each in unfit] == [(code, word)]
        assert unfit[0]["why"]
