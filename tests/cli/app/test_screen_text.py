"""Nothing that came from a line, a file, the environment or the store itself reaches the screen raw."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from tests.cli.bench import Answer, Bench
from tests.store.spoiled import past_guards

from straycell.cli.app.app import root_command
from straycell.cli.app.noun_table import NOUNS
from straycell.plain_text import is_plain

HOSTILE = "x\x1b]0;owned\x07\x9b31m\u202egnp.\u2066\r\x08y"
NOT_HERE = {"intake", "demo"}
"""The first waits for a person; the second takes seconds and has one option."""


def check(answer: Answer, said: object) -> None:
    """What must hold for everything printed without a terminal, where nothing is coloured."""
    for text in (answer.out, answer.err):
        assert all(is_plain(line) for line in text.split("\n")), (said, text)
    assert "internal fault" not in answer.err, (said, answer.err)
    assert "--debug" in str(said) or "Traceback" not in answer.err, (said, answer.err)


def commands() -> list[tuple[tuple[str, ...], Any]]:
    """(words, click command) of every command."""
    root = root_command()
    found: list[tuple[tuple[str, ...], Any]] = []
    for noun in NOUNS:
        if noun in NOT_HERE:
            continue
        group = root.get_command(None, noun)
        verbs = getattr(group, "commands", None)
        found += [((noun, verb), command) for verb, command in verbs.items()] if verbs else [((noun,), group)]
    return found


@pytest.mark.parametrize("words", [words for words, _ in commands()], ids=" ".join)
def test_no_argument_of_any_command_reaches_the_screen_raw(
    bench: Bench, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each argument and option in turn, and standard input, hold the text, with and without --json and --debug."""
    monkeypatch.chdir(bench.store.parent)  # a command may write a folder of that name
    bench.do("cell add --form 18650 --chemistry nmc")
    command = dict(commands())[words]
    lines = [[*words, HOSTILE], [*words, f"--{HOSTILE}"], [*words, HOSTILE, HOSTILE, HOSTILE]]
    for param in command.params:
        option = next((opt for opt in param.opts if opt.startswith("--")), None)
        lines += [[*words, "1", "2", option, HOSTILE], [*words, option, HOSTILE]] if option else []
    for line in lines:
        for argv in (line, [*line, "--json"]):
            monkeypatch.setattr("sys.stdin", io.StringIO(f"{HOSTILE}\n"))
            check(bench.run(argv), argv)


@pytest.mark.parametrize("name", ["STRAYCELL_STORE", "STRAYCELL_RULES", "STRAYCELL_NOW"])
def test_no_variable_reaches_the_screen_raw(tmp_path: Path, name: str) -> None:
    """They name files and a time; the store's name is printed by many commands."""
    bench = Bench(tmp_path / "bench.sqlite", env={name: str(tmp_path / HOSTILE)})
    for line in ("store info", "store init", "cell add --form 18650", "verdict list", "store check"):
        check(bench.run(line), line)
        check(bench.run(f"{line} --json --debug"), f"{line} --debug")


FILES = {
    "rules check": f'name = "{HOSTILE}"\n[[limit]]\nid = "{HOSTILE}"\n',
    "project add": f'name = "{HOSTILE}"\n"{HOSTILE}" = 1\n[load]\ncurrent = "{HOSTILE}"\n',
    "import cells": f"form,{HOSTILE}\n{HOSTILE},18650\n",
    "import readings": f"code,at,look\nA00002M,{HOSTILE},{HOSTILE}\n",
    "trace add A00002M": f"time_s,voltage_v,{HOSTILE}\n0,4.1,{HOSTILE}\n",
    "label read": HOSTILE,
    "runtime A00002M --until 3V --profile": f"time_s,{HOSTILE}\n",
    "store restore --yes": HOSTILE,
    "store merge": HOSTILE,
}


@pytest.mark.parametrize("line", FILES)
def test_no_text_of_a_file_reaches_the_screen_raw(bench: Bench, tmp_path: Path, line: str) -> None:
    """As it stands, and with backslashes, which TOML turns into the characters themselves."""
    bench.do("cell add --form 18650 --chemistry nmc")
    escaped = HOSTILE.encode("unicode_escape").decode().replace("\\x", "\\u00")
    for text in (FILES[line], FILES[line].replace(HOSTILE, escaped)):
        file = tmp_path / f"a{HOSTILE.replace('/', '')}"
        file.write_text(text, newline="")
        check(bench.run([*line.split(), str(file)]), text)
        check(bench.run([*line.split(), str(file), "--json"]), text)


LOOKS = [
    *("teardown list", "teardown show AT1", "cell list", "cell show A00002M", "cell history A00001O"),
    *("meter list", "box list", "verdict list", "verdict show A00002M", "due", "project list", "store info"),
    *(
        "store check",
        "stock",
        "build list",
        "handover list",
        "incident list",
        "trace list",
        "completion words",
    ),
]


def test_a_store_that_was_written_by_somebody_else_steers_no_screen(bench: Bench) -> None:
    """Its texts are changed behind its back; every list and page, as text and as JSON."""
    bench.do("teardown add lamp --kind lamp --place shed --note damp")
    bench.do("cell add --teardown AT1 --pack 1 --form 18650 --marking XY --maker M --date-code 12")
    bench.do("meter add blue --like good-multimeter")
    bench.do("box add tin")
    bench.do("reading add A00002M --as-found-voltage 3.6V --meter blue")
    with past_guards(bench.store) as conn:
        changes = {
            "teardown": ("title", "kind", "place", "note"),
            "cell": ("marking", "maker", "date_code", "pack"),
            "box": ("name", "kind"),
            "event": ("subject", "because", "verb"),
        }
        for table, columns in changes.items():
            for column in columns:
                conn.execute(f"UPDATE {table} SET {column} = ?", (HOSTILE,))
    for line in LOOKS:
        check(bench.run(line), line)
        check(bench.run(f"{line} --json"), line)


@pytest.mark.parametrize("flag", ["--marking", "--maker", "--date-code"])
def test_a_door_refuses_what_would_steer_a_screen(bench: Bench, flag: str) -> None:
    """Also what a screen would not show at all."""
    for text in ("a\x1b[31mb", "a\u202eb", "a\u200bb", "a\x9bb"):
        answer = bench.run(["cell", "add", "--form", "18650", flag, text])
        assert answer.code == 3 and "control character" in answer.err
    assert bench.run("cell list").code == 4
