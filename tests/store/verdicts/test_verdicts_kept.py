"""Verdicts in the store: recorded with every write, trusted only while they hold, followed by the stage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from tests.acceptance.bench import FINE, NMC, day
from tests.store.store_bench import NOW, Shelf, capacity, charge, found, look, measure, traced, volts

from straycell.acceptance import Outcome, RuleSet, assess, judge
from straycell.acceptance.evidence import Condemnation, SiblingSign, Upset
from straycell.acceptance.reasons import WorkKind
from straycell.acceptance.rules import merge_rules
from straycell.cells import CellFacts, Chemistry, Form, Look, Stage
from straycell.errors import BadData, UsageFault
from straycell.keys import RecordKey
from straycell.readings import Method, Quantity
from straycell.store.schema.tables import CELL
from straycell.store.verdicts import recorded as book
from straycell.store.verdicts import rejudge
from straycell.store.verdicts.findings import record
from straycell.store.writer import Writer


@pytest.fixture
def judged(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The codes of the cells whose verdict is computed rather than read."""
    seen: list[str] = []

    def watched(evidence, rules, now, *more):  # type: ignore[no-untyped-def]
        seen.append(evidence.code)
        return judge(evidence, rules, now, *more)

    for module in (book, rejudge):
        monkeypatch.setattr(module, "judge", watched)
    return seen


def _recorded(shelf: Shelf, code: str) -> int:
    with shelf.bare() as conn:
        return int(conn.execute("SELECT count(*) FROM verdict WHERE code = ?", (code,)).fetchone()[0])


def _bump(rules: RuleSet) -> RuleSet:
    return replace(rules, name="stricter", hash="another")


def test_a_write_records_the_verdict_it_changes(shelf: Shelf) -> None:
    """In the same transaction, with the rules' hash, the last reading, and until when it holds."""
    (code,) = shelf.good_cells()
    with shelf.bare() as conn:
        row = conn.execute(
            "SELECT outcome, rules_hash, last_reading, valid_until_us FROM verdict ORDER BY id DESC LIMIT 1"
        ).fetchone()
    with shelf.reading() as reader:
        verdict = assess(reader.evidence(code), shelf.rules, NOW)
    assert verdict.outcome is Outcome.PACK and verdict.valid_until is not None
    assert row == ("pack", shelf.rules.hash, verdict.last_reading, int(verdict.valid_until.timestamp() * 1e6))


def test_a_recorded_verdict_is_read_while_it_holds(shelf: Shelf, judged: list[str]) -> None:
    """And it is the same as a computed one."""
    (code,) = shelf.good_cells()
    with shelf.reading() as reader:
        assert reader.verdict(code, shelf.rules, NOW) == assess(reader.evidence(code), shelf.rules, NOW)
        judged.clear()
        later = reader.verdict(code, shelf.rules, NOW + timedelta(days=30))
    assert judged == [] and later.at == NOW and later.outcome is Outcome.PACK


def test_a_verdict_that_ran_out_is_computed_anew(shelf: Shelf, judged: list[str]) -> None:
    """Thirteen months later without any write it is no longer `pack`; one moment before its end it still is."""
    (code,) = shelf.good_cells()
    with shelf.reading() as reader:
        end = reader.verdict(code, shelf.rules, NOW).valid_until
        assert end is not None
        judged.clear()
        reader.verdict(code, shelf.rules, end - timedelta(microseconds=1))
        assert judged == []
        assert reader.verdict(code, shelf.rules, end).at == end
        assert judged == [code]
        assert reader.verdict(code, shelf.rules, day(20 + 396)).outcome < Outcome.PACK


def test_a_verdict_under_other_rules_is_computed_anew(shelf: Shelf, judged: list[str]) -> None:
    """The hash stands for everything in the rules that can change a verdict."""
    (code,) = shelf.good_cells()
    judged.clear()
    with shelf.reading() as reader:
        assert reader.verdict(code, _bump(shelf.rules), NOW).rules == "stricter"
    assert judged == [code]


def test_a_verdict_that_does_not_know_the_last_reading_is_computed_anew(
    shelf: Shelf, judged: list[str]
) -> None:
    """Another program added a reading behind our back."""
    (code,) = shelf.good_cells()
    with shelf.bare() as conn:
        conn.execute(
            "INSERT INTO reading (id, key, code, quantity, at_us, value, look, as_group, at_least, from_full,"
            " charger, doubt, recorded_at_us, event_id)"
            " SELECT 1000, 'A-1000', code, 'voltage', at_us, 1.2, '', 0, 0, 0, '', '', recorded_at_us, event_id FROM reading"
            " WHERE quantity = 'as-found-voltage' LIMIT 1"
        )
    judged.clear()
    with shelf.reading() as reader:
        assert reader.verdict(code, shelf.rules, NOW).outcome is Outcome.DISCARD
    assert judged == [code]


def test_a_question_about_an_earlier_time_is_computed(shelf: Shelf, judged: list[str]) -> None:
    """What was recorded today was not known to hold yesterday."""
    (code,) = shelf.good_cells()
    judged.clear()
    with shelf.reading() as reader:
        reader.verdict(code, shelf.rules, NOW - timedelta(seconds=1))
    assert judged == [code]


def test_many_verdicts_are_those_of_each_cell(shelf: Shelf) -> None:
    """Trusted and computed ones mixed, by code in order; outcomes agree with them."""
    codes = shelf.good_cells(2) + shelf.cells(2)
    much_later = day(20 + 396)
    with shelf.reading() as reader:
        for now in (NOW, much_later):
            every = reader.verdicts(shelf.rules, now)
            assert list(every) == sorted(codes)
            assert every == {code: reader.verdict(code, shelf.rules, now) for code in codes}
            assert reader.outcomes(shelf.rules, now) == {c: v.outcome for c, v in every.items()}
        assert list(reader.verdicts(shelf.rules, NOW, codes[1:3])) == sorted(codes[1:3])
        assert reader.evidences() == {code: reader.evidence(code) for code in sorted(codes)}


def test_bulk_questions_take_few_queries(shelf: Shelf) -> None:
    """As many for three cells as for thirty."""
    counts = []
    for more in (3, 27):
        shelf.cells(more)
        with shelf.reading() as reader, traced(reader) as asked:
            reader.evidences()
            reader.verdicts(_bump(shelf.rules), NOW)
        counts.append(len(asked))
    assert counts[0] == counts[1] < 40


def test_inside_a_write_a_touched_cell_is_judged_by_what_is_written_so_far(shelf: Shelf) -> None:
    """Its recorded verdict is not yet renewed and not trusted."""
    (code,) = shelf.good_cells()
    with shelf.writing() as writer:
        writer.add_incident("drop", [code])
        assert writer.verdict(code, shelf.rules, NOW).outcome is Outcome.HOLD
        assert writer.outcomes(shelf.rules, NOW)[code] is Outcome.HOLD


def test_refreshing_records_only_what_no_longer_holds(shelf: Shelf) -> None:
    """Nothing the second time, all of what ran out, all under new rules."""
    codes = shelf.good_cells(2)
    with shelf.writing() as writer:
        assert writer.refresh_verdicts() == 0
    later = day(20 + 396)
    with shelf.writing(later) as writer:
        assert writer.refresh_verdicts() == 2
        assert writer.refresh_verdicts() == 0
    stricter = Shelf(shelf.path, _bump(shelf.rules))
    with stricter.writing(later) as writer:
        assert writer.refresh_verdicts() == 2
    with shelf.reading() as reader:
        assert reader.verdict(codes[0], _bump(shelf.rules), later).at == later


# --- what evidence is made of ----------------------------------------------------------------------


def test_siblings_are_cells_of_the_same_pack_of_the_same_teardown(shelf: Shelf) -> None:
    """Their signs and their best capacity count, never a cell's own; another pack's do not."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b, c = (cell.code for cell in writer.add_cells(NMC, count=3, teardown="AT1", pack="left"))
        (far,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT1", pack="right"))
        (lone,) = (cell.code for cell in writer.add_cells(NMC))
        writer.add_readings([look(a, Look.LEAKING, Look.RUST, at=day(2)), capacity(a, 2.2), capacity(b, 2.4)])
    with shelf.reading() as reader:
        every = reader.evidences()
        assert (
            every[b].sibling_signs == every[c].sibling_signs == (SiblingSign(a, Look.LEAKING, day(2), "A-1"),)
        )
        assert every[a].sibling_signs == every[far].sibling_signs == every[lone].sibling_signs == ()
        found = {code: every[code].best_sibling for code in (a, b, c, far, lone)}
        best = {code: each and each.capacity_ah for code, each in found.items()}
        assert best == {a: 2.4, b: 2.2, c: 2.4, far: None, lone: None}
        assert [getattr(found[code], "key", "") for code in (a, b, far)] == ["A-3", "A-2", ""]
        assert reader.evidence(c) == every[c]


def test_a_teardown_without_packs_counts_as_one_pack(shelf: Shelf) -> None:
    """Unknown takes the cautious side."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b = (cell.code for cell in writer.add_cells(NMC, count=2, teardown="AT1"))
        writer.add_readings([look(a, Look.SWOLLEN)])
    with shelf.reading() as reader:
        assert [sign.code for sign in reader.evidence(b).sibling_signs] == [a]


def test_a_sign_stays_when_the_sibling_looks_clean_later_and_goes_when_taken_back(shelf: Shelf) -> None:
    """Wiped clean is not undone; looked at the wrong cell is."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b = (cell.code for cell in writer.add_cells(NMC, count=2, teardown="AT1"))
        (seen,) = writer.add_readings([look(a, Look.SWOLLEN, at=day(3))])
        writer.add_readings([look(a, Look.CLEAN)])
        assert writer.evidence(b).sibling_signs == (SiblingSign(a, Look.SWOLLEN, day(3), "A-1"),)
        writer.supersede(seen.id, "wrong-cell", "it was the spare")
        assert writer.evidence(b).sibling_signs == ()


def test_a_siblings_sign_renews_the_recorded_verdict_of_the_others(shelf: Shelf, judged: list[str]) -> None:
    """In the same transaction; a reading that says nothing of them leaves theirs alone."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b = (cell.code for cell in writer.add_cells(NMC, count=2, teardown="AT1"))
        (far,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT1", pack="x"))
    shelf.add(look(a, Look.CLEAN), found(a, 3.6))
    assert [_recorded(shelf, code) for code in (a, b, far)] == [2, 1, 1]
    shelf.add(look(a, Look.BURNT))
    assert [_recorded(shelf, code) for code in (a, b, far)] == [3, 2, 1]
    judged.clear()
    with shelf.reading() as reader:
        assert any(r.rule == "sibling-look-first" for r in reader.verdict(b, shelf.rules, NOW).reasons)
    assert judged == []


@pytest.mark.parametrize("mistake", [None, "mistyped"])
def test_a_sign_counts_for_every_pack_a_cell_was_in_unless_that_was_mistyped(
    shelf: Shelf, mistake: str | None
) -> None:
    """The ones it joins, and the ones it leaves as long as it really lay there."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b = (cell.code for cell in writer.add_cells(NMC, count=2, teardown="AT1", pack="left"))
        (c,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT1", pack="right"))
        writer.add_readings([look(a, Look.BURNT)])
    with shelf.writing() as writer:
        writer.correct_cell(a, {}, "lay in the right one", mistake, pack="right")
    with shelf.reading() as reader:
        rules = {code: {r.rule for r in reader.verdict(code, shelf.rules, NOW).reasons} for code in (b, c)}
        assert ("sibling-look-first" in rules[b]) is (mistake is None) and "sibling-look-first" in rules[c]
        assert reader.check(shelf.rules) == []


def test_a_cell_that_moves_on_takes_the_sign_of_its_first_pack_along(shelf: Shelf) -> None:
    """It lay beside the cell that leaks, whenever that shows; in a pack it was never in, it did not."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b = (cell.code for cell in writer.add_cells(NMC, count=2, teardown="AT1", pack="left"))
        writer.correct_cell(b, {}, "goes with the others from here on", pack="right")
        (c,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT1", pack="right"))
        writer.add_readings([look(a, Look.BURNT)])
        signs = {code: [sign.code for sign in writer.evidence(code).sibling_signs] for code in (a, b, c)}
    assert signs == {a: [], b: [a], c: []}


def leaked(writer: Writer, code: str) -> RecordKey:
    """Found to have lost far too much in a fortnight; the number of the reading that shows it."""
    late = replace(volts(code, 3.9), rested_s=86400.0, meter=FINE, temperature_c=22.0)
    return writer.add_readings([late])[0].id


def lost_at_once(writer: Writer, code: str) -> RecordKey:
    """Flat a day after a full charge; the number of the reading that shows it."""
    writer.add_charge(charge(code, NOW - timedelta(days=1)))
    low = replace(volts(code, 3.3), rested_s=86400.0, meter=FINE, temperature_c=22.0)
    return writer.add_readings([low])[0].id


def swallowed(writer: Writer, code: str) -> RecordKey:
    """Half as much again went in as it holds; the number of that charge."""
    return writer.add_charge(replace(charge(code), put_in_ah=2.4 * 2.0)).id


@pytest.mark.parametrize(
    ("danger", "words"),
    [
        (leaked, "it lost charge by itself"),
        (lost_at_once, "it lost charge within days of a full charge"),
        (swallowed, "far more charge went in than it holds"),
    ],
)
def test_a_sibling_that_leaked_charge_is_a_sign_as_long_as_that_finding_stands(
    shelf: Shelf, danger: Callable[[Writer, str], RecordKey], words: str
) -> None:
    """In the same write, for the pack and for nobody else; a mistake in its basis takes the sign back."""
    with shelf.writing() as writer:
        writer.add_teardown("drill", "tool")
        a, b = (cell.code for cell in writer.add_cells(NMC, count=2, teardown="AT1"))
        (far,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT1", pack="x"))
        for code in (a, b, far):
            measure(writer, code)
    with shelf.writing() as writer:
        number = danger(writer, a)
    assert [state_of(shelf, code) for code in (a, b, far)] == [Outcome.DISCARD, Outcome.HOLD, Outcome.PACK]
    with shelf.reading() as reader:
        held = [r for r in reader.verdict(b, shelf.rules, NOW).reasons if r.rule == "sibling-look-first"]
        assert held and f"{a} of the same pack: {words}" in held[0].text
        assert reader.check(shelf.rules) == []
    with shelf.writing() as writer:
        writer.supersede(number, "wrong-cell", "of another tray")
    assert state_of(shelf, b) is Outcome.PACK
    with shelf.reading() as reader:
        assert reader.check(shelf.rules) == []


def state_of(shelf: Shelf, code: str) -> Outcome:
    with shelf.reading() as reader:
        return reader.verdict(code, shelf.rules, NOW).outcome


def test_a_finding_is_recorded_once(shelf: Shelf) -> None:
    """Judged again it is the same finding: a second row would make two benches' merges differ."""
    (code,) = shelf.cells()
    shelf.add(found(code, 1.2))
    with shelf.reading() as reader:
        known = reader.evidence(code).findings
    assert known
    with shelf.writing() as writer:
        record(writer.pen, known)
    with shelf.bare() as conn:
        assert conn.execute("SELECT count(*) FROM finding").fetchone()[0] == len(known)


def test_of_several_objects_each_cell_says_which(shelf: Shelf) -> None:
    """Four devices opened together are four packs; of one object nothing is asked."""
    with shelf.writing() as writer:
        writer.add_teardown("small devices", "inhaler-type device", objects=4)
        writer.add_teardown("drill", "tool")
        with pytest.raises(UsageFault, match="is of 4 objects"):
            writer.add_cells(NMC, teardown="AT1")
        (a,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT1", pack="1"))
        (b,) = (cell.code for cell in writer.add_cells(NMC, teardown="AT2"))
        with pytest.raises(UsageFault, match="is of 4 objects"):
            writer.correct_cell(b, {}, "came out of a small one", teardown="AT1")
        writer.add_cells(NMC, teardown="AT1", pack="2")
        writer.add_readings([look(a, Look.LEAKING)])
        assert writer.correct_cell(b, {}, "came out of a small one", teardown="AT1", pack="3").pack == "3"
        assert not writer.evidence(b).sibling_signs


def test_incidents_and_discards_stand_in_the_evidence(shelf: Shelf) -> None:
    """With the event they came from."""
    (code,) = shelf.cells()
    with shelf.writing(day(5)) as writer:
        number = writer.add_incident("short-circuit", [code], "wrench fell on it", severe=True)
        writer.discard(code, "warm after the wrench")
        evidence = writer.evidence(code)
        assert [event.id for event in writer.history(code) if event.verb == "incident"] == [number]
    assert evidence.upsets == (Upset("short-circuit", day(5), True, number, "incident A-1"),)
    assert evidence.condemned == Condemnation("warm after the wrench", day(5), "discard A-2")


@pytest.mark.parametrize(("kind", "codes"), [("", ["A00002M"]), ("drop", []), ("drop", ["A00009A"])])
def test_an_incident_needs_a_kind_and_cells_that_exist(shelf: Shelf, kind: str, codes: list[str]) -> None:
    """Nothing is recorded otherwise."""
    shelf.cells()
    with shelf.writing() as writer, pytest.raises(BadData):
        writer.add_incident(kind, codes)


# --- the stage follows -----------------------------------------------------------------------------


def test_a_verdict_of_discard_condemns_the_cell(shelf: Shelf) -> None:
    """With the reason in its history."""
    (code,) = shelf.cells()
    shelf.add(found(code, 1.2))
    with shelf.reading() as reader:
        assert reader.cell(code).stage is Stage.CONDEMNED
        event = reader.history(code)[-1]
    assert event.verb == "condemned" and event.because


def test_a_cell_that_is_never_to_be_charged_is_condemned_as_it_is_logged(shelf: Shelf) -> None:
    """A primary cell."""
    with shelf.writing() as writer:
        (cell,) = writer.add_cells(CellFacts(Chemistry.PRIMARY, Form.F16340))
    with shelf.reading() as reader:
        assert reader.cell(cell.code).stage is Stage.CONDEMNED


def test_taking_the_reading_back_brings_the_cell_back_and_nothing_else_does(shelf: Shelf) -> None:
    """No later reading; superseding as a mistake does, and stays visible."""
    (code,) = shelf.cells()
    (wrong,) = shelf.add(found(code, 1.36))
    shelf.add(volts(code, 3.9), look(code, Look.CLEAN))
    with shelf.reading() as reader:
        assert reader.cell(code).stage is Stage.CONDEMNED
    with shelf.writing() as writer:
        writer.supersede(wrong.id, "mistyped", "3.16 it was", None, [found(code, 3.16)])
    with shelf.reading() as reader:
        assert reader.cell(code).stage is Stage.RECEIVED
        assert reader.verdict(code, shelf.rules, NOW).outcome is Outcome.HOLD
        assert [e.verb for e in reader.history(code)][-3:] == [
            "reading-superseded",
            "finding-fell",
            "cleared",
        ]
        assert reader.check(shelf.rules) == []


def test_a_persons_discard_is_final(shelf: Shelf) -> None:
    """Even when every reading behind it is taken back."""
    (code,) = shelf.cells()
    (low,) = shelf.add(found(code, 1.2))
    with shelf.writing() as writer:
        assert writer.discard(code, "looks tired") is None
        with pytest.raises(BadData, match="was discarded on"):
            writer.discard(code, "again")
        writer.supersede(low.id, "bad-contact", "clip")
    with shelf.reading() as reader:
        assert reader.cell(code).stage is Stage.CONDEMNED
        assert reader.verdict(code, shelf.rules, NOW).outcome is Outcome.DISCARD


def test_a_safety_discard_survives_a_correction_unless_it_was_mistyped(shelf: Shelf) -> None:
    """No correction lifts a discard by the back door."""
    honest, slip = shelf.cells(2)
    shelf.add(found(honest, 1.8), found(slip, 1.8))
    lfp: dict[str, object] = {"chemistry": Chemistry.LFP}
    with shelf.writing() as writer:
        writer.correct_cell(honest, lfp, "the sleeve says so")
        writer.correct_cell(slip, lfp, "typed the wrong one", "mistyped")
    with shelf.reading() as reader:
        assert reader.cell(honest).stage is Stage.CONDEMNED
        assert reader.cell(slip).stage is Stage.RECEIVED


def test_other_rules_bring_no_condemned_cell_back(shelf: Shelf) -> None:
    """Only taking back what condemned it does: rules that would let it pass are no way out."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        measure(writer, code, capacity_ah=1.0)  # 40 % of its rating
    looser, faults = merge_rules(
        shelf.rules, {"name": "mine", "limit": [{"id": "capacity", "values": {"light": 0.3}}]}
    )
    assert looser is not None and not faults
    with Shelf(shelf.path, looser).writing() as writer:
        assert writer.refresh_verdicts() == 1
    with shelf.reading() as reader:
        assert reader.verdict(code, shelf.rules, NOW).outcome is Outcome.DISCARD
        assert reader.verdict(code, looser, NOW).outcome is Outcome.DISCARD
        assert reader.cell(code).stage is Stage.CONDEMNED


def test_a_cell_handed_over_takes_no_more_readings(shelf: Shelf) -> None:
    """It is not here."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        writer.discard(code, "sat on")
        writer.close_handover(writer.add_handover("yard").id)
    with shelf.writing() as writer:
        with pytest.raises(BadData, match="handed over"):
            writer.add_readings([found(code, 3.6)])
        with pytest.raises(BadData, match="handed over"):
            writer.discard(code, "x")


# --- the check -------------------------------------------------------------------------------------


def test_a_sound_store_has_no_faults(full: Shelf) -> None:
    """Guards, codes, verdicts."""
    with full.reading() as reader:
        assert reader.check() == reader.check(full.rules) == []


def test_the_check_finds_a_verdict_that_does_not_follow(full: Shelf) -> None:
    """Somebody put a better one in by hand."""
    with full.bare() as conn:
        conn.execute(
            "INSERT INTO verdict SELECT NULL, code, at_us, rules, rules_hash, 'pack', last_reading, valid_until_us,"
            ' replace(body, \'"outcome":"discard"\', \'"outcome":"pack"\') FROM verdict WHERE outcome = \'discard\' LIMIT 1'
        )
    with full.reading() as reader:
        (fault,) = reader.check(full.rules)
    assert "does not follow" in fault


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        ("DROP TRIGGER event_no_replace", "the guard 'event_no_replace' is missing"),
        ("DROP INDEX ux_build_cell_live", "the index 'ux_build_cell_live' is missing"),
        (
            f"INSERT INTO cell SELECT 'A00001X', {', '.join(CELL.c.keys()[1:])} FROM cell LIMIT 1",
            "code 'A00001X' has a wrong check character",
        ),
        (
            "INSERT INTO upset VALUES (NULL, 'A-99', 'A00009A', 'drop', 1772366400000000, 0, 1)",
            "points to a row of cell",
        ),
        (
            "INSERT INTO reading (key, code, quantity, at_us, value, look, as_group, at_least, from_full,"
            " charger, doubt, recorded_at_us, event_id)"
            " SELECT 'A-999', code, 'voltage', at_us, 3.7, '', 0, 0, 0, '', '', recorded_at_us, event_id FROM reading LIMIT 1",
            "does not know its last reading",
        ),
    ],
)
def test_the_check_names_each_kind_of_fault(full: Shelf, sql: str, told: str) -> None:
    """In words a person can act on."""
    with full.bare() as conn:
        conn.execute(sql)
    with full.reading() as reader:
        faults = reader.check(full.rules)
    assert any(told in fault for fault in faults), faults


def test_measuring_alone_gives_the_verdict_of_the_rules(shelf: Shelf) -> None:
    """The store adds nothing of its own: the same readings, the same verdict, whatever the order of writing."""
    one, other = shelf.good_cells()[0], shelf.cells()[0]
    with shelf.writing() as writer:
        measure(writer, other)
        writer.add_charge(charge(other, day(2.0)))
        writer.settle()
    with shelf.reading() as reader:
        assert [reader.verdict(c, shelf.rules, NOW).outcome for c in (one, other)] == [
            Outcome.PACK,
            Outcome.PACK,
        ]


def test_a_retest_counts_only_when_it_was_taken_and_recorded_after_the_incident(shelf: Shelf) -> None:
    """The clock ran thirty days fast while the cell was measured; set right, the cell fell: none of that is a retest."""
    (code,) = shelf.good_cells()
    resistance = replace(volts(code, 0.05, quantity=Quantity.RESISTANCE), method=Method.DC_PULSE)
    retest = [look(code, Look.CLEAN), replace(volts(code, 4.16), rested_s=86400.0), resistance]
    fast = NOW + timedelta(days=30)
    shelf.add(*(replace(each, at=fast) for each in retest), at=fast)
    with shelf.writing(NOW + timedelta(hours=1)) as writer:
        writer.add_incident("tumbled", [code])
    assert _still_to_do(shelf, code, NOW + timedelta(days=40)) >= {WorkKind.LOOK, WorkKind.RESISTANCE}
    then = NOW + timedelta(days=41)
    shelf.add(*(replace(each, at=then) for each in retest), at=then)
    # The self-discharge check is left: a second rest voltage after the incident.
    assert _still_to_do(shelf, code, then) == {WorkKind.REST}


def _still_to_do(shelf: Shelf, code: str, at: datetime) -> set[WorkKind]:
    with shelf.reading() as reader:
        todo = next(r.todo for r in reader.verdict(code, shelf.rules, at).reasons if r.rule == "upset")
    return {todo.kind, *todo.also} if todo else set()
