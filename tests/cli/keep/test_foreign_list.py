"""A spreadsheet that somebody kept for years: own columns, semicolons, decimal commas; taken in one command."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench

LIST = (
    "Nr;Type;Print;Cap;Weight;Shelf;Remark\n"
    "1;18650;INR18650 2600mAh;2,55;45,5;top;from the shed\n"
    "2;18650;;2,4;;top;\n"
    '3;21700;INR21700 4000mAh;;70,2;low;"a ""good"" one; keep"\n'
)
COLUMNS = "own_number=Nr, form=Type, marking=Print, rated_capacity=Cap in Ah, mass=5 in g, note=Remark"


def test_an_own_list_with_decimal_commas_is_taken_in_one_command(bench: Bench, tmp_path: Path) -> None:
    """Columns by header or place, the unit behind `in`; what has no name here is left out and named."""
    (tmp_path / "list.csv").write_text(LIST)
    done = bench.run(["import", "cells", str(tmp_path / "list.csv"), "--columns", COLUMNS, "--json"])
    assert done.code == 0, done.err
    assert (done.json["taken"], done.json["columns_left_out"]) == (3, ["Shelf"])
    cells = bench.do("cell list")
    assert [cell["form"] for cell in cells] == ["18650", "18650", "21700"]
    facts = [bench.do(f"cell show {cell['code']}") for cell in cells]
    assert [fact["rated_capacity_ah"] for fact in facts] == [2.55, 2.4, 4.0]
    assert [fact["mass_g"] for fact in facts] == [45.5, None, 70.2]
    assert [fact["chemistry"] for fact in facts] == ["nmc", "unknown", "nmc"]
    shown = bench.run(f"cell history {cells[2]['code']}").out
    assert "own number 3" in shown and 'a "good" one; keep' in shown
    # Whoever kept a list by own numbers looks for them.
    (second,) = bench.do("cell list --search 'number 2'")
    assert (second["code"], second["note"]) == (cells[1]["code"], "own number 2")
    assert [cell["form"] for cell in bench.do("cell list --search shed")] == ["18650"]
    assert "from the shed" in bench.run("cell list --columns note").out


def test_readings_with_own_columns_and_decimal_commas(bench: Bench, tmp_path: Path) -> None:
    """A unit in the mapping stands for one in the name of the column."""
    bench.do("cell add --form 18650 --chemistry nmc")
    (tmp_path / "log.csv").write_text("Zelle;Zeit;U;T\nA00002M;2026-02-01T10:00;3,714;21,5\n")
    line = ["import", "readings", str(tmp_path / "log.csv"), "--columns"]
    done = bench.run([*line, "code=Zelle, at=Zeit, as_found_voltage=U in V, temperature=T in C", "--json"])
    assert done.code == 0, done.err + done.out
    (reading,) = bench.do("cell show A00002M")["readings"]
    assert (reading["value"], reading["temperature_c"]) == (3.714, 21.5)


@pytest.mark.parametrize(
    ("columns", "code", "said"),
    [
        ("form", 2, "has no '='"),
        ("shape=Type", 2, "does not know 'shape'"),
        ("rated_capacity=Cap in V", 2, "does not know 'rated_capacity_v'"),
        ("form=Kind", 3, "has no column 'Kind'"),
        ("form=9", 3, "has no column '9'"),
    ],
)
def test_a_mapping_that_does_not_fit_is_named(
    bench: Bench, tmp_path: Path, columns: str, code: int, said: str
) -> None:
    """Wrong usage, or a column that the file does not have; no store is changed."""
    (tmp_path / "list.csv").write_text(LIST)
    answer = bench.run(["import", "cells", str(tmp_path / "list.csv"), "--columns", columns])
    assert answer.code == code and said in answer.err


def test_a_fault_that_repeats_is_one_message_with_its_lines(bench: Bench, tmp_path: Path) -> None:
    """120 lines with the same slip, each with another value, and one line with another."""
    rows = [f"18650,nmc,{n} lb" for n in range(1, 121)]
    rows[60] = "18650,nmcc,45g"
    (tmp_path / "list.csv").write_text("form,chemistry,mass\n" + "\n".join(rows) + "\n")
    answer = bench.run(f"import cells {tmp_path / 'list.csv'}")
    bullets = [line for line in answer.out.splitlines() if line.startswith("  - ")]
    said = " ".join(answer.out.split())
    assert answer.code == 3 and len(bullets) == 2, answer.out
    assert "lines 2 to 61, 63 to 121" in said and "the first of 119" in said
    assert "line 62: chemistry" in said
    assert len(bench.run(f"import cells {tmp_path / 'list.csv'} --json").json["refused"]) == 120


def test_a_blank_field_states_nothing_and_the_marking_still_speaks(bench: Bench, tmp_path: Path) -> None:
    """Also of a primary cell, which must not come in as an unknown one."""
    (tmp_path / "list.csv").write_text(
        "form,chemistry,marking,rated_capacity_mah\n,,INR18650 2600mAh,\n,,CR123A 3V,\n18650,,,\n"
    )
    bench.do(f"import cells {tmp_path / 'list.csv'}")
    found = [(c["form"], c["chemistry"]) for c in bench.do("cell list")]
    assert found == [("18650", "nmc"), ("16340", "primary"), ("18650", "unknown")]


def test_faults_without_end_are_not_told_without_end(bench: Bench, tmp_path: Path) -> None:
    """A thousand are told, then reading stops; with --partial the rest is read and counted."""
    (tmp_path / "list.csv").write_text("form,chemistry\n" + "1865,nmc\n" * 3000 + "18650,nmc\n")
    answer = bench.run(f"import cells {tmp_path / 'list.csv'} --json")
    assert answer.code == 3 and "not read further" in answer.json["refused"][-1]["fault"]
    assert len(answer.json["refused"]) == 1001
    partial = bench.do(f"import cells {tmp_path / 'list.csv'} --partial")
    assert (partial["taken"], partial["more_refused"]) == (1, 2000)
