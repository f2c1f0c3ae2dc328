"""Where the store lies: the option before the environment before the user's folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from straycell.errors import UsageFault
from straycell.store.location import default_store_path, resolve_store


def test_the_option_comes_before_the_environment_before_the_default() -> None:
    """As the interface says."""
    env = {"STRAYCELL_STORE": "from-env.sqlite"}
    assert resolve_store("option.sqlite", env) == Path("option.sqlite")
    assert resolve_store(None, env) == Path("from-env.sqlite")
    assert resolve_store(None, {}) == resolve_store(None, {"STRAYCELL_STORE": ""}) == default_store_path()


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("sqlite:///bench.sqlite", "bench.sqlite"),
        ("sqlite:////tmp/bench.sqlite", "/tmp/bench.sqlite"),
        ("SQLite:///a b.sqlite", "a b.sqlite"),
        ("C:\\bench\\cells.sqlite", "C:\\bench\\cells.sqlite"),
    ],
)
def test_a_file_or_an_sqlite_url_names_the_store(text: str, path: str) -> None:
    """Three slashes relative, four absolute, as SQLAlchemy's documentation has it."""
    assert resolve_store(text, {}) == Path(path)


def test_a_leading_tilde_is_the_home_folder() -> None:
    """Shells do not expand it inside an URL."""
    assert resolve_store("sqlite:///~/cells.sqlite", {}) == Path.home() / "cells.sqlite"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        ":memory:",
        "sqlite://",
        "sqlite:///",
        "sqlite:///:memory:",
        "sqlite://host/x",
        "sqlite:///x?mode=ro",
        "postgresql://bench/cells",
        "mysql+pymysql://bench/cells",
        "https://bench/cells.sqlite",
        "file:cells.sqlite?mode=memory",
        "bench\0.sqlite",
        "~nobody-of-this-name/x.sqlite",
    ],
)
def test_what_is_no_file_is_refused_with_an_example(text: str) -> None:
    """Wrong usage, exit 2, and what to write instead."""
    with pytest.raises(UsageFault) as caught:
        resolve_store(text, {})
    assert "sqlite" in caught.value.remedy and caught.value.exit_code == 2


def test_asking_for_the_default_creates_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only writing commands create a store."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert default_store_path().name == "straycell.sqlite"
    assert list(tmp_path.iterdir()) == []
