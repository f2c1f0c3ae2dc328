"""Label stocks: the shipped sheets, a person's own, and every fault of a definition found in one pass."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.cells import Form
from straycell.errors import BadData, UsageFault
from straycell.labels.payload import MODULES
from straycell.labels.stocks.choose import by_stock, find_stock, fitting, require_fit, stock_for
from straycell.labels.stocks.files import PAGES_MM, StockFaults, all_stocks, read_stocks, shipped
from straycell.labels.stocks.stock import LabelShape, Stock, Where, stock_faults

STOCKS = shipped()
GOOD = """
[mine]
text = "a sheet of ours"
source = "measured"
where = "along"
forms = ["18650"]
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
module_mm = 0.44
"""


def with_line(key: str, value: str) -> str:
    """The good definition with one line changed, added (a new key) or left out (an empty value)."""
    kept = [line for line in GOOD.splitlines() if not line.startswith(f"{key} ")]
    return "\n".join([*kept, f"{key} = {value}" if value else ""])


def test_a_definition_is_read_as_written() -> None:
    """Whole numbers and decimals both do; cut lines are off unless asked for."""
    stock = read_stocks(GOOD, "mine.toml")["mine"]
    assert stock.shape == LabelShape(60.0, 20.0, 1.0, 0.44, symbol_most_mm=stock.shape.symbol_most_mm)
    assert (stock.per_page, stock.cut_lines) == (10, False)
    assert stock.origin_mm(3) == (72.0, 37.0)


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_every_shipped_stock_is_sound_and_says_where_it_comes_from(stock: Stock) -> None:
    """No fault, a text and a source; modules of 0.33 mm, or of 0.25 mm where a printer of 300 dpi is asked for."""
    assert stock_faults(stock) == []
    assert stock.text and stock.source
    assert stock.shape.module_mm >= (0.25 if stock.dpi >= 300 else 0.33)


@pytest.mark.parametrize("form", Form)
def test_every_form_has_a_stock_and_a_flag(form: Form) -> None:
    """10440 and 13400 among them; the one chosen is the first that names the form."""
    assert stock_for(STOCKS, form) is fitting(STOCKS, form)[0]
    assert {stock.where for stock in fitting(STOCKS, form)} >= {Where.FLAG}
    assert stock_for(STOCKS, form).where is (Where.ALONG if form.value.isdigit() else Where.FLAT)


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_nothing_overhangs_and_no_symbol_bends_over_more_than_60_degrees(stock: Stock) -> None:
    """Worked out from the trade sizes: an 18650 is 18 mm across and 65 mm long. The print lies on 0.1 mm of paper."""
    for form in stock.forms if stock.where is Where.ALONG else ():
        across, length = int(form.value[:2]), int(form.value[2:]) / 10
        assert stock.shape.width_mm <= length
        assert stock.shape.height_mm <= math.pi * across * 0.45
        arc = MODULES * stock.shape.module_mm / (math.pi * (across + 0.2)) * 360
        assert arc <= 60.0


def test_the_plain_stock_of_an_18650_stays_within_the_limit_the_cell_sets() -> None:
    """60 degrees of 18 mm are 9.4 mm; of a 10440 with 0.1 mm of paper 5.3 mm, in modules of three dots or more."""
    assert stock_for(STOCKS, Form.F18650).shape.module_mm * MODULES <= 9.43
    thin = stock_for(STOCKS, Form.F10440)
    assert thin.shape.module_mm * MODULES <= math.pi * 10.1 / 6
    assert thin.dpi and round(thin.shape.module_mm * thin.dpi / 25.4) >= 3


def test_a_sheet_of_65_has_65_labels_and_even_margins() -> None:
    """Five columns of thirteen, centred on A4."""
    stock = find_stock(STOCKS, "sticker-65")
    assert stock.per_page == 65
    right = stock.page_width_mm - stock.left_mm - 4 * stock.pitch_x_mm - stock.shape.width_mm
    assert right == pytest.approx(stock.left_mm, abs=0.01)
    assert stock.bottom_mm == pytest.approx(stock.top_mm, abs=0.01)


def test_a4_is_that_of_iso_216() -> None:
    """ISO 216: 210 x 297 mm; each next size is half the one before, rounded down."""
    assert PAGES_MM["A4"] == (210.0, 297.0)
    assert PAGES_MM["A5"] == (297 // 2, 210)
    assert PAGES_MM["A6"] == (210 // 2, 148)
    assert PAGES_MM["letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))


FAULTS = [
    ("columns", "4", "leave the page on the right"),
    ("rows", "20", "leave the page at the bottom"),
    ("left_mm", "-1", "leave the page on the left"),
    ("top_mm", "-0.5", "leave the page at the top"),
    ("pitch_x_mm", "59.9", "overlap side by side"),
    ("pitch_y_mm", "19", "overlap top to bottom"),
    ("tail_mm", "-2", "tail_mm is below zero"),
    ("module_mm", "0.32", "QR too small"),
    ("module_mm", "0.63", "quiet zone of 4 modules"),
    ("module_mm", "0.46", "bend over more than 60 degrees"),
    ("width_mm", "22", "too little room beside the QR"),
    ("width_mm", "66", "overhang form 18650"),
    ("height_mm", "57", "overlap themselves around form 18650"),
    ("height_mm", "0", "above zero"),
    ("inset_mm", "-1", "inset_mm is below zero"),
    ("inset_mm", '"1"', "inset_mm: input should be a valid number, found '1'"),
    ("inset_mm", "nan", "inset_mm: input should be a finite number"),
    ("inset_mm", "inf", "inset_mm: input should be a finite number"),
    ("inset_mm", "true", "inset_mm: input should be a valid number"),
    ("inset_mm", "", "inset_mm: field required"),
    ("rows", "0", "rows: input should be greater than or equal to 1"),
    ("rows", "2.5", "rows: input should be a valid integer"),
    ("columns", "true", "columns: input should be a valid integer"),
    ("text", '""', "text: string should have at least 1 character"),
    ("source", "7", "source: input should be a valid string"),
    ("page", '"B4"', "page: input should be 'A4', 'A5', 'A6' or 'letter'"),
    ("page", "[210]", "page: "),
    ("page", "", "page: field required"),
    ("cut_lines", "1", "cut_lines: input should be a valid boolean"),
    ("colour", '"red"', "colour: this key is not known"),
    ("where", '"under"', "where: input should be 'along', 'around', 'flat', 'flag' or 'box'"),
    ("where", '"box"', "a box label takes no forms"),
    ("forms", "[]", "name the cells it goes on"),
    ("forms", '["19000"]', "forms: input should be '18650'"),
    ("forms", '["pouch"]', "form pouch is not round"),
    ("dpi", "72", "dpi: input should be greater than or equal to 150"),
]


@pytest.mark.parametrize(("key", "value", "fault"), FAULTS)
def test_a_fault_is_named(key: str, value: str, fault: str) -> None:
    """One changed line, one message that names the stock and the fault."""
    with pytest.raises(StockFaults) as found:
        read_stocks(with_line(key, value), "mine.toml")
    assert all(each.startswith("mine.toml: mine: ") for each in found.value.faults)
    assert any(fault in each for each in found.value.faults)
    assert found.value.remedy


def test_all_faults_of_all_stocks_are_reported_in_one_pass() -> None:
    """Geometry in one stock, missing figures in the other, and a stock that is not a table."""
    bad = with_line("columns", "4").replace("module_mm = 0.44", "module_mm = 0.2")
    text = "loose = 3\n" + bad + GOOD.replace("[mine]", "[other]").replace("rows = 5", "rows = 0\nhue = 1")
    text += GOOD.replace("[mine]", "[third]").replace("left_mm = 10", "left_mm = -1\nhue = 1")
    with pytest.raises(StockFaults) as found:
        read_stocks(text, "two.toml")
    told = "\n".join(found.value.faults)
    for fault in (
        "loose: the table: ",
        "mine: labels leave the page on the right",
        "mine: QR too small",
        "other: rows: ",
        "other: hue: this key is not known",
        "third: hue: this key is not known",
        "third: labels leave the page on the left",
    ):
        assert fault in told
    assert len(found.value.lines()) == 3, "two in full, how many more there are, and where all of them are"


def test_a_fault_of_the_label_is_said_once_for_all_pages() -> None:
    """A symbol that is too small is so on A4 and on letter."""
    with pytest.raises(StockFaults) as found:
        read_stocks(with_line("module_mm", "0.2").replace('"A4"', '["A4", "letter"]'), "mine.toml")
    assert [fault.split(":")[2] for fault in found.value.faults] == [" QR too small"]


def test_a_file_that_is_no_toml_is_refused() -> None:
    """The parser's own words name the line."""
    with pytest.raises(BadData, match=r"broken\.toml: not TOML"):
        read_stocks("[mine\nrows = 1", "broken.toml")


def test_plain_paper_is_filled_and_every_page_named_makes_a_stock() -> None:
    """Without columns and rows as many as fit inside the margins, in the middle of the page."""
    kept = [
        line
        for line in GOOD.splitlines()
        if line.split(" ")[0] not in ("columns", "rows", "left_mm", "top_mm")
    ]
    text = "\n".join(kept).replace('"A4"', '["A4", "letter"]')
    a4, letter = read_stocks(text, "mine.toml").values()
    assert (a4.name, letter.name) == ("mine", "mine-letter")
    assert (a4.columns, a4.rows) == (3, 11) and (letter.columns, letter.rows) == (3, 11)
    assert a4.left_mm == pytest.approx((210 - 3 * 62) / 2)


# --- a person's own --------------------------------------------------------------------------------


def test_own_stocks_come_first_and_the_shipped_ones_stay(tmp_path: Path) -> None:
    """A folder of files or one file; the first stock that names a form is chosen, so an own one is."""
    (tmp_path / "mine.toml").write_text(GOOD)
    for own in (tmp_path, tmp_path / "mine.toml"):
        known = all_stocks(own)
        assert next(iter(known)) == "mine" and set(known) == {"mine", *STOCKS}
        assert stock_for(known, Form.F18650).name == "mine"
    assert all_stocks(tmp_path / "no such folder") == STOCKS == all_stocks(None)


def test_the_faults_of_all_own_files_are_reported_at_once(tmp_path: Path) -> None:
    """A broken figure, a text that is not UTF-8, a name that is taken: a folder: four files, one answer."""
    (tmp_path / "a.toml").write_text(with_line("rows", "0"))
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "c.toml").write_text(GOOD.replace("[mine]", "[plain-wrap]"))
    (tmp_path / "d.toml").mkdir()
    with pytest.raises(StockFaults) as found:
        all_stocks(tmp_path)
    told = "\n".join(found.value.faults)
    named = (
        "a.toml: mine: rows",
        "b.toml is not UTF-8",
        "c.toml: plain-wrap: the name is taken",
        "d.toml is a folder",
    )
    for fault in named:
        assert fault in told


# --- which one -------------------------------------------------------------------------------------


def test_an_unknown_stock_names_the_choices() -> None:
    """A slip on the command line is wrong usage, not bad data."""
    with pytest.raises(UsageFault) as fault:
        find_stock(STOCKS, "plain")
    assert "plain-wrap" in fault.value.remedy


def test_a_stock_that_does_not_go_on_a_cell_names_those_that_do() -> None:
    """The cell, its form, and the stocks for it."""
    with pytest.raises(UsageFault, match=r"plain-wrap.*A00001O.*10440") as fault:
        require_fit(STOCKS, STOCKS["plain-wrap"], [("A00001O", Form.F10440)])
    assert "plain-10" in fault.value.remedy and "plain-wrap" not in fault.value.remedy


def test_cells_of_several_forms_are_dealt_to_their_stocks() -> None:
    """Each form its own stock, every cell once, in the order given."""
    forms = [Form.F18650, Form.POUCH, Form.F10440, Form.F18650]
    groups = by_stock(STOCKS, forms, None)
    assert [(stock.name, places) for stock, places in groups] == [
        ("plain-wrap", [0, 3]),
        ("plain-flat", [1]),
        ("plain-10", [2]),
    ]


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
