"""Every command's talk read with fresh eyes: first use of the day, a later one, --quiet. No danger is ever left out."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.cli.app.test_help_pages import commands
from tests.cli.app.test_quiet import CASES, flat, words  # noqa: F401
from tests.cli.bench import Bench
from tests.sample.conftest import Built, built  # noqa: F401

from straycell.safety import Kind, Step, all_cautions, cautions_for

# a command at which a cell of the workshop is handled | the step whose dangers belong there
WORKSHOP = """
match 'bird-box camera'                                     | match
build reserve 'bird-box camera'                             | build
build sheet 'greenhouse vent opener' --out {folder}/s.pdf   | build
build inspect 'greenhouse vent opener' --look swollen       | look-bad
build dismantle 'greenhouse vent opener'                    | dismantle
runtime H00003G --current 0.2A --until 3.2V                 | match
load for-runtime H00003G --runtime 8h --until 3V            | match
label single H00003G --dpi 203 --out {folder}/l.png         | label
label blank --count 4 --out {folder}/b.pdf                  | label
handover add yard                                           | handover
handover show {handover} --out {folder}/h.pdf               | handover
import cells {folder}/list.csv                              | intake
trace add H00003G {folder}/run.csv                          | measuring
"""
SHOP_CASES = [tuple(part.strip() for part in line.split("|")) for line in WORKSHOP.strip().splitlines()]

# Commands at which no cell is handled next, and what they are instead.
NO_CELL_IN_HAND = """
intake              a dialogue: tests/cli/intake
scan                reads codes: tests/cli/use
teardown            correct list show withdraw plot: entries and lists
cell                list history withdraw photo plot: entries, lists, files
meter               what measures
charger             what charges
reading             undo: as supersede
trace               list show plot keep trim: files
verdict             list refresh plot: lists
rules               limits
cautions            the cautions themselves
load                from-log: a file
project             what a device needs
build               list: a list; finish: see below; ran: a figure
label               sheet read stocks calibrate: printing and reading
box                 list plot: a list
incident            kinds: a list; withdraw: as supersede
handover            list close: lists and a signature
import              readings: what was measured before
export              files
log                 a list
serve               the page has cautions of its own: tests/web
store               a file
completion          the shell
demo                its own story: tests/sample/test_demo.py
"""


@pytest.fixture
def shop(built: Built, tmp_path: Path) -> Bench:  # noqa: F811
    """The workshop with one cell reserved, a hand-over, a list and a curve to take in."""
    bench = Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())
    bench.begin_with(built.path)
    bench.prepare("build reserve 'greenhouse vent opener'")
    (tmp_path / "list.csv").write_text("form,chemistry,marking\n18650,nmc,INR18650\n")
    rows = "".join(f"{60 * k},{4.15 - 0.02 * k:.3f},-0.5\n" for k in range(40))
    (tmp_path / "run.csv").write_text("time_s,voltage_v,current_a\n" + rows)
    return bench


def say(bench: Bench, line: str, how: str) -> str:
    """What a command says on stderr when the cautions are new, were all read today, or with --quiet."""
    state = bench.store.parent / f"state-{how}"
    state.mkdir()
    if how == "later":
        told = {"day": bench.now[:10], "told": [c.id for c in all_cautions()]}
        (state / "cautions.json").write_text(json.dumps(told))
    bench.env["STRAYCELL_STATE"] = str(state)
    before = bench.store.read_bytes()
    answer = bench.run(f"{line} --quiet" if how == "quiet" else line)
    bench.store.write_bytes(before)
    assert answer.code in (0, 1), answer.err
    return flat(answer.err)


def require_dangers(bench: Bench, line: str, step: Step) -> None:
    """Every danger of the step, in full where it is new, short where it was read or --quiet asks for few words."""
    first, later, quiet = (say(bench, line, how) for how in ("first", "later", "quiet"))
    dangers = [c for c in cautions_for(step) if c.kind is Kind.DANGER]
    assert dangers
    for caution in dangers:
        some_cells_only = step in caution.last and caution.short in first
        assert some_cells_only or caution.text in first, (line, caution.id)
        assert caution.short in later and caution.short in quiet, (line, caution.id)
    assert (
        len(quiet)
        <= len(later) + len("Local rules come first. ")
        <= len(first) + len("Local rules come first. ")
    )


@pytest.mark.parametrize(("line", "step"), CASES)
def test_no_danger_is_left_out_at_the_bench(
    line: str,
    step: str,
    bench: Bench,
    words: dict[str, str],  # noqa: F811
) -> None:
    """Taking in, measuring, judging, parting."""
    require_dangers(bench, line.format(**words), Step(step))


@pytest.mark.parametrize(("line", "step"), SHOP_CASES)
def test_no_danger_is_left_out_in_the_workshop(line: str, step: str, shop: Bench) -> None:
    """Giving second work and what is on paper."""
    if line.startswith(("build inspect", "build dismantle")):
        shop.prepare("build finish 'greenhouse vent opener' --yes")
        shop.now = (datetime.fromisoformat(shop.now) + timedelta(days=1)).isoformat()
    number = shop.do("handover add yard")["id"] if "{handover}" in line else 0
    require_dangers(shop, line.format(folder=shop.store.parent, handover=number), Step(step))


def test_every_step_is_tried_and_every_command_is_tried_or_has_no_cell_in_hand() -> None:
    """A new step or command is listed here, or this fails."""
    cases = [*CASES, *SHOP_CASES]
    assert {Step(step) for _, step in cases} == set(Step)
    tried = {tuple(line.split()[:2]) for line, _ in cases} | {(line.split()[0],) for line, _ in cases}
    listed = {line.split()[0]: line for line in NO_CELL_IN_HAND.strip().splitlines()}
    for path in commands():
        if tuple(path) in tried:
            continue
        words_of = listed[path[0]].replace(":", " ").split()
        assert len(path) == 1 or path[1] in words_of or not _names_verbs(words_of, path[0]), path


def _names_verbs(said: list[str], noun: str) -> bool:
    """True where the line lists verbs, as it must for a noun some of whose verbs are tried."""
    verbs = {path[1] for path in commands() if path[0] == noun and len(path) > 1}
    return bool(verbs & set(said))
