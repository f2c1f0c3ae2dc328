"""--quiet: fewer words on stderr, the same data on stdout, and every danger still said."""

from __future__ import annotations

import pytest
from tests.cli.bench import Answer, Bench

from straycell.safety import Kind, Step, cautions_for

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"

# a command at which a cell is handled | the step whose dangers belong there
SAID = """
teardown add lantern --kind lamp                                                    | teardown
cell add --form 18650 --chemistry nmc --marking INR18650                            | intake
cell add --form pouch --chemistry lco --marking 603450                              | pouch
cell add --form 16340 --chemistry primary --marking CR123A                          | primary
reading add {good} --look clean --as-found-voltage 3.6V                             | measuring
reading add {good} --look swollen                                                   | look-bad
reading add {good} --as-found-voltage 0.9V                                          | discard
reading add {good} --as-found-voltage 0.9V                                          | low-voltage
reading add {good} --capacity 2Ah --discharge-current 0.5A --cutoff 3V              | measuring
reading supersede A-1 --mistake wrong-cell --because spare                          | measuring
charge add {good} --current 0.5A --until 4.2V --temperature 21C --peak-temperature 24C | charging
charge let-down {good} --until 3.8V                                                 | capacity
cell correct {good} --maker unknown --because 'read it again'                       | intake
cell show {good}                                                                    | measuring
cell show {bad}                                                                     | look-bad
cell swap {good} {bad} --because mixed                                              | look-bad
verdict show {good}                                                                 | measuring
verdict show {bad}                                                                  | look-bad
charging {good} --current 0.1A --voltage 4.2V                                       | test-charge
charging {low} --current 0.1A --voltage 4.2V                                        | test-charge
cell move {good} tin                                                                | storing
box add shelf                                                                       | storing
stock                                                                               | storing
due                                                                                 | look-bad
label sheet {good} --out {folder}/a.pdf                                             | label
match --all                                                                         | match
load from-drop --drop 0.42V --across 5.6ohm                                         | circuit
incident add --kind drop {good}                                                     | incident
incident add --kind fire {good}                                                     | discard
discard {good} --because old                                                        | discard
discard {bad} --because old                                                         | look-bad
handover add yard                                                                   | handover
"""
CASES = [tuple(part.strip() for part in line.split("|")) for line in SAID.strip().splitlines()]


@pytest.fixture
def words(bench: Bench) -> dict[str, str]:
    """A good cell, a swollen one, one that lay low, and a box."""
    good, bad, low = (cell["code"] for cell in bench.prepare(f"{ADD} --count 3"))
    bench.prepare(f"reading add {bad} --look swollen")
    bench.prepare(f"reading add {low} --look clean --as-found-voltage 2.6V")
    bench.prepare("box add tin --kind 'metal box'")
    return {"good": good, "bad": bad, "low": low, "folder": str(bench.store.parent)}


def both(bench: Bench, line: str) -> tuple[Answer, Answer]:
    """The same line on the same store, without and with --quiet."""
    before = bench.store.read_bytes()
    loud = bench.run(line)
    bench.store.write_bytes(before)
    return loud, bench.run(f"{line} --quiet")


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(("line", "step"), CASES)
def test_quiet_says_every_danger_of_the_step(
    line: str, step: str, bench: Bench, words: dict[str, str]
) -> None:
    """In its short words; the same exit code and data, fewer words, no hint."""
    loud, quiet = both(bench, line.format(**words))
    assert loud.code == quiet.code and loud.code in (0, 1), loud.err
    assert quiet.out == loud.out
    assert len(quiet.err) < len(loud.err) and "next:" not in quiet.err
    for caution in cautions_for(Step(step)):
        if caution.kind is Kind.DANGER:
            assert caution.short in flat(quiet.err), (step, caution.id)
            assert caution.text in flat(loud.err) or (
                Step(step) in caution.last and caution.short in flat(loud.err)
            )
    assert "Local rules come first." in flat(quiet.err)


def test_quiet_still_says_what_a_cell_became_and_why(bench: Bench, words: dict[str, str]) -> None:
    """That it is out of use is no hint."""
    answer = bench.run(f"reading add {words['good']} --look leaking --quiet")
    assert "DISCARD, never charge it (seen: leaking)" in answer.err
    assert "not rechargeable" in bench.run("cell add --marking CR123A --quiet").err


def test_quiet_still_says_that_a_cell_is_held(bench: Bench, words: dict[str, str]) -> None:
    """Neither is what must be recorded before it may be used again."""
    held = bench.run(f"incident add --kind drop {words['good']} --quiet")
    assert "held until look, rest voltage, resistance" in flat(held.err)


def test_quiet_changes_no_error(bench: Bench) -> None:
    """What, which one, and what to do: the remedy is part of the error."""
    loud, quiet = bench.run("cell show A000019"), bench.run("cell show A000019 --quiet")
    assert (loud.code, loud.out, loud.err) == (quiet.code, quiet.out, quiet.err)


def test_no_variable_makes_it_quiet(bench: Bench, words: dict[str, str]) -> None:
    """Only the person who types the line does."""
    bench.env["STRAYCELL_QUIET"] = "1"
    assert "next:" in bench.run(f"reading add {words['good']} --look clean").err


def test_help_tells_of_quiet(bench: Bench) -> None:
    """And what it never does."""
    assert "--quiet" in bench.run("--help").out and "never dropped" in flat(bench.run("--help").out)
