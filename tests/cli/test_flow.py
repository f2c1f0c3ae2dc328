"""From a tear-down to a verdict and a discard, on the command line, as a person would go."""

from __future__ import annotations

import json
from typing import Any

import pytest
from tests.cli.bench import Bench


@pytest.fixture
def opened(bench: Bench) -> Bench:
    """A lamp was opened, two cells came out of its pack, and there is a meter."""
    bench.prepare("teardown add 'bedside lamp' --kind lamp --found 2026-02-20 --place yard --objects 2")
    bench.prepare("meter add blue --like good-multimeter")
    bench.prepare("meter add load --like electronic-load")
    bench.prepare(
        "cell add --teardown AT1 --pack 1 --count 2 --marking 'INR18650 2600mAh' --rated-resistance 35mohm"
    )
    return bench


def codes(bench: Bench) -> list[str]:
    """The codes in the store."""
    return [cell["code"] for cell in bench.do("cell list")]


def reasons(bench: Bench, code: str) -> dict[str, Any]:
    """A cell's reasons by rule."""
    return {reason["rule"]: reason for reason in bench.do(f"verdict show {code}")["reasons"]}


# --- tear-downs and cells --------------------------------------------------------------------------


def test_a_mistyped_teardown_is_corrected_and_shows_what_was_said_before(opened: Bench) -> None:
    """The list has the right words, the page the history."""
    line = "teardown correct at1 --title 'desk lamp' --found 2026-02-21 --objects 3 --because 'wrong tag'"
    made = opened.do(line)
    assert (made["code"], made["title"], made["kind"], made["objects"]) == ("AT1", "desk lamp", "lamp", 3)
    assert opened.do("teardown list")[0]["found_on"] == "2026-02-21"
    (told,) = opened.do("teardown show AT1")["corrections"]
    assert told["from"] == {"title": "bedside lamp", "found_on": "2026-02-20", "objects": 2}
    assert told["because"] == "wrong tag" and told["at"].startswith("2026-03-01")
    page = opened.run("teardown show AT1").out
    assert "Corrected" in page and "title from 'bedside lamp' to 'desk lamp'" in page
    assert len(opened.do("teardown show AT1")["cells"]) == 2 and opened.do("store check")["ok"]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("AT1 --because x", 2),
        ("AT1 --title lamp", 2),
        ("AT1 --title 'bedside lamp' --because x", 3),
        ("AT9 --title lamp --because x", 3),
        ("A00001O --title lamp --because x", 3),
        ("AT1 --title '' --because x", 3),
        ("AT1 --found 2026-12-31 --because x", 3),
        ("AT1 --objects 0 --because x", 2),
    ],
)
def test_a_correction_of_a_teardown_that_says_nothing_is_refused(opened: Bench, line: str, code: int) -> None:
    """And nothing is recorded."""
    opened.refused(f"teardown correct {line}", code)
    assert opened.do("teardown show AT1")["corrections"] == []


def test_a_teardown_is_shown_with_its_cells(opened: Bench) -> None:
    """What was opened, and what came out."""
    shown = opened.do("teardown show at1")
    assert (shown["code"], shown["title"], shown["kind"]) == ("AT1", "bedside lamp", "lamp")
    assert (shown["found_on"], shown["place"], shown["objects"]) == ("2026-02-20", "yard", 2)
    assert [cell["pack"] for cell in shown["cells"]] == ["1", "1"]
    assert [t["code"] for t in opened.do("teardown list")] == ["AT1"]


def test_cells_take_the_keys_of_the_interface(opened: Bench) -> None:
    """code, stage, chemistry, form; quantities with their unit."""
    first = opened.do("cell list")[0]
    assert (first["stage"], first["chemistry"], first["form"]) == ("received", "nmc", "18650")
    assert (first["rated_capacity_ah"], first["rated_resistance_ohm"]) == (2.6, 0.035)
    assert first["outcome"] == "hold"


def test_many_cells_get_a_code_each(bench: Bench) -> None:
    """No code twice."""
    made = bench.do("cell add --count 40 --form 18650")
    assert len({cell["code"] for cell in made}) == 40


def test_lists_can_be_narrowed(opened: Bench) -> None:
    """By outcome, stage, chemistry, form and box."""
    opened.do("box add tin --kind 'metal box' --limit-wh 100")
    lfp = opened.do("cell add --chemistry lfp --form 26650 --box tin")[0]["code"]
    for line, expected in (
        ("--chemistry lfp", [lfp]),
        ("--form 26650", [lfp]),
        ("--box tin", [lfp]),
        ("--outcome discard", []),
        ("--stage condemned", []),
    ):
        assert [cell["code"] for cell in opened.do(f"cell list {line}")] == expected, line
    assert len(opened.do("cell list --outcome hold")) == 3


def test_an_unmarked_cell_stays_unknown_and_on_hold(bench: Bench) -> None:
    """Nothing is guessed."""
    made = bench.do("cell add --form pouch")[0]
    assert made["chemistry"] == "unknown"
    assert bench.do(f"verdict show {made['code']}")["outcome"] == "hold"


def test_a_primary_mark_is_discarded_at_once(bench: Bench) -> None:
    """And the person is told never to charge it."""
    answer = bench.run("cell add --marking 'CR123A 3V' --json")
    assert answer.json[0]["chemistry"] == "primary"
    assert "never charge" in answer.err.replace("\n ", "")
    assert bench.do(f"verdict show {answer.json[0]['code']}")["outcome"] == "discard"


def test_a_primary_mark_with_a_rechargeable_chemistry_needs_a_confirmation(bench: Bench) -> None:
    """Exit 2, and nothing recorded."""
    bench.refused("cell add --marking 'CR123A 3V' --chemistry nmc", 2)
    assert not bench.store.exists()
    made = bench.do("cell add --marking 'CR123A 3V' --chemistry nmc --confirm-rechargeable")
    assert made[0]["chemistry"] == "nmc"


def test_a_correction_needs_a_reason_and_shows_in_the_history(opened: Bench) -> None:
    """What was known before stays visible."""
    code = codes(opened)[0]
    opened.refused(f"cell correct {code} --form 21700", 2)
    opened.refused(f"cell correct {code} --because nothing", 2)
    made = opened.do(
        f"cell correct {code} --rated-capacity 2500mAh --because 'read it again' --mistake mistyped"
    )
    assert made[0]["rated_capacity_ah"] == 2.5
    assert "read it again" in json.dumps(opened.do(f"cell history {code}"))
    assert "because: read it again" in " ".join(opened.run(f"cell history {code}").out.split())


def test_a_code_cannot_be_wrong_by_a_bad_contact(opened: Bench) -> None:
    """Only `mistyped` goes with an entry of a cell."""
    code = codes(opened)[0]
    opened.refused(f"cell correct {code} --form 21700 --because x --mistake bad-contact", 2)
    opened.refused(f"cell correct {code} --form 21700 --because x --mistake mistypd", 2)


def test_a_corrected_marking_brings_its_size_and_tells_the_rest(bench: Bench) -> None:
    """A prismatic 6 x 34 x 50 mm: its volume counts, its chemistry stays what the person said."""
    code = bench.do("cell add --form prismatic --chemistry nmc")[0]["code"]
    answer = bench.run(
        f"cell correct {code} --marking 'ICP6/34/50 950mAh' --because 'seen under the tape' --json"
    )
    assert answer.json[0]["volume_cm3"] == pytest.approx(6 * 34 * 50 / 1000)
    assert answer.json[0]["chemistry"] == "nmc" and answer.json[0]["rated_capacity_ah"] is None
    assert "950 mAh" in answer.err


def test_a_corrected_marking_says_what_stays_and_how_to_correct_it(bench: Bench) -> None:
    """The old rating was true for all that is known: it stays, and the command for it can be copied."""
    code = bench.do("cell add --marking 'INR18650 2000mAh'")[0]["code"]
    answer = bench.run(f"cell correct {code} --marking 'INR18650 2500mAh' --because 'read again' --json")
    assert answer.json[0]["rated_capacity_ah"] == 2.0
    said = " ".join(answer.err.split())
    assert "rated 2000 mAh stays as recorded, the new marking says 2500 mAh" in said
    command = f"straycell cell correct {code} --rated-capacity 2500mAh --because TEXT"
    assert command in said
    assert bench.do(command.removeprefix("straycell "))[0]["rated_capacity_ah"] == 2.5


def test_a_mistyped_marking_takes_the_rating_that_came_from_it_along(bench: Bench) -> None:
    """Only where the old rating was what the old marking said; a stated one stays."""
    code = bench.do("cell add --marking 'INR18650 2000mAh'")[0]["code"]
    line = "--marking 'INR18650 2500mAh' --because slip --mistake mistyped"
    answer = bench.run(f"cell correct {code} {line} --json")
    assert answer.json[0]["rated_capacity_ah"] == 2.5
    assert (
        "taken along from the marking: rated 2500 mAh" in answer.err and "stays as recorded" not in answer.err
    )
    other = bench.do("cell add --marking 'INR18650 2000mAh' --rated-capacity 2100mAh")[0]["code"]
    answer = bench.run(f"cell correct {other} {line} --json")
    assert answer.json[0]["rated_capacity_ah"] == 2.1
    again = f"cell correct {other} --rated-capacity 2500mAh --mistake mistyped"
    assert again in " ".join(answer.err.split())


def test_a_corrected_marking_that_says_the_same_says_nothing(bench: Bench) -> None:
    """Another spelling, the same cell."""
    code = bench.do("cell add --marking 'INR18650 2000mAh'")[0]["code"]
    answer = bench.run(f"cell correct {code} --marking 'INR 18650 2000 mAh' --because tidier")
    assert "stays as recorded" not in answer.err and "taken along" not in answer.err


def test_a_rating_said_on_the_same_line_is_not_doubted(bench: Bench) -> None:
    """The person has spoken."""
    code = bench.do("cell add --marking 'INR18650 2000mAh'")[0]["code"]
    answer = bench.run(
        f"cell correct {code} --marking 'INR18650 2500mAh' --rated-capacity 2400mAh --because sheet --json"
    )
    assert answer.json[0]["rated_capacity_ah"] == 2.4 and "stays as recorded" not in answer.err


def test_a_primary_mark_found_later_meets_the_chemistry_on_record(bench: Bench) -> None:
    """Exit 2: the person confirms, or takes the chemistry back."""
    code = bench.do("cell add --form 16340 --chemistry nmc --confirm-rechargeable")[0]["code"]
    other = bench.do("cell add --form 16340 --chemistry nmc")[0]["code"]
    bench.do(f"cell correct {code} --marking CR123A --because found")
    bench.refused(f"cell correct {other} --marking CR123A --because found", 2)
    made = bench.do(f"cell correct {other} --marking CR123A --chemistry primary --because found")
    assert made[0]["chemistry"] == "primary"
    assert bench.do(f"verdict show {other}")["outcome"] == "discard"


def test_a_safety_discard_survives_a_correction_without_a_mistake(bench: Bench) -> None:
    """No back door: only `--mistake mistyped` says that it never was so."""
    code = bench.do("cell add --form 18650 --chemistry primary")[0]["code"]
    bench.do(f"cell correct {code} --chemistry nmc --because 'looks like it'")
    assert bench.do(f"verdict show {code}")["outcome"] == "discard"
    other = bench.do("cell add --form 18650 --chemistry primary")[0]["code"]
    bench.do(f"cell correct {other} --chemistry nmc --because slip --mistake mistyped")
    assert bench.do(f"cell show {other}")["stage"] == "received"


def test_a_cell_moves_into_a_box(opened: Bench) -> None:
    """And the box counts it."""
    code = codes(opened)[0]
    opened.refused(f"cell move {code} tin", 3)
    opened.do("box add tin")
    assert opened.do(f"cell move {code} tin")["box"] == "tin"
    assert opened.do("box list")[0]["cells"] == 1


def test_lower_case_blanks_and_hyphens_in_a_code_are_forgiven(opened: Bench) -> None:
    """As a person writes it."""
    code = codes(opened)[0]
    assert opened.do(f"cell show '{code[:3].lower()}-{code[3:6]} {code[6].lower()}'")["code"] == code


def test_a_mistyped_code_is_refused_with_the_nearest(opened: Bench) -> None:
    """Exit 3, and what it could have been."""
    code = codes(opened)[0]
    wrong = code[:5] + ("9" if code[5] != "9" else "8") + code[6]
    assert code in opened.refused(f"cell show {wrong}", 3)


# --- meters, charges, readings ---------------------------------------------------------------------


def test_a_meter_is_shown_as_understood(bench: Bench) -> None:
    """Shares and offsets in base units."""
    meter = bench.do("meter add m --voltage-accuracy 0.05%+2mV --voltage-resolution '1mV<4V,10mV'")
    assert meter["voltage_accuracy"] == {"share": pytest.approx(0.0005), "offset_v": pytest.approx(0.002)}
    assert meter["voltage_resolution"] == [
        {"below_v": 4.0, "step_v": 0.001},
        {"below_v": None, "step_v": 0.01},
    ]
    assert bench.do("meter list")[0]["resistance_accuracy"] is None


def test_a_meter_of_which_nothing_is_known_is_refused(bench: Bench) -> None:
    """With the classes there are; a class that is not known too."""
    assert "hand-held-multimeter" in bench.refused("meter add m", 2)
    assert "hand-held-multimeter" in bench.refused("meter add m --like oracle", 2)


def test_a_reading_carries_its_expanded_uncertainty(opened: Bench) -> None:
    """0.05 % of 3.31 V + 2 mV as limits and 1 mV steps, both rectangular (JCGM 100 4.3.7), k = 2."""
    made = opened.do(f"reading add {codes(opened)[0]} --as-found-voltage 3310mV --meter blue")[0]
    limit, step = 0.0005 * 3.31 + 0.002, 0.001
    expected = 2 * (limit**2 / 3 + step**2 / 12) ** 0.5
    assert (made["quantity"], made["value"], made["unit"]) == ("as-found-voltage", 3.31, "V")
    assert made["expanded_uncertainty"] == pytest.approx(expected)
    assert (made["meter"], made["cautious_default"]) == ("blue", False)


def test_several_quantities_on_one_line_are_one_write(opened: Bench) -> None:
    """Three readings, one event."""
    code = codes(opened)[0]
    before = len(opened.do(f"cell history {code}"))
    made = opened.do(
        f"reading add {code} --look clean --resistance 38mohm --resistance-method ac-1khz "
        "--capacity 2.41Ah --discharge-current 0.5A --cutoff 2.8V --temperature 21C"
    )
    assert [r["quantity"] for r in made] == ["look", "capacity", "resistance"]
    assert len(opened.do(f"cell history {code}")) == before + 1


def test_a_bad_quantity_records_none_of_the_line(opened: Bench) -> None:
    """All or nothing."""
    code = codes(opened)[0]
    opened.refused(f"reading add {code} --look clean --voltage 37.1V", 3)
    opened.refused(f"reading add {code} --look clean --meter nosuch", 3)
    assert opened.do(f"cell show {code}")["readings"] == []


def test_a_group_shares_its_as_found_voltage_and_nothing_else(opened: Bench) -> None:
    """Cells still welded in parallel."""
    first, second = codes(opened)
    made = opened.do(f"reading add {first} --look clean --as-found-voltage 3.31V --as-group")
    assert [(r["cell"], r["quantity"]) for r in made] == [
        (first, "look"),
        (first, "as-found-voltage"),
        (second, "as-found-voltage"),
    ]
    assert all(r["as_group"] for r in made[1:])


def test_a_group_needs_a_pack(opened: Bench) -> None:
    """A cell without a pack has no siblings."""
    lone = opened.do("cell add --form 18650")[0]["code"]
    assert "--pack" in opened.refused(f"reading add {lone} --as-found-voltage 3.3V --as-group", 3)


def test_a_charge_is_recorded_with_its_end(opened: Bench) -> None:
    """Its time is when it ended."""
    code = codes(opened)[0]
    made = opened.do(
        f"charge add {code} --current 0.5A --until 4.20V --end-current 50mA --temperature 21C "
        "--peak-temperature 26C --charger 'bench supply' --slot 2 --at 2026-03-01T08:00Z"
    )
    assert (made["current_a"], made["until_v"], made["end_current_a"]) == (0.5, 4.2, 0.05)
    assert made["at"].startswith("2026-03-01T08:00:00")
    assert (made["charger"], made["slot"]) == ("bench supply", 2)


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("--current 0A --until 4.2V", 3, "current"),
        ("--current 0.5A --until 12V", 3, "cannot be right"),
        ("--current 0.5A", 2, "--until"),
        ("--current 0.5V --until 4.2V", 3, "is a voltage, not a current"),
        ("--current 0,5A --until 4.2V", 3, "decimal comma"),
        ("--current 0.5A --until 4.2V --at 2026-03-02", 3, "in the future"),
        ("--current 0.5A --until 4.2V --slot 0", 2, "out of range"),
    ],
)
def test_a_charge_that_cannot_be_is_refused(opened: Bench, line: str, code: int, words: str) -> None:
    """Each with its own words."""
    assert words in opened.refused(f"charge add {codes(opened)[0]} {line}", code)


def test_an_as_found_voltage_below_the_floor_discards_and_tells_what_to_do(opened: Bench) -> None:
    """Acceptance draft: 4.2 V chemistries below 2.0 V."""
    code = codes(opened)[0]
    answer = opened.run(f"reading add {code} --as-found-voltage 1.7V --meter blue")
    assert answer.code == 0
    assert "DISCARD" in answer.err and "collection" in answer.err
    assert opened.do(f"cell show {code}")["stage"] == "condemned"


def test_a_mistyped_voltage_is_put_right_and_stays_visible(opened: Bench) -> None:
    """The discard goes, the old reading stays, marked."""
    code = codes(opened)[0]
    old = opened.do(f"reading add {code} --as-found-voltage 1.37V --meter blue --temperature 20C")[0]
    new = opened.do(
        f"reading supersede {old['id']} --mistake mistyped --because 'read 3.71' --as-found-voltage 3.71V"
    )
    assert (new[0]["value"], new[0]["meter"], new[0]["temperature_c"]) == (3.71, "blue", 20.0)
    shown = opened.do(f"cell show {code}")
    assert (shown["stage"], shown["verdict"]["outcome"]) == ("received", "hold")
    first = next(r for r in shown["readings"] if r["id"] == old["id"])
    assert (first["superseded_by"], first["mistake"], first["because"]) == (
        new[0]["id"],
        "mistyped",
        "read 3.71",
    )


def test_a_reading_of_the_wrong_cell_moves_to_the_right_one(opened: Bench) -> None:
    """With its value and its time."""
    first, second = codes(opened)
    old = opened.do(f"reading add {first} --as-found-voltage 3.3V --at 2026-02-25T10:00Z")[0]
    moved = opened.do(
        f"reading supersede {old['id']} --mistake wrong-cell --because swapped --right-cell {second}"
    )
    assert [(r["cell"], r["value"], r["at"]) for r in moved] == [(second, 3.3, old["at"])]


def test_a_bad_contact_may_leave_nothing_in_its_place(opened: Bench) -> None:
    """Electrical readings only."""
    code = codes(opened)[0]
    volts, look = opened.do(f"reading add {code} --look clean --as-found-voltage 3.3V")[::-1]
    assert opened.do(f"reading supersede {volts['id']} --mistake bad-contact --because clip") == []
    opened.refused(f"reading supersede {look['id']} --mistake bad-contact --because clip", 3)


def test_a_group_voltage_can_be_taken_back_for_the_whole_group(opened: Bench) -> None:
    """One slip, one correction."""
    first, second = codes(opened)
    old = opened.do(f"reading add {first} --as-found-voltage 1.33V --as-group")
    new = opened.do(
        f"reading supersede {old[0]['id']} --mistake mistyped --because slip --as-found-voltage 3.31V --as-group"
    )
    assert [(r["cell"], r["value"]) for r in new] == [(first, 3.31), (second, 3.31)]
    assert {opened.do(f"cell show {c}")["stage"] for c in (first, second)} == {"received"}


def test_a_charge_is_superseded_with_the_options_of_a_charge(opened: Bench) -> None:
    """What is not said anew stays."""
    code = codes(opened)[0]
    old = opened.do(f"charge add {code} --current 0.5A --until 4.10V --at 2026-03-01T07:00Z")
    opened.refused(f"reading supersede {old['id']} --mistake mistyped --because slip --voltage 4.2V", 2)
    new = opened.do(f"reading supersede {old['id']} --mistake mistyped --because slip --until 4.20V")[0]
    assert (new["until_v"], new["current_a"], new["at"]) == (4.2, 0.5, old["at"])


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("--mistake mistyped --because x", 2),
        ("--mistake mistyped", 2),
        ("--mistake mistyped --because x --right-cell {other} --voltage 3.7V", 2),
        ("--mistake wrong-cell --because x --voltage 3.7V", 2),
        ("--mistake wrong-cell --because x --right-cell {same}", 2),
        ("--mistake slip --because x", 2),
        ("--mistake mistyped --because '' --as-found-voltage 3.7V", 3),
        ("--mistake mistyped --because x --current 1A", 2),
        ("--mistake mistyped --because x --capacity 2Ah --discharge-current 1A --cutoff 3V", 3),
        ("--mistake bad-contact --because x --as-group", 2),
    ],
)
def test_a_supersession_that_does_not_fit_is_refused(opened: Bench, line: str, code: int) -> None:
    """And the reading stands as it was."""
    same, other = codes(opened)
    made = opened.do(f"reading add {same} --as-found-voltage 3.3V")[0]
    opened.refused(f"reading supersede {made['id']} " + line.format(same=same, other=other), code)
    assert opened.do(f"cell show {same}")["readings"][0]["mistake"] is None


def test_a_reading_that_is_not_there_cannot_be_superseded(opened: Bench) -> None:
    """Nor what is no number."""
    opened.refused("reading supersede 99 --mistake bad-contact --because x", 3)
    opened.refused("reading supersede x --mistake bad-contact --because x", 3)


# --- verdicts, rules, discard ----------------------------------------------------------------------


def good_cell(bench: Bench) -> str:
    """A cell with everything a verdict needs, measured over a month; the clock stands after it."""
    code = codes(bench)[0]
    bench.prepare(f"reading add {code} --look clean --as-found-voltage 3.31V --meter blue --temperature 21C")
    charge = f"charge add {code} --current 0.5A --until 4.20V --end-current 50mA --temperature 21C"
    bench.prepare(f"{charge} --peak-temperature 26C")
    bench.now = "2026-03-01T20:00:00+00:00"
    bench.prepare(
        f"reading add {code} --capacity 2.5Ah --discharge-current 0.5A --cutoff 2.8V --temperature 21C --meter load"
    )
    bench.prepare(
        f"reading add {code} --resistance 36mohm --resistance-method ac-1khz --temperature 21C --meter load"
    )
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.prepare(f"{charge} --peak-temperature 26C")
    bench.now = "2026-03-04T09:00:00+00:00"
    bench.prepare(f"reading add {code} --voltage 4.180V --rested 48h --meter blue --temperature 21C")
    bench.now = "2026-04-03T09:00:00+00:00"
    bench.prepare(f"reading add {code} --voltage 4.172V --rested 768h --meter blue --temperature 21C")
    return code


def test_a_good_cell_becomes_pack_and_stops_being_so_by_age(opened: Bench) -> None:
    """Thirteen months later, without any write, it is no longer pack."""
    code = good_cell(opened)
    verdict = opened.do(f"verdict show {code}")
    assert verdict["outcome"] == "pack", [r for r in verdict["reasons"] if r["status"] != "met"]
    assert {"rule", "status", "observed", "expanded_uncertainty", "limit", "unit", "safety", "source"} <= set(
        verdict["reasons"][0]
    )
    assert verdict["missing"] == []
    assert max(map(len, opened.run(f"verdict show {code}").out.splitlines())) <= 80
    opened.now = "2027-05-03T09:00:00+00:00"
    assert opened.do(f"verdict show {code}")["outcome"] != "pack"


def test_verdict_show_tells_what_to_do_next_and_when(opened: Bench) -> None:
    """Headline, why, next with a date, and the rules it was judged under."""
    code = codes(opened)[0]
    opened.do(f"reading add {code} --look clean --as-found-voltage 3.31V")
    opened.do(
        f"charge add {code} --current 0.5A --until 4.20V --end-current 50mA --temperature 21C --peak-temperature 25C"
    )
    answer = opened.run(f"verdict show {code}")
    assert answer.out.startswith(f"··· {code}  HOLD")
    assert "\nWhy\n" in answer.out and "\nNext\n" in answer.out and "rules: shipped" in answer.out
    assert "could decide from 2026-" in " ".join(answer.out.split()) and " CODE " not in answer.out
    assert "caution:" in answer.err
    assert max(map(len, answer.out.splitlines())) <= 80


def test_cell_show_is_one_page(opened: Bench) -> None:
    """What it is, what it may do, why, what next; within eighty columns."""
    code = good_cell(opened)
    answer = opened.run(f"cell show {code}")
    for words in ("PACK", "until 2026-", "What it is", "2500", "36", "Readings", "AT1 pack 1"):
        assert words in answer.out, words
    assert max(map(len, answer.out.splitlines())) <= 80
    document = opened.do(f"cell show {code}")
    assert document["figures"]["capacity_ah"]["value"] == 2.5
    assert len(document["readings"]) == 8


def test_a_discard_names_the_one_reading_it_rests_on(opened: Bench) -> None:
    """The only way back is to take that reading back."""
    code = codes(opened)[0]
    made = opened.do(f"reading add {code} --as-found-voltage 1.7V --meter blue")[0]
    text = " ".join(opened.run(f"verdict show {code}").out.split())
    assert f"only if reading {made['id']} was a mistake" in text
    opened.do(f"discard {code} --because 'not worth it'")
    assert "only if reading" not in opened.run(f"verdict show {code}").out


def test_the_history_tells_what_was_read(opened: Bench) -> None:
    """Each event with its readings, within eighty columns."""
    code = codes(opened)[0]
    opened.now = "2026-03-02T09:00:00+00:00"
    opened.do(f"reading add {code} --look clean --as-found-voltage 3.31V --meter blue")
    out = opened.run(f"cell history {code}").out
    assert "look clean" in out and "as-found-voltage 3.3100 ± 0.0043 V" in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_discard_starts_with_tape_unless_damage_was_seen(opened: Bench) -> None:
    """What every discarded cell needs first; a swollen one is put outdoors first."""
    sound, swollen = (opened.do("cell add --form 18650 --chemistry nmc")[0]["code"] for _ in range(2))
    assert (
        opened.run(f"discard {sound} --because 'no use'")
        .err.partition("caution: ")[2]
        .startswith("Tape both")
    )
    seen = opened.run(f"reading add {swollen} --look swollen").err
    assert seen.partition("caution: ")[2].startswith("Swollen, leaking, burnt")
    last = opened.run(f"discard {swollen} --because bad").err
    assert last.partition("caution: ")[2].startswith("Swollen, leaking, burnt")


def test_whoever_prints_labels_is_told_to_read_them_back(opened: Bench) -> None:
    """On stderr, for sheets, single labels and blank ones."""
    code, folder = codes(opened)[0], opened.store.parent
    for line in (f"sheet {code} --out {folder}/a.pdf", f"single {code} --out {folder}/a.png"):
        assert "read the code back" in opened.run(f"label {line}").err
    assert "read the code back" in opened.run(f"label blank --count 2 --out {folder}/b.pdf").err


def test_an_older_store_names_the_command_that_upgrades_it(
    opened: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looking changes nothing and says how; afterwards everything is there as before."""
    from straycell.store.schema import create as schema

    before = codes(opened)
    assert opened.do("store upgrade")["upgraded"] is False
    monkeypatch.setattr(schema, "VERSION", schema.VERSION + 1)
    monkeypatch.setattr(schema, "upgrade", schema.seal)
    assert "straycell store upgrade" in opened.refused("cell list", 4)
    assert opened.do("store upgrade") == {
        "store": str(opened.store),
        "from_version": schema.VERSION - 1,
        "version": schema.VERSION,
        "upgraded": True,
    }
    assert codes(opened) == before
    opened.store.unlink()
    opened.refused("store upgrade", 4)


def test_each_write_tells_its_own_readings_even_in_the_same_second(opened: Bench) -> None:
    """Four writes at one instant of the pinned clock: every number stands in the history once."""
    code = opened.do("cell add --form 18650 --chemistry nmc")[0]["code"]
    numbers = [
        opened.do(f"reading add {code} --look clean")[0]["id"],
        opened.do(f"reading add {code} --as-found-voltage 3.6V")[0]["id"],
        opened.do(f"charge add {code} --current 0.5A --until 4.2V")["id"],
    ]
    out = opened.run(f"cell history {code}").out
    assert [out.count(f"{number} ") for number in numbers] == [1, 1, 1]
    shown = {reading["id"]: reading["event_id"] for reading in opened.do(f"cell show {code}")["readings"]}
    events = {event["id"]: event["verb"] for event in opened.do(f"cell history {code}")}
    assert [events[shown[number]] for number in numbers] == [
        "readings-added",
        "readings-added",
        "charge-added",
    ]


def test_verdict_list_has_every_cell_once(opened: Bench) -> None:
    """In the order of the codes."""
    assert [v["code"] for v in opened.do("verdict list")] == codes(opened)
    assert opened.do("verdict refresh")["rules"] == "shipped"


def test_rules_show_gives_every_limit_with_its_source(bench: Bench) -> None:
    """No figure without where it comes from; no store is needed."""
    rules = bench.do("rules show")
    assert len(rules["limits"]) > 20 and all(limit["source"] for limit in rules["limits"])
    assert not bench.store.exists()


def test_rules_check_exits_1_for_a_file_with_faults(bench: Bench) -> None:
    """All of them in one pass; 0 for a sound one; 3 for one that is not there."""
    loose = bench.store.with_name("loose.toml")
    loose.write_text(
        'name = "mine"\n[[limit]]\nid = "voltage-floor"\nvalue = 1.0\n[[limit]]\nid = "nosuch"\n'
    )
    answer = bench.run(f"rules check {loose} --json")
    assert answer.code == 1
    assert answer.json["ok"] is False and len(answer.json["faults"]) >= 2
    tight = bench.store.with_name("tight.toml")
    tight.write_text('name = "mine"\n[[limit]]\nid = "voltage-floor"\nvalue = 2.4\n')
    assert bench.do(f"rules check {tight}")["ok"] is True
    bench.refused("rules check nosuch.toml", 3)


def test_a_rule_file_of_ones_own_is_laid_on_top(opened: Bench) -> None:
    """STRAYCELL_RULES; a cell at 2.2 V is discarded under a floor of 2.4 V."""
    tight = opened.store.with_name("tight.toml")
    tight.write_text('name = "mine"\n[[limit]]\nid = "voltage-floor"\nvalue = 2.4\n')
    code = codes(opened)[0]
    opened.do(f"reading add {code} --as-found-voltage 2.2V --meter blue")
    assert opened.do(f"verdict show {code}")["outcome"] == "hold"
    opened.env["STRAYCELL_RULES"] = str(tight)
    assert opened.do(f"verdict show {code}")["outcome"] == "discard"
    assert opened.do(f"verdict show {code}")["rules"] == "mine"


def test_discard_is_final_and_says_what_to_do_now(opened: Bench) -> None:
    """Exit 0; with a reason; no later reading brings it back."""
    code = codes(opened)[0]
    opened.refused(f"discard {code}", 2)
    answer = opened.run(f"discard {code} --because 'fell into water'")
    assert answer.code == 0 and "collection" in answer.err
    assert opened.do(f"verdict show {code}")["outcome"] == "discard"
    opened.run(f"reading add {code} --look clean")
    assert opened.do(f"verdict show {code}")["outcome"] == "discard"


def test_cautions_can_be_read_by_step(bench: Bench) -> None:
    """Each with its source."""
    everything, charging = bench.do("cautions"), bench.do("cautions --step charging")
    assert 0 < len(charging) < len(everything)
    assert all(caution["source"] for caution in everything)
    assert "source:" in bench.run("cautions --sources").out
    bench.refused("cautions --step chargin", 2)


# --- the store -------------------------------------------------------------------------------------


def test_looking_creates_no_store(bench: Bench) -> None:
    """Exit 4 and no file."""
    for line in (
        "cell list",
        "teardown list",
        "meter list",
        "box list",
        "verdict list",
        "store info",
        "store check",
    ):
        bench.refused(line, 4)
    for line in ("verdict refresh", "discard A00001O --because x", "reading add A00001O --look clean"):
        bench.refused(line, 4)
    assert not bench.store.exists()


def test_a_store_is_made_once_with_its_letter(bench: Bench) -> None:
    """Codes begin with it."""
    assert bench.do("store init --bench k")["bench"] == "K"
    bench.refused("store init", 3)
    assert bench.do("cell add --form 18650")[0]["code"].startswith("K")


def test_a_bench_letter_that_is_none_is_refused(bench: Bench) -> None:
    """One letter, A to Z, and nothing is left behind."""
    for letter in ("AB", "7", "ß"):
        bench.refused(f"store init --bench {letter}", 3)
    assert not bench.store.exists()


def test_backup_and_restore_bring_back_what_was(opened: Bench) -> None:
    """A replaced store is confirmed first, and kept."""
    copy = opened.store.with_name("copy.sqlite")
    opened.do(f"store backup {copy}")
    opened.refused(f"store backup {copy}", 3)
    opened.do("cell add --form 21700")
    assert "--yes" in opened.refused(f"store restore {copy}", 2)
    former = opened.do(f"store restore {copy} --yes")["former"]
    assert len(codes(opened)) == 2
    assert former is not None and opened.run(f"--store {former} cell list --json").json[2]["form"] == "21700"


def test_a_sound_store_has_no_fault_and_a_broken_one_is_exit_4(opened: Bench) -> None:
    """Garbage in the file is a fault of the store, not ours."""
    assert opened.do("store check")["faults"] == []
    opened.store.write_bytes(
        b"this is not a database, it is a shopping list, and long enough to be read as a page" * 20
    )
    opened.refused("cell list", 4)
    opened.refused("store check", 4)


def test_a_store_named_by_a_url_must_be_sqlite(bench: Bench) -> None:
    """FILE or sqlite:///FILE."""
    bench.refused("--store postgresql://host/db cell list", 2)
    made = bench.run(f"--store sqlite:///{bench.store} teardown add T --kind radio --json")
    assert made.code == 0 and bench.do("teardown list")[0]["title"] == "T"
