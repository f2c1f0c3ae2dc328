"""What a pack may be charged and discharged with: never more than its least able cell bears, at no temperature."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.matching.pack_bench import marked, packed, shelf, wanted
from tests.matching.single_bench import LIMITS, NOW

from straycell.acceptance.reasons import Outcome
from straycell.matching import Candidate, as_built
from straycell.matching.sheet.currents import pack_charge_a, pack_currents
from straycell.matching.sheet.words import charge_lines


def flows(group: Sequence[Candidate], total_a: float, low: int) -> list[float]:
    """Kirchhoff by hand: one voltage over all, cell `low` at its lowest likely resistance."""
    ohms = [
        c.resistance.value - (2 * c.resistance.u if k == low else 0)
        for k, c in enumerate(group)
        if c.resistance
    ]
    volts = total_a / sum(1 / r for r in ohms)
    return [volts / r for r in ohms]


packs = st.builds(
    lambda rows: [
        [marked(10 * g + k, ah, u_ah=0.01, resistance_ohm=r, u_ohm=0.001) for k, (ah, r) in enumerate(row)]
        for g, row in enumerate(rows)
    ],
    st.integers(1, 4).flatmap(
        lambda wide: st.lists(
            st.lists(st.tuples(st.floats(1.0, 3.5), st.floats(0.02, 0.06)), min_size=wide, max_size=wide),
            min_size=1,
            max_size=3,
        )
    ),
)


@settings(max_examples=200)
@given(packs)
def test_no_cell_of_a_pack_gets_more_than_it_may_whatever_is_quoted(groups: list[list[Candidate]]) -> None:
    """Charge and discharge, each cell in turn the one with the lowest resistance; some cell is at its limit."""
    currents = pack_currents(groups, LIMITS)
    margins = []
    for group in groups:
        for k, c in enumerate(group):
            assert c.capacity is not None
            share_a = flows(group, currents.discharge_a, k)[k]
            may_a = 0.5 * (c.capacity.value - 2 * c.capacity.u)
            assert share_a <= may_a * (1 + 1e-9)
            margins.append(share_a / may_a)
    assert max(margins) == pytest.approx(1.0)
    for span in currents.charge:
        rate = 0.2 if span.to_c <= 20 else 0.5
        for group in groups:
            for k, c in enumerate(group):
                assert c.capacity is not None
                assert flows(group, span.most_a, k)[k] <= rate * (c.capacity.value - 2 * c.capacity.u) * (
                    1 + 1e-9
                )


def test_the_uneven_share_of_a_3s3p_counts() -> None:
    """Three in parallel of 40, 50 and 50 mohm: the first takes 38.5 % and may have 1.25 A; not 3.75 A but 3.25 A."""
    group = [marked(0, 2.5, resistance_ohm=0.040), *(marked(n, 2.5, resistance_ohm=0.050) for n in (1, 2))]
    assert pack_charge_a([group] * 3, LIMITS, 25.0) == pytest.approx(1.25 * (1 / 40 + 2 / 50) * 40)


def test_a_cool_place_lowers_the_charge_current_of_a_large_pack() -> None:
    """13 in series of 20: at 12 degC it takes two fifths of what it takes in a room, on every line that says it."""
    cells = shelf(260)
    groups = [cells[20 * g : 20 * g + 20] for g in range(13)]
    cool, room = (pack_charge_a(groups, LIMITS, at_c) for at_c in (12.0, 25.0))
    assert cool == pytest.approx(0.4 * room)
    told = pack_currents(groups, LIMITS).charge
    assert [s.most_a for s in told] == pytest.approx([cool, room], rel=1e-4)
    assert (told[0].from_c, told[-1].to_c) == (LIMITS.charge_low_c, LIMITS.charge_high_c)


@pytest.mark.parametrize("at_c", [12.0, 25.0])
@pytest.mark.parametrize(("share", "served"), [(0.999, True), (1.001, False)])
def test_the_match_refuses_what_the_sheet_does_not_quote(at_c: float, share: float, served: bool) -> None:
    """A charger just within and just beyond the quoted current of the very cells it would charge."""
    cells = shelf(6, seed=4)
    shape = wanted(3, 2, load='current = "0.1A"', runtime="5h", cutoff="9V")
    groups = [[next(c for c in cells if c.code == code) for code in g] for g in packed(shape, *cells).groups]
    quoted_a = pack_charge_a(groups, LIMITS, at_c)
    charge = (
        f'current = "{share * quoted_a:.6f}A"\nvoltage = "12.5V"\ntolerance = "0.5%"\ntemperature = "{at_c}C"'
    )
    asked = wanted(3, 2, load='current = "0.1A"', runtime="5h", cutoff="9V", charge=charge)
    found = as_built(asked, groups, LIMITS, NOW)
    assert found.served == served
    if found.data is not None:
        assert charge_lines(found.data)


def test_a_rewrapped_cell_has_no_maker() -> None:
    """The figure on a stranger's sleeve never raises what a cell may have."""
    from dataclasses import replace

    known = marked(0, 2.5, outcome=Outcome.PACK, maker_charge_a=5.0, maker_discharge_a=20.0)
    stranger = replace(known, facts=replace(known.facts, rewrapped=True))
    assert (known.allowed_in_a(LIMITS), known.allowed_out_a(LIMITS)) == (5.0, 20.0)
    assert (stranger.allowed_in_a(LIMITS), stranger.allowed_out_a(LIMITS)) == (1.25, 1.25)
