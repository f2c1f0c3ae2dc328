"""Shared by all rooms: how property tests draw, what a write and a process cost, and what Ctrl-C does."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from contextlib import suppress
from importlib import import_module
from pathlib import Path

import pytest
from tests import disk, drawing

drawing.choose_profile()
disk.never_wait()
disk.stay_in_memory()
# Looking for circles among all that the tests loaded costs a fourteenth of the run.
gc.set_threshold(200_000, 50, 100)

os.environ["STRAYCELL_STATE"] = ""  # nothing is remembered from test to test: every caution is new
os.environ.pop("COLUMNS", None)  # what is read here is 80 wide, however wide the runner's own screen is

# Compiling again what no worker kept takes a process a fifth longer, and a worker ten seconds to rewrite the asserts.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

if threading.current_thread() is threading.main_thread():
    # A runner started in the background hands an ignored Ctrl-C on to its children; some tests type it.
    signal.signal(signal.SIGINT, signal.default_int_handler)

DEAR = (
    "walk/",
    "stress/",
    "laws/",
    "web/test_browser",
    "web/test_troubles",
    "test_readme",
    "matching/test_served_or_not",
    "sample/",
    "freeze/",
    "cli/app/test_processes",
    "cli/intake/test_intake_terminal",
)


def pytest_sessionstart(session: pytest.Session) -> None:
    """The second worker begins at the other end: of a fresh checkout each compiles one half, not both of them all."""
    tests = Path(__file__).parent
    whole = [Path(arg).absolute() for arg in session.config.args] == [tests]
    if os.environ.get("PYTEST_XDIST_WORKER") == "gw1" and whole:
        for path in sorted(tests.rglob("test_*.py"), reverse=True):
            with suppress(Exception):  # what ails it is told when it is collected
                import_module(".".join(path.relative_to(tests.parent).with_suffix("").parts))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long tests first: one that begins last keeps one core busy while the others have nothing left to do."""
    tests = Path(__file__).parent
    items.sort(key=lambda item: not item.path.relative_to(tests).as_posix().startswith(DEAR))


def pytest_collection_finish() -> None:
    """What was loaded stays to the end: nobody looks through it again."""
    gc.collect()
    gc.freeze()


def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """A file left open in a circle of objects fails the last test of its module; what lives on is not looked through again."""
    if nextitem is None or nextitem.path != item.path:
        gc.collect()
        gc.freeze()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What a test recorded as `figures` is printed at the end of the run, whichever worker ran it."""
    for report in terminalreporter.getreports("passed"):
        for name, figures in report.user_properties:
            if name == "figures":
                terminalreporter.write_line(str(figures))
