"""Quantities: what a person writes at the bench, what is refused and how, and what is printed."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from straycell.errors import BadData
from straycell.quantities import (
    ANY_WINDOW,
    Dimension,
    Measured,
    Window,
    bench_unit,
    parse_quantity,
    show,
)
from straycell.safe_side import beside, two_figures

WRITTEN = """
3.71V        VOLTAGE      3.71
3710mV       VOLTAGE      3.71
-0.2V        VOLTAGE      -0.2
2010mAh      CAPACITY     2.01
2.01Ah       CAPACITY     2.01
48mohm       RESISTANCE   0.048
48mΩ         RESISTANCE   0.048
48mOhm       RESISTANCE   0.048
0.5A         CURRENT      0.5
500mA        CURRENT      0.5
3uA          CURRENT      3e-6
24h          DURATION     86400
90min        DURATION     5400
30s          DURATION     30
14d          DURATION     1209600
2w           DURATION     1209600
1h30         DURATION     5400
1h30min      DURATION     5400
2d12h        DURATION     216000
1h90s        DURATION     3690
3weeks       DURATION     1814400
1day         DURATION     86400
22C          TEMPERATURE  22
-10°C        TEMPERATURE  -10
0.4W         POWER        0.4
9.5Wh        ENERGY       9.5
45g          MASS         45
65mm         LENGTH       65
6.5cm        LENGTH       65
1.5%         FRACTION     0.015
"""


@pytest.mark.parametrize("line", WRITTEN.strip().splitlines())
def test_a_bench_notation_is_read(line: str) -> None:
    """Each way of writing that the interface names, by the definition of the SI prefixes and units."""
    text, dimension, value = line.split()
    assert parse_quantity(text, Dimension[dimension]) == pytest.approx(float(value), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "hours"), [("2 days", 48), ("1 h 30", 1.5), ("90 minutes", 1.5), ("2 weeks", 336)]
)
def test_durations_are_written_as_they_are_said(text: str, hours: float) -> None:
    """In words, and joined: `1h30` is an hour and a half."""
    assert parse_quantity(text, Dimension.DURATION) == pytest.approx(3600 * hours)


@pytest.mark.parametrize(("value", "up", "two"), [
    (10.96, True, 11.0), (10.96, False, 10.0), (0.05561, True, 0.056), (0.05561, False, 0.055), (899.3, False, 890.0),
    (1.2, True, 1.2), (1.2, False, 1.2), (100.0, True, 100.0), (0.0, True, 0.0), (1.0000000001, True, 1.0),
])  # fmt: skip
def test_advice_has_two_figures_on_the_safe_side(value: float, up: bool, two: float) -> None:
    """What must hold is rounded up, what may be had is rounded down."""
    assert two_figures(value, up=up) == pytest.approx(two, rel=1e-12)


@given(st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_a_value_beside_its_limit_keeps_its_answer(value: float, limit: float) -> None:
    """Printed, it passes exactly when it passes; neither is rounded to the unsafe side."""
    shown = beside(value, limit, Dimension.VOLTAGE)
    told, most = (parse_quantity(text, Dimension.VOLTAGE, window=ANY_WINDOW) for text in shown)
    assert told >= value * (1 - 1e-3) and most <= limit * (1 + 1e-3)  # four figures are printed at most
    if not math.isclose(value, limit, rel_tol=1e-3):
        assert (told <= most) == (value <= limit)


@given(st.floats(1e-9, 1e9), st.booleans())
def test_rounding_to_the_safe_side_never_crosses_the_value(value: float, up: bool) -> None:
    """And stays within a tenth of it."""
    rounded = two_figures(value, up=up)
    assert (rounded >= value * (1 - 1e-9)) if up else (rounded <= value * (1 + 1e-9))
    assert abs(rounded - value) <= 0.1001 * value


@pytest.mark.parametrize("ohm", ["\u2126", "\u03a9"])
def test_both_omegas_are_ohms(ohm: str) -> None:
    """The ohm sign and the Greek letter look alike; keyboards give either."""
    assert parse_quantity(f"48m{ohm}", Dimension.RESISTANCE) == pytest.approx(0.048)
    assert parse_quantity(f"1.2k{ohm}", Dimension.RESISTANCE, window=ANY_WINDOW) == pytest.approx(1200)


@pytest.mark.parametrize("text", [" 3.71 V ", "3.71 V", "+3.71V", "3710 mV", ".371e1V", "3.71\u00a0V"])
def test_blanks_signs_and_exponents_are_forgiven(text: str) -> None:
    """What is meant is clear, so it is taken."""
    assert parse_quantity(text, Dimension.VOLTAGE) == pytest.approx(3.71)


FAULTS = """
3.71       VOLTAGE      has no unit                 3.71V or 3.71mV
2010       CAPACITY     has no unit                 2010Ah or 2010mAh
3,71V      VOLTAGE      has a decimal comma         write a point: 3.71V
2,600mAh   CAPACITY     has a comma                 2600mAh or 2.600mAh
-500mAh    CAPACITY     is negative                 zero or more
-0.1A      CURRENT      is negative                 zero or more
37.1V      VOLTAGE      cannot be right             check the decimal point and the unit
2450V      VOLTAGE      cannot be right             check the decimal point and the unit
2010Ah     CAPACITY     cannot be right             check the decimal point and the unit
48Mohm     RESISTANCE   cannot be right             check the decimal point and the unit
48mV       RESISTANCE   is a voltage, not a         ohm, mohm
3.7Ah      VOLTAGE      is a capacity, not a        V, mV
24h        CAPACITY     is a duration, not a        Ah, mAh
3.71v      VOLTAGE      has the unit 'v'            write 3.71V
2010MAH    CAPACITY     has the unit 'MAH'          write 2010mAh
48furlong  RESISTANCE   has the unknown unit        ohm, mohm
volts      VOLTAGE      is not a number with a unit    like 3.71V
1e999V     VOLTAGE      is too large                like 3.71V
400C       TEMPERATURE  cannot be right             check the decimal point and the unit
-3.6V      VOLTAGE      cannot be right             leads crossed? turn them and measure again
"""


@pytest.mark.parametrize("line", FAULTS.strip().splitlines())
def test_each_kind_of_bad_quantity_has_its_own_message(line: str) -> None:
    """What is wrong, quoted as typed, and what to write instead."""
    text, dimension, said, remedy = re.split(r"\s{2,}", line)
    with pytest.raises(BadData) as fault:
        parse_quantity(text, Dimension[dimension])
    assert said in fault.value.what
    assert f"'{text}'" in fault.value.what
    assert remedy in fault.value.remedy


def test_the_window_is_said_in_bench_units_and_names_what_was_meant() -> None:
    """`37.1V` gets the range that one cell can have."""
    with pytest.raises(BadData, match=r"charger voltage: '37.1V' .* one cell \(expected -1 V to 5 V\)"):
        parse_quantity("37.1V", Dimension.VOLTAGE, name="charger voltage")
    with pytest.raises(BadData, match="a supply"):
        parse_quantity("0V", Dimension.VOLTAGE, window=Window(1, 30, "a supply"))


@pytest.mark.parametrize("dimension", [d for d in Dimension if d is not Dimension.FRACTION])
def test_every_suggestion_for_a_missing_unit_can_be_typed_as_it_stands(dimension: Dimension) -> None:
    """A remedy that is refused in its turn would be worse than none."""
    with pytest.raises(BadData) as fault:
        parse_quantity("2", dimension)
    for suggestion in fault.value.remedy.removeprefix("write ").split(" or "):
        parse_quantity(suggestion, dimension, window=ANY_WINDOW)


@pytest.mark.parametrize("dimension", list(Dimension))
def test_every_example_in_a_message_is_itself_right(dimension: Dimension) -> None:
    """The form shown in 'write it like ...' is read."""
    assert parse_quantity(dimension.value.example, dimension) > 0


def test_a_bare_number_is_taken_only_where_the_prompt_names_the_unit() -> None:
    """`bare` is the unit of the prompt; a written unit still wins."""
    assert parse_quantity("2010", Dimension.CAPACITY, bare="mAh") == pytest.approx(2.01)
    assert parse_quantity("2.01Ah", Dimension.CAPACITY, bare="mAh") == pytest.approx(2.01)
    with pytest.raises(BadData, match="no unit"):
        parse_quantity("2010", Dimension.CAPACITY)


@pytest.mark.parametrize(
    ("text", "dimension", "bare", "written"),
    [
        ("2.4", Dimension.CAPACITY, "mAh", "2.4Ah"),
        ("9.99", Dimension.CAPACITY, "mAh", "9.99Ah"),
        ("0.05", Dimension.RESISTANCE, "mohm", "0.05ohm"),
        ("50", Dimension.RESISTANCE, "ohm", "50mohm"),
        ("500", Dimension.CURRENT, "A", "500mA"),
        ("72", Dimension.TEMPERATURE, "C", "72C"),
    ],
)
def test_a_bare_number_meant_in_another_unit_is_asked_for_it(
    text: str, dimension: Dimension, bare: str, written: str
) -> None:
    """2.4 at a prompt in mAh was meant in Ah; with either unit written it is taken as it is."""
    with pytest.raises(BadData) as refused:
        parse_quantity(text, dimension, bare=bare)
    assert written in refused.value.remedy
    assert parse_quantity(written, dimension, bare=bare) == parse_quantity(written, dimension)
    assert parse_quantity(f"{text}{bare}", dimension, bare=bare) == pytest.approx(
        float(text) * dimension.value.units[bare]
    )


@pytest.mark.parametrize(
    ("text", "dimension", "bare"),
    [
        ("10", Dimension.CAPACITY, "mAh"),
        ("2400", Dimension.CAPACITY, "mAh"),
        ("1", Dimension.RESISTANCE, "mohm"),
        ("0.5", Dimension.CURRENT, "A"),
        ("50", Dimension.CURRENT, "A"),
        ("-20", Dimension.TEMPERATURE, "C"),
        ("60", Dimension.TEMPERATURE, "C"),
    ],
)
def test_a_bare_number_that_can_be_meant_is_taken(text: str, dimension: Dimension, bare: str) -> None:
    """Up to the ends of what a bench meets."""
    assert parse_quantity(text, dimension, bare=bare) == pytest.approx(
        float(text) * dimension.value.units[bare]
    )


@given(st.text(max_size=30))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    """Any text gives a finite number or a fault that says what and what to do."""
    for dimension in Dimension:
        try:
            value = parse_quantity(text, dimension)
        except BadData as fault:
            assert fault.what and fault.remedy
        else:
            assert math.isfinite(value)


magnitudes = st.floats(-9, 9).map(lambda power: 10.0**power)


@given(magnitudes, st.sampled_from(list(Dimension)))
def test_what_is_printed_reads_back_to_four_figures(value: float, dimension: Dimension) -> None:
    """show and parse_quantity are inverse within half a unit of the fourth figure."""
    text = show(value, dimension)
    assert "e" not in text.split()[0]
    assert parse_quantity(text, dimension, window=ANY_WINDOW) == pytest.approx(value, rel=0.51e-3)


@given(magnitudes, st.sampled_from([Dimension.VOLTAGE, Dimension.TEMPERATURE]))
def test_a_sign_survives_printing(value: float, dimension: Dimension) -> None:
    """Temperatures and reversed voltages are the two that may be negative."""
    assert parse_quantity(show(-value, dimension), dimension, window=ANY_WINDOW) < 0


PRINTED = """
3.71    VOLTAGE      3.71 V
0.048   RESISTANCE   48 mohm
1200    RESISTANCE   1.2 kohm
2.01    CAPACITY     2010 mAh
33.1    CAPACITY     33.1 Ah
0.13    CURRENT      130 mA
2.5     CURRENT      2.5 A
86400   DURATION     24 h
5400    DURATION     90 min
1209600 DURATION     14 d
22      TEMPERATURE  22 C
0.015   FRACTION     1.5%
0       VOLTAGE      0 mV
"""


@pytest.mark.parametrize("line", PRINTED.strip().splitlines())
def test_values_are_printed_in_the_unit_a_person_writes_on_a_cell(line: str) -> None:
    """Bench units, no exponents, no trailing zeros."""
    value, dimension, text = line.split(maxsplit=2)
    assert show(float(value), Dimension[dimension]) == text


@given(st.floats(0.05, 400), st.floats(1e-4, 0.3))
def test_value_and_uncertainty_are_rounded_alike(value: float, share: float) -> None:
    """Both stop at the same decimal place, U keeps two figures (as the `uncertainties` library rounds)."""
    u = value * share / 2
    number, expanded = re.fullmatch(r"(\S+) ± (\S+) \S+", show(value, Dimension.CAPACITY, u=u)).groups()
    assert len(number.partition(".")[2]) == len(expanded.partition(".")[2])
    _, divisor = bench_unit(value, Dimension.CAPACITY)
    outside = f"{ufloat(value / divisor, 2 * u / divisor):.2uf}".split("+/-")
    assert float(number) == pytest.approx(float(outside[0]), abs=float(outside[1]) * 0.051)
    assert float(expanded) == pytest.approx(float(outside[1]), rel=0.051)


def test_an_uncertainty_prints_as_expanded() -> None:
    """u = 30 mAh is printed as U = 60 mAh (JCGM 100, k = 2)."""
    assert show(2.0104, Dimension.CAPACITY, u=0.030) == "2010 ± 60 mAh"
    assert show(3.7104, Dimension.VOLTAGE, u=0.0012) == "3.7104 ± 0.0024 V"


@given(st.floats(-5, 5), st.floats(0, 1))
def test_a_measured_value_spans_two_standard_uncertainties_each_way(value: float, u: float) -> None:
    """U = 2u, and the span is symmetric."""
    measured = Measured(value, u)
    assert measured.expanded == 2 * u
    assert measured.high - value == pytest.approx(value - measured.low)
    assert measured.low <= value <= measured.high


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_printing_never_fails_on_a_number_that_is_none(value: float) -> None:
    """A page with an unknown value is still a page."""
    assert all(show(value, d) and show(value, d, u=0.1) for d in Dimension)
