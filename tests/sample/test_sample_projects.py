"""The four pending projects: one is served, one needs a pack, one is refused for a reason, one lacks protection."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.sample.conftest import Built

from straycell.acceptance import Outcome
from straycell.bench.candidates import candidates
from straycell.matching import Match, UseLimits, match_project
from straycell.projects import Project, finish_faults, parse_project
from straycell.store.reader import open_reader

NAMES = ["greenhouse vent opener", "bird-box camera", "bench lamp", "tide clock"]


def project(built: Built, name: str) -> Project:
    with open_reader(built.path) as reader:
        return parse_project(reader.project(name).text, source=name, base=Path())


def match(built: Built, name: str) -> Match:
    with open_reader(built.path) as reader:
        offers = candidates(reader, built.rules, built.sample.now)
    return match_project(
        project(built, name), offers, UseLimits.from_rules(built.rules), now=built.sample.now
    )


def test_four_projects_wait_and_one_was_given_up(built: Built) -> None:
    """In the order they are served."""
    with open_reader(built.path) as reader:
        states = [(entry.name, str(entry.state)) for entry in reader.projects()]
    assert [name for name, state in states if state == "pending"] == [NAMES[0], NAMES[1], NAMES[3], NAMES[2]]
    assert [name for name, state in states if state != "pending"] == ["porch step light"]


def test_one_cell_serves_the_vent_opener_and_it_is_no_better_than_needed(built: Built) -> None:
    """45 mA for 24 h is 1080 mAh: a light cell of 1400 mAh has margin, so no better one is spent."""
    found = match(built, "greenhouse vent opener")
    assert found.served and found.groups == (("H00044X",),)
    assert built.verdicts["H00044X"].outcome is Outcome.LIGHT
    assert found.runtime is not None and 24.0 <= found.runtime.low_h <= 1400 / 45
    assert {why.test for why in found.not_chosen} >= {"kept", "outcome", "form", "chemistry", "stage"}


def test_the_camera_needs_a_pack_for_which_there_are_cells(built: Built) -> None:
    """Two in series of two in parallel, and six alike cells that may be joined."""
    assert (
        project(built, "bird-box camera").pack.series,
        project(built, "bird-box camera").pack.parallel,
    ) == (2, 2)
    joinable = [
        c
        for c in built.sample.cells
        if c.facts.marking == "INR18650 2000mAh" and built.verdicts[c.code].outcome is Outcome.PACK
    ]
    assert len(joinable) >= 4


def test_the_bench_lamp_is_refused_because_its_charger_would_overcharge(built: Built) -> None:
    """A 4.2 V charger and lfp cells: good cells are there, and none may go in."""
    found = match(built, "bench lamp")
    assert not found.served and found.nearest is not None
    assert found.nearest.test == "charger-voltage" and "3.70 V" in found.nearest.text
    assert built.verdicts[found.nearest.code].outcome >= Outcome.LIGHT


def test_the_tide_clock_finds_a_cell_and_cannot_be_finished(built: Built) -> None:
    """Without protection it can be planned for only."""
    found = match(built, "tide clock")
    assert found.served and any("no protection" in warning for warning in found.warnings)
    assert finish_faults(project(built, "tide clock"))


@pytest.mark.parametrize("name", [n for n in NAMES if n != "tide clock"])
def test_the_others_lack_no_protection(built: Built, name: str) -> None:
    """A pack is protected and balanced cell by cell."""
    assert finish_faults(project(built, name)) == []
