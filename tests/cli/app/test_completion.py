"""Shell completion: what fits where the cursor is, asked as a shell asks, from a store that may be anything."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.bench import Bench

from straycell.cli.app.app import root_command
from straycell.cli.app.noun_table import NOUNS
from straycell.cli.nouns.keep.completion import SCRIPTS, suggestions
from straycell.store.sqlite.completion_names import MOST, Names, names

ROOT = Path(__file__).parents[3]


@pytest.fixture
def shelf(bench: Bench) -> Bench:
    """Three cells, a blank code, two boxes, a meter, a tear-down and a project."""
    bench.prepare("teardown add lamp --kind lamp")
    bench.prepare("cell add --teardown AT1 --form 18650 --chemistry nmc --count 3")
    bench.prepare("box add 'blue tin'")
    bench.prepare("box add bench")
    bench.prepare("meter add red --like good-multimeter")
    bench.do("label blank --count 1 --out " + str(bench.store.with_name("blank.pdf")))
    project = bench.store.with_name("gauge.toml")
    project.write_text(
        'name = "reed gauge"\n[load]\ncurrent = "35mA"\n[need]\nruntime = "48h"\ncutoff = "3.2V"\n'
        '[pack]\nseries = 1\nparallel = 1\n[protection]\nfitted = true\ncutoff = "2.4V"\ntrip_current = "3A"\n'
    )
    bench.do(f"project add {project}")
    return bench


def asked(bench: Bench, *words: str) -> list[str]:
    """As a shell asks: the words typed so far, the last one half-typed."""
    answer = bench.run(["completion", "words", "--", *words])
    assert (answer.code, answer.err) == (0, "")
    return answer.out.splitlines()


def test_nouns_verbs_and_options_are_completed(shelf: Bench) -> None:
    """From the grammar itself, so a new noun is there by itself."""
    assert asked(shelf, "") == sorted(NOUNS)
    assert asked(shelf, "teard") == ["teardown"]
    assert asked(shelf, "meter", "") == ["add", "compare", "fault", "list"]
    assert asked(shelf, "cell", "add", "--rated-") == ["--rated-capacity", "--rated-resistance"]
    assert "--no-tabs" in asked(shelf, "cell", "add", "--no-")
    assert asked(shelf, "cell", "list", "--js") == ["--json"]


def test_codes_boxes_meters_projects_come_from_the_store(shelf: Bench) -> None:
    """Where each can stand, and nowhere else."""
    codes = [cell["code"] for cell in shelf.do("cell list")]
    assert asked(shelf, "cell", "show", "") == codes
    assert asked(shelf, "cell", "show", codes[1][:6]) == [codes[1]]
    assert asked(shelf, "label", "sheet", codes[0], "") == codes
    assert asked(shelf, "cell", "move", codes[0], "b") == ["bench", "blue tin"]
    assert asked(shelf, "cell", "list", "--box", "bl") == ["blue tin"]
    assert asked(shelf, "cell", "add", "--teardown", "") == ["AT1"]
    assert asked(shelf, "teardown", "show", "at") == ["AT1"]
    assert asked(shelf, "reading", "add", codes[0], "--meter", "") == ["red"]
    assert asked(shelf, "match", "r") == ["reed gauge"] == asked(shelf, "build", "reserve", "")
    assert asked(shelf, "project", "show", "") == ["reed gauge"]
    assert asked(shelf, "project", "add", "") == []
    assert asked(shelf, "cell", "show", codes[0], "") == []
    blank = asked(shelf, "cell", "add", "--code", "")
    assert len(blank) == 1 and blank[0] not in codes


def test_words_of_a_list_are_completed(shelf: Bench) -> None:
    """Chemistries, looks, outcomes, methods."""
    assert asked(shelf, "cell", "add", "--chemistry", "l") == ["lco", "lfp", "liion", "lmo"]
    assert asked(shelf, "reading", "add", "A00001O", "--look", "sw") == ["swollen"]
    assert asked(shelf, "cell", "list", "--outcome", "") == ["discard", "hold", "light", "pack", "solo"]
    assert asked(shelf, "cell", "add", "--note-that-is-none", "--form", "1865") == ["18650"]


def test_lower_case_codes_are_found(shelf: Bench) -> None:
    """As everywhere a code is typed."""
    code = shelf.do("cell list")[0]["code"]
    assert asked(shelf, "cell", "show", code[:6].lower()) == [code]


def test_the_store_named_on_the_line_is_the_one_looked_into(shelf: Bench, tmp_path: Path) -> None:
    """Before or after the noun, with or without the equals sign; its own value is left to the shell."""
    other = Bench(tmp_path / "other.sqlite")
    other.do("store init --bench Q")
    other.do("cell add --form 21700")
    code = other.do("cell list")[0]["code"]
    assert asked(shelf, "--store", str(other.store), "cell", "show", "") == [code]
    assert asked(shelf, "cell", "show", f"--store={other.store}", "") == [code]
    assert asked(shelf, "cell", "show", "--store", "") == []


@pytest.mark.parametrize("kind", ["missing", "folder", "garbage", "other", "locked"])
def test_a_store_that_cannot_be_read_gives_no_word_and_no_error(kind: str, shelf: Bench) -> None:
    """Tab never complains, never waits, never creates a file."""
    path = shelf.store.with_name(f"{kind}.sqlite")
    lock = None
    if kind == "folder":
        path.mkdir()
    elif kind == "garbage":
        path.write_bytes(b"no database at all, but long enough to be looked at" * 40)
    elif kind == "other":
        sqlite3.connect(path).execute("CREATE TABLE cell (x)").connection.close()
    elif kind == "locked":
        shutil.copy(shelf.store, path)
        lock = sqlite3.connect(path, isolation_level=None)
        lock.execute("BEGIN EXCLUSIVE")
    try:
        assert asked(shelf, "--store", str(path), "cell", "show", "") == []
        assert asked(shelf, "--store", str(path), "cell", "sh") == ["show"]
    finally:
        if lock is not None:
            lock.close()
    assert path.exists() == (kind != "missing")


def test_any_words_at_all_give_an_answer(shelf: Bench) -> None:
    """Wrong nouns, stray options, an injection, a newline: no error, maybe no word."""
    lines = [["zzz", ""], ["cell", "zzz", ""], ["--", "--", ""], ["-"], ["cell", "show", "' OR 1=1 --"]]
    for words in [*lines, ["cell", "show", "\n%_*"], ["cell", "show", "é"], ["--store"], []]:
        asked(shelf, *words)
    assert asked(shelf, "cell", "show", "' OR 1=1 --") == []


def test_looking_reads_only_as_many_names_as_are_shown(shelf: Bench) -> None:
    """A hundred thousand codes are not printed for one Tab."""
    shelf.do("cell add --form 18650 --count 300")
    assert len(names(shelf.store, Names.CELL, "")) == MOST


def test_a_failing_look_is_no_failure_of_the_line() -> None:
    """The grammar is still completed when the store's side is not asked."""
    assert suggestions(["cell", "sh"], root_command(), lambda *_: []) == ["show"]


@pytest.mark.parametrize("shell", list(SCRIPTS))
def test_each_script_says_how_to_install_it(shell: str, bench: Bench) -> None:
    """Its first line is the instruction, and it asks for words as we answer."""
    out = bench.run(f"completion {shell}").out
    assert out.startswith(f"# {shell}: ") and "straycell completion words -- " in out
    assert bench.run(f"completion {shell} --json").json["script"] + "\n" == out


def test_an_unknown_shell_is_wrong_usage(bench: Bench) -> None:
    """With the nearest one."""
    assert "nearest: bash" in bench.refused("completion bsh", 2)


def in_shell(shelf: Bench, folder: Path, *command: str) -> str:
    """What a real shell prints, with `straycell` on its path and the shelf as its store."""
    stub = folder / "straycell"
    stub.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m straycell "$@"\n')
    stub.chmod(0o755)
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
        cwd=folder,
        env={
            **os.environ,
            "HOME": str(folder),
            "PATH": f"{folder}:{os.environ['PATH']}",
            "PYTHONPATH": str(ROOT / "src"),
            "STRAYCELL_STORE": str(shelf.store),
        },
    )
    return done.stdout


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_bash_itself_completes_a_box_with_a_blank(shelf: Bench, tmp_path: Path) -> None:
    """The script sourced by a real bash, its function called as Tab calls it; a blank is escaped."""
    script = (
        'eval "$(straycell completion bash)"; COMP_WORDS=(straycell cell list --box bl); COMP_CWORD=4; '
        '_straycell; printf "%s|" "${COMPREPLY[@]}"; complete -p straycell'
    )
    shown = in_shell(shelf, tmp_path, "bash", "--norc", "-c", script)
    assert shown.startswith("blue\\ tin|") and "-F _straycell straycell" in shown


@pytest.mark.skipif(shutil.which("fish") is None, reason="needs fish")
@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("straycell cell list --box bl", ["blue tin"]),
        ('straycell match "re', ["reed gauge"]),
        ("straycell match reed\\ g", ["reed gauge"]),
        ("straycell meter co", ["compare"]),
        ("straycell import cells cu", ["curve.csv"]),
    ],
)
def test_fish_itself_completes_words_and_files(
    shelf: Bench, tmp_path: Path, typed: str, found: list[str]
) -> None:
    """Files only where no word of ours fits; a name half quoted or escaped is still one word."""
    (tmp_path / "curve.csv").write_text("")
    script = "straycell completion fish | source; complete -C $argv[1]"
    assert in_shell(shelf, tmp_path, "fish", "-c", script, typed).split("\n")[:-1] == found


@pytest.mark.skipif(shutil.which("zsh") is None, reason="needs zsh")
def test_zsh_itself_completes_a_box_with_a_blank(shelf: Bench, tmp_path: Path) -> None:
    """The function as the completion system calls it, with what it would offer printed instead."""
    script = (
        'compdef() { }; compadd() { print -rl -- "${@[3,-1]}" }; _files() { print files }; '
        'eval "$(straycell completion zsh)"; '
        "words=(straycell cell list --box bl); CURRENT=5; _straycell; words=(straycell import cells x); "
        "CURRENT=4; _straycell"
    )
    assert in_shell(shelf, tmp_path, "zsh", "-f", "-c", script).splitlines() == ["blue tin", "files"]


def test_completing_loads_nothing_heavy(shelf: Bench) -> None:
    """A Tab must not wait for libraries."""
    script = (
        "import sys\nfrom straycell.cli.app.app import main\n"
        "code = main(['completion', 'words', '--', 'cell', 'show', ''])\n"
        "print([m for m in ('sqlmodel', 'sqlalchemy', 'pandas', 'numpy', 'qrcode') if m in sys.modules], "
        "file=sys.stderr)\nsys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), "STRAYCELL_STORE": str(shelf.store)},
    )
    assert len(done.stdout.splitlines()) == 3 and done.stderr.strip() == "[]"
