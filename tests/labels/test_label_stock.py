"""Label stocks: the shipped sheets, and every fault of a definition found in one pass."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.errors import BadData, UsageFault
from straycell.labels.payload import MODULES
from straycell.labels.stock import (
    LEAST_MODULE_MM,
    PAGES_MM,
    LabelShape,
    Stock,
    find_stock,
    read_stocks,
    stock_faults,
    stocks,
)

GOOD = """
[mine]
text = "a sheet of ours"
source = "measured"
page = "A4"
columns = 2
rows = 5
left_mm = 10
top_mm = 15
width_mm = 60
height_mm = 20
pitch_x_mm = 62
pitch_y_mm = 22
inset_mm = 1
module_mm = 0.5
"""


def with_line(key: str, value: str) -> str:
    """The good definition with one line changed, added (a new key) or left out (an empty value)."""
    kept = [line for line in GOOD.splitlines() if not line.startswith(f"{key} ")]
    return "\n".join([*kept, f"{key} = {value}" if value else ""])


def test_a_definition_is_read_as_written() -> None:
    """Whole numbers and decimals both do; cut lines are off unless asked for."""
    stock = read_stocks(GOOD, "mine.toml")["mine"]
    assert stock.shape == LabelShape(60.0, 20.0, 1.0, 0.5)
    assert (stock.per_page, stock.cut_lines) == (10, False)
    assert stock.origin_mm(3) == (72.0, 37.0)


@pytest.mark.parametrize("stock", stocks().values(), ids=stocks().keys())
def test_every_shipped_stock_is_sound_and_says_where_it_comes_from(stock: Stock) -> None:
    """No fault, a text and a source, modules no smaller than the limit."""
    assert stock_faults(stock) == []
    assert stock.text
    assert stock.source
    assert stock.shape.module_mm >= LEAST_MODULE_MM


def test_the_plain_sheet_holds_a_symbol_of_12_mm_and_the_small_one_fits_a_14500() -> None:
    """A 14500 is 50 mm long and 44 mm around (trade size), an 18650 is 65 mm long."""
    wrap, small = find_stock("plain-wrap"), find_stock("plain-small")
    assert wrap.shape.module_mm * MODULES >= 12.0
    assert wrap.shape.width_mm < 65.0
    assert small.shape.width_mm < 50.0
    assert small.shape.height_mm < 44.0


def test_a_sheet_of_65_has_65_labels_and_even_margins() -> None:
    """Five columns of thirteen, centred on A4."""
    stock = find_stock("sticker-65")
    assert stock.per_page == 65
    right = stock.page_width_mm - stock.left_mm - 4 * stock.pitch_x_mm - stock.shape.width_mm
    assert right == pytest.approx(stock.left_mm, abs=0.01)
    assert stock.bottom_mm == pytest.approx(stock.top_mm, abs=0.01)


def test_a4_is_that_of_iso_216() -> None:
    """ISO 216: 210 x 297 mm; each next size is half the one before, rounded down."""
    assert PAGES_MM["A4"] == (210.0, 297.0)
    assert PAGES_MM["A5"] == (297 // 2, 210)
    assert PAGES_MM["A6"] == (210 // 2, 148)


FAULTS = [
    ("columns", "4", "leave the page on the right"),
    ("rows", "20", "leave the page at the bottom"),
    ("left_mm", "-1", "leave the page on the left"),
    ("top_mm", "-0.5", "leave the page at the top"),
    ("pitch_x_mm", "59.9", "overlap side by side"),
    ("pitch_y_mm", "19", "overlap top to bottom"),
    ("module_mm", "0.32", "QR too small"),
    ("module_mm", "0.63", "quiet zone of 4 modules"),
    ("width_mm", "30", "too little room beside the QR"),
    ("height_mm", "0", "above zero"),
    ("inset_mm", "-1", "inset_mm is below zero"),
    ("inset_mm", '"1"', "inset_mm needs a number, found '1'"),
    ("inset_mm", "nan", "inset_mm needs a number"),
    ("inset_mm", "inf", "inset_mm needs a number"),
    ("inset_mm", "true", "inset_mm needs a number"),
    ("inset_mm", "", "inset_mm needs a number, found nothing"),
    ("rows", "0", "rows needs a whole number"),
    ("rows", "2.5", "rows needs a whole number"),
    ("columns", "true", "columns needs a whole number"),
    ("text", '""', "text needs a text"),
    ("source", "7", "source needs a text"),
    ("page", '"B4"', "page needs A4"),
    ("page", "[210]", "page needs A4"),
    ("page", "[210, -1]", "page needs A4"),
    ("page", "", "page needs A4"),
    ("cut_lines", "1", "cut_lines needs true or false"),
    ("colour", '"red"', "unknown key colour"),
]


@pytest.mark.parametrize(("key", "value", "fault"), FAULTS)
def test_a_fault_is_named(key: str, value: str, fault: str) -> None:
    """One changed line, one message that names the stock and the fault."""
    with pytest.raises(BadData) as found:
        read_stocks(with_line(key, value), "mine.toml")
    assert "mine.toml: mine: " in found.value.what
    assert fault in found.value.what
    assert found.value.remedy


def test_all_faults_of_all_stocks_are_reported_in_one_pass() -> None:
    """Geometry in one stock, missing figures in the other, and a stock that is no table."""
    bad = with_line("columns", "4").replace("module_mm = 0.5", "module_mm = 0.2")
    text = "loose = 3\n" + bad + GOOD.replace("[mine]", "[other]").replace("rows = 5", "rows = 0\nhue = 1")
    with pytest.raises(BadData) as found:
        read_stocks(text, "two.toml")
    for fault in (
        "loose: expected a table",
        "mine: labels leave the page on the right",
        "mine: QR too small",
        "other: rows needs",
        "other: unknown key hue",
    ):
        assert fault in found.value.what


def test_a_file_that_is_no_toml_is_refused() -> None:
    """The parser's own words name the line."""
    with pytest.raises(BadData, match="no valid TOML"):
        read_stocks("[mine\nrows = 1", "broken.toml")


def test_an_unknown_stock_names_the_choices() -> None:
    """A slip on the command line is wrong usage, not bad data."""
    with pytest.raises(UsageFault) as fault:
        find_stock("plain")
    assert "plain-wrap" in fault.value.remedy


lengths = st.floats(-5, 120, allow_nan=False)


@given(
    st.integers(1, 8),
    st.integers(1, 20),
    lengths,
    lengths,
    lengths,
    lengths,
    st.floats(0.1, 200),
    st.floats(0.1, 200),
)
def test_a_stock_without_faults_keeps_its_labels_apart_and_on_the_page(
    columns: int,
    rows: int,
    left: float,
    top: float,
    pitch_x: float,
    pitch_y: float,
    width: float,
    height: float,
) -> None:
    """The check agrees with a plain look at every pair of neighbours and every edge."""
    good = read_stocks(GOOD, "mine.toml")["mine"]
    shape = replace(good.shape, width_mm=width, height_mm=height)
    stock = replace(
        good,
        columns=columns,
        rows=rows,
        left_mm=left,
        top_mm=top,
        pitch_x_mm=pitch_x,
        pitch_y_mm=pitch_y,
        shape=shape,
    )
    origins = [stock.origin_mm(n) for n in range(stock.per_page)]
    on_page = all(
        x >= -1e-5 and x + width <= 210 + 1e-5 and y >= -1e-5 and y + height <= 297 + 1e-5 for x, y in origins
    )
    apart = all(
        abs(x - u) >= width - 1e-5 or abs(y - v) >= height - 1e-5
        for n, (x, y) in enumerate(origins)
        for u, v in origins[n + 1 :]
    )
    page_faults = [f for f in stock_faults(stock) if "page" in f or "overlap" in f]
    if not page_faults:
        assert on_page
        assert apart
    elif on_page:
        assert not apart or pitch_x < width or pitch_y < height or left < 0 or top < 0
