"""Every sample cell comes out as its text says, for the reason it says; the workshop shows all there is to show."""

from __future__ import annotations

from collections import Counter

import pytest
from sample_db.build import deciding, surprises
from tests.sample.conftest import Built

from straycell.acceptance.reasons import Outcome, Status
from straycell.cells import Chemistry, Form, Look, Stage
from straycell.readings import Charge, Method, Mistake, Quantity, Reading
from straycell.safety.due.gather import due_now, survey
from straycell.store.reader import open_reader
from straycell.store.sample.notes import Deed, TakenBack
from straycell.store.writer import Writer

# Every way the shipped rules can turn out against a cell, written down from the rules document.
KINDS = """
chemistry failed; chemistry unmeasured; rechargeable unmeasured; condemned failed;
upset failed; upset unmeasured; mass failed; look unmeasured;
look-damage failed; look-deformed failed; look-mend failed; sibling-look-first unmeasured;
voltage-floor failed; voltage-floor close; voltage-over-full failed; voltage-over-full close; charger-end close;
voltage-light-only failed; voltage-light-only close; as-found-voltage unmeasured; board-voltage unmeasured;
rest-voltage unmeasured; rest-voltage close; warming unmeasured;
warming close; warming-discard failed; charge-temperature failed; charge-temperature close;
capacity unmeasured; capacity-pack failed; capacity-pack close; capacity-solo failed;
capacity-light close; capacity-discard failed; capacity-contradictory close; unrated-capacity unmeasured;
resistance unmeasured; resistance-method unmeasured; resistance-pack failed; resistance-pack close;
resistance-solo failed; resistance-solo close; resistance-light failed; resistance-contradictory close;
resistance-discard failed; unrated-resistance-discard failed; self-discharge unmeasured; self-discharge-pack unmeasured;
self-discharge-pack close; self-discharge-solo close; self-discharge-light close; self-discharge-discard failed;
capacity-over-rating close; look-clean failed; look-returned failed; look-rust-stain failed;
first-day-discard failed; first-day close; charge-frost unmeasured; warm-rest failed; mass-lost failed;
charge-in close; self-discharge-stretch close; upset-look unmeasured
"""

# Lightest and heaviest in g: 18650 44 to 48 on cell sheets, a protection board adds 2 to 3; the others common practice.
MASSES = {
    Form.F18650: (43.5, 49.5),
    Form.F21700: (66.0, 71.0),
    Form.F26650: (80.0, 92.0),
    Form.F14500: (17.0, 21.0),
    Form.F16340: (15.5, 18.5),
    Form.F18350: (22.0, 26.0),
    Form.F13400: (10.5, 14.0),
    Form.F10440: (8.0, 10.5),
}


def test_every_cell_comes_out_as_its_text_says(built: Built) -> None:
    """Outcome and all deciding reasons, of every cell; what the text says was written from the rules by hand."""
    assert surprises(built.sample, built.verdicts) == []


def test_a_wrong_expectation_would_be_seen(built: Built) -> None:
    """The check itself is checked: swapped verdicts are told, cell by cell, with both sides."""
    swapped = {**built.verdicts, "H00001K": built.verdicts["H00022A"]}
    assert surprises(built.sample, swapped) == [
        "H00001K: discard by voltage-floor failed; the text expects pack by nothing"
    ]


def test_the_workshop_is_large_and_varied_enough() -> None:
    """At least 6 tear-downs and 64 cells; all chemistries, forms (but `other`) and outcomes, several meters."""
    from straycell.store.sample.text import read_sample

    sample = read_sample()
    facts = [cell.facts for cell in sample.cells]
    assert len(sample.teardowns) >= 6 and len(sample.cells) >= 64 and len(sample.meters) >= 4
    assert {f.chemistry for f in facts} == set(Chemistry)
    assert {f.form for f in facts} == set(Form) - {Form.OTHER}
    outcomes = Counter(cell.expect for cell in sample.cells)
    assert set(outcomes) == set(Outcome) and min(outcomes.values()) >= 5
    assert len({cell.code for cell in sample.cells}) == len(sample.cells)
    assert len({cell.shows for cell in sample.cells}) >= len(sample.cells) - 5


def test_every_kind_of_reason_is_there(built: Built) -> None:
    """Each way a rule can decide against a cell decides at least once."""
    shown = {why for cell in built.sample.cells for why in cell.because}
    wanted = {kind.strip() for kind in KINDS.split(";")}
    assert wanted - shown == set()
    assert {why for v in built.verdicts.values() for why in deciding(v)} - wanted == set()


def test_every_kind_of_bench_note_is_there() -> None:
    """All looks but none twice needed; every mistake; corrections both ways; a group; a board; methods; a discard."""
    from straycell.store.sample.text import read_sample

    sample = read_sample()
    jobs = [job for cell in sample.cells for job in cell.jobs]
    readings = [j for j in jobs if isinstance(j, Reading)]
    assert {word for r in readings for word in r.look} == set(Look) - {Look.BURNT}
    assert {j.mistake for j in jobs if isinstance(j, TakenBack)} == {str(m) for m in Mistake}
    deeds = [j for j in (*jobs, *sample.later) if isinstance(j, Deed)]
    assert {d.args[-1] for d in deeds if d.does is Writer.correct_cell} == {None, "mistyped"}
    assert any(r.as_group for r in readings) and any(r.where is not None for r in readings)
    assert {r.method for r in readings if r.quantity is Quantity.RESISTANCE} == set(Method)
    assert {d.args[-1] for d in deeds if d.does is Writer.add_incident} == {True, False}
    for once in (Writer.discard, Writer.reserve, Writer.finish, Writer.dismantle):
        assert sum(d.does is once for d in deeds) == 1


@pytest.mark.parametrize(
    ("outcome", "share"), [(Outcome.PACK, 0.80), (Outcome.SOLO, 0.70), (Outcome.LIGHT, 0.50)]
)
def test_the_figures_bear_the_grade(built: Built, outcome: Outcome, share: float) -> None:
    """Reckoned from the notes alone: no rated cell stands in a grade whose share of capacity it does not reach."""
    checked = 0
    for cell in built.sample.cells:
        rated, full = cell.facts.rated_capacity_ah, cell.facts.full_voltage_v
        if cell.expect is not outcome or not rated or cell.facts.rewrapped:
            continue
        runs = [j.value for j in cell.jobs if isinstance(j, Reading) and j.quantity is Quantity.CAPACITY]
        expected = rated * (0.88 if full and full > 4.3 else 1.0)
        assert max(v for v in runs if v is not None) >= share * expected, cell.code
        checked += 1
    assert checked >= 5


def test_the_figures_are_plausible() -> None:
    """Masses by form, charges within what a cell bears, rooms a bench has; the oddities are the ones told of."""
    from straycell.store.sample.text import read_sample

    for cell in read_sample().cells:
        low, high = MASSES.get(cell.facts.form, (0.0, 100.0))
        odd = cell.because == ("mass failed",)
        assert cell.facts.mass_g is not None and (odd or low <= cell.facts.mass_g <= high), cell.code
        for job in cell.jobs:
            if isinstance(job, Charge):
                rated = cell.facts.rated_capacity_ah
                assert rated is None or job.current_a <= 0.5 * rated + 1e-9, cell.code
                most = 3.65 if cell.facts.form is Form.F26650 and cell.code != "H00051Z" else 4.20
                assert job.until_v <= most, cell.code


def test_no_condemned_cell_is_measured_on(built: Built) -> None:
    """Damage seen: no charge, no discharge afterwards."""
    for cell in built.sample.cells:
        if "look-damage failed" in cell.because or "look-deformed failed" in cell.because:
            kinds = {j.quantity for j in cell.jobs if isinstance(j, Reading)}
            assert kinds <= {Quantity.LOOK, Quantity.AS_FOUND_VOLTAGE}, cell.code
            assert not any(isinstance(j, Charge) for j in cell.jobs), cell.code


def test_the_store_is_sound_and_its_stages_follow(built: Built) -> None:
    """No fault; what is discarded is condemned and in the sand, nothing good lies with it."""
    with open_reader(built.path) as reader:
        assert reader.check(built.rules) == []
        for cell in reader.cells():
            condemned = built.verdicts[cell.code].outcome is Outcome.DISCARD
            assert (cell.stage is Stage.CONDEMNED) is condemned, cell.code
            assert (cell.box == "sand") is (condemned and cell.code != "H00085H") or cell.code == "H00085H"
        assert {box.name for box in reader.boxes()} == {"round, good", "flat, good", "waiting", "sand"}
        own = [cell for cell in built.sample.cells if cell.code.startswith(built.sample.bench)]
        assert len(reader.blank_codes()) == built.sample.blank_codes - len(own)


def test_slips_are_put_right_in_the_open(built: Built) -> None:
    """A mistyped voltage condemned a cell; taken back it is cleared, and both readings stay to be seen."""
    with open_reader(built.path) as reader:
        verbs = [event.verb for event in reader.history("H00081P")]
        assert verbs.index("condemned") < verbs.index("reading-superseded") < verbs.index("cleared")
        wrong, right = (
            r
            for r in reader.recorded("H00081P")
            if getattr(r.item, "quantity", None) is Quantity.AS_FOUND_VOLTAGE
        )
        assert {(wrong.item.value, wrong.mistake), (right.item.value, right.mistake)} == {
            (1.7, "mistyped"),
            (3.7, ""),
        }
        moved = reader.recorded("H00085H", with_superseded=False)
        assert any(getattr(r.item, "value", None) == 1.22 for r in moved)


def test_a_correction_alone_lifts_no_discard(built: Built) -> None:
    """Entered as primary, changed without saying it was a slip: still out of use, and it says why."""
    verdict = built.verdicts["H00082N"]
    assert verdict.outcome is Outcome.DISCARD
    assert [reason.rule for reason in verdict.deciding if reason.finding] == ["chemistry"]


def test_a_build_taken_apart_leaves_its_mark(built: Built) -> None:
    """One of its cells was tested anew, the other not; its project was given up."""
    with open_reader(built.path) as reader:
        states = {build.project: str(build.state) for build in reader.builds(live_only=False)}
    assert states == {"porch step light": "dismantled"}
    assert built.verdicts["H00090N"].outcome is Outcome.HOLD
    assert built.verdicts["H00091L"].outcome is Outcome.PACK


def test_what_was_seen_of_a_cell_and_holds_it_is_a_danger_in_due(built: Built) -> None:
    """Whatever the rule: a hold for safety that rests on something seen is in the list, as a danger."""
    seen = {
        verdict.code: reason.rule
        for verdict in built.verdicts.values()
        for reason in verdict.reasons
        if reason.safety and reason.status in (Status.CLOSE, Status.FAILED) and reason.ceiling is Outcome.HOLD
        if verdict.outcome is Outcome.HOLD
    }
    with open_reader(built.path) as reader:
        found = due_now(survey(reader.household(built.rules, built.sample.now)), built.sample.now)
    assert len(set(seen.values())) >= 10
    assert seen.keys() <= {item.subject for item in found if item.kind.danger}
