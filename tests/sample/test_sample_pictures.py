"""Pictures of the sample workshop through the commands: what is drawn is what the other pages say."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built

from straycell.acceptance.reasons import Status
from straycell.bench.paper.charts import Yield, bench_hours, boxes_chart, limits_chart, yield_chart
from straycell.bench.paper.curves_of import rest_curves
from straycell.physics.curves import curves_for
from straycell.physics.self_discharge import voltages_after
from straycell.pictures.curves import Role
from straycell.safety.energy import Amount
from straycell.safety.stock import BoxStock
from straycell.store.book.records import Event
from straycell.store.reader import open_reader

KEPT = "H00001K"


@pytest.fixture
def bench(built: Built, tmp_path: Path) -> Bench:
    """A copy of the workshop on its day."""
    shutil.copy(built.path, tmp_path / "shop.sqlite")
    return Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())


@pytest.mark.parametrize(
    "line", ["verdict plot H00001K", "box plot", "teardown plot", "cell plot H00001K", "stock --chart"]
)
def test_every_noun_draws_in_the_terminal_as_figures_and_into_both_kinds_of_file(
    bench: Bench, tmp_path: Path, line: str
) -> None:
    """Looking changes nothing; a suffix that fits neither is refused and nothing is written."""
    before = bench.store.read_bytes()
    assert len(bench.run(line).out.splitlines()) > 3
    assert bench.do(line)
    for suffix, head in ((".png", b"\x89PNG"), (".svg", b"<?xml")):
        out = tmp_path / f"drawn{suffix}"
        assert bench.do(f"{line} --out {out}")["files"] == [str(out)]
        assert out.read_bytes().startswith(head)
    assert "drawn.png" in bench.refused(f"{line} --out {tmp_path / 'drawn.jpg'}", 2)
    assert not (tmp_path / "drawn.jpg").exists()
    assert bench.store.read_bytes() == before


def test_the_boxes_hold_what_stock_says(bench: Bench) -> None:
    """Per cent of the limit from `stock --json`; a box over its limit carries its sign."""
    stock = {box["box"] or "(no box)": box for box in bench.do("stock")}
    bars = {bar["label"]: bar for bar in bench.do("box plot")["bars"]}
    assert set(bars) == set(stock)
    for name, box in stock.items():
        share = 100 * box["energy_wh"] / box["limit_wh"] if box["limit_wh"] else 0
        assert bars[name]["expected"] == pytest.approx(share)


def test_a_box_over_its_limit_carries_its_sign_and_its_figures() -> None:
    """A limit set below what lies in it: 30 of 10 Wh is drawn as far as the scale goes, and written whole."""
    full = BoxStock("full", "tin", 10.0, 3, 0, Amount(30.0, True, "sum"), None, 3, {}, ())
    (bar,) = boxes_chart([full]).bars
    assert (bar.sign, bar.expected, bar.words) == ("!", 200.0, "about 30 of 10 Wh, 3 cells")


def test_every_limit_with_a_figure_has_its_bar_and_its_sign(built: Built) -> None:
    """All cells: the bar's place and words follow from the reason; failed ones come first."""
    for verdict in built.verdicts.values():
        chart = limits_chart(verdict, built.rules)
        signs = [bar.sign for bar in chart.bars]
        assert signs == sorted(signs, key=lambda sign: ("!", "?", "").index(sign))
        shown = {(bar.label, round(bar.expected, 6)) for bar in chart.bars}
        for reason in verdict.reasons:
            value, limit = reason.observed, reason.limit
            if not isinstance(value, int | float) or not isinstance(limit, int | float) or limit <= 0:
                continue
            if 0 <= value <= 2 * limit and reason.status is not Status.UNMEASURED:
                assert (reason.rule, round(100 * value / limit, 6)) in shown


# --- how a cell keeps its charge -------------------------------------------------------------------


def test_a_loss_leaves_the_voltage_that_each_published_set_has_there(built: Built) -> None:
    """Back from the voltages to the charge: the loss lies between the sets', and no loss is the same voltage."""
    chemistry = built.cell(KEPT).facts.chemistry
    for loss in (0.0, 1.0, 5.0, 20.0):
        found = voltages_after(chemistry, 4.15, loss)
        assert found is not None and found[0] <= found[1] <= 4.15 + 1e-9
        lost = [
            100 * (curve.state_of_charge(4.15) - curve.state_of_charge(volts))
            for curve in curves_for(chemistry)
            for volts in found
        ]
        assert min(lost) - 1e-6 <= loss <= max(lost) + 1e-6
    assert voltages_after(chemistry, 4.15, 0.0) == pytest.approx((4.15, 4.15))


def test_a_cell_that_keeps_its_charge_stays_in_its_cone_and_one_that_leaks_leaves_it(built: Built) -> None:
    """By the verdicts of the sample: met self-discharge lies inside the pack's cone, a clear leak below both."""
    seen = set()
    with open_reader(built.path) as reader:
        for code, verdict in built.verdicts.items():
            rule = {reason.rule: reason for reason in verdict.reasons}
            shown = rest_curves(code, {code: reader.evidence(code)}, built.rules, built.sample.now)
            if not shown.cones or len(shown.curves[-1].points) < 2:
                continue
            day, volts = shown.curves[-1].points[-1]
            floor = [min(cone.edges, key=lambda edge: abs(edge[0] - day))[1] for cone in shown.cones]
            slack = 0.004
            met = "self-discharge" in rule and rule["self-discharge"].status == "met"
            if met and verdict.outcome.word == "pack":
                assert volts >= floor[0] - slack, code
                seen.add("kept")
            if "self-discharge-discard" in rule and rule["self-discharge-discard"].status == "failed":
                assert volts <= floor[1] + slack, code
                seen.add("leaked")
    assert "kept" in seen


def test_siblings_are_faint_and_a_cell_never_charged_says_so(bench: Bench) -> None:
    """Cells of the same pack; without a full charge the next step is named."""
    shown = bench.do(f"cell plot {KEPT}")
    roles = [curve["role"] for curve in shown["curves"]]
    assert roles[-1] == Role.MAIN and set(roles[:-1]) == {Role.FAINT.value}
    (new,) = bench.do("cell add --form 18650 --chemistry nmc")
    assert "no rest voltage after a full charge" in bench.run(f"cell plot {new['code']}").out


# --- what is worth opening -------------------------------------------------------------------------


def test_the_yield_counts_every_cell_once(bench: Bench) -> None:
    """Cells and usable cells of all kinds together are those of `cell list`."""
    found, cells = bench.do("teardown plot"), bench.do("cell list")
    out_of = [cell for cell in cells if cell["teardown"]]
    assert sum(each["cells"] for each in found) == len(out_of)
    usable = [c for c in out_of if c["outcome"] in ("pack", "solo", "light") or c["stage"] == "installed"]
    assert sum(each["usable"] for each in found) == len(usable)
    assert sum(each["objects"] for each in found) == sum(t["objects"] for t in bench.do("teardown list"))


def test_hours_at_the_bench_leave_out_the_pauses() -> None:
    """Ten minutes on one object, six on two together, an hour away: 13 and 3 minutes."""
    begun = datetime(2026, 11, 20, 20, 0, tzinfo=UTC)

    def event(minutes: float, *cells: str, verb: str = "readings-added", subject: str = "") -> Event:
        return Event(1, begun + timedelta(minutes=minutes), verb, cells, subject, {}, "")

    events = [
        event(0, verb="teardown-added", subject="HT1"),
        event(10, "A"),
        event(16, "A", "B"),
        event(76, "B"),
    ]
    found = bench_hours(events, {"A": "HT1", "B": "HT2", "C": None})
    assert found == pytest.approx({"HT1": 13 / 60, "HT2": 3 / 60})


def test_the_yield_is_per_object_and_per_hour() -> None:
    """Sixty Wh out of three objects in four hours: 20 Wh an object, 15 Wh an hour; hold is pale."""
    chart = yield_chart([Yield("power bank", 3, 9, 6, 2, 60.0, 15.0, 4.0)])
    (bar,) = chart.bars
    assert (bar.low, bar.high) == (20.0, 25.0)
    line, legend = chart.lines(100)
    assert "usable" in legend and "still on hold" in legend
    assert line.endswith("20 Wh, 6 of 9 cells usable, 3 objects, 15 Wh an hour") and "=-" in line
