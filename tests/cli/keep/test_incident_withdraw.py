"""An incident of the wrong cell or kind, typed: it moves, with a reason, and cannot be wished away."""

from __future__ import annotations

import re
from pathlib import Path

from tests.cli.bench import Bench

ADD = "cell add --form 18650 --chemistry nmc --marking 'INR18650 2500mAh' --count 3"


def test_it_cannot_be_wished_away(bench: Bench) -> None:
    """Without the cell it happened to, or what happened instead, nothing is taken back; both stay in the history."""
    a, b, _ = (cell["code"] for cell in bench.prepare(ADD))
    bench.prepare(f"incident add --kind fire {a}")
    looks_fine = f"incident withdraw {a} --because 'looks fine'"
    for words in ("--mistake wrong-cell", "--mistake mistyped", "--mistake mistyped --kind fire"):
        assert "missing" in bench.refused(f"{looks_fine} {words}", 3)
    assert "what was wrong" in bench.refused(looks_fine, 2)
    assert "bad contact" in bench.refused(f"{looks_fine} --mistake bad-contact", 2)
    assert a in bench.refused(f"{looks_fine} --mistake wrong-cell --right-cell {a}", 2)
    assert bench.do(f"cell show {a}")["stage"] == "condemned"
    done = bench.do(f"incident withdraw {a} --right-cell {b} --because 'misread'")
    assert (done["counts_of"], done["counts_as"]) == (b, "fire")
    assert "misread" in bench.run(f"cell history {a}").out and "misread" in bench.run(f"cell history {b}").out
    assert "finding-fell" in bench.run(f"cell history {a}").out
    assert "no incident" in bench.refused(
        f"incident withdraw {a} --mistake wrong-cell --right-cell {b} --because 'misread'", 3
    )
    assert bench.run("store check").code == 0


def test_of_several_cells_one_was_not_there(bench: Bench) -> None:
    """The others keep it, so no right cell is asked for; the last of them cannot be left out."""
    a, b, _ = (cell["code"] for cell in bench.prepare(ADD))
    bench.prepare(f"incident add --kind drop {a} {b}")
    bench.do(f"incident withdraw {a} --mistake wrong-cell --because 'it lay in the other box'")
    assert "--right-cell" in bench.refused(f"incident withdraw {b} --mistake wrong-cell --because more", 3)


def test_of_two_incidents_the_number_says_which(bench: Bench) -> None:
    """Both are listed with their numbers; the one that is named moves, the other goes on holding."""
    a, b, _ = (cell["code"] for cell in bench.prepare(ADD))
    bench.prepare(f"incident add --kind drop {a}")
    bench.prepare(f"incident add --kind heat {a}")
    line = f"incident withdraw {a} --mistake wrong-cell --right-cell {b} --because misread"
    (number,) = re.findall(r"(\w-\d+) heat", bench.refused(line, 3))
    assert bench.do(f"{line} --incident {number}")["kind"] == "heat"
    assert bench.do(f"{line}")["kind"] == "drop"


def test_a_kind_typed_wrong_is_said_right(bench: Bench) -> None:
    """A fall is not a fire: it holds; and where it was worse after all it condemns."""
    a, _, _ = (cell["code"] for cell in bench.prepare(ADD))
    bench.prepare(f"incident add --kind fire {a}")
    line = f"incident withdraw {a} --because 'took the wrong word'"
    (cell,) = bench.do(f"{line} --kind drop")["cells"]
    assert cell["outcome"] == "hold"
    (cell,) = bench.do(f"{line} --kind drop --severe")["cells"]
    assert cell["outcome"] == "discard"


def test_a_phantom_cell_with_an_incident_is_told_the_way(bench: Bench) -> None:
    """The incident moves to the cell that is there; then the phantom can be withdrawn."""
    a, b, _ = (cell["code"] for cell in bench.prepare(ADD))
    bench.prepare(f"incident add --kind drop {a}")
    assert "incident withdraw" in bench.refused(f"cell withdraw {a} --because phantom", 3)
    bench.do(f"incident withdraw {a} --mistake wrong-cell --right-cell {b} --because phantom")
    (gone,) = bench.do(f"cell withdraw {a} --because phantom")
    assert gone["stage"] == "withdrawn"


def test_two_benches_that_leave_an_incident_to_each_other_s_cell_lose_it_nowhere(
    bench: Bench, tmp_path: Path
) -> None:
    """Each of them says that only the other cell was shorted: merged, both were."""
    a, b, c = (cell["code"] for cell in bench.prepare(ADD))
    bench.prepare(f"incident add --kind short-circuit {a} {b}")
    other = Bench(tmp_path / "other.sqlite", bench.now)
    bench.do(f"store backup {other.store}")
    other.do("store bench B")
    for at, code in ((bench, a), (other, b)):
        at.do(f"incident withdraw {code} --mistake wrong-cell --because 'only the other'")
        assert at.do(f"cell show {code}")["stage"] != "condemned"
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"store merge {other.store}")
    assert [bench.do(f"cell show {code}")["stage"] for code in (a, b)] == ["condemned", "condemned"]
    for code in (a, b):
        bench.do(f"incident withdraw {code} --right-cell {c} --because 'neither of them'")
    stages = [bench.do(f"cell show {code}")["stage"] for code in (a, b, c)]
    assert stages[2] == "condemned" and "condemned" not in stages[:2]
    assert bench.run("store check").code == 0
