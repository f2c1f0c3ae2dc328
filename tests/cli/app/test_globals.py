"""Global options anywhere on the line, without touching what belongs to others."""

from __future__ import annotations

import pytest

from straycell.cli.app.app import root_command
from straycell.cli.app.globals import refuse_unreadable, take_globals
from straycell.errors import UsageFault


def taken(line: str) -> tuple[dict[str, object], list[str]]:
    """What was found on a line, and the rest of it."""
    found = take_globals(line.split(), root_command())
    seen: dict[str, object] = {"store": found.store, "json": found.json, "debug": found.debug}
    seen |= {"version": found.version, "quiet": found.quiet}
    return {name: value for name, value in seen.items() if value}, found.rest


@pytest.mark.parametrize(
    "line",
    ["--json cell list", "cell --json list", "cell list --json", "cell list --json --json"],
)
def test_json_is_taken_before_and_after_the_noun(line: str) -> None:
    """Wherever a person remembers it."""
    assert taken(line) == ({"json": True}, ["cell", "list"])


def test_store_is_taken_with_its_value_anywhere() -> None:
    """Both spellings."""
    assert taken("--store a.db cell list") == ({"store": "a.db"}, ["cell", "list"])
    assert taken("cell list --store=a.db --debug") == ({"store": "a.db", "debug": True}, ["cell", "list"])


@pytest.mark.parametrize("line", ["--quiet due", "due --quiet", "--quiet due --quiet"])
def test_quiet_is_taken_before_and_after_the_noun(line: str) -> None:
    """Like --json; there is no variable for it, so no script falls silent by accident."""
    assert taken(line) == ({"quiet": True}, ["due"])


def test_a_double_dash_ends_it() -> None:
    """What stands behind it is a value, whatever it looks like."""
    assert taken("teardown add --kind x -- --json") == (
        {},
        ["teardown", "add", "--kind", "x", "--", "--json"],
    )


def test_the_value_of_an_option_is_left_alone() -> None:
    """A note that happens to read --json stays a note."""
    assert taken("teardown add T --note --json --json") == (
        {"json": True},
        ["teardown", "add", "T", "--note", "--json"],
    )
    assert taken("teardown add T --note=--json") == ({}, ["teardown", "add", "T", "--note=--json"])


def test_a_flag_takes_no_value() -> None:
    """--as-group is a flag, so what follows it is looked at."""
    assert taken("reading add C --as-group --json") == ({"json": True}, ["reading", "add", "C", "--as-group"])


def test_version_counts_only_before_a_noun() -> None:
    """Behind a noun it would be the noun's."""
    assert taken("--version")[0] == {"version": True}
    assert taken("cell --version") == ({}, ["cell", "--version"])


def test_store_without_a_value_is_a_usage_fault() -> None:
    """Nothing is guessed."""
    with pytest.raises(UsageFault, match="--store"):
        taken("cell list --store")


@pytest.mark.parametrize("word", ["a\0b", "\udcff"])
def test_arguments_that_are_no_text_are_refused(word: str) -> None:
    """A NUL, or bytes outside UTF-8 as Python hands them on."""
    with pytest.raises(UsageFault, match="not readable"):
        refuse_unreadable(["cell", word])
