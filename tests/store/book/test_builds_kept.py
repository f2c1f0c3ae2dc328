"""Projects and builds: a cell is promised once, also with two processes at once, and given back."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import date

import pytest
from tests.acceptance.bench import day
from tests.store.store_bench import CHILD_ENV, NOW, Shelf, found, volts

from straycell.acceptance import Outcome
from straycell.builds import BuildState
from straycell.cells import Stage
from straycell.errors import BadData, NegativeAnswer
from straycell.store.book.records import ProjectState


def _project(shelf: Shelf, name: str = "gauge", priority: int = 1) -> None:
    with shelf.writing() as writer:
        writer.add_project(name, f'name = "{name}"', priority)


def _reserved(shelf: Shelf, count: int = 1, name: str = "gauge") -> list[str]:
    """Good cells side by side, reserved for a project."""
    codes = shelf.good_cells(count)
    _project(shelf, name)
    with shelf.writing() as writer:
        writer.reserve(name, [[code] for code in codes], "plan-1")
    return codes


def _stages(shelf: Shelf) -> dict[str, Stage]:
    with shelf.reading() as reader:
        return {cell.code: cell.stage for cell in reader.cells()}


# --- projects --------------------------------------------------------------------------------------


def test_projects_are_listed_by_priority_then_due_then_name(shelf: Shelf) -> None:
    """1 is served first; without a date comes last."""
    with shelf.writing() as writer:
        for name, priority, due in (
            ("d", 2, date(2027, 1, 1)),
            ("c", 1, None),
            ("b", 1, date(2027, 3, 1)),
            ("a", 1, None),
        ):
            made = writer.add_project(name, "text", priority, due)
            assert (made.name, made.priority, made.due, made.state) == (
                name,
                priority,
                due,
                ProjectState.PENDING,
            )
        assert [entry.name for entry in writer.projects()] == ["b", "a", "c", "d"]
        assert made.added_at == NOW


def test_a_project_is_replaced_only_when_asked_and_while_it_waits(shelf: Shelf) -> None:
    """The old text stays in the events."""
    _reserved(shelf)
    _project(shelf, "lamp")
    with shelf.writing() as writer:
        with pytest.raises(BadData, match="already"):
            writer.add_project("lamp", "new", 2)
        assert writer.add_project("lamp", "new", 2, replace=True).text == "new"
        with pytest.raises(BadData, match="is reserved"):
            writer.add_project("gauge", "new", 2, replace=True)
    with shelf.bare() as conn:
        (detail,) = conn.execute("SELECT detail FROM event WHERE verb = 'project-replaced'").fetchone()
    assert 'name = \\"lamp\\"' in detail


def test_a_dropped_project_frees_its_cells_and_can_be_filed_again(shelf: Shelf) -> None:
    """Nothing was built, so the cells go back as they were."""
    (code,) = _reserved(shelf)
    with shelf.writing() as writer:
        writer.drop_project("gauge")
        assert writer.project("gauge").state is ProjectState.DROPPED
        with pytest.raises(BadData, match="was dropped"):
            writer.drop_project("gauge")
        with pytest.raises(NegativeAnswer, match="dropped"):
            writer.reserve("gauge", [[code]], "")
        assert writer.add_project("gauge", "again", 1).state is ProjectState.PENDING
    assert _stages(shelf) == {code: Stage.RECEIVED}


@pytest.mark.parametrize(("name", "priority"), [("", 1), ("  ", 1), ("x", -1), ("x", 2_000_000)])
def test_a_project_without_a_name_or_with_a_strange_priority_is_refused(
    shelf: Shelf, name: str, priority: int
) -> None:
    """Bad data, with what to write."""
    with shelf.writing() as writer, pytest.raises(BadData):
        writer.add_project(name, "text", priority)


def test_an_unknown_project_names_the_known_ones(shelf: Shelf) -> None:
    """Names match exactly."""
    _project(shelf)
    with shelf.writing() as writer:
        for act in (writer.project, writer.drop_project, writer.finish, writer.dismantle):
            with pytest.raises(BadData, match="no project 'Gauge'") as caught:
                act("Gauge")
            assert "gauge" in caught.value.remedy
        with pytest.raises(BadData, match="has no build"):
            writer.finish("gauge")


# --- the way of a build ----------------------------------------------------------------------------


def test_cells_are_reserved_built_in_and_come_back_on_hold(shelf: Shelf) -> None:
    """Reserve, finish, dismantle: stages, boxes, states, and the hold that asks for a new check."""
    a, b = shelf.good_cells(2)
    _project(shelf)
    with shelf.writing() as writer:
        writer.add_box("tin")
        writer.move_cell(a, "tin")
        build = writer.reserve("gauge", [[a], [b]], "plan-1")
    assert (build.groups, build.state, build.plan) == (((a,), (b,)), BuildState.RESERVED, "plan-1")
    assert _stages(shelf) == {a: Stage.RESERVED, b: Stage.RESERVED}
    with shelf.writing() as writer:
        assert writer.finish("gauge").finished_at == NOW
        assert writer.cell(a).box is None
        with pytest.raises(BadData, match="lies in no box"):
            writer.move_cell(a, "tin")
    with shelf.reading() as reader:
        assert reader.project("gauge").state is ProjectState.BUILT
        assert reader.live_build("gauge") == reader.builds()[0]
    assert _stages(shelf) == {a: Stage.INSTALLED, b: Stage.INSTALLED}
    with shelf.writing(day(21)) as writer:
        assert writer.dismantle("gauge").state is BuildState.DISMANTLED
    with shelf.reading() as reader:
        assert reader.live_build("gauge") is None and reader.builds() == []
        assert [build.dismantled_at for build in reader.builds(live_only=False)] == [day(21)]
        assert reader.project("gauge").state is ProjectState.PENDING
        assert [upset.kind for upset in reader.evidence(a).upsets] == ["dismantled"]
        assert reader.verdict(a, shelf.rules, day(21)).outcome is Outcome.HOLD
        assert reader.check(shelf.rules) == []
    assert _stages(shelf) == {a: Stage.RECEIVED, b: Stage.RECEIVED}


def test_a_reservation_that_is_freed_leaves_cells_where_they_were(shelf: Shelf) -> None:
    """Never built in: no new check is asked for."""
    (code,) = shelf.good_cells()
    _project(shelf)
    with shelf.writing() as writer:
        writer.add_box("tin")
        writer.move_cell(code, "tin")
        writer.reserve("gauge", [[code]], "")
    with shelf.writing() as writer:
        writer.dismantle("gauge")
    with shelf.reading() as reader:
        assert reader.cell(code).stage is Stage.SHELVED and reader.cell(code).box == "tin"
        assert reader.verdict(code, shelf.rules, NOW).outcome is Outcome.PACK


def test_a_reserved_cell_is_not_promised_twice(shelf: Shelf) -> None:
    """The second is told which cell, and for whom it is kept."""
    (code,) = _reserved(shelf)
    _project(shelf, "lamp")
    with shelf.writing() as writer, pytest.raises(NegativeAnswer) as caught:
        writer.reserve("lamp", [[code]], "")
    assert code in caught.value.what and "'gauge'" in caught.value.what and caught.value.exit_code == 1


_RESERVE = """
import sys
from datetime import datetime
from pathlib import Path
from straycell.acceptance import load_rules
from straycell.errors import StraycellError
from straycell.store.writer import open_writer
path, at, name, code = sys.argv[1:]
print("ready", flush=True)
sys.stdin.readline()
try:
    with open_writer(Path(path), now=datetime.fromisoformat(at), rules=load_rules()) as writer:
        writer.reserve(name, [[code]], "")
    print("won")
except StraycellError as fault:
    print(type(fault).__name__, fault.what)
"""


def test_of_two_processes_one_wins_and_the_other_is_told(shelf: Shelf) -> None:
    """Both start at the same signal on the same cell; the write lock decides."""
    (code,) = shelf.good_cells()
    names = ["gauge", "lamp"]
    for name in names:
        _project(shelf, name)
    racers = [
        subprocess.Popen(
            [sys.executable, "-c", _RESERVE, str(shelf.path), NOW.isoformat(), name, code],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=CHILD_ENV,
        )
        for name in names
    ]
    for racer in racers:
        assert racer.stdout is not None and racer.stdout.readline() == "ready\n"
    for racer in racers:
        assert racer.stdin is not None
        racer.stdin.write("go\n")
        racer.stdin.flush()
    told = [racer.communicate(timeout=60)[0].strip() for racer in racers]
    winner = names[told.index("won")]
    (lost,) = (line for line in told if line != "won")
    assert lost == f"NegativeAnswer cell {code} is reserved for project '{winner}' and cannot be reserved"
    with shelf.reading() as reader:
        assert [(build.project, build.codes) for build in reader.builds()] == [(winner, (code,))]


def test_a_reservation_judges_each_cell_anew(shelf: Shelf) -> None:
    """A verdict that ran out since the match does not count."""
    (code,) = shelf.good_cells()
    _project(shelf)
    with (
        shelf.writing(day(20 + 396)) as writer,
        pytest.raises(NegativeAnswer, match="is hold now, light is needed"),
    ):
        writer.reserve("gauge", [[code]], "")


def test_a_reading_in_the_same_write_counts(shelf: Shelf) -> None:
    """Its stage follows before the cell is promised."""
    (code,) = shelf.good_cells()
    _project(shelf)
    with pytest.raises(NegativeAnswer, match="is condemned"), shelf.writing() as writer:
        writer.add_readings([volts(code, 1.0)])
        writer.reserve("gauge", [[code]], "")


def test_cells_are_joined_only_with_a_pack_verdict(shelf: Shelf) -> None:
    """A `light` cell may serve alone, not in series or parallel."""
    (good,) = shelf.good_cells()
    with shelf.writing() as writer:
        (light,) = (cell.code for cell in writer.add_cells(writer.cell(good).facts))
        for reading in writer.evidence(good).readings:
            if reading.quantity != "as-found-voltage":
                writer.add_readings([replace(reading, cell=light)])
        for charge in writer.evidence(good).charges:
            writer.add_charge(replace(charge, cell=light))
        assert writer.verdict(light, shelf.rules, NOW).outcome < Outcome.PACK
    _project(shelf)
    with shelf.writing() as writer, pytest.raises(NegativeAnswer, match="pack is needed"):
        writer.reserve("gauge", [[good], [light]], "")


@pytest.mark.parametrize("groups", [[], [[]], [["A00002M"], []], [["A00002M", "A00002M"]], [["A00009A"]]])
def test_a_plan_that_cannot_be_is_refused(shelf: Shelf, groups: list[list[str]]) -> None:
    """No cells, an empty group, a cell twice, a cell that is not there."""
    shelf.good_cells()
    _project(shelf)
    with shelf.writing() as writer, pytest.raises(BadData):
        writer.reserve("gauge", groups, "")


def test_a_cell_that_is_no_longer_fit_cannot_be_built_in(shelf: Shelf) -> None:
    """It was dropped on the way to the device."""
    (code,) = _reserved(shelf)
    with shelf.writing() as writer:
        writer.add_incident("drop", [code])
    with shelf.writing() as writer, pytest.raises(NegativeAnswer, match="is hold now"):
        writer.finish("gauge")


# --- discards --------------------------------------------------------------------------------------


def test_a_discard_frees_the_reservation_and_names_the_project(shelf: Shelf) -> None:
    """The others go back, the project waits again, all of it in their histories."""
    a, b = _reserved(shelf, 2)
    with shelf.writing() as writer:
        assert writer.discard(a, "sleeve came off hot") == "gauge"
    assert _stages(shelf) == {a: Stage.CONDEMNED, b: Stage.RECEIVED}
    with shelf.reading() as reader:
        assert reader.project("gauge").state is ProjectState.PENDING and reader.live_build("gauge") is None
        assert [event.verb for event in reader.history(b)][-1] == "reservation-lost"
        assert "discarded" in [event.verb for event in reader.history(a)]
        assert reader.check(shelf.rules) == []


def test_a_reading_that_discards_frees_the_reservation_too(shelf: Shelf) -> None:
    """Whoever condemns it, the project must know."""
    (code,) = _reserved(shelf)
    shelf.add(volts(code, 1.1))
    assert _stages(shelf) == {code: Stage.CONDEMNED}
    with shelf.reading() as reader:
        assert reader.project("gauge").state is ProjectState.PENDING
        condemned = next(event for event in reader.history(code) if event.verb == "condemned")
    assert condemned.subject == "gauge"


def test_a_discarded_cell_stays_in_its_device_until_that_is_dismantled(shelf: Shelf) -> None:
    """The book does not take it out by itself; the project that holds it is named."""
    a, b = _reserved(shelf, 2)
    with shelf.writing() as writer:
        writer.finish("gauge")
        assert writer.discard(a, "device got hot") == "gauge"
        assert writer.live_build("gauge") is not None
    assert _stages(shelf) == {a: Stage.CONDEMNED, b: Stage.INSTALLED}
    with shelf.writing() as writer:
        writer.dismantle("gauge")
    assert _stages(shelf) == {a: Stage.CONDEMNED, b: Stage.RECEIVED}


def test_a_cell_still_in_its_device_is_not_promised_when_its_discard_is_taken_back(shelf: Shelf) -> None:
    """The figure was a slip, but the cell is soldered in all the same."""
    (code,) = _reserved(shelf)
    with shelf.writing() as writer:
        writer.finish("gauge")
        (slip,) = writer.add_readings([volts(code, 1.1)])
    with shelf.writing() as writer:
        writer.supersede(slip.id, "bad-contact", "loose clip")
    _project(shelf, "lamp")
    with shelf.writing() as writer, pytest.raises(NegativeAnswer, match="'gauge'"):
        writer.reserve("lamp", [[code]], "")


def test_a_freed_cell_can_be_reserved_again(shelf: Shelf) -> None:
    """The live index lets it go."""
    (code,) = _reserved(shelf)
    with shelf.writing() as writer:
        writer.dismantle("gauge")
        assert writer.reserve("gauge", [[code]], "plan-2").plan == "plan-2"
    with shelf.reading() as reader:
        assert len(reader.builds(live_only=False)) == 2 and len(reader.builds()) == 1


def test_an_unmeasured_cell_is_never_reserved(shelf: Shelf) -> None:
    """Unknown is no pass."""
    (code,) = shelf.cells()
    shelf.add(found(code, 3.6))
    _project(shelf)
    with shelf.writing() as writer, pytest.raises(NegativeAnswer, match="is hold now"):
        writer.reserve("gauge", [[code]], "")


def test_a_refused_reservation_caught_in_a_write_leaves_nothing_of_itself(shelf: Shelf) -> None:
    """The write goes on and is filed without it."""
    good, bad = shelf.good_cells(2)
    with shelf.writing() as writer:
        writer.add_project("gauge", "name = 'gauge'", 1)
        writer.discard(bad, "sat on")
        with pytest.raises(NegativeAnswer):
            writer.reserve("gauge", [[good], [bad]], "plan")
        writer.add_box("tin")
    with shelf.reading() as reader:
        assert reader.builds() == [] and reader.project("gauge").state is ProjectState.PENDING
        assert reader.check(shelf.rules) == []


def test_a_write_that_falls_in_its_middle_and_is_caught_leaves_nothing(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever raised: rows, touched cells and projects that lost a cell are as before it began."""
    code, other = shelf.good_cells(2)
    from straycell.store.book.use import builds

    with shelf.writing() as writer:
        writer.add_project("gauge", "name = 'gauge'", 1)
        writer.reserve("gauge", [[code]], "plan")

    def fall(*_: object) -> None:
        raise BadData("fell", "try again")

    with shelf.writing() as writer:
        with monkeypatch.context() as broken:
            broken.setattr(builds, "live_build", fall)
            with pytest.raises(BadData):
                writer.discard(code, "sat on")
        assert writer.lost == {} and not writer.distrusted()
        writer.discard(other, "bent")
    with shelf.reading() as reader:
        assert set(reader.out_of_use()) == {other} and reader.check(shelf.rules) == []
        assert reader.live_build("gauge") is not None
