"""How many words a command prints on both streams: few enough that the ones that matter are read.

The limits are those that a collector asked for: 80 for the first reading of a day, 40 for a later one, 60 for a discard.
"""

from __future__ import annotations

import json

import pytest
from tests.cli.app.test_quiet import CASES, flat
from tests.cli.bench import Answer, Bench
from tests.drawing import FULL, SHARE, thinned

from straycell.acceptance.reasons import Outcome
from straycell.cells import Look
from straycell.readings import Quantity
from straycell.safety import Kind, Step, all_cautions, cautions_for

FIRST, AGAIN, DISCARD = 80, 40, 60

CELLS = {
    "nmc": "--form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650",
    "lfp": "--form 18650 --chemistry lfp --rated-capacity 1500mAh --marking IFR18650",
    "pouch": "--form pouch --chemistry lco --rated-capacity 1000mAh --marking 603450",
    "unknown": "--form 18650",
    "primary": "--marking CR123A",
}
REST, RUN = "--rested 26h --temperature 21C", "--discharge-current 0.5A --cutoff 3.0V --temperature 21C"
# what is typed for each kind of reading: good, bad, incomplete, several in a line
READINGS = f"""
--as-found-voltage 3.71V
--as-found-voltage 2.2V
--as-found-voltage 0.9V
--as-found-voltage 4.4V
--look clean --as-found-voltage 3.71V
--look torn-sleeve --as-found-voltage 0.02V
--voltage 3.71V
--voltage 3.71V {REST}
--voltage 1.5V {REST}
--voltage 4.35V {REST}
--capacity 2450mAh {RUN}
--capacity 450mAh {RUN}
--resistance 45mohm --resistance-method ac-1khz
--resistance 400mohm --resistance-method dc-pulse
--resistance 900mohm --resistance-method unknown
--mass 45g
--temperature 21C --surroundings 20C --rested 2h
--temperature 50C --surroundings 20C --rested 2h
"""
TYPED = [*(f"--look {look}" for look in Look), *READINGS.strip().splitlines()]


def words(answer: Answer) -> int:
    """Words on both streams, the way a person counts them."""
    assert answer.code == 0, answer.err
    return len((answer.out + answer.err).split())


def day_at(bench: Bench, kind: str, made: int = 4) -> list[str]:
    """Cells of a kind, on a day on which nothing was read yet."""
    codes = [cell["code"] for cell in bench.prepare(f"cell add {CELLS[kind]} --count {made}")]
    bench.env["STRAYCELL_STATE"] = str(bench.store.parent / f"state-{kind}-{len(bench.env)}")
    return codes


@pytest.mark.parametrize(("kind_number", "kind"), list(enumerate(CELLS)))
def test_every_reading_is_answered_in_few_words(kind_number: int, kind: str, bench: Bench) -> None:
    """Whatever is seen or measured of whatever cell, whatever it becomes: fresh eyes, a later one, --quiet.

    Where few are drawn, the lines are dealt to the kinds of cells.
    """
    codes = day_at(bench, kind, 3)
    store = bench.store.read_bytes()
    for number, typed in enumerate(TYPED if FULL else TYPED[kind_number % SHARE :: SHARE]):
        bench.store.write_bytes(store)
        bench.env["STRAYCELL_STATE"] = str(bench.store.parent / f"state-{kind}-{number}")
        first, later = (bench.run(f"reading add {code} {typed}") for code in codes[:2])
        quiet = bench.run(f"reading add {codes[2]} {typed} --quiet")
        bench.env["STRAYCELL_STATE"] = str(bench.store.parent / f"state-{kind}-{number}-quiet")
        bench.store.write_bytes(store)
        assert words(first) <= FIRST, first.out + first.err
        assert words(bench.run(f"reading add {codes[0]} {typed} --quiet")) <= FIRST
        assert words(later) <= AGAIN, later.out + later.err
        # "Local rules come first." comes with the first quiet line of a day.
        assert words(quiet) <= AGAIN + 4, quiet.out + quiet.err


def test_every_outcome_and_every_kind_of_reading_is_among_them(bench: Bench) -> None:
    """The table above leaves none out: what a cell can become without a capacity run, and each quantity typed."""
    become = set()
    for kind in thinned(("nmc", "pouch", "unknown")):
        codes = day_at(bench, kind, len(TYPED))
        for code, typed in zip(codes, TYPED, strict=True):
            bench.run(f"reading add {code} {typed}")
            become.add(bench.do(f"cell show {code}")["verdict"]["outcome"])
    assert become == {Outcome.HOLD.word, Outcome.DISCARD.word}
    flags = " ".join(TYPED)
    of_charges = {Quantity.CHARGE, Quantity.LET_DOWN}
    assert all(f"--{quantity}" in flags for quantity in set(Quantity) - of_charges)


def test_a_usable_cell_is_answered_in_few_words(bench: Bench) -> None:
    """Pack, solo and light: what it may do, until when, and one next step."""
    answers = _up_to_pack(bench)
    seen = {
        outcome.word.upper() for outcome in Outcome for a in answers if f" {outcome.word.upper()}" in a.err
    }
    assert "PACK" in seen
    assert words(answers[0]) <= FIRST and words(answers[-1]) <= AGAIN, answers[-1].out + answers[-1].err


def _up_to_pack(bench: Bench) -> list[Answer]:
    """One reading more of a cell that has all but that; then the same once more."""
    code = day_at(bench, "nmc", 1)[0]
    bench.now = "2026-03-01T09:00:00+00:00"
    charge = (
        "--current 0.5A --until 4.2V --end-current 50mA --temperature 21C --peak-temperature 23C --mass 45g"
    )
    bench.do("meter add fine --like good-multimeter")
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.71V --meter fine --mass 45g")
    bench.do(f"charge add {code} {charge.removesuffix(' --mass 45g')}")
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"reading add {code} --capacity 2550mAh {RUN} --meter fine")
    bench.now = "2026-03-03T09:00:00+00:00"
    bench.do(f"charge add {code} {charge.removesuffix(' --mass 45g')}")
    for day, volts in ((4, "4.190V"), (11, "4.188V"), (25, "4.186V"), (31, "4.185V")):
        bench.now = f"2026-03-{day:02}T10:00:00+00:00"
        bench.do(f"reading add {code} --voltage {volts} --rested 25h --temperature 21C --meter fine")
    line = f"reading add {code} --resistance 25mohm --resistance-method dc-pulse --temperature 21C"
    return [bench.run(line), bench.run(line)]


@pytest.mark.parametrize("kind", CELLS)
@pytest.mark.parametrize("before", ["--look clean", "--look swollen", "--as-found-voltage 0.9V"])
def test_a_discard_is_answered_in_few_words(kind: str, before: str, bench: Bench) -> None:
    """Whatever the cell is and whatever was seen of it; with fresh eyes, later, and with --quiet."""
    codes = day_at(bench, kind)
    state = bench.env.pop("STRAYCELL_STATE")
    for code in codes:
        bench.do(f"reading add {code} {before}")
    bench.env["STRAYCELL_STATE"] = state
    for code in codes[:3]:
        answer = bench.run(f"discard {code} --because old")
        assert words(answer) <= DISCARD, answer.out + answer.err
    assert words(bench.run(f"discard {codes[3]} --because old --quiet")) <= DISCARD


def test_the_answer_comes_first_then_the_next_step_then_the_cautions(bench: Bench) -> None:
    """Nothing scrolls the answer away."""
    codes = day_at(bench, "nmc")
    for line in (f"reading add {codes[0]} --look clean", f"discard {codes[1]} --because old"):
        heads = [
            text.partition(":")[0] for text in bench.run(line).err.splitlines() if not text.startswith(" ")
        ]
        assert "next" in heads and heads.index("next") < heads.index("caution"), line


@pytest.mark.parametrize("kind", CELLS)
def test_cautions_read_before_take_two_lines(kind: str, bench: Bench) -> None:
    """On a screen of 80 columns, for a damaged cell and one that lay low, too."""
    codes = day_at(bench, kind)
    told = {"day": bench.now[:10], "told": [c.id for c in all_cautions()]}
    for reading in TYPED:
        state = bench.store.parent / "all-told"
        state.mkdir(exist_ok=True)
        (state / "cautions.json").write_text(json.dumps(told))
        bench.env["STRAYCELL_STATE"] = str(state)
        answer = bench.run(f"reading add {codes[0]} {reading}")
        shown = answer.err[answer.err.index("caution:") :].splitlines()
        assert len(shown) <= 2, shown


def test_the_deferral_comes_once_a_day_and_where_there_is_room(bench: Bench) -> None:
    """Not beside three dangers in full; the next screen with one new danger has it, and none after that."""
    codes = day_at(bench, "nmc")
    told = [bench.run(f"reading add {codes[0]} {typed}").err for typed in ("--look swollen", "--mass 45g")]
    told += [bench.run(f"reading add {code} --look clean").err for code in codes[1:3]]
    assert [flat(text).count("Local rules") for text in told] == [0, 0, 1, 0]


def test_every_danger_belongs_to_a_step_that_a_command_is_tried_at() -> None:
    """Fresh eyes: the table of commands leaves no danger out that a command can say."""
    tried = {Step(step) for _, step in CASES}
    untried = {Step.CAPACITY, Step.BUILD, Step.DISMANTLE, Step.LOW_VOLTAGE}
    assert tried | untried == set(Step)
    for step in Step:
        assert all(flat(c.short) for c in cautions_for(step) if c.kind is Kind.DANGER), step
