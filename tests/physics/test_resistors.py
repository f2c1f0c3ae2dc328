"""Resistors: IEC 60063 values, IEC 60062 colours, ratings."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.errors import BadData
from straycell.physics.resistors import (
    bands,
    is_standard,
    nearest,
    power_rating,
    read_bands,
    rounded_down,
    rounded_up,
    series_values,
)

# IEC 60063:2015, series E24 and E96
E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"
OHMS = st.floats(0.1, 2e7)


def test_e24_is_the_standards_table_and_not_the_formula():
    """Eight of the 24 values differ from the rounded 10^(i/24) (IEC 60063)."""
    table = [int(v) for v in E24.split()]
    assert list(series_values("e24")) == table
    assert sum(v != round(10 * 10 ** (i / 24)) for i, v in enumerate(table)) == 8


def test_e96_is_the_rounded_formula():
    """E96 equals round(100 x 10^(i/96)) throughout (IEC 60063:2015)."""
    assert list(series_values("e96")) == [round(100 * 10 ** (i / 96)) for i in range(96)]


@pytest.mark.parametrize(
    ("ohm", "up", "down", "near"),
    [
        (5.2, 5.6, 5.1, 5.1),
        (13200.0, 15000.0, 13000.0, 13000.0),
        (1200.0, 1200.0, 1200.0, 1200.0),
        (9.5, 10.0, 9.1, 9.1),
        (99.0, 100.0, 91.0, 100.0),
        (1.0, 1.0, 1.0, 1.0),
        (0.1, 0.1, 0.1, 0.1),
    ],
)
def test_a_value_is_rounded_to_what_can_be_bought(ohm, up, down, near):
    """Neighbours in the printed E24 table; 5.2 ohm is no E24 value, the nearest is 5.1."""
    assert (rounded_up(ohm), rounded_down(ohm), nearest(ohm)) == pytest.approx((up, down, near))


@given(OHMS)
def test_rounding_brackets_the_value(ohm):
    """Down is never above, up never below, and both are standard values at most one step apart."""
    low, high = rounded_down(ohm), rounded_up(ohm)
    assert low <= ohm * (1 + 1e-6) and high >= ohm * (1 - 1e-6)
    assert is_standard(low) and is_standard(high)
    assert high <= low * 1.16
    assert nearest(ohm) in (low, high)


# IEC 60062:2016: digits, multiplier, tolerance.
CODES = [
    ("yellow,violet,red,gold", 4700.0, 0.05),
    ("brown,green,orange,gold", 15000.0, 0.05),
    ("brown,red,red,silver", 1200.0, 0.10),
    ("green,brown,gold,gold", 5.1, 0.05),
    ("red,red,silver,gold", 0.22, 0.05),
    ("brown,black,black,brown,brown", 1000.0, 0.01),
    ("orange,orange,white,red,red", 33900.0, 0.02),
    ("green,red,gold", 5.2, 0.20),
]


@pytest.mark.parametrize(("colours", "ohm", "tolerance"), CODES)
def test_bands_are_read_by_the_colour_code(colours, ohm, tolerance):
    """Two figures and a multiplier, three figures with five bands; three bands mean 20 %."""
    reading = read_bands(colours.split(","))
    assert (reading.ohm, reading.tolerance) == pytest.approx((ohm, tolerance))
    assert reading.low_ohm < ohm < reading.high_ohm


@pytest.mark.parametrize(("colours", "ohm", "tolerance"), CODES)
def test_bands_are_written_by_the_colour_code(colours, ohm, tolerance):
    """The same rows the other way."""
    assert bands(ohm, tolerance) == tuple(colours.split(","))


@given(
    st.sampled_from(E24.split()), st.integers(-1, 5), st.sampled_from([0.05, 0.10, 0.20, 0.02, 0.01, 0.005])
)
def test_written_bands_read_back(mantissa, decade, tolerance):
    """Every E24 value in every decade and tolerance round-trips."""
    ohm = int(mantissa) * 10.0**decade
    reading = read_bands(bands(ohm, tolerance))
    assert math.isclose(reading.ohm, ohm, rel_tol=1e-9) and reading.tolerance == tolerance


# IEC 60062:2016, table of colours: the tolerance band in per cent; violet and grey as the widest printed tables have them,
# since a band read too narrow could make a charger's resistor look safer than it is.
BANDS = {
    "brown": 1.0,
    "red": 2.0,
    "orange": 0.05,
    "yellow": 0.02,
    "green": 0.5,
    "blue": 0.25,
    "violet": 0.5,
    "grey": 0.1,
    "gold": 5.0,
    "silver": 10.0,
}


@pytest.mark.parametrize(("colour", "percent"), BANDS.items())
def test_the_last_of_five_bands_is_the_tolerance_of_the_standard(colour, percent):
    """Every colour that has one, with and without a figure that could be taken for it."""
    reading = read_bands(["brown", "violet", "green", "brown", colour])
    assert reading.ohm == pytest.approx(1750.0)
    assert reading.tolerance == pytest.approx(percent / 100)


@pytest.mark.parametrize(
    ("colour", "power"),
    [
        *(
            (each, at)
            for at, each in enumerate(
                ["black", "brown", "red", "orange", "yellow", "green", "blue", "violet"]
            )
        ),
        ("grey", 8),
        ("white", 9),
        ("gold", -1),
        ("silver", -2),
        ("pink", -3),
    ],
)
def test_the_third_band_is_ten_to_the_power_of_its_digit(colour, power):
    """From black on the colours count as they do as digits; gold, silver and pink go below one (IEC 60062:2016)."""
    assert read_bands(["brown", "black", colour, "brown"]).ohm == pytest.approx(10 * 10.0**power)


def test_colours_are_forgiven_case_blanks_and_american_spelling():
    """Gray and purple are grey and violet."""
    assert read_bands([" Gray", "RED ", "purple", "gold"]).ohm == pytest.approx(82e7)


@pytest.mark.parametrize(
    "call",
    [
        lambda: read_bands(["green", "red"]),
        lambda: read_bands(["green"] * 7),
        lambda: read_bands(["gold", "red", "green"]),
        lambda: read_bands(["teal", "red", "green"]),
        lambda: read_bands(["green", "red", "teal"]),
        lambda: read_bands(["green", "red", "gold", "white"]),
        lambda: read_bands(["black", "black", "red"]),
        lambda: bands(5.23, 0.05),
        lambda: bands(5.1, 0.03),
        lambda: rounded_up(0.0),
        lambda: rounded_up(math.nan),
        lambda: rounded_up(1e9),
        lambda: rounded_down(0.01),
        lambda: power_rating(-1.0),
        lambda: power_rating(50.0),
    ],
)
def test_what_is_no_resistor_is_refused_with_a_remedy(call):
    """Each wrong band, value or power gets its own message."""
    with pytest.raises(BadData) as caught:
        call()
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("heat_w", "rating_w"), [(0.0, 0.125), (0.0625, 0.125), (0.088, 0.25), (0.4, 1.0), (5.0, 10.0)]
)
def test_a_resistor_is_rated_for_twice_its_heat(heat_w, rating_w):
    """Common practice, no published source: half the rating at most."""
    assert power_rating(heat_w) == rating_w
