"""The print on a cell: IEC 61960 designations, trade forms, and the marks of cells never to be charged.

Published forms: IEC 61960-3 clause 5.1, trade forms (common practice), a prismatic sheet 603450. F for iron phosphate and
the primary letters of IEC 60086 are those of public tables (secondary).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.cells import CellFacts, Chemistry, Form
from straycell.errors import BadData
from straycell.markings import (
    Designation,
    Size,
    cylinder_form,
    fill,
    read_designation,
    read_marking,
    shares_primary_size,
    trade_size,
)

# marking | chemistry | form | across x width x height in mm
READ = """
ICR19/66                      | lco | 18650     | 19 - 66
INR19/65                      | nmc | 18650     | 19 - 65
ICR18650                      | lco | 18650     | 18 - 65
icr18650                      | lco | 18650     | 18 - 65
INR18650                      | nmc | 18650     | 18 - 65
INR18650-25Z 2500mAh 3.6V     | nmc | 18650     | 18 - 65
INR21700                      | nmc | 21700     | 21 - 70
IMR14500                      | lmo | 14500     | 14 - 50
IFR26650                      | lfp | 26650     | 26 - 65
IFpR26650 3.2V                | lfp | 26650     | 26 - 65
IFR27/67                      | lfp | 26650     | 27 - 67
IFR16340                      | lfp | 16340     | 16 - 34
ICR32700                      | lco | other     | 32 - 70
IFR32135                      | lfp | -         | -
ITR18650                      | -   | 18650     | 18 - 65
IHR18650                      | -   | 18650     | 18 - 65
ICP103450                     | lco | prismatic | 10 34 50
ICP08/34/150                  | lco | prismatic | 8 34 150
ICPt73448                     | lco | prismatic | 0.7 34 48
ICPt7/34/48                   | lco | prismatic | 0.7 34 48
1ICP9/35/48                   | lco | prismatic | 9 35 48
INP383450                     | nmc | prismatic | 3.8 34 50
ICP153450                     | lco | prismatic | -
2ICP20/34/70                  | lco | prismatic | -
4INR19/66-2                   | nmc | 18650     | 19 - 66
603450                        | -   | pouch     | 6 34 50
LP603450 3.7V                 | liion | pouch     | 6 34 50
6034100                       | -   | pouch     | 6 34 100
10 x 34 x 50 mm               | -   | pouch     | 10 34 50
1×3.4×5 cm                    | -   | pouch     | 10 34 50
18.4 x 65.0 mm                | -   | 18650     | 18.4 - 65
NCR18650Z                     | -   | 18650     | 18 - 65
18650                         | -   | 18650     | 18 - 65
LFP                           | lfp | -         | -
LFP26650                      | lfp | 26650     | 26 - 65
LiFePO4 18650                 | lfp | 18650     | 18 - 65
INR18650 NCA                  | nca | 18650     | 18 - 65
NMC811 21700                  | nmc | 21700     | 21 - 70
LIR2450                       | -   | other     | 24 - 5
RCR123A                       | -   | 16340     | 16 - 34
201907                        | -   | -         | -
A123456                       | -   | -         | -
LTO 18650                     | -   | 18650     | 18 - 65
Ni-MH AA 1.2V                 | -   | 14500     | 14 - 50
                              | -   | -         | -
"""


@pytest.mark.parametrize("line", READ.strip("\n").splitlines())
def test_a_marking_proposes_chemistry_form_and_size(line: str) -> None:
    """Published and usual forms; a dash means that nothing is proposed."""
    text, chemistry, form, size = (part.strip() for part in line.split("|"))
    proposal = read_marking(text)
    assert not proposal.not_rechargeable
    assert proposal.chemistry == (None if chemistry == "-" else Chemistry(chemistry))
    assert proposal.form == (None if form == "-" else Form(form))
    if size == "-":
        assert proposal.size is None
        return
    across, width, height = size.split()
    assert proposal.size is not None
    assert proposal.size.across_mm == pytest.approx(float(across))
    assert proposal.size.height_mm == pytest.approx(float(height))
    assert proposal.size.width_mm == (None if width == "-" else float(width))


NEVER_CHARGE = """
CR123A
CR123
CR 123A
cr2
CR-P2
CRV3
2CR5
CR2032 3V
CR17345
CR14505 3.0V
CR18650
BR2325
BR-2/3A
ER14505 3.6V
ER34615
ER 14250
FR6
FR03
LR6
LR03
LR44
6LR61
4LR44
SR626
PR48
R6
R20
6F22
LCR18650
LFR26650
LCP103450
L N R 18650 lithium metal
3.0V
3V
lithium 3 V
3,0 V 16340
1.5V AA
AA alkaline
Zinc-carbon
Li-MnO2 18650
Li/SOCl2 3.6V
Lithium thionyl chloride
Li-FeS2
18650 NOT RECHARGEABLE
non-rechargeable 3.7V
Do not recharge
do not charge!
ICR18650 primary
nicht wiederaufladbar
"""


@pytest.mark.parametrize("text", NEVER_CHARGE.strip().splitlines())
def test_the_mark_of_a_cell_that_is_not_rechargeable_is_seen(text: str) -> None:
    """CR, ER, BR, FR, a first letter L, 3.0 V, alkaline and the words that say it (acceptance rules)."""
    proposal = read_marking(text)
    assert proposal.not_rechargeable
    assert proposal.chemistry is Chemistry.PRIMARY
    assert "never charge" in proposal.note
    assert proposal.rated_capacity_ah is None and proposal.full_voltage_v is None


LOOK_ALIKE_BUT_RECHARGEABLE = """
ICR18650
NCR18650
RCR123A
IFR26650
LFP26650
LIR2450
LP603450
ICR18650 discharge to 3.0V
Li-ion 3.7V 3.0V cut-off
Rechargeable Li-ion 16340
IMR16340 3.7V
INR18650 do not charge above 45C
13V charger for INR18650
"""


@pytest.mark.parametrize("text", LOOK_ALIKE_BUT_RECHARGEABLE.strip().splitlines())
def test_a_rechargeable_look_alike_is_not_condemned(text: str) -> None:
    """The same letters inside another word are no mark."""
    assert not read_marking(text).not_rechargeable


@pytest.mark.parametrize(
    ("text", "ah"),
    [
        ("INR18650 2600mAh", 2.6),
        ("18650 2.6Ah", 2.6),
        ("18650 2,6 Ah", 2.6),
        ("18650 2,600mAh", 2.6),
        ("603450 950 mAh 3.7V", 0.95),
        ("typ. 2600mAh min. 2550mAh", 2.6),
        ("18650 2,600Ah", None),
        ("1000mAh 2000mAh", None),
        ("18650 9900mAh", None),
        ("2INR19/66-2 5200mAh", None),
        ("2INR19/66 2600mAh 7.2V", 2.6),
        ("INR18650 2600", None),
        ("0mAh", None),
    ],
)
def test_a_printed_capacity_is_taken_when_it_can_mean_one_thing(text: str, ah: float | None) -> None:
    """Thousands and decimal commas are told apart; a battery's, a boast and a contradiction are not taken."""
    assert read_marking(text).rated_capacity_ah == (None if ah is None else pytest.approx(ah))


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("ICR18650 13OOmAh", "13OOmAh"),
        ("icr18650 13oo mah", "13OO mAh"),
        ("18650 lOOOmAh", "LOOOmAh"),
        ("2,600Ah", "2,600Ah"),
        ("ICR18650 0mAh", "0mAh"),
    ],
)
def test_a_capacity_that_could_not_be_read_is_named(text: str, shown: str) -> None:
    """A letter O for a nought is a common slip; nothing is guessed, and nothing is passed over in silence."""
    proposal = read_marking(text)
    assert proposal.rated_capacity_ah is None
    assert f"capacity not read: '{shown}'" in proposal.note


@pytest.mark.parametrize(
    "text", ["ICR18650", "INR18650 2600mAh", "3.7V 2.2Ah 8.14Wh", "model utah", "2.4A hour"]
)
def test_nothing_is_called_unread_where_no_capacity_is_near(text: str) -> None:
    """Watt-hours, amperes and words are none."""
    assert "not read" not in read_marking(text).note


@pytest.mark.parametrize(
    ("text", "volts"),
    [
        ("3.8V 4.35V", 4.35),
        ("Li-ion 4.40V", 4.4),
        ("4.4V", 4.4),
        ("4.2V", None),
        ("3.85V", None),
        ("8.7V", None),
    ],
)
def test_a_higher_full_voltage_counts_only_when_printed(text: str, volts: float | None) -> None:
    """4.35 and 4.40 V cells exist; nothing is concluded from a nominal voltage."""
    assert read_marking(text).full_voltage_v == volts


@pytest.mark.parametrize(
    "text", ["ICR18650 LiFePO4", "ICR18650 3.2V", "IFR26650 3.7V", "IFR26650 4.35V", "NMC LFP"]
)
def test_a_print_that_contradicts_itself_proposes_no_chemistry(text: str) -> None:
    """A wrong chemistry is charged to a wrong voltage; unknown is on hold."""
    proposal = read_marking(text)
    assert proposal.chemistry is None
    assert "contradicts" in proposal.note


def test_a_nickel_cell_says_that_it_may_be_either_kind() -> None:
    """N stands for nickel based: nmc is proposed, nca possible."""
    assert "nca is possible" in read_marking("INR18650").note


def test_a_battery_mark_says_that_it_is_one() -> None:
    """N1 in series, N5 in parallel; the capacity of parallel cells is not one cell's."""
    proposal = read_marking("3INR19/66-2 5200mAh")
    assert "3 in series, 2 in parallel" in proposal.note
    assert "battery's" in proposal.note


def test_pouch_volume_follows_from_the_digits() -> None:
    """603450 is 6.0 x 34 x 50 mm, 10.2 cm3 (70 mAh/cm3 then gives the 714 mAh of the acceptance rules)."""
    volume = read_marking("603450").volume_cm3
    assert volume is not None
    assert 70 * volume == pytest.approx(714)
    assert read_marking("18650").volume_cm3 == pytest.approx(math.pi * 0.9**2 * 6.5)
    assert read_marking("no size").volume_cm3 is None


@given(st.text(max_size=60))
def test_no_print_is_too_strange_to_read(text: str) -> None:
    """Anything can stand on a sleeve: the worst answer is an empty proposal."""
    proposal = read_marking(text)
    assert proposal.not_rechargeable == (proposal.chemistry is Chemistry.PRIMARY)
    assert proposal.volume_cm3 is None or proposal.volume_cm3 > 0


@given(
    st.text("ICNMFLRP0123456789/-t. VmAh", max_size=30),
    st.sampled_from(["CR123A", "ER14505", "not rechargeable"]),
)
def test_nothing_printed_beside_it_hides_the_mark_of_a_primary(beside: str, mark: str) -> None:
    """Whatever else stands on the sleeve, the cell is not to be charged."""
    assert read_marking(f"{beside} {mark}").not_rechargeable
    assert read_marking(f"{mark} {beside}").not_rechargeable


# --- the IEC form and its rounding -----------------------------------------------------------------


def _round_up(mm: float) -> str:
    """Whole millimetres, rounded up; below 1 mm tenths with a t (IEC 61960 clause 5.1)."""
    tenths = math.ceil(round(mm * 10, 6))
    return f"t{tenths}" if tenths < 10 else str(math.ceil(round(mm, 6)))


def designation(
    electrode: str, size: Size, *, negative: str = "I", series: int = 1, parallel: int = 1
) -> str:
    """What a maker prints by clause 5.1, like ICR19/66: `electrode` is the second letter."""
    sizes = [mm for mm in (size.across_mm, size.width_mm, size.height_mm) if mm is not None]
    front, back = str(series) if series > 1 else "", f"-{parallel}" if parallel > 1 else ""
    shape = "R" if size.width_mm is None else "P"
    return f"{front}{negative}{electrode}{shape}{'/'.join(map(_round_up, sizes))}{back}"


@pytest.mark.parametrize(
    ("printed", "size"),
    [
        ("ICR19/66", Size(19.0, 66.0)),
        ("ICPt7/34/48", Size(0.7, 48.0, 34.0)),
        ("ICP1/34/48", Size(1.0, 48.0, 34.0)),
        ("ICP8/34/150", Size(8.0, 150.0, 34.0)),
    ],
)
def test_printed_sizes_are_millimetres_rounded_up_or_tenths(printed: str, size: Size) -> None:
    """18.4 x 65.2 mm is printed 19/66; 0.61 to 0.7 mm thick is t7 (clause 5.1 and its worked cases)."""
    found = read_designation(printed)
    assert found is not None and found.size == size


def test_a_battery_names_its_cells_in_series_and_in_parallel() -> None:
    """The worked case of the clause: four in series of two in parallel."""
    assert read_designation("4INR19/66-2") == Designation("I", "N", Size(19.0, 66.0), 4, 2)


mm = st.floats(0.01, 999).map(lambda x: round(x, 2))
sizes = st.builds(Size, mm, mm, st.none() | mm)


@given(st.sampled_from("CNMVTF"), sizes, st.sampled_from("IL"), st.integers(1, 99), st.integers(1, 99))
def test_a_designation_reads_back_as_it_was_written(
    electrode: str, size: Size, negative: str, series: int, parallel: int
) -> None:
    """Round trip; every size comes back not smaller and by less than one step larger."""
    text = designation(electrode, size, negative=negative, series=series, parallel=parallel)
    back = read_designation(text)
    assert back is not None
    assert (back.negative, back.electrode, back.series, back.parallel) == (
        negative,
        electrode,
        series,
        parallel,
    )
    assert (back.size.width_mm is None) == (size.width_mm is None)
    pairs = [(size.across_mm, back.size.across_mm), (size.height_mm, back.size.height_mm)]
    if size.width_mm is not None and back.size.width_mm is not None:
        pairs.append((size.width_mm, back.size.width_mm))
    for real, printed in pairs:
        step = 0.1 if printed < 1 else 1.0
        assert real - 1e-9 <= printed < real + step + 1e-9
    again = designation(electrode, back.size, negative=negative, series=series, parallel=parallel)
    assert again == text


@given(st.sampled_from("CNMF"), sizes)
def test_a_printed_designation_is_read_as_a_marking_too(electrode: str, size: Size) -> None:
    """The form that we print proposes the chemistry of its letter."""
    proposal = read_marking(designation(electrode, size))
    expected = {"C": Chemistry.LCO, "N": Chemistry.NMC, "M": Chemistry.LMO, "F": Chemistry.LFP}
    assert proposal.chemistry is expected[electrode]


def test_a_first_letter_l_is_read_as_lithium_metal() -> None:
    """The clause allows L; the acceptance rules never charge it."""
    assert read_designation("LMR19/66") == Designation("L", "M", Size(19.0, 66.0))
    assert read_marking("LMR19/66").not_rechargeable


@pytest.mark.parametrize("form", [f for f in Form if f.value.isdigit()])
def test_a_cell_of_a_trade_size_is_known_again_by_its_measures(form: Form) -> None:
    """Bare, with its sleeve (0.4 mm, 0.3 mm), and in the rounded IEC form."""
    size = trade_size(form)
    assert size is not None
    sleeved = Size(size.across_mm + 0.4, size.height_mm + 0.3)
    assert cylinder_form(size) is form
    assert cylinder_form(sleeved) is form
    assert read_marking(designation("C", sleeved)).form is form


def test_only_the_sizes_of_primaries_ask_for_a_confirmation() -> None:
    """16340, 14500 and 10440 are sold as cells that cannot be charged, too (acceptance rules)."""
    assert {f for f in Form if shares_primary_size(f)} == {Form.F16340, Form.F14500, Form.F10440}
    assert not shares_primary_size(None)


# --- filling in the facts --------------------------------------------------------------------------


def test_a_proposal_fills_only_what_the_person_left_open() -> None:
    """What was typed stands; the rest comes from the marking."""
    proposal = read_marking("INR18650 2600mAh 4.35V")
    filled = fill(CellFacts(chemistry=Chemistry.NCA, rated_capacity_ah=2.5), proposal)
    assert filled.chemistry is Chemistry.NCA and filled.rated_capacity_ah == 2.5
    assert filled.form is Form.F18650 and filled.full_voltage_v == 4.35
    assert fill(CellFacts(), proposal).chemistry is Chemistry.NMC
    assert fill(CellFacts(form=Form.POUCH), proposal).form is Form.POUCH


def test_a_primary_mark_makes_the_cell_primary() -> None:
    """Nothing said, or primary said: it is never charged."""
    proposal = read_marking("CR123A")
    assert fill(CellFacts(), proposal).chemistry is Chemistry.PRIMARY
    assert fill(CellFacts(chemistry=Chemistry.PRIMARY), proposal).chemistry is Chemistry.PRIMARY


def test_a_primary_mark_against_a_named_chemistry_wants_a_confirmation() -> None:
    """Charging a primary is the worst error of all: two signs against each other are not settled silently."""
    facts = CellFacts(chemistry=Chemistry.NMC, marking="CR123A")
    with pytest.raises(BadData, match="CR123A"):
        fill(facts, read_marking("CR123A"))
    confirmed = CellFacts(chemistry=Chemistry.NMC, marking="CR123A", confirmed_rechargeable=True)
    assert fill(confirmed, read_marking("CR123A")).chemistry is Chemistry.NMC
    assert fill(CellFacts(confirmed_rechargeable=True), read_marking("3.0V")).chemistry is Chemistry.UNKNOWN


def test_an_empty_marking_changes_nothing() -> None:
    """No print, no proposal."""
    assert fill(CellFacts(), read_marking("")) == CellFacts()


UNKNOWN_KIND = """
3.7V 2200mAh                 | liion
Li-ion 3.6V 18650            | liion
Lithium-Ion 3.6 V            | liion
18650 charge 4.20V           | liion
LP603450 3.7V                | liion
rechargeable 3.6V            | -
3.6V 2600mAh                 | -
3.6V                         | -
2200mAh                      | -
blue 18650                   | -
3.7V 4.35V                   | -
3.8V Li-ion                  | -
3.7V 3.2V                    | -
3.2V 1500mAh                 | -
IFR26650 3.2V                | lfp
LiFePO4 3.2V                 | lfp
ICR18650 3.6V                | lco
IMR18650 3.6V                | lmo
INR18650 3.7V                | nmc
ITR18650 3.7V                | -
NiMH 3.7V                    | -
ER14505 3.6V                 | primary
ER14505 3.7V Li-ion          | primary
CR123A 3.7V                  | primary
BR2/3A 3.7V                  | primary
"""


@pytest.mark.parametrize("line", UNKNOWN_KIND.strip().splitlines())
def test_the_class_of_unknown_kind_needs_a_print_that_no_primary_cell_bears(line: str) -> None:
    """3.7 V, 4.20 V, or 3.6 V beside a word for lithium ion; never 3.6 V alone, never beside another voltage."""
    text, wanted = (part.strip() for part in line.split("|"))
    chemistry = read_marking(text).chemistry
    assert (str(chemistry) if chemistry is not None else "-") == wanted
