"""`match --cells`, `match --what`, dropped projects and long lists of faults, through the command line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built, built  # noqa: F401

VENT = "'greenhouse vent opener'"


@pytest.fixture
def bench(built: Built, tmp_path: Path) -> Bench:  # noqa: F811
    """A copy of the workshop on its day."""
    shutil.copy(built.path, tmp_path / "shop.sqlite")
    return Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())


def test_a_dry_run_with_cells_of_ones_own_choice_changes_nothing(bench: Bench) -> None:
    """The same answer as a match that had only these; the store keeps every byte."""
    before = bench.store.read_bytes()
    found = bench.do(f"match {VENT} --cells H00083L")
    assert found["served"] and found["groups"] == [["H00083L"]]
    four = bench.do("match 'bird-box camera' --cells H00001K H00003G H00004E H00005C")
    assert sorted(code for group in four["groups"] for code in group) == [
        "H00001K",
        "H00003G",
        "H00004E",
        "H00005C",
    ]
    assert bench.store.read_bytes() == before


def test_cells_that_do_not_serve_say_why(bench: Bench) -> None:
    """Exit 1, the JSON still there, the cell and its reason named."""
    answer = bench.run(f"match {VENT} --cells H00014A --json")
    assert answer.code == 1 and not answer.json["served"]
    assert answer.json["not_chosen"][0]["code"] == "H00014A"


def test_missing_protection_is_said_once_and_never_lost(bench: Bench) -> None:
    """A match has it among what is missing; a dry run with cells of one's own does not, and warns."""
    for line in ("match 'tide clock'", "match 'tide clock' --cells H00014A"):
        answer = bench.run(line)
        assert answer.code == 1 and answer.out.count("no protection is fitted") == 1


def test_two_choices_stand_side_by_side(bench: Bench) -> None:
    """Each with its run time, energy, current and fuse; what was not needed is said."""
    line = f"match {VENT} --cells H00083L,H00068J --cells H00043Z"
    found = bench.do(line)["choices"]
    assert [m["groups"] for m in found] == [[["H00083L"]], [["H00043Z"]]]
    answer = bench.run(line)
    assert "choice 1" in answer.out and "runs at the low end" in answer.out and "fuse" in answer.out
    assert "not needed: H00068J" in answer.err


def test_what_the_stock_gives_to_a_load_without_a_project(bench: Bench) -> None:
    """Shapes by their hours, each a match that the independent check let through; the longest first."""
    found = bench.do("match --what '5V 300mA'")
    runs = [choice["runtime_h"]["low"] for choice in found["choices"]]
    assert runs == sorted(runs, reverse=True) and len(runs) >= 5
    for choice in found["choices"]:
        assert len(choice["groups"]) == choice["series"]
        assert all(len(group) == choice["parallel"] for group in choice["groups"])
        # 1.5 W behind 85 %: no promise beyond the energy that the pack holds.
        assert choice["runtime_h"]["low"] * 1.5 / 0.85 <= choice["pack"]["energy_wh"]["expected"]
    assert found["waiting"]
    straight = bench.run("match --what 300mA")
    assert "1S1P" in straight.out
    # What nobody said of the device is said with the hours: 1.5 W out of a converter of 85 % is 1.76 W.
    assert found["assumed"] == {"efficiency": 0.85, "cutoff_v_per_cell": 2.5, "temperature_c": 25.0}
    assert "straight from the cells, down to 2.5 V" in " ".join(straight.err.split())


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("match --what 5V", 2, "is not a load"),
        ("match --what '300mA 2W'", 2, "is not a load"),
        ("match --what 'a torch'", 3, "is not a voltage, current or power"),
        (f"match {VENT} --what 300mA", 2, "without a project"),
        ("match --cells H00083L", 2, "neither a project"),
        ("match --all --cells H00083L", 2, "needs a project"),
        (f"match {VENT} H00083L", 2, "one word too many"),
        (f"match {VENT} --cells H00083L,H00068J H00043Z", 2, "one word too many"),
        (f"match {VENT} --cells H99999X", 3, "H99999X"),
    ],
)
def test_a_choice_that_is_none_is_refused_in_its_own_words(
    bench: Bench, line: str, code: int, words: str
) -> None:
    """2 for a line that does not fit together, 3 for a value that cannot be taken."""
    assert words in bench.refused(line, code)


def test_a_dropped_project_is_not_matched(bench: Bench) -> None:
    """It says that it was dropped; nothing is offered, nothing is reserved."""
    bench.do(f"project drop {VENT} --yes") if "--yes" in bench.run("project drop --help").out else bench.do(
        f"project drop {VENT}"
    )
    answer = bench.run(f"match {VENT} --json")
    assert answer.code == 1 and not answer.json["served"] and answer.json["plan"] is None
    assert "was dropped" in answer.json["missing"][0] and "was dropped" in answer.err
    for line in (
        f"build reserve {VENT}",
        f"build reserve {VENT} --cells H00083L",
        f"match {VENT} --cells H00083L",
    ):
        answer = bench.run(line)
        assert answer.code == 1 and "dropped" in answer.out + answer.err, line


def test_every_fault_of_a_project_file_is_listed_with_the_near_miss(bench: Bench, tmp_path: Path) -> None:
    """Four faults, all of them in full on stdout and in JSON; the error keeps to three lines."""
    path = tmp_path / "gauge.toml"
    path.write_text(
        'name = "x"\n[load]\ncurrent = "35mA"\n[need]\nruntime = "2 days"\ncut_off = "3V"\ntemprature = "5C"\n'
        "[protecton]\nfitted = true\n",
        encoding="utf-8",
    )
    answer = bench.run(f"project add {path}")
    assert answer.code == 3 and len(answer.err.splitlines()) <= 3
    told = " ".join(answer.out.split())
    for words in ("did you mean 'cutoff'?", "did you mean 'temperature'?", "did you mean 'protection'?"):
        assert words in told
    faults = bench.run(f"project add {path} --json").json["faults"]
    assert [fault["line"] for fault in faults] == [6, 7, 8, None]


def test_the_chart_shows_every_candidate_against_the_hours_needed(bench: Bench, tmp_path: Path) -> None:
    """Longer bars for longer runs, the chosen one marked, the need as a line; the picture is a PNG."""
    out = tmp_path / "vent.png"
    answer = bench.run(f"match {VENT} --chart --out {out}")
    assert out.read_bytes().startswith(b"\x89PNG")
    bars = [line for line in answer.out.splitlines() if "=" in line and line.startswith("H0")]
    runs = [float(line.split()[-2]) for line in bars]
    lengths = [line.count("=") + ("|" in line) for line in bars]
    assert len(bars) >= 5 and sum("*" in line for line in bars) == 1
    assert sorted(range(len(bars)), key=lambda k: (runs[k], k)) == sorted(
        range(len(bars)), key=lambda k: (lengths[k], runs[k], k)
    )
    assert "needed 24 h" in answer.out
    assert all(len(line) <= 80 for line in answer.out.splitlines())
    again = bench.run(f"match {VENT} --out {tmp_path / 'again.png'} --json")
    assert again.json["picture"] and (tmp_path / "again.png").read_bytes() == out.read_bytes()


def test_the_chart_of_a_pack_shows_its_groups_against_their_even_share(bench: Bench) -> None:
    """One bar a group."""
    told = bench.run("match 'bird-box camera' --chart").out
    assert "group 1" in told and "even share 3.65 Ah" in told


def test_what_the_lamps_would_get_is_said_once(bench: Bench, tmp_path: Path) -> None:
    """Lamps measured at 3 V get more from a full cell: among the pack's data, and not again below."""
    (tmp_path / "lamps.toml").write_text(
        'name = "path lights"\n[load]\nlamps = { count = 24, drop = "0.55V", across = "10ohm", supply = "3.0V" }\n'
        '[need]\nruntime = "2h"\ncutoff = "2.8V"\n[pack]\nseries = 1\nparallel = 1\n[protection]\nfitted = true\n'
    )
    bench.do(f"project add {tmp_path / 'lamps.toml'}")
    page = " ".join(bench.run("match 'path lights'").out.split())
    assert page.count("more than the 2.2 mA of its old device") == 1


@pytest.mark.parametrize("name", ["bird-box camera", "tide clock", "bench lamp"])
def test_a_match_says_each_thing_once(bench: Bench, name: str) -> None:
    """No two points of its page share their reason, also where no cell serves."""
    out = bench.run(f"match '{name}'").out
    points = [" ".join(each.split()) for each in "\n".join(out.splitlines()[1:]).split("  - ")[1:]]
    # "form 18650" is a word that another reason may hold, too.
    reasons = [each.partition(": ")[2] or each for each in points if len(each) > 60]
    assert len(points) > 5 and len(set(reasons)) == len(reasons)
    assert all(one not in other for one in reasons for other in points if not other.endswith(one)), points


def test_the_cells_of_one_reason_are_named_together(bench: Bench) -> None:
    """And the others of its kind counted: every cell of the shop is in the count."""
    found = bench.run("match 'tide clock' --json").json
    out = " ".join(bench.run("match 'tide clock'").out.split())
    assert "H00048P, H000502: chemistry lfp" in out
    kept = [why for why in found["not_chosen"] if why["test"] == "kept"]
    # The first would do once there is protection: what is missing names it.
    assert f"{len(kept) - 2} more would do as well" in out and kept[1]["text"] in out
