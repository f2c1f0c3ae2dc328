"""Help pages: two examples each that the program itself understands; short ways to ask."""

from __future__ import annotations

import shlex
from typing import Any

import pytest
from tests.cli.bench import Bench

from straycell.cli.app.app import root_command
from straycell.cli.app.verbs import examples_of


def commands() -> list[list[str]]:
    root: Any = root_command()
    paths = []
    for noun in root.list_commands(None):
        found = root.get_command(None, noun)
        verbs = found.list_commands(None) if hasattr(found, "commands") else []
        paths += [[noun, verb] for verb in verbs] or [[noun]]
    return paths


@pytest.mark.parametrize("path", commands(), ids=" ".join)
def test_every_command_shows_two_examples_that_parse(path: list[str]) -> None:
    """An option that was renamed or a word that is gone is found here, not by a person."""
    examples = examples_of(path)
    assert len(examples) >= 2
    for line in examples:
        words = shlex.split(line)
        assert words[: len(path)] == path
        root: Any = root_command()
        found = root
        for word in path:
            found = found.get_command(None, word)
        given = [word for word in words[len(path) :] if word != "--json"]
        found.make_context(" ".join(path), given)


def test_help_ends_with_the_examples(bench: Bench) -> None:
    """As a person copies them."""
    page = bench.run("box add --help").out
    assert page.rstrip().endswith("straycell box add shelf --limit-wh 100")


def test_a_bare_code_shows_the_cell(bench: Bench) -> None:
    """What a scanner types is enough, and a tear-down's code too."""
    bench.do("teardown add lantern --kind lamp")
    (cell,) = bench.do("cell add --teardown AT1 --form 18650 --chemistry nmc")
    assert bench.run(cell["code"]).out == bench.run(f"cell show {cell['code']}").out
    assert bench.run(cell["code"].lower()).out == bench.run(f"cell show {cell['code']}").out
    assert bench.run("AT1").out == bench.run("teardown show AT1").out


def test_a_misread_code_is_refused_with_the_nearest(bench: Bench) -> None:
    """Not called an unknown noun."""
    (cell,) = bench.do("cell add --form 18650 --chemistry nmc")
    wrong = cell["code"][:-1] + ("A" if cell["code"][-1] != "A" else "B")
    answer = bench.run(wrong)
    assert answer.code == 3 and cell["code"] in answer.err


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("help", "--help"),
        ("help cell add", "cell add --help"),
        ("box", "box list"),
        ("rules", "rules --help"),
        ("-V", "--version"),
    ],
)
def test_short_ways_to_ask(typed: str, meant: str, bench: Bench) -> None:
    """`help`, a bare noun and -V are understood."""
    bench.do("box add tin")
    short, long = bench.run(typed), bench.run(meant)
    assert (short.code, short.out) == (long.code, long.out) and short.code == 0
