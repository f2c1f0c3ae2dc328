"""Look, siblings, incidents, identity: damage decides at once, mending and re-testing lift only their own holds.

Damage signs: ESFI, ADR special provision 376; the rest is common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.acceptance.bench import NMC, Bench, day, good, reason, reasons

from straycell.acceptance import Condemnation, Outcome, SiblingSign, Status, Upset
from straycell.acceptance.evidence import DISMANTLED, GROUP_SANK, FactSaid, fact_key
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.readings import Quantity

DANGEROUS = [Look.SWOLLEN, Look.LEAKING, Look.BURNT, Look.PUNCTURED, Look.VENTED, Look.SMELL, Look.CRUSHED]


@pytest.mark.parametrize("word", [*DANGEROUS, Look.DENTED, Look.RUST])
def test_damage_discards_and_a_later_clean_look_brings_nothing_back(word: Look) -> None:
    """One word among others is enough, and it stands for ever."""
    bench = good(look=(Look.TORN_SLEEVE, word)).look(Look.CLEAN, at=5.0)
    verdict = bench.verdict()
    assert verdict.outcome is Outcome.DISCARD and bench.no_charge() and verdict.valid_until is None


@pytest.mark.parametrize("word", [Look.TORN_SLEEVE, Look.BARE_TAB])
def test_an_end_that_can_short_holds_until_mended(word: Look) -> None:
    """The latest look clears only the holds of look."""
    assert good(look=(word,)).outcome() is Outcome.HOLD
    assert good(look=(word,)).no_charge()
    assert good(look=(word,)).look(Look.CLEAN, at=5.0).outcome() is Outcome.PACK


@pytest.mark.parametrize("word", [Look.STAINED, Look.CORRODED, Look.RUST_SPECKS, Look.TORN_RING])
def test_what_can_be_cleaned_or_mended_holds_until_a_later_look(word: Look) -> None:
    """No charge before it, and the hold names what to do; a clean look clears it."""
    verdict = good(look=(word,)).verdict()
    assert verdict.outcome is Outcome.HOLD and good(look=(word,)).no_charge()
    assert any("then record a new look" in missing.todo.words for missing in verdict.missing)
    assert good(look=(word,)).look(Look.CLEAN, at=5.0).outcome() is Outcome.PACK


@pytest.mark.parametrize(("hours", "held"), [(0.5, True), (23.9, True), (24.0, False), (48.0, False)])
def test_a_wet_cell_dries_for_a_day_before_a_look_clears_it(hours: float, held: bool) -> None:
    """At, inside and outside the day."""
    bench = good(look=(Look.WET,)).look(Look.CLEAN, at=hours / 24.0)
    assert (bench.outcome() is Outcome.HOLD) is held


@pytest.mark.parametrize("word", [Look.STAINED, Look.CORRODED, Look.WET])
def test_what_was_cleaned_and_is_back_comes_out_of_the_cell(word: Look) -> None:
    """Seen, gone, seen again: discard for good. Seen twice without a look between is one and the same."""
    once = good(look=(word,)).look(word, at=2.0)
    assert once.outcome() is Outcome.HOLD
    back = good(look=(word,)).look(Look.CLEAN, at=5.0).look(word, at=9.0)
    assert back.outcome() is Outcome.DISCARD
    assert back.look(Look.CLEAN, at=12.0).outcome() is Outcome.DISCARD


def test_rust_specks_are_wiped_off_and_rust_with_a_stain_is_a_leak() -> None:
    """Specks alone may come back with the damp; beside a stain they condemn."""
    specks = good(look=(Look.RUST_SPECKS,)).look(Look.CLEAN, at=5.0).look(Look.RUST_SPECKS, at=9.0)
    assert specks.outcome() is Outcome.HOLD
    assert good(look=(Look.RUST_SPECKS, Look.STAINED)).outcome() is Outcome.DISCARD
    apart = good(look=(Look.RUST_SPECKS,)).look(Look.STAINED, at=5.0)
    assert apart.outcome() is Outcome.HOLD


def test_no_look_is_no_pass() -> None:
    """Nobody looked: unmeasured, on hold."""
    assert reason(good(look=None).verdict(), "look").status is Status.UNMEASURED
    assert good(look=None).outcome() is Outcome.HOLD


@pytest.mark.parametrize("word", [Look.SWOLLEN, Look.LEAKING, Look.BURNT, Look.VENTED, Look.SMELL])
def test_a_bad_sibling_asks_for_a_look_and_a_check_over_28_days(word: Look) -> None:
    """One short check and one look are not enough; a look after the sign and a check over 28 days are."""
    bench = good()
    bench.more["sibling_signs"] = (SiblingSign("A00002M", word, day(0.5)),)
    # Before the look no charge either: what broke the sibling may show on this one.
    assert bench.outcome() is Outcome.HOLD and bench.no_charge()
    bench.look(Look.CLEAN, at=19.0)
    assert bench.outcome() is Outcome.HOLD and not bench.no_charge()
    short = good().look(Look.CLEAN, at=19.0).charge(21.0).rest(4.18, 22.5).rest(4.175, 37.0)
    short.more = dict(bench.more)
    assert short.outcome(38.0) is Outcome.HOLD
    bench.rest(4.165, 31.3)
    assert bench.outcome(32.0) is Outcome.PACK


def test_a_check_that_ran_counts_and_a_second_leaker_restarts_nothing() -> None:
    """28 days are over when the first sibling leaks; then another one does."""
    bench = good(days=28.5)
    first = SiblingSign("A00002M", Look.LEAKING, day(32.0))
    bench.more["sibling_signs"] = (first,)
    assert bench.outcome(33.0) is Outcome.HOLD
    bench.look(Look.CLEAN, at=33.5)
    assert bench.outcome(34.0) is Outcome.PACK
    bench.more["sibling_signs"] = (first, SiblingSign("A00003K", Look.LEAKING, day(40.0)))
    assert bench.outcome(41.0) is Outcome.PACK


@pytest.mark.parametrize(
    ("opened", "outcome"),
    # The check runs from the first rest voltage on, on day 3.2.
    [
        (0.0, Outcome.PACK),
        (3.1, Outcome.PACK),
        (3.2, Outcome.HOLD),
        (3.3, Outcome.HOLD),
        (31.5, Outcome.HOLD),
    ],
)
def test_a_check_counts_that_was_begun_after_the_pack_was_opened(opened: float, outcome: Outcome) -> None:
    """In its pack the neighbours feed or drain a cell: what ran in there says nothing of it."""
    bench = good(days=28.5)
    bench.more["sibling_signs"] = (SiblingSign("A00002M", Look.LEAKING, day(32.0)),)
    bench.more["opened_at"] = day(opened)
    assert bench.look(Look.CLEAN, at=33.5).outcome(34.0) is outcome


def test_a_dented_sibling_is_no_sign() -> None:
    """Only leaking, swollen and burnt point at the neighbours."""
    bench = good()
    bench.more["sibling_signs"] = (SiblingSign("A00002M", Look.DENTED, day(0.5)),)
    assert bench.outcome() is Outcome.PACK


def test_after_an_incident_everything_named_must_be_done_anew() -> None:
    """Look, rest voltage and resistance after the incident; figures from before do not help."""
    bench = good()
    bench.more["upsets"] = (Upset("drop", day(19.0)),)
    held = reason(bench.verdict(), "upset")
    assert held.status is Status.UNMEASURED and held.safety
    bench.look(at=20.0)
    bench.resistance(0.051, at=20.1)
    assert "rest voltage" in reason(bench.verdict(21.0), "upset").text
    bench.rest(4.168, 20.2)
    told = reason(bench.verdict(21.0), "upset")
    assert told.status is Status.UNMEASURED and "self-discharge check" in told.text
    bench.charge(22.0).rest(4.18, 23.5).rest(4.175, 38.0)
    assert bench.outcome(39.0) is Outcome.PACK


@pytest.mark.parametrize(
    ("kind", "checked_again"),
    [
        *[(kind, True) for kind in ("drop", "warm", "charger failed", "sat on", GROUP_SANK)],
        (DISMANTLED, False),
    ],
)
def test_some_incidents_ask_for_a_new_self_discharge_check(kind: str, checked_again: bool) -> None:
    """What a blow, heat or an unknown charge did inside shows as self-discharge; use in a device does not ask."""
    bench = good()
    bench.more["upsets"] = (Upset(kind, day(18.9)),)
    bench.look(at=19.0).resistance(0.051, at=19.1).rest(4.168, 19.2)
    assert (bench.outcome(20.0) is Outcome.HOLD) is checked_again


def test_a_severe_incident_discards() -> None:
    """Nothing measured afterwards lifts it."""
    bench = good()
    bench.more["upsets"] = (Upset("short circuit", day(1.0), severe=True),)
    bench.look(at=19.0)
    assert bench.outcome() is Outcome.DISCARD


def test_a_persons_discard_is_final() -> None:
    """Whatever its figures say."""
    bench = good()
    bench.more["condemned"] = Condemnation("hissed on the bench", day(18.0))
    assert bench.outcome() is Outcome.DISCARD


def test_primary_is_discarded_and_unknown_is_held() -> None:
    """Not rechargeable: never charged; unknown chemistry: no limit can be chosen."""
    assert good(facts=replace(NMC, chemistry=Chemistry.PRIMARY)).outcome() is Outcome.DISCARD
    unknown = good(facts=replace(NMC, chemistry=Chemistry.UNKNOWN)).verdict()
    assert unknown.outcome is Outcome.HOLD
    assert reason(unknown, "chemistry").status is Status.UNMEASURED


@pytest.mark.parametrize("form", [Form.F16340, Form.F14500, Form.F10440])
def test_an_unmarked_size_that_primaries_share_must_be_confirmed(form: Form) -> None:
    """No marking, no confirmation: held; confirmed: judged like any other; marked: no question."""
    facts = CellFacts(Chemistry.LCO, form, rated_capacity_ah=0.6)
    asked = reason(Bench(facts).found(3.6).verdict(), "rechargeable")
    assert asked.ceiling is Outcome.HOLD and asked.safety
    confirmed = replace(facts, confirmed_rechargeable=True)
    assert reason(Bench(confirmed).found(3.6).verdict(), "rechargeable").status is Status.MET
    marked = replace(facts, marking="ICR" + str(form))
    assert not reasons(Bench(marked).found(3.6).verdict(), "rechargeable")


def test_a_marking_of_a_primary_cell_holds_whatever_chemistry_was_typed() -> None:
    """CR123A typed in as lco is not charged on that word alone."""
    facts = CellFacts(Chemistry.LCO, Form.F16340, "CR123A", rated_capacity_ah=0.6)
    assert reason(Bench(facts).found(3.2).verdict(), "rechargeable").ceiling is Outcome.HOLD


@pytest.mark.parametrize(
    ("grams", "outcome"), [(45.0, Outcome.PACK), (38.0, Outcome.PACK), (37.9, Outcome.HOLD)]
)
def test_a_full_size_cell_that_is_too_light_is_contradictory(grams: float, outcome: Outcome) -> None:
    """18650 sheets say 44 to 48 g; below 38 g something else is in the sleeve."""
    assert good(facts=replace(NMC, mass_g=grams)).outcome() is outcome


@pytest.mark.parametrize(
    ("grams", "outcome"), [(39.0, Outcome.PACK), (38.05, Outcome.HOLD), (37.9, Outcome.HOLD)]
)
def test_a_weighing_within_its_uncertainty_of_too_light_passes_nothing(
    grams: float, outcome: Outcome
) -> None:
    """A scale's error may hide the gram that is missing."""
    assert good().read(Quantity.MASS, 18.0, grams, meter=None).outcome() is outcome


def said(first: Chemistry, now: Chemistry) -> tuple[FactSaid, ...]:
    """Born as one kind, corrected to another, and the first never withdrawn."""
    born = fact_key("A00001O", "chemistry")
    return (FactSaid("chemistry", first, born, False), FactSaid("chemistry", now, f"{born}.H-7", True))


def test_a_chemistry_that_was_said_and_not_withdrawn_condemns_as_the_one_that_counts() -> None:
    """primary corrected to nmc: the discard stays until the earlier entry is withdrawn as mistyped."""
    bench = good()
    bench.more["corrected"] = said(Chemistry.PRIMARY, Chemistry.NMC)
    verdict, found = bench.judged()
    assert verdict.outcome is Outcome.DISCARD
    assert [(f.rule, f.basis) for f in found] == [("chemistry", frozenset({"fact A00001O.chemistry"}))]
    bench.more["corrected"] = ()
    assert bench.outcome() is Outcome.PACK


def test_of_two_kinds_with_unlike_limits_both_apply() -> None:
    """nmc now and lfp before: a charge to 4.20 V over-charges an lfp cell; one to 3.65 V leaves a question."""
    bench = good()
    bench.more["corrected"] = said(Chemistry.LFP, Chemistry.NMC)
    assert bench.outcome() is Outcome.DISCARD
    gentle = Bench().found(3.3).look()
    gentle.more["corrected"] = said(Chemistry.LFP, Chemistry.NMC)
    held = reason(gentle.verdict(), "chemistry")
    assert held.ceiling is Outcome.HOLD and "--mistake mistyped" in held.todo.command("A00001O")
    gentle.more["corrected"] = said(Chemistry.NCA, Chemistry.NMC)
    assert reason(gentle.verdict(), "chemistry").status is Status.MET


@pytest.mark.parametrize(
    ("chemistry", "marking", "held"),
    [
        (Chemistry.NMC, "INR18650 3.6V", False),
        (Chemistry.LCO, "INR18650 3.7V", False),  # other letters, the same limits
        (Chemistry.NMC, "IFR18650 3.2V", True),  # 4.20 V is half a volt too much for it
        (Chemistry.LFP, "INR18650 3.7V", True),
        (Chemistry.LFP, "IFR18650 3.2V charge 3.6V", False),
        (Chemistry.NMC, "LTO 2.4V", True),  # titanate ends at 2.8 V
        (Chemistry.NMC, "18650 1.2V", True),
        (Chemistry.LIION, "ITR18650 3.7V", True),
    ],
)
def test_a_print_of_other_limits_than_the_chemistry_holds_until_it_is_settled(
    chemistry: Chemistry, marking: str, held: bool
) -> None:
    """Nobody charges it before; said to be another cell's sleeve, the print no longer speaks."""
    bench = good(facts=replace(NMC, chemistry=chemistry, marking=marking))
    said = [r for r in bench.verdict().reasons if r.rule == "chemistry" and "marking" in r.text]
    assert bool(said) is held
    if held:
        assert bench.outcome() <= Outcome.HOLD and bench.no_charge()
        bench.facts = replace(bench.facts, rewrapped=True)
        assert not [r for r in bench.verdict().reasons if r.rule == "chemistry" and "marking" in r.text]
