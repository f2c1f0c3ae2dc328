"""The hand-over list: carriage figures against their sources, states kept apart, estimates marked."""

from __future__ import annotations

import io
import random
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import LFP, NMC, Bench, day, good
from tests.safety.keeping_bench import CODES, RULES

from straycell.acceptance import Condemnation, Evidence, Outcome, Reason, Status, Upset, assess
from straycell.acceptance.evidence import FactSaid
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.readings import Quantity
from straycell.safety.energy import Held, energy_wh, mass_g, nominal_v
from straycell.safety.handover.listing import (
    Condition,
    HandoverCell,
    HandoverList,
    carriage,
    condition_of,
    is_critical,
    make_list,
)
from straycell.safety.handover.render import handover_pdf

NOW = datetime(2026, 6, 1, 9, tzinfo=UTC)


def evidence_of(bench: Bench, code: str = CODES[0]) -> Evidence:
    return replace(bench.evidence(), code=code)


def listed(bench: Bench, code: str = CODES[0], at: float = 100.0) -> HandoverCell:
    evidence = evidence_of(bench, code)
    return HandoverCell.of(evidence, assess(evidence, RULES, day(at)))


def state(bench: Bench, at: float = 100.0) -> Condition:
    return condition_of(bench.evidence(), assess(bench.evidence(), RULES, day(at)))[0]


def with_more(bench: Bench, **more: object) -> Bench:
    bench.more = more
    return bench


# --- figures against their sources -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("rated_ah", "grams", "is_small"),
    [(5.55, 60.0, True), (5.56, 60.0, False), (2.0, 500.0, True), (2.0, 500.1, False)],
)
def test_consumer_collection_ends_at_twenty_watt_hours_and_half_a_kilogram(
    rated_ah: float, grams: float, is_small: bool
) -> None:
    """ADR special provisions 188 (a) and 636: 20 Wh (5.555 Ah x 3.6 V) and 500 g gross, each."""
    cell = listed(good(facts=replace(NMC, rated_capacity_ah=rated_ah, mass_g=grams), capacity=None).look())
    ((line),) = make_list("1", "yard", "A", NOW, [replace(cell, condition=Condition.INTACT)]).lines
    assert ("636" in line.rules) is is_small


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        ("188", ["20 Wh", "1.2 m", "30 kg"]),
        ("636", ["500 g", "20 Wh", "333 kg"]),
        ("377", ["LITHIUM BATTERIES FOR DISPOSAL", "LITHIUM BATTERIES FOR RECYCLING"]),
        ("376-908", ["alone", "neither burns nor conducts", "never by air", "30 kg net"]),
        ("376-911", ["do not set off"]),
        ("us-damaged", ["(f)", "(d) may not"]),
        ("epa", ["tape the terminals", "household waste"]),
    ],
)
def test_each_rule_says_what_its_source_says(rule: str, told: list[str]) -> None:
    """SP 188, 636, 377 + P909, 376 + P908 / P911, 49 CFR 173.185(f), EPA advice."""
    entry = carriage()["rule"][rule]
    assert all(words in entry["text"] for words in told) and entry["source"]


def test_every_entry_has_a_source_and_says_how_it_was_seen() -> None:
    """Regulator's own text, second-hand, calculated or memory: behind it, and never in what a paper prints."""
    for group in ("figure", "un", "rule"):
        for entry in carriage()[group].values():
            assert entry["source"] and re.match("seen|second-hand|calculated|memory", entry["status"])
            assert not re.search("seen|second-hand|memory|texts", entry["source"])
            # A page of a company moves and is no authority: the regulation is named.
            assert not re.search("[.](org|com|net|eu)", entry["source"] + entry["status"])


@pytest.mark.parametrize(
    ("chemistry", "number"),
    [(Chemistry.NMC, "UN 3480"), (Chemistry.LFP, "UN 3480"), (Chemistry.PRIMARY, "UN 3090")],
)
def test_un_numbers(chemistry: Chemistry, number: str) -> None:
    """3480 lithium-ion, 3090 lithium metal (ADR table A)."""
    cell = listed(Bench(replace(NMC, chemistry=chemistry)).look())
    assert make_list("1", "yard", "A", NOW, [cell]).lines[0].un == number


# --- energy and mass -------------------------------------------------------------------------------


def test_the_largest_18650_is_below_twenty_watt_hours() -> None:
    """3.5 Ah x 3.6 V = 12.6 Wh (facts d, calculated)."""
    found = energy_wh(Held(replace(NMC, rated_capacity_ah=3.5)))
    assert found.value == pytest.approx(12.6) and not found.estimated


@pytest.mark.parametrize(
    ("chemistry", "rated_ah", "sheet_wh"),
    [
        (
            Chemistry.NCA,
            2.9,
            2.9 * 3.6,
        ),  # an 18650 whose maker and test data say 3.6 V (doi 10.17632/wykht8y7tg.1)
        (Chemistry.LCO, 0.95, 0.95 * 3.7),  # the prismatic 603450 of physics/data/temperature.toml
        (Chemistry.LFP, 3.3, 3.3 * 3.2),  # the 26650 below
    ],
)
def test_a_rated_cell_holds_no_less_energy_than_its_sheet(
    chemistry: Chemistry, rated_ah: float, sheet_wh: float
) -> None:
    """What may be carried is judged by it: a nominal voltage below the sheets' would let too much through."""
    found = energy_wh(Held(CellFacts(chemistry, Form.OTHER, rated_capacity_ah=rated_ah)))
    assert sheet_wh - 1e-9 <= found.value < 1.05 * sheet_wh


def test_an_unknown_18650_is_estimated_high_and_marked() -> None:
    """Not below the largest that are sold (12.6 Wh), not above 20 Wh; mass not below a sheet's 48 g."""
    blank = CellFacts(Chemistry.NMC, Form.F18650)
    energy, mass = energy_wh(Held(blank)), mass_g(Held(blank))
    assert energy.estimated and 12.6 <= energy.value < 20
    assert mass.estimated and 47.5 <= mass.value < 60


def test_lfp_26650_estimates_hold_the_sheets() -> None:
    """Sheet: 3.3 Ah x 3.2 V = 10.56 Wh, 90 g."""
    blank = CellFacts(Chemistry.LFP, Form.F26650)
    assert 10.5 <= energy_wh(Held(blank)).value < 14
    assert 88 <= mass_g(Held(blank)).value < 100
    assert nominal_v(Chemistry.LFP) in (3.2, 3.3)


@pytest.mark.parametrize(
    ("chemistry", "form", "grams", "wh", "sheet_g"),
    [
        (Chemistry.NMC, Form.F18650, None, 4.0 * 3.6, 48.0),  # the newest energy cells
        (Chemistry.NMC, Form.F21700, None, 6.0 * 3.6, 70.0),
        (Chemistry.NMC, Form.OTHER, 48.0, 4.0 * 3.6, 48.0),  # known by its mass alone
        (Chemistry.LFP, Form.OTHER, 90.0, 3.3 * 3.2, 90.0),
    ],
)
def test_no_cell_on_a_sheet_is_estimated_below_its_energy_or_mass(
    chemistry: Chemistry, form: Form, grams: float | None, wh: float, sheet_g: float
) -> None:
    """Too little energy in a box is the unsafe mistake: sheets of new cells, and not half as much again."""
    held = Held(CellFacts(chemistry, form, mass_g=grams))
    assert wh <= energy_wh(held).value < 1.25 * wh
    assert sheet_g <= mass_g(held).value < 1.25 * sheet_g


@pytest.mark.parametrize(
    ("chemistry", "rated_ah", "sheet_g"), [(Chemistry.NMC, 1.5, 46.0), (Chemistry.LFP, 2.3, 70.0)]
)
def test_a_power_cell_known_by_its_energy_alone_is_not_reckoned_too_light(
    chemistry: Chemistry, rated_ah: float, sheet_g: float
) -> None:
    """Sheets: an 18650 of 1.5 Ah weighs 46 g, an lfp 26650 of 2.3 Ah 70 g."""
    held = Held(CellFacts(chemistry, Form.POUCH, rated_capacity_ah=rated_ah))
    assert sheet_g <= mass_g(held).value < 1.25 * sheet_g


def test_a_kind_without_a_sheet_of_its_own_counts_as_the_one_of_most_energy() -> None:
    """Primary, unknown and lmo cells: no kind that a sheet tells (3.7 V at most) holds more of the same charge."""
    told = [nominal_v(each) for each in (Chemistry.NMC, Chemistry.NCA, Chemistry.LCO, Chemistry.LFP)]
    assert max(told) == 3.7
    for kind in (Chemistry.PRIMARY, Chemistry.UNKNOWN, Chemistry.LMO):
        assert nominal_v(kind) >= max(told)


def test_nothing_known_counts_as_the_largest() -> None:
    """Unknown is never a pass: 20 Wh, marked."""
    found = energy_wh(Held(CellFacts()))
    assert found.value == 20.0 and found.estimated


@given(st.sampled_from(list(Chemistry)), st.sampled_from(list(Form)), st.floats(0.05, 50))
def test_a_measured_capacity_never_lowers_what_is_printed(chem: Chemistry, form: Form, rated: float) -> None:
    """Energy for carriage is that of the rating, however worn the cell is."""
    facts = CellFacts(chem, form, rated_capacity_ah=rated)
    assert energy_wh(Held(facts, rated / 2)).value == energy_wh(Held(facts)).value
    assert energy_wh(Held(facts, rated * 1.1)).value > energy_wh(Held(facts)).value


# --- intact or damaged -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bench", "expected"),
    [
        (good(capacity=0.9), Condition.INTACT),  # worn out, nothing wrong with it
        (good(look=(Look.SWOLLEN,)), Condition.DAMAGED),
        (good(look=(Look.DENTED,)), Condition.DAMAGED),
        (good(found=1.2), Condition.DAMAGED),  # deeply discharged: a short circuit may have grown inside
        (good(second=3.95), Condition.DAMAGED),  # leaks inside: note (d), short circuit inside
        (good(peak=48.0), Condition.DAMAGED),
        (good(look=None, capacity=0.9), Condition.DAMAGED),  # nobody looked: cannot be diagnosed
        (with_more(good(), upsets=(Upset("reversed", day(20), True),)), Condition.DAMAGED),
        (with_more(good(capacity=0.9), upsets=(Upset("drop", day(20)),)), Condition.DAMAGED),
        (with_more(good(), condemned=Condemnation("sat on", day(20))), Condition.DAMAGED),
        (with_more(good().look(at=21.0), condemned=Condemnation("too weak", day(20))), Condition.INTACT),
        (Bench(replace(NMC, chemistry=Chemistry.PRIMARY)).look(), Condition.INTACT),
    ],
)
def test_a_cell_is_intact_only_when_it_is_known_to_be(bench: Bench, expected: Condition) -> None:
    """Special provision 376: safety defect, leak, physical damage, misuse, or not to be diagnosed."""
    assert state(bench) is expected


def warm_at_rest(rise_k: float) -> Bench:
    """So much warmer than still air of 20 C, hours after its last charge (rules: above 5 K holds, above 10 K is out)."""
    seen = {"surroundings_c": 20.0, "rested_s": 10800.0}
    return good().read(Quantity.TEMPERATURE, 20.0, 20.0 + rise_k, **seen)


def took_in(ah: float) -> Bench:
    """A sound cell whose charger counted so many Ah into it."""
    bench = good()
    bench.charges[-1] = replace(bench.charges[-1], put_in_ah=ah, put_in_u=0.01)
    return bench


@pytest.mark.parametrize(
    ("bench", "critical"),
    [
        (good(look=(Look.VENTED,)), True),
        (good(look=(Look.SMELL,)), True),
        (good(look=(Look.DENTED,)), False),
        (with_more(good(), upsets=(Upset("short circuit", day(20), True),)), True),
        (with_more(good(), upsets=(Upset("fire", day(20), True),)), True),
        (with_more(good(), upsets=(Upset("smoke", day(20), True),)), True),
        (with_more(good(), upsets=(Upset("leak", day(20), True),)), True),  # "leaked or vented": the worse
        (with_more(good(), upsets=(Upset("water", day(20), True),)), False),
        (good().found(4.30, at=19.0), True),  # over-charged, as measured
        (good(second=3.95), True),  # leaks inside
        (good(first=None, second=None).rest(3.30, 3.05), True),  # empties within a day: leaks faster still
        (took_in(4.2), True),  # and did not give it back: a soft short inside
        (with_more(warm_at_rest(8.0), condemned=Condemnation("warm by itself", day(20.5))), True),
        (warm_at_rest(15.0), True),
        (with_more(warm_at_rest(3.0), condemned=Condemnation("odd", day(20.5))), False),
        (good(found=1.2), False),
        (good(capacity=0.9), False),
    ],
)
def test_what_may_still_react_is_kept_apart_from_the_rest(bench: Bench, critical: bool) -> None:
    """P911 and not P908 where gas, heat or fire may come of it."""
    assert is_critical(bench.evidence(), bench.verdict(21.0)) is critical
    rules = make_list("1", "yard", "A", NOW, [listed(bench)]).lines[0].rules
    assert ("376-911" in rules) is critical and not (critical and "376-908" in rules)


def test_a_charge_in_frost_is_misuse_that_counts_as_damage() -> None:
    """Plated lithium is seen by nobody, and may short the cell on its way."""
    assert state(
        Bench(NMC).capacity(1.0, 1.0).look(at=2.0).charge(30.0, amps=1.0, ambient=-20.0, peak=-15.0)
    ) is (Condition.DAMAGED)


@pytest.mark.parametrize(
    ("rule", "status", "ceiling", "expected"),
    [
        ("mass-lost", Status.FAILED, Outcome.HOLD, Condition.DAMAGED),
        ("charge-in", Status.CLOSE, Outcome.HOLD, Condition.DAMAGED),
        ("a-new-rule", Status.FAILED, Outcome.DISCARD, Condition.DAMAGED),
        ("capacity-discard", Status.FAILED, Outcome.DISCARD, Condition.INTACT),
        ("resistance-contradictory", Status.CLOSE, Outcome.HOLD, Condition.INTACT),
        ("rest-voltage", Status.CLOSE, Outcome.HOLD, Condition.INTACT),
        ("self-discharge", Status.UNMEASURED, Outcome.HOLD, Condition.INTACT),
    ],
)
def test_whatever_was_seen_of_a_cell_makes_it_damaged_unless_a_rule_says_otherwise(
    rule: str, status: Status, ceiling: Outcome, expected: Condition
) -> None:
    """A cell that a person discards while it is held for something that was seen is not called intact."""
    evidence = good().evidence()
    held = replace(assess(evidence, RULES, day(20.0)), reasons=(Reason(rule, status, ceiling, "seen"),))
    assert condition_of(evidence, held)[0] is expected


def test_a_chemistry_under_dispute_is_not_called_lithium_ion() -> None:
    """Entered as primary once and not withdrawn: the collection point decides."""
    bench = with_more(
        good(), corrected=(FactSaid("chemistry", Chemistry.PRIMARY, "fact A00001O.chemistry", False),)
    )
    assert make_list("1", "yard", "A", NOW, [listed(bench)]).lines[0].un == "UN 3480 or UN 3090"


# --- lines -----------------------------------------------------------------------------------------

BENCHES: dict[str, Callable[[], Bench]] = {
    "worn": lambda: good(capacity=0.9),
    "swollen": lambda: good(look=(Look.SWOLLEN,)),
    "vented": lambda: good(look=(Look.VENTED,)),
    "worn lfp": lambda: good(facts=LFP, capacity=0.9, found=3.3, first=3.34, second=3.33),
    "primary": lambda: Bench(replace(NMC, chemistry=Chemistry.PRIMARY)).look(),
    "large": lambda: Bench(
        replace(NMC, chemistry=Chemistry.PRIMARY, form=Form.OTHER, rated_capacity_ah=10)
    ).look(),
}
CELLS = [
    replace(listed(make()), code=f"A{number:05d}X") for number, make in enumerate([*BENCHES.values()] * 3)
]


@given(st.lists(st.sampled_from(CELLS), unique_by=lambda c: c.code), st.integers(0, 1000))
def test_damaged_and_intact_cells_never_share_a_line(cells: list[HandoverCell], seed: int) -> None:
    """Every cell once, alike cells together, and the same list in whatever order they come."""
    made = make_list("1", "yard", "A", NOW, cells)
    assert sorted(c.code for c in made.cells) == sorted(c.code for c in cells)
    for line in made.lines:
        assert {(c.condition, c.critical, c.chemistry, c.form) for c in line.cells} == {
            (line.condition, line.critical, line.chemistry, line.form)
        }
    shuffled = list(cells)
    random.Random(seed).shuffle(shuffled)
    assert make_list("1", "yard", "A", NOW, shuffled) == made
    assert HandoverList.from_json(made.to_json()) == made


def test_damaged_lines_come_first_and_none_is_under_a_rule_for_intact_cells() -> None:
    """The disposal rules for intact cells may not be used for damaged ones (PHMSA 24-0050)."""
    made = make_list("1", "yard", "A", NOW, CELLS)
    states = [line.condition for line in made.lines]
    assert states == sorted(states, key=lambda s: s is Condition.INTACT)
    for line in made.lines:
        intact_rules = {"636", "377"} & set(line.rules)
        assert bool(intact_rules) is (line.condition is Condition.INTACT)


def test_consumer_collection_is_named_up_to_twenty_watt_hours_only() -> None:
    """SP 636: 20 Wh a cell."""
    made = make_list("1", "yard", "A", NOW, CELLS)
    for line in made.lines:
        if line.condition is Condition.INTACT:
            assert ("636" in line.rules) is all(
                c.energy.value <= 20 and c.mass.value <= 500 for c in line.cells
            )
    assert any("636" not in line.rules for line in made.lines if line.condition is Condition.INTACT)


# --- the printed list ------------------------------------------------------------------------------


def pages(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    return [page.get_textpage().get_text_range().replace("\r\n", "\n") for page in document]


def test_the_pdf_holds_what_the_receiver_needs() -> None:
    """Count, chemistry, mass, energy, state, UN number, rules with sources, and a line to sign."""
    cells = CELLS[
        :-1
    ]  # damaged and intact ones must differ in number, or their counts could be exchanged unnoticed
    made = make_list("7", "recycling yard", "A", NOW, cells)
    hurt = sum(len(line.cells) for line in made.lines if line.condition is Condition.DAMAGED)
    assert 2 * hurt != len(cells)
    text = re.sub(r"\s+", " ", " ".join(pages(handover_pdf(made, NOW))))
    for words in (
        "Hand-over list 7",
        "recycling yard",
        f"{len(cells)} cells in all: {hurt} damaged or defective, {len(cells) - hurt} intact",
        "UN 3480",
        "UN 3090",
        "check with the collection point",
        "SP 376, P908",
        "SP 376, P911",
        "SP 377, P909",
        "received by: signature",
        "~ marks a figure that is estimated",
    ):
        assert words in text, words
    assert all(cell.code in text for cell in cells)
    assert not re.search(r"\(seen\)|second-hand|from memory", text)


def test_the_same_list_gives_the_same_bytes() -> None:
    """The date comes in; nothing else changes."""
    made = make_list("7", "recycling yard", "A", NOW, CELLS)
    assert handover_pdf(made, NOW) == handover_pdf(made, NOW)


def test_two_hundred_cells_run_over_pages_that_all_say_which_list_they_are_of() -> None:
    """No code lost at a page's end, the signature on one page."""
    many = [replace(CELLS[n % 6], code=f"B{n:05d}X") for n in range(200)]
    found = pages(handover_pdf(make_list("3", "yard", "A", NOW, many), NOW))
    assert len(found) > 3
    assert all("Hand-over 3" in page and f"of {len(found)}" in page for page in found)
    assert all(any(cell.code in page for page in found) for cell in many)
    assert sum("received by: name" in page for page in found) == 1


def test_a_place_prints_as_written_in_greek_cyrillic_and_any_latin() -> None:
    """What the face lacks stands with its number, so that nothing reads as a question."""
    made = make_list("3", "Łódź, Жук, Ωμέγα 容", "A", NOW, CELLS[:1])
    assert "To: Łódź, Жук, Ωμέγα [U+5BB9]" in pages(handover_pdf(made, NOW))[0]


def test_a_cell_that_may_react_is_told_again_above_its_codes() -> None:
    """On a later page the table is out of sight: the heading of its line says it too."""
    text = " ".join(
        pages(handover_pdf(make_list("3", "yard", "A", NOW, [listed(good(look=(Look.VENTED,)))]), NOW))
    )
    assert (
        "MAY REACT: damaged or defective" in re.sub(r"\s+", " ", text).partition("The cells on each line")[2]
    )


def test_looked_at_as_a_picture_nothing_runs_off_the_paper() -> None:
    """Every page of a long mixed list: ink between the margins, none within 8 mm of any edge."""
    many = [replace(CELLS[n % 6], code=f"B{n:05d}X") for n in range(200)]
    for page in pypdfium2.PdfDocument(handover_pdf(make_list("3", "yard" * 20, "A", NOW, many), NOW)):
        picture = (
            page.render(scale=1.0, grayscale=True).to_pil().point(lambda shade: 255 if shade < 200 else 0)
        )
        left, top, right, bottom = picture.getbbox()
        edge = 8 / 25.4 * 72
        assert left > edge and top > edge
        assert right < picture.width - edge and bottom < picture.height - edge


def test_a_cell_that_leaves_has_nothing_to_be_tested_for() -> None:
    """It fell and was discarded: both are said, and no test is asked for; so it is with one that was to be cleaned."""
    fell = Upset("drop", day(30), key="incident A-9")
    by_hand = with_more(good(), upsets=(fell,), condemned=Condemnation("sat on", day(31), "discard A-10"))
    cell = listed(by_hand)
    assert cell.condition is Condition.DAMAGED
    assert cell.why == f"discarded by hand: sat on; drop on {day(30):%Y-%m-%d}, not tested since"
    leaking = listed(with_more(good().look(Look.LEAKING), upsets=(fell,)))
    assert "leaking" in leaking.why and "drop on" in leaking.why and "tested again" not in leaking.why
