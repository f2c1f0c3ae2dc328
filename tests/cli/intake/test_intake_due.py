"""What a cell waits for, from real verdicts on a real store; and the questions that take it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest import mock

import pytest
from tests.cli.bench import Bench
from tests.cli.intake_bench import NOW, OPENING, Table, a_start

from straycell.bench.intake import due, store_actions
from straycell.bench.intake.script import fill, merged
from straycell.bench.intake.session import intake
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import UNSET, Bearer, Entry, Found
from straycell.bench.outlook import Need, Outlook, Waiting, outlook
from straycell.bench.recording.reading_form import RestOnRecord
from straycell.cells import CellFacts, Chemistry, Look, make_code
from straycell.cli.app import context, options
from straycell.cli.intake.command import print_labels
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.readings import Charge, Method, Quantity, Reading

START = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
FRESH = (Need.CHARGE, Need.CAPACITY, Need.RESISTANCE, Need.REST)


def at(days: float) -> str:
    """The bench's clock, days after its start."""
    return (START + timedelta(days=days)).isoformat()


def outlook_of(bench: Bench, code: str) -> Outlook:
    """What the cell waits for now."""
    from straycell.acceptance import shipped_rules
    from straycell.store.reader import open_reader

    now, rules = datetime.fromisoformat(bench.now), shipped_rules()
    with open_reader(bench.store) as reader:
        return outlook(reader.verdict(code, rules, now), reader.evidence(code), rules, now)


@pytest.fixture
def cell(bench: Bench) -> str:
    """A looked-at nmc cell with its voltage as found."""
    bench.prepare("meter add blue --like good-multimeter")
    code = str(bench.prepare("cell add --marking 'INR18650 2600mAh'")[0]["code"])
    bench.prepare(f"reading add {code} --look clean --as-found-voltage 3.5V --meter blue")
    return code


def test_a_cell_waits_for_each_reading_on_the_day_it_can_be_taken(bench: Bench, cell: str) -> None:
    """From intake to a verdict, step by step as the rules ask."""
    assert outlook_of(bench, cell).now == FRESH
    bench.now = at(1)
    bench.do(f"charge add {cell} --current 0.5A --until 4.2V --temperature 22C --peak-temperature 25C")
    bench.do(f"reading add {cell} --resistance 45mohm --resistance-method dc-pulse")
    waits = outlook_of(bench, cell)
    assert waits.now == (Need.CAPACITY,)
    assert waits.later == ((Need.REST, START + timedelta(days=2)),), (
        "first rest voltage 24 h after the charge"
    )
    bench.now = at(2.1)
    assert outlook_of(bench, cell).now == (Need.REST, Need.CAPACITY), "the run would end the pair"
    bench.do(f"reading add {cell} --voltage 4.17V --rested 25h --temperature 22C --meter blue")
    waits = outlook_of(bench, cell)
    assert waits.now == (Need.CAPACITY,)
    assert [need for need, _ in waits.later] == [Need.REST]
    assert waits.later[0][1] >= START + timedelta(days=9), "the second at least seven days after the first"
    bench.now = at(17)
    assert Need.REST in outlook_of(bench, cell).now
    bench.do(f"reading add {cell} --voltage 4.165V --rested 15d --temperature 22C --meter blue")
    bench.now = at(17.5)
    bench.do(
        f"reading add {cell} --capacity 2500mAh --discharge-current 0.5A --cutoff 3.0V --temperature 22C"
    )
    assert outlook_of(bench, cell).now == ()


def test_a_cell_out_of_use_waits_for_nothing(bench: Bench, cell: str) -> None:
    """No more measuring."""
    bench.do(f"reading add {cell} --look swollen")
    assert outlook_of(bench, cell) == Outlook()


@pytest.mark.parametrize("line", ["--form 16340 --chemistry lco", "--form 18650"])
def test_what_may_be_a_primary_cell_is_never_asked_to_be_charged(line: str, bench: Bench) -> None:
    """Unmarked of a size that primaries share, or of unknown chemistry: what to find out stands among other steps."""
    code = bench.do(f"cell add {line}")[0]["code"]
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.5V")
    waits = outlook_of(bench, code)
    assert not {Need.CHARGE, Need.CAPACITY} & {*waits.now, *(need for need, _ in waits.later)}
    assert any("cell correct" in text and code in text for text in waits.other)


def test_a_look_is_asked_for_after_mending_and_after_a_bad_sibling(bench: Bench) -> None:
    """A torn sleeve, a leaking neighbour."""
    bench.do("teardown add lamp --kind lamp")
    one, two = (
        c["code"] for c in bench.do("cell add --teardown AT1 --pack 1 --count 2 --marking 'INR18650 2600mAh'")
    )
    bench.do(f"reading add {one} --look torn-sleeve --as-found-voltage 3.5V")
    bench.do(f"reading add {two} --look clean --as-found-voltage 3.5V")
    assert outlook_of(bench, one).now[0] is Need.LOOK and Need.LOOK not in outlook_of(bench, two).now
    bench.now = at(1)
    bench.do(f"reading add {one} --look leaking")
    assert outlook_of(bench, two).now[0] is Need.LOOK


def test_a_tripped_board_asks_for_the_voltage_at_the_tabs(bench: Bench) -> None:
    """Not for a charge that would wake it."""
    code = bench.do("cell add --marking 'INR18650 2600mAh' --protection-board")[0]["code"]
    bench.do(f"reading add {code} --look clean --as-found-voltage 1.0V --where board")
    assert Need.TABS in outlook_of(bench, code).now


# --- the questions ---------------------------------------------------------------------------------------


def taken(lines: list[str], *needs: Need, **more: object) -> tuple[Table, dict[str, object]]:
    """The answers to these lines."""
    table = Table()
    of = {name: more.pop(name) for name in ("full_v", "rest") if name in more}
    waiting = Waiting("A00001O", CellFacts(), needs, **of)  # type: ignore[arg-type]
    taking = due.Taking(waiting, NOW, **more)  # type: ignore[arg-type]
    trail = table.run(fill(due.questions(taking)), lines)
    return table, merged(trail or ())


def test_only_what_is_missing_is_asked_with_its_conditions() -> None:
    """Capacity with current, cut-off and temperature; nothing else."""
    table, answers = taken(["2450", "0.5", "3", "22"], Need.CAPACITY)
    assert [prompt.partition(",")[0] for prompt in table.prompts] == [
        "capacity",
        "drawn at",
        "down to",
        "room",
    ]
    entry = due.entry_of("A00001O", answers, meters={})
    run = entry.items[0]
    assert isinstance(run, Reading) and run.quantity is Quantity.CAPACITY
    assert (run.value, run.discharge_current_a, run.cutoff_v, run.temperature_c) == (2.45, 0.5, 3.0, 22.0)


def test_a_reading_left_for_later_asks_for_no_conditions() -> None:
    """Enter skips it."""
    table, answers = taken(["", "", "", ""], *FRESH)
    assert len(table.prompts) == 4
    assert due.entry_of("A00001O", answers, meters={}).items == ()


def test_the_temperature_is_asked_once_and_proposed_after() -> None:
    """One room, one thermometer."""
    lines = ["0.5", "", "21.5", "25", "2h", "2450", "0.5", "3", "", "45", "a", "4.1", "26", ""]
    _, answers = taken(lines, *FRESH, full_v=4.2)
    items = due.entry_of("A00001O", answers, meters={}).items
    charge = items[0]
    assert isinstance(charge, Charge)
    assert (charge.until_v, charge.at, charge.peak_temperature_c) == (4.2, NOW - timedelta(hours=2), 25.0)
    assert {item.temperature_c for item in items} == {21.5, None}
    assert [i.method for i in items if isinstance(i, Reading) and i.quantity is Quantity.RESISTANCE] == [
        Method.AC_1KHZ
    ]
    rest = items[-1]
    assert isinstance(rest, Reading) and rest.rested_s == 26 * 3600


def test_conditions_carry_over_to_the_next_cell() -> None:
    """As a person would have typed them."""
    _, answers = taken(
        ["0.5", "4.2", "21.5", "25", "", "2450", "0.52", "2.8", ""], Need.CHARGE, Need.CAPACITY
    )
    kept = due.remember(answers, {"method": "dc-pulse"})
    assert kept["discharge_current_a"] == "0.52" and kept["cutoff_v"] == "2.8"
    assert kept["temperature_c"] == "21.5"
    assert kept["method"] == "dc-pulse" and kept["current_a"] == "0.5"
    _, again = taken(
        ["=", "4.2", "", "25", "", "2400", "", "", ""], Need.CHARGE, Need.CAPACITY, remembered=kept
    )
    charge, run = due.entry_of("A00001O", again, meters={}).items
    assert isinstance(charge, Charge) and isinstance(run, Reading)
    assert (charge.current_a, run.discharge_current_a, run.cutoff_v) == (0.5, 0.52, 2.8)
    assert run.temperature_c == 21.5


@pytest.mark.parametrize(
    ("need", "bad"),
    [
        (Need.CAPACITY, "2450V"),
        (Need.CAPACITY, "9999999"),
        (Need.CAPACITY, "2.4"),
        (Need.RESISTANCE, "0.05"),
        (Need.CHARGE, "500"),
        (Need.RESISTANCE, "-3"),
        (Need.REST, "41.5"),
        (Need.LOOK, "zz"),
    ],
)
def test_a_figure_that_cannot_be_is_asked_again(need: Need, bad: str) -> None:
    """With the reason; 500 at a prompt in ampere, 2.4 at one in mAh are slips of the unit."""
    table, _ = taken([bad], need)
    assert len(table.prompts) == 2 and table.prompts[0] == table.prompts[1] and table.said


def test_a_rest_voltage_of_a_pair_leaves_the_capacity_run_for_later() -> None:
    """Both at one moment would end the pair with its own reading; skipped, the capacity is asked."""
    table, answers = taken(["4.15", "25", "22"], Need.REST, Need.CAPACITY)
    assert due.key_of(Need.CAPACITY) not in answers and len(table.prompts) == 3
    _, answers = taken(["", "2400", "0.5", "3", "22"], Need.REST, Need.CAPACITY)
    assert answers[due.key_of(Need.CAPACITY)] == 2.4


def charged(hours_ago: float) -> RestOnRecord:
    """A charge on record; a stated rest may differ by 2 h or 25 %, and 1.5 h and 24 h are asked for (shipped rules)."""
    ended = NOW - timedelta(hours=hours_ago)
    return RestOnRecord(("the charge", ended), 7200.0, 0.25, (5400.0, 86400.0))


@pytest.mark.parametrize(
    ("stated", "recorded_h", "lines", "kept_h"),
    [
        ("24", 23.0, [], 24.0),  # within 2 h of the record: not asked about
        ("30", 25.0, [], 30.0),  # both reach what the rules ask for
        ("24", 3.0, [""], 3.0),  # Enter takes the shorter
        ("24", 3.0, ["2.5"], 2.5),
        ("24", 3.0, ["26", "3"], 3.0),  # a longer one is refused again
        ("1", 30.0, [""], 1.0),  # a current that nobody recorded
        ("1", 30.0, ["30"], 30.0),  # or a slip
        ("24", 3.0, ["-"], None),  # left for later
    ],
)
def test_a_rest_that_the_record_contradicts_is_asked_about(
    stated: str, recorded_h: float, lines: list[str], kept_h: float | None
) -> None:
    """Where it matters, once more and with what the record says; else nothing is asked."""
    typed = ["4.15", stated, *lines, *([] if kept_h is None else ["22"])]
    table, answers = taken(typed, Need.REST, rest=charged(recorded_h))
    rests = due.entry_of("A00001O", answers, meters={}).items
    assert [r.rested_s for r in rests if isinstance(r, Reading)] == (
        [] if kept_h is None else [3600 * kept_h]
    )
    asked = [prompt for prompt in table.prompts if "on record ended" in prompt]
    assert len(asked) == len(lines) and all(f"ended {recorded_h:g} h ago" in prompt for prompt in asked)


def test_a_charge_of_the_same_form_is_on_record_too() -> None:
    """Charged until two hours ago, said a moment before: its rest cannot be a day."""
    table, answers = taken(
        ["0.5", "4.2", "22", "25", "2h", "4.15", "24", "", "22"], Need.CHARGE, Need.REST, rest=charged(90.0)
    )
    assert "the charge on record ended 2 h ago" in table.prompts[-2]
    assert answers[due.TAKEN[Need.REST][1][1].key] == 7200.0


def test_a_charge_typed_after_the_rest_voltage_is_asked_for_first_and_then_doubts_it() -> None:
    """While a pair is under way the rest voltage comes first; the charge that is typed next had ended in an internal fault."""
    table, answers = taken(
        ["4.15", "26", "22", "0.5", "4.2", "22", "25", "2h", ""], Need.REST, Need.CHARGE, rest=charged(90.0)
    )
    assert table.prompts[-2] == "ended" and "the charge on record ended 2 h ago" in table.prompts[-1]
    assert answers[due.TAKEN[Need.REST][1][1].key] == 7200.0


def test_a_charge_in_the_future_is_refused() -> None:
    """It is asked for again."""
    table, answers = taken(["0.5", "4.2", "22", "25", "2026-03-09T10:00+00:00", "now"], Need.CHARGE)
    assert any("in the future" in text for text in table.said)
    assert answers["ended"] == UNSET


def test_damage_seen_at_the_second_look_ends_the_questions() -> None:
    """No figure is asked of a swollen cell."""
    table, answers = taken(["s"], Need.LOOK, Need.CAPACITY, bad_looks=frozenset({Look.SWOLLEN}))
    assert table.prompts == ["look"] and answers["look"] == (Look.SWOLLEN,)


# --- the walk --------------------------------------------------------------------------------------------


def of_the_two(text: str) -> Found:
    """The cells of the walk, by code or last digits."""
    for code in ("A00001O", "A00002M"):
        if code.endswith(text.upper()):
            return Found(code, Bearer.CELL)
    raise BadData(f"'{text}' is not a code", "read it again")


def walking(lines: list[str], **answers: object) -> Table:
    """A walk along two cells that wait for a resistance."""
    facts = CellFacts(chemistry=Chemistry.NMC)
    queue = [Waiting(code, facts, (Need.RESISTANCE,), "tin") for code in ("A00001O", "A00002M")]
    table = Table(**{"what_waits": lambda: queue, "find_code": of_the_two} | answers)  # type: ignore[arg-type]
    table.run(intake(Session(a_start(due=True))), lines)
    return table


def test_the_walk_asks_for_the_cell_before_its_figures() -> None:
    """It names code, kind and box, and waits until the person holds it."""
    table = walking(["A00001O", "45", "d", "-", "2m", "50", "", "q"])
    assert [entry.code for entry in table.entries] == ["A00001O", "A00002M"]
    assert any("A00001O" in text and "in tin" in text for text in table.said)
    assert table.prompts.count("meter") == 1
    assert all(
        item.method is Method.DC_PULSE for e in table.entries for item in e.items if isinstance(item, Reading)
    )


def test_a_scanned_cell_comes_first_and_plus_leaves_one_for_later() -> None:
    """In the order they come out of the box."""

    def find(text: str) -> Found:
        return Found(text, Bearer.CELL)

    table = walking(["A00002M", "50", "d", "-", "+"], find_code=find)
    assert [entry.code for entry in table.entries] == ["A00002M"]
    assert any("last cell that waits" in text for text in table.said)


@pytest.mark.parametrize("typed", ["", "yes", "n"])
def test_nothing_is_filed_under_a_cell_that_was_only_proposed(typed: str) -> None:
    """Five rest voltages went to cells that lay in the box: Enter files nothing."""
    table = walking([typed, "45", "d", "-"])
    assert table.entries == [] and not any("resistance, mohm" in prompt for prompt in table.prompts)


def test_another_scan_in_the_middle_of_the_walk_goes_there_or_asks() -> None:
    """Nothing typed: the other cell. A figure typed: asked first."""
    table = walking(["A00001O", "A00002M", "50", "d", "-", "q"])
    assert [entry.code for entry in table.entries] == ["A00002M"]
    table = walking(["A00001O", "45", "A00002M", "", "d", "-", "q"])
    assert [entry.code for entry in table.entries] == ["A00001O"]


def test_damage_seen_on_the_walk_is_recorded_and_ends_the_measuring() -> None:
    """A letter, and then which cell it is: the proposed one may not be the one in the hand."""
    table = walking(["s", "A00002M", "q"])
    assert [entry.code for entry in table.entries] == ["A00002M"]
    looks = [item.look for entry in table.entries for item in entry.items if isinstance(item, Reading)]
    assert looks == [(Look.SWOLLEN,)]


def test_back_on_the_walk_corrects_the_cell_before() -> None:
    """Its last answer first, then the one before."""
    table = walking(["A00001O", "45", "d", "-", "<", "<", "54", "", "q"])
    amended = [item.value for item in table.amended[0].entry.items if isinstance(item, Reading)]
    assert amended == [0.054]


def test_back_out_of_a_cell_leaves_it_waiting() -> None:
    """< at its first question: the wrong cell was taken."""
    table = walking(["A00001O", "<", "1o", "45", "d", "-", "+"])
    assert [entry.code for entry in table.entries] == ["A00001O"]


# --- what the store does for it --------------------------------------------------------------------------


@pytest.fixture
def at_bench(bench: Bench) -> object:
    """Hands on the bench's store, in this process."""
    env = {"STRAYCELL_STORE": str(bench.store), "STRAYCELL_NOW": bench.now, "TZ": "UTC"}
    with mock.patch.dict("os.environ", env), options.use(options.Session(env=env)):
        yield bench


def entry(code: str, volts: float, *, look: Look = Look.CLEAN) -> Entry:
    """A cell as an evening makes it."""
    items = (
        Reading(NEW, code, Quantity.AS_FOUND_VOLTAGE, UNSET, volts),
        Reading(NEW, code, Quantity.LOOK, UNSET, look=(look,)),
    )
    return Entry(code, CellFacts(chemistry=Chemistry.NMC), items, is_new=True)


def test_a_cell_and_its_readings_are_one_transaction(at_bench: Bench) -> None:
    """A reading that the store refuses leaves no cell behind, and its code stays free."""
    code, _ = store_actions.next_code(context.bench())
    with pytest.raises(BadData):
        store_actions.keep(context.bench(), entry(code, 37.0))
    assert at_bench.do("cell list") == []
    kept = store_actions.keep(context.bench(), entry(code, 3.7))
    assert kept.outcome.word == "hold" and kept.outlook.now == FRESH
    assert [c["code"] for c in at_bench.do("cell list")] == [code]


def test_an_amendment_supersedes_and_stays_visible(at_bench: Bench) -> None:
    """The mistyped voltage is in the history for ever, with the reason; what is the same is left alone."""
    code, _ = store_actions.next_code(context.bench())
    former = store_actions.keep(context.bench(), entry(code, 1.2))
    assert former.outcome.word == "discard"
    kept = store_actions.amend(context.bench(), former, entry(code, 3.2), "slip of the finger")
    assert kept.outcome.word == "hold"
    readings = at_bench.do(f"cell show {code}")["readings"]
    old = next(r for r in readings if r["value"] == 1.2)
    assert (old["mistake"], old["because"]) == ("mistyped", "slip of the finger")
    assert sum(r["quantity"] == "look" for r in readings) == 1
    assert at_bench.do(f"cell show {code}")["stage"] == "received"
    assert at_bench.do("store check")["faults"] == []


def test_taking_a_voltage_back_leaves_none(at_bench: Bench) -> None:
    """- in place of a figure: it was never measured."""
    code, _ = store_actions.next_code(context.bench())
    former = store_actions.keep(context.bench(), entry(code, 3.3))
    bare = Entry(code, former.facts, former.items[1:], is_new=True)
    store_actions.amend(context.bench(), former, bare, "not measured after all")
    standing = [r for r in at_bench.do(f"cell show {code}")["readings"] if not r["retracted"]]
    assert [r["quantity"] for r in standing] == ["look"]


def test_codes_are_known_for_what_they_stand_for(at_bench: Bench) -> None:
    """A cell, a blank, nothing, or no code at all with the nearest one named."""
    code, blank = (store_actions.next_code(context.bench())[0] for _ in range(2))
    store_actions.keep(context.bench(), entry(code, 3.7))
    assert store_actions.find_code(context.bench(), code.lower()).bearer is Bearer.CELL
    assert store_actions.find_code(context.bench(), blank).bearer is Bearer.BLANK
    assert store_actions.find_code(context.bench(), code).has == {
        Quantity.AS_FOUND_VOLTAGE,
        Quantity.LOOK,
    }
    wrong = code[:-1] + ("0" if code[-1] != "0" else "1")
    with pytest.raises(BadData) as refused:
        store_actions.find_code(context.bench(), wrong)
    assert code in refused.value.remedy


def test_the_last_digits_are_enough_where_one_code_ends_so(at_bench: Bench) -> None:
    """Two that end alike are named; what ends no code is refused, and a figure of two digits is none."""
    codes = [store_actions.next_code(context.bench())[0] for _ in range(12)]
    assert store_actions.find_code(context.bench(), codes[0][3:6]).code == codes[0]
    assert store_actions.find_code(context.bench(), codes[4][-2:].lower()).code == codes[4]
    for figure in ("999", "00", codes[0][4:6], codes[0][5]):
        with pytest.raises(BadData) as refused:
            store_actions.find_code(context.bench(), figure)
        assert "not a cell code" in str(refused.value)
    alike = make_code("B", int(codes[0][1:6]))
    at_bench.do(f"cell add --form 18650 --chemistry nmc --code {alike}")
    with pytest.raises(BadData) as refused:
        store_actions.find_code(context.bench(), codes[0][3:6])
    assert (
        all(code in str(refused.value) for code in (alike, codes[0])) and "type more" in refused.value.remedy
    )


def test_the_next_label_is_the_one_behind_the_last_used(at_bench: Bench, tmp_path: Path) -> None:
    """A code written by hand is none; a skipped label is not proposed again; an empty sheet proposes none."""
    assert [store_actions.next_code(context.bench())[1] for _ in range(2)] == [False, False]
    sheet = at_bench.do(f"label blank --count 3 --out {tmp_path / 'blank.pdf'}")["codes"]
    assert store_actions.next_code(context.bench()) == (sheet[0], True)
    store_actions.keep(context.bench(), entry(sheet[1], 3.7))
    assert store_actions.next_code(context.bench()) == (sheet[2], True)
    store_actions.keep(context.bench(), entry(sheet[2], 3.7))
    code, printed = store_actions.next_code(context.bench())
    assert not printed and code not in sheet


def test_a_cell_is_laid_into_its_box(at_bench: Bench) -> None:
    """It is shelved by that; the next evening of the same tear-down proposes the box again."""
    at_bench.do("box add tin")
    store_actions.open_teardown(context.bench(), "torch", "torch", 1)
    code, _ = store_actions.next_code(context.bench())
    made = entry(code, 3.7)
    store_actions.keep(context.bench(), Entry(code, made.facts, made.items, "AT1", "1", is_new=True))
    store_actions.shelve(context.bench(), code, "tin")
    assert at_bench.do(f"cell show {code}")["box"] == "tin"
    assert store_actions.find_teardown(context.bench(), "AT1").box == "tin"
    assert store_actions.start(context.bench(), teardown=None, due=False).boxes == ("tin",)


def test_the_start_knows_what_the_last_evening_used(at_bench: Bench) -> None:
    """Meter, last tear-down, and how many cells wait."""
    store_actions.open_teardown(context.bench(), "torch", "torch", 1)
    meter = store_actions.declare_meter(context.bench(), "good-multimeter")
    code, _ = store_actions.next_code(context.bench())
    made = entry(code, 3.7)
    with_meter = Entry(
        code,
        made.facts,
        (Reading(NEW, code, Quantity.AS_FOUND_VOLTAGE, UNSET, 3.7, meter=meter),),
        is_new=True,
    )
    store_actions.keep(context.bench(), with_meter)
    start = store_actions.start(context.bench(), teardown=None, due=False)
    last = start.remembered[Quantity.AS_FOUND_VOLTAGE]
    assert last.meter is not None and last.meter.name == "good-multimeter"
    assert start.last_teardown == ("AT1", "torch", "torch") and start.waiting == 1
    assert Look.SWOLLEN in start.isolating_looks and Look.DENTED in start.bad_looks - start.isolating_looks


def test_an_evening_may_begin_without_a_store(at_bench: Bench) -> None:
    """The first ever; looking creates no file."""
    start = store_actions.start(context.bench(), teardown=None, due=False)
    assert start.meters == {} and not at_bench.store.exists()


def test_labels_are_a_pdf_and_never_replace_a_file(at_bench: Bench, tmp_path: Path) -> None:
    """Refused with the reason."""
    code, _ = store_actions.next_code(context.bench())
    store_actions.keep(context.bench(), entry(code, 3.7))
    out = tmp_path / "sheet.pdf"
    print_labels(context.bench(), str(out), (code,))
    assert out.read_bytes().startswith(b"%PDF")
    for path in (str(out), str(tmp_path / "sheet.txt"), str(tmp_path / "none" / "sheet.pdf")):
        with pytest.raises(BadData):
            print_labels(context.bench(), path, (code,))


def test_an_opening_has_as_many_lines_as_the_bench_says() -> None:
    """The helper's opening is the dialogue's."""
    table = Table()
    table.run(intake(Session(a_start())), OPENING)
    assert len(table.larges) == 1
