"""No way round a discard, nothing better by waiting, a store that refuses, answers that keep their keys."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from tests.cli.app.test_processes import start
from tests.review.walk import NMC, Walk, begin, walked

RUN = "--discharge-current 0.5A --cutoff 2.8V --temperature 22C --meter m"
POUCH: dict[str, Any] = {
    "cell": "--chemistry lco --form pouch --rated-capacity 1400mAh",
    "capacity": "--capacity 1200mAh --discharge-current 280mA --cutoff 3.0V --temperature 22C --meter m",
    "resistance": "--resistance 600mohm --resistance-method dc-pulse --meter m",
}


# --- a discard is final ----------------------------------------------------------------------------


def low_capacity() -> Walk:
    """1000 of 2500 mAh, nothing else against it."""
    return walked(capacity=f"--capacity 1000mAh {RUN}")


def leaking() -> Walk:
    """4.180 V to 4.130 V in a fortnight: 8 % a month."""
    return walked(second="--voltage 4.130V --rested 14d --temperature 22C --meter m")


def better_capacities(walk: Walk) -> None:
    for _ in range(2):
        walk.charge().wait(hours=6).read(f"--capacity 2400mAh {RUN}").wait(hours=1)


def partial_charge_told_later(walk: Walk) -> None:
    walk.charge("--current 0.5A --until 3.9V", days=15, hours=8.5)


def charge_within_the_pair_told_later(walk: Walk) -> None:
    walk.charge("--current 0.5A --until 3.9V", days=5)


def lower_first_voltage_told_later(walk: Walk) -> None:
    at = walk.at.replace(day=3, hour=8).isoformat()
    walk.read(f"--voltage 4.132V --rested 24h --temperature 22C --meter m --at {at}")


def good_pair(walk: Walk) -> None:
    walk.charge().wait(hours=25).read("--voltage 4.18V --rested 25h --temperature 22C --meter m")
    walk.wait(days=14).read("--voltage 4.172V --rested 14d --temperature 22C --meter m")


def smaller_capacity(walk: Walk) -> None:
    walk.charge("--current 0.28A --until 4.2V").wait(hours=6)
    walk.read("--capacity 980mAh --discharge-current 280mA --cutoff 3.0V --temperature 22C --meter m")


def measured_again(walk: Walk) -> None:
    """What a fallen finding asks for: each measurement, and a fortnight between two rest voltages."""
    walk.wait(hours=2).read(
        "--look clean --voltage 4.171V --rested 15d --temperature 22C --resistance 45.5mohm "
        "--resistance-method dc-pulse --meter m"
    )
    assert (walk.outcome, walk.rules_failed()) == ("hold", {"finding-fell"})
    walk.wait(days=14).read("--voltage 4.163V --rested 29d --temperature 22C --meter m")


def corrections(walk: Walk) -> None:
    for change in ("--chemistry lfp", "--protection-board", "--chemistry unknown", "--full-voltage 4.4V"):
        walk.type(f"cell correct CODE {change} --because thought")


BACK_DOORS = {
    "low capacity, then good ones": (low_capacity, better_capacities),
    "low capacity, then a charge reported later": (low_capacity, partial_charge_told_later),
    "a leak, then a good pair": (leaking, good_pair),
    "a leak, then a charge reported later": (leaking, charge_within_the_pair_told_later),
    "a leak, then an earlier voltage reported later": (leaking, lower_first_voltage_told_later),
    "a pouch's resistance, then less capacity": (lambda: walked(**POUCH), smaller_capacity),
    "deep discharge, then other facts": (
        lambda: walked().wait(hours=1).read("--voltage 1.8V --rested 15d --meter m"),
        corrections,
    ),
    "over-charge, then another full voltage": (
        lambda: walked().wait(hours=1).charge("--current 0.5A --until 4.3V"),
        corrections,
    ),
    "swollen, then clean": (
        lambda: walked().wait(hours=1).read("--look swollen"),
        lambda walk: walk.wait(hours=1).read("--look clean"),
    ),
    "primary, then nmc": (
        lambda: begin("--chemistry primary --form 18650"),
        lambda walk: walk.type("cell correct CODE --chemistry nmc --because thought"),
    ),
}


@pytest.mark.parametrize("name", BACK_DOORS)
def test_nothing_recorded_later_brings_a_discard_back(name: str) -> None:
    """Good news, old news and other facts: the verdict and the stage stay."""
    bad, later = BACK_DOORS[name]
    walk = bad()
    assert walk.outcome == "discard"
    later(walk.wait(hours=2))
    assert walk.outcome == "discard", walk.rules_failed()
    assert walk.type("cell show CODE")["stage"] == "condemned"


def test_a_late_charge_and_a_retyped_voltage_lead_to_a_hold_and_a_new_test() -> None:
    """The mistake voids the finding; the pair with a charge in it proves nothing, so the cell is not free."""
    walk = leaking()
    charge_within_the_pair_told_later(walk.wait(hours=2))
    assert walk.outcome == "discard"
    slip = "--mistake mistyped --voltage 4.131V --because slip"
    walk.type(f"reading supersede {walk.number('voltage')} {slip}")
    assert walk.outcome == "hold" and {"finding-fell-first", "self-discharge"} <= walk.rules_failed()
    walk.wait(days=1).read("--look clean --resistance 45.5mohm --resistance-method dc-pulse --meter m")
    assert walk.outcome == "hold"


def test_a_manual_discard_has_no_way_back() -> None:
    """Neither a correction nor a second word; nor does an older copy of the store bring it back."""
    walk = walked()
    copy = walk.bench.store.with_name("copy.sqlite")
    walk.type(f"store backup {copy}")
    walk.type("discard CODE --because dropped --yes")
    walk.type("cell correct CODE --rated-capacity 2600mAh --because seen --mistake mistyped")
    assert walk.outcome == "discard"
    answer = walk.bench.run(f"store restore {copy} --yes")
    assert answer.code == 0 and f"out of use here too: {walk.code}" in answer.err
    assert walk.outcome == "discard" and walk.type("cell show CODE")["stage"] == "condemned"


@pytest.mark.parametrize(
    ("bad", "undo"),
    [
        ("reading add CODE --look swollen", "--mistake mistyped --look clean"),
        ("reading add CODE --look leaking", "--mistake wrong-cell"),
        ("reading add CODE --voltage 1.3V --rested 15d", "--mistake bad-contact"),
        (
            "reading add CODE --voltage 1.3V --rested 15d",
            "--mistake mistyped --voltage 4.17V --temperature 22C",
        ),
        ("reading add CODE --resistance 900mohm --resistance-method dc-pulse", "--mistake bad-contact"),
        ("charge add CODE --current 0.5A --until 4.4V", "--mistake mistyped --until 4.2V"),
    ],
)
def test_superseding_the_reading_behind_it_does_and_stays_visible(bad: str, undo: str) -> None:
    """The one way back; the old reading is shown with its mistake and the reason."""
    walk = walked().wait(hours=1)
    made = walk.type(bad)
    number = (made[0] if isinstance(made, list) else made)["id"]
    assert walk.outcome == "discard"
    walk.type(f'reading supersede {number} {undo} --because "hand slipped"')
    if undo.startswith("--mistake mistyped"):  # put right at once, with the right value
        assert walk.outcome == "pack", walk.rules_failed()
    else:
        assert (walk.outcome, walk.rules_failed()) == ("hold", {"finding-fell-first"})
        measured_again(walk)
        assert walk.outcome == "pack", walk.rules_failed()
    shown = {item["id"]: item for item in walk.type("cell show CODE")["readings"]}
    assert shown[number]["mistake"] == undo.split()[1] and shown[number]["because"] == "hand slipped"
    assert any("reading-superseded" in event["verb"] for event in walk.type("cell history CODE"))


@pytest.mark.parametrize(
    ("what", "undo", "code"),
    [
        ("look", "--mistake bad-contact", 3),
        ("look", "--mistake mistyped", 2),
        ("look", "--mistake mistyped --voltage 3V", 3),
        ("charge", "--mistake bad-contact", 3),
        ("look", "--mistake wrong-cell --right-cell CODE", 2),
        ("look", "--mistake worn-out", 2),
    ],
)
def test_what_is_no_such_mistake_is_refused(what: str, undo: str, code: int) -> None:
    """A bad contact does not make a cell look swollen, and a slip needs the right value."""
    walk = walked()
    line = f"reading supersede {walk.number(what)} {undo} --because x".replace("CODE", walk.code)
    walk.bench.refused(line, code)


def test_a_wrong_cells_reading_moves_with_its_discard() -> None:
    """Leaking was seen on the neighbour."""
    walk = walked()
    other = walk.type(f"cell add {NMC}")[0]["code"]
    number = walk.wait(hours=1).read("--look leaking").answers[0]["id"]
    walk.type(f"reading supersede {number} --mistake wrong-cell --right-cell {other} --because mixed")
    assert (walk.outcome, walk.rules_failed()) == ("hold", {"finding-fell-first"})
    assert walk.type(f"verdict show {other}")["outcome"] == "discard"


def test_a_group_voltage_is_taken_back_for_one_or_for_all() -> None:
    """Three cells welded in parallel, as found 1.7 V by a slip."""
    walk = begin()
    made = walk.type(f"cell add --teardown {walk.teardown} --pack K {NMC} --count 3")
    codes = [cell["code"] for cell in made]
    shared = walk.type(f"reading add {codes[0]} --as-found-voltage 1.7V --as-group --meter m")
    assert [item["cell"] for item in shared] == codes

    def outcomes() -> list[str]:
        return [walk.type(f"verdict show {code}")["outcome"] for code in codes]

    assert outcomes() == ["discard"] * 3
    right = "--mistake mistyped --as-found-voltage 3.7V --because slip"
    walk.type(f"reading supersede {shared[0]['id']} {right}")
    assert outcomes() == ["hold", "discard", "discard"]
    walk.type(f"reading supersede {shared[1]['id']} {right} --as-group")
    assert outcomes() == ["hold"] * 3


def test_rule_files_tighten_safety_and_never_loosen_it(tmp_path: Path) -> None:
    """A looser warming is refused with every command; a tighter one counts."""
    walk = walked()
    rules = tmp_path / "own.toml"
    rules.write_text('name = "own"\n[[limit]]\nid = "warming"\nvalue = 12.0\n')
    answer = walk.bench.run(f"rules check {rules} --json")
    assert answer.code == 1 and answer.json["ok"] is False and answer.json["faults"]
    walk.bench.env["STRAYCELL_RULES"] = str(rules)
    walk.bench.refused(f"verdict show {walk.code}", 3)
    rules.write_text('name = "own"\n[[limit]]\nid = "warming"\nvalue = 7.0\n')
    walk.bench.env["STRAYCELL_RULES"] = str(rules.rename(tmp_path / "tight.toml"))
    assert walk.outcome == "hold"


# --- time ------------------------------------------------------------------------------------------


def test_a_verdict_runs_out_by_itself() -> None:
    """Rest voltage after 90 + 14 days, the rest after 365; `valid_until` is honest; nothing is written."""
    walk = walked()
    before = walk.bench.store.read_bytes()
    until = walk.verdict["valid_until"]
    assert until == "2026-06-29T06:00:00+00:00"
    walk.bench.now = "2026-06-29T05:59:59+00:00"
    assert walk.outcome == "pack"
    walk.bench.now = until
    assert walk.outcome == "hold"
    walk.bench.now = "2027-04-17T06:00:00+00:00"  # 13 months later
    verdict = walk.verdict
    assert verdict["outcome"] == "hold"
    assert {"capacity", "resistance", "rest-voltage"} <= walk.rules_failed()
    assert len(verdict["missing"]) >= 3
    assert walk.type("cell list --outcome pack") == []
    assert walk.bench.store.read_bytes() == before


def test_a_hold_names_the_day_that_could_decide_and_that_day_does() -> None:
    """One voltage of two: 7 days after the first for solo, 14 for pack."""
    walk = walked(second="", days=1.0)
    assert walk.reason("self-discharge")["earliest"] == "2026-03-10T06:00:00+00:00"
    walk.wait(days=6).read("--voltage 4.176V --rested 7d --temperature 22C --meter m")
    assert walk.outcome == "solo"
    assert walk.reason("self-discharge-pack")["earliest"] == "2026-03-17T06:00:00+00:00"
    walk.wait(days=7).read("--voltage 4.172V --rested 7d --temperature 22C --meter m")
    assert walk.outcome == "pack"


# --- the store -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET value = 3.9",
        "UPDATE OR IGNORE reading SET value = 3.9 WHERE id = 2",
        "DELETE FROM reading WHERE id = 2",
        "INSERT OR REPLACE INTO reading SELECT * FROM reading WHERE id = 2",
        "REPLACE INTO reading (id) VALUES (2)",
        "UPDATE event SET verb = 'x'",
        "DELETE FROM event",
        "INSERT OR REPLACE INTO event SELECT * FROM event",
        "UPDATE verdict SET outcome = 'pack'",
        "UPDATE fact SET value = 'lfp'",
        "UPDATE meter SET name = 'x'",
        "DELETE FROM cell",
    ],
)
def test_the_file_itself_refuses_to_rewrite_history(statement: str) -> None:
    """Whoever opens it, with any program."""
    walk = walked()
    walk.type("cell correct CODE --maker X --because seen")  # so that the table of facts has a row
    with closing(sqlite3.connect(walk.bench.store)) as raw, pytest.raises(sqlite3.IntegrityError):
        raw.execute(statement)


PROJECT = """name = "gauge"
[load]
current = "100mA"
[need]
runtime = "10h"
cutoff = "3.2V"
temperature = "20C"
[pack]
series = 1
parallel = 1
[protection]
fitted = true
cutoff = "2.8V"
trip_current = "3A"
"""


def file_project(walk: Walk, name: str = "gauge", text: str = PROJECT) -> None:
    file = walk.bench.store.with_name(f"{name}.toml")
    file.write_text(text.replace("gauge", name))
    walk.type(f"project add {file}")


def test_two_processes_reserve_one_cell_and_one_is_told() -> None:
    """Whoever comes second is not served, and nobody sees a traceback."""
    walk = walked()
    for name in ("gauge", "float"):
        file_project(walk, name)
    now = {"STRAYCELL_NOW": walk.bench.now}
    both = [
        start(walk.bench.store, "build", "reserve", name, "--cells", walk.code, "--json", **now)
        for name in ("gauge", "float")
    ]
    ends = [(process.communicate(timeout=60), process.returncode) for process in both]
    assert sorted(code for _, code in ends) == [0, 1]
    (told,) = [err for (_, err), code in ends if code == 1]
    assert "not free" in told and "Traceback" not in told
    assert walk.type("cell show CODE")["stage"] == "reserved"


def test_a_discard_frees_its_project_and_a_dismantled_cell_is_tested_again() -> None:
    """Look, rest voltage and resistance; the project that lost its cell is named."""
    walk = walked()
    file_project(walk)
    for step in ("reserve gauge", "finish gauge --yes"):
        walk.type(f"build {step}")
    walk.wait(days=3).type("build dismantle gauge")
    assert walk.outcome == "hold" and walk.reason("upset")["status"] == "unmeasured"
    walk.wait(hours=1).read(
        "--look clean --voltage 4.165V --rested 18d --temperature 22C --resistance 45.5mohm "
        "--resistance-method dc-pulse --meter m"
    )
    assert walk.outcome == "pack"
    walk.type("build reserve gauge")
    answer = walk.bench.run(f"discard {walk.code} --because dropped --json")
    assert answer.code == 0 and answer.json["freed_project"] == "gauge" and "'gauge'" in answer.err
    walk.bench.refused("build finish gauge", 3)


def test_without_protection_no_build_is_finished() -> None:
    """And it says why."""
    walk = walked()
    file_project(walk, text=PROJECT.split("[protection]")[0])
    walk.type("build reserve gauge")
    assert "protection" in walk.bench.refused("build finish gauge", 1)


@pytest.mark.parametrize(
    "line", ["cell list", "verdict list", "store info", "match x", "verdict show A00001O"]
)
def test_looking_creates_no_store(line: str, tmp_path: Path) -> None:
    """A missing store is exit 4, and stays missing."""
    walk = Walk(walked().bench)
    walk.bench.store = tmp_path / "none.sqlite"
    walk.bench.refused(line, 4)
    assert not list(tmp_path.iterdir())


def test_help_loads_nothing_heavy() -> None:
    """In a fresh interpreter."""
    code = (
        "import sys; sys.argv = ['straycell', '--help']\n"
        "from straycell.cli import run\n"
        "try: run()\n"
        "except SystemExit: pass\n"
        "print([m for m in ('sqlmodel', 'pandas', 'numpy', 'qrcode') if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stderr.strip().splitlines()[-1] == "[]" and "Usage" in done.stdout


# --- answers ---------------------------------------------------------------------------------------

TEXT, NUMBER, FLAG, LIST, DICT = (str,), (int, float), (bool,), (list,), (dict,)
NONE = (type(None),)
KEYS: dict[str, dict[str, tuple[type, ...]]] = {
    "teardown list": {"code": TEXT, "title": TEXT},
    "teardown show TEARDOWN": {"code": TEXT, "title": TEXT},
    "cell list": {"code": TEXT, "stage": TEXT, "chemistry": TEXT, "form": TEXT},
    "cell show CODE": {"code": TEXT, "stage": TEXT, "readings": LIST, "verdict": DICT},
    "cell history CODE": {"at": TEXT, "verb": TEXT},
    "cell correct CODE --maker X --because seen": {"code": TEXT, "stage": TEXT},
    "meter list": {"name": TEXT, "voltage_accuracy": DICT},
    "charge add CODE --current 0.5A --until 4.1V": {"id": TEXT, "at": TEXT, "current_a": NUMBER},
    "reading add CODE --voltage 4.1V": {
        "id": TEXT,
        "quantity": TEXT,
        "value": NUMBER,
        "unit": TEXT,
        "expanded_uncertainty": NUMBER,
    },
    "verdict show CODE": {
        "code": TEXT,
        "outcome": TEXT,
        "rules": TEXT,
        "rules_hash": TEXT,
        "reasons": LIST,
        "missing": LIST,
    },
    "verdict list": {"code": TEXT, "outcome": TEXT, "reasons": LIST, "missing": LIST},
    "runtime CODE --current 0.1A --until 3V": {"runtime_h": DICT, "basis": TEXT},
    "charging CODE --current 0.3A --measured-float 4.18V": {
        "current_a": NUMBER,
        "c_rate": NUMBER,
        "allowed_a": NUMBER,
        "ok": FLAG,
        "charge_time_h": DICT,
        "advice": LIST,
    },
    "load from-drop --drop 0.67V --across 5.2ohm --lamps 60": {"current_a": NUMBER, "per_lamp_a": NUMBER},
    "project list": {"name": TEXT, "load": DICT},
    "project show gauge": {"name": TEXT, "protection": DICT},
    "match gauge": {
        "project": TEXT,
        "served": FLAG,
        "groups": LIST,
        "spread_ah": NUMBER,
        "bound_spread_ah": NUMBER,
        "gap": NUMBER,
        "runtime_h": DICT,
        "why": LIST,
        "not_chosen": LIST,
        "plan": TEXT,
    },
    "label sheet --out OUT.pdf": {"files": LIST, "count": NUMBER},
    "label blank --count 2 --out OUT.pdf": {"files": LIST, "count": NUMBER},
    "label single CODE --dpi 300 --out OUT.png": {"files": LIST, "count": NUMBER},
}


@pytest.mark.parametrize("line", KEYS)
def test_answers_have_the_keys_people_s_scripts_use(line: str) -> None:
    """Named and typed, in one JSON document and nothing else on stdout."""
    walk = walked()
    file_project(walk)
    out = str(walk.bench.store.with_name("out"))
    found = walk.type(line.replace("TEARDOWN", walk.teardown).replace("OUT", out))
    document = found[0] if isinstance(found, list) else found
    for key, kinds in KEYS[line].items():
        assert isinstance(document[key], kinds), (key, document[key])


def test_every_reason_has_its_keys_and_a_known_status() -> None:
    """Of a good, a held and a discarded cell."""
    for walk in (walked(), begin(), begin().read("--look swollen")):
        for reason in walk.verdict["reasons"]:
            assert isinstance(reason["observed"], (*TEXT, *NUMBER, *NONE))
            assert isinstance(reason["limit"], (*TEXT, *NUMBER, *NONE))
            assert isinstance(reason["expanded_uncertainty"], (*NUMBER, *NONE))
            assert isinstance(reason["safety"], bool) and reason["source"] and isinstance(reason["unit"], str)
            assert reason["status"] in {"met", "failed", "close", "unmeasured"}


QUANTITIES = {
    "cell add --rated-capacity": "2500mAh",
    "cell add --rated-resistance": "40mohm",
    "cell add --maker-charge-current": "1A",
    "cell add --full-voltage": "4.35V",
    "cell add --mass": "45g",
    "charge add CODE --until 4.2V --current": "0.5A",
    "charge add CODE --current 0.5A --until": "4.2V",
    "charge add CODE --current 0.5A --until 4.2V --end-current": "50mA",
    "charge add CODE --current 0.5A --until 4.2V --peak-temperature": "26C",
    "reading add CODE --voltage": "3.7V",
    "reading add CODE --as-found-voltage": "3.7V",
    "reading add CODE --voltage 3.7V --rested": "24h",
    "reading add CODE --discharge-current 0.5A --cutoff 3V --capacity": "2Ah",
    "reading add CODE --capacity 2Ah --cutoff 3V --discharge-current": "0.5A",
    "reading add CODE --capacity 2Ah --discharge-current 0.5A --cutoff": "3V",
    "reading add CODE --resistance": "45mohm",
    "reading add CODE --voltage 3.7V --temperature": "22C",
    "runtime CODE --until 3V --current": "0.1A",
    "runtime CODE --until 3V --power": "0.4W",
    "runtime CODE --until 3V --resistance": "30ohm",
    "charging CODE --programming-resistor": "2.4kohm",
}


@pytest.mark.parametrize("option", QUANTITIES)
def test_a_quantity_typed_wrong_is_refused_with_what_to_write(option: str) -> None:
    """No unit, another unit, a decimal comma, nonsense: three lines at most, exit 3."""
    walk = walked()
    good = QUANTITIES[option]
    number = good.rstrip("VAhmWgCok")
    unit = good[len(number) :]
    wrong = "3h" if unit != "h" else "3V"
    line = option.replace("CODE", walk.code)
    assert "no unit" in walk.bench.refused(f"{line}={number}", 3)
    assert " is a " in walk.bench.refused(f"{line}={wrong}", 3)
    assert "comma" in walk.bench.refused(f"{line}=1,5{unit}", 3)
    walk.bench.refused(f"{line}=much", 3)
    walk.bench.refused(f"{line}=1e9{unit}", 3)
    if unit not in ("V", "C"):
        assert "negative" in walk.bench.refused(f"{line}=-{good}", 3)
    assert walk.bench.run(f"{line}={good}").code in (0, 1)


def test_37_volt_for_one_cell_is_a_slip() -> None:
    """The decimal point was forgotten."""
    walk = walked()
    assert "decimal point" in walk.bench.refused(f"reading add {walk.code} --voltage 37.1V", 3)
