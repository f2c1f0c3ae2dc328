"""What only processes of their own can show: the entry point, exit codes, pipes, and several writers at once."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest
from tests.cli.bench import Bench

ROOT = Path(__file__).parents[3]


def start(store: Path, *argv: str, **env: str) -> subprocess.Popen[str]:
    """One process on a store."""
    return subprocess.Popen(
        [sys.executable, "-m", "straycell", *argv],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), "STRAYCELL_STORE": str(store), **env},
    )


def run(store: Path, *argv: str, **env: str) -> tuple[int, str, str]:
    """A process run to its end: (exit code, stdout, stderr)."""
    process = start(store, *argv, **env)
    out, err = process.communicate(timeout=60)
    return process.returncode, out, err


def test_each_exit_code_leaves_a_real_process(tmp_path: Path) -> None:
    """The first command of each code as a process of its own, the others between them in this one."""
    store = tmp_path / "bench.sqlite"
    rules = tmp_path / "rules.toml"
    rules.write_text("name = 3\n")
    expected: list[tuple[int, list[str]]] = [
        (4, ["cell", "list"]),
        (0, ["store", "init", "--bench", "B"]),
        (0, ["teardown", "add", "lamp", "--kind", "lamp"]),
        (0, ["meter", "add", "blue", "--like", "hand-held-multimeter"]),
        (0, ["cell", "add", "--teardown", "BT1", "--form", "18650", "--chemistry", "nmc"]),
        (3, ["reading", "add", "B00009X", "--look", "clean"]),
        (2, ["reading", "add"]),
        (3, ["rules", "check", str(tmp_path / "nosuch.toml")]),
        (1, ["rules", "check", str(rules)]),
        (0, ["verdict", "list"]),
        (0, ["store", "check"]),
        (2, ["--store", "mysql://h/db", "cell", "list"]),
    ]
    bench, seen = Bench(store), set[int]()
    for code, argv in expected:
        line = [*argv, "--json"]
        if code in seen:
            answer = bench.run(line)
            got, out, err = answer.code, answer.out, answer.err
        else:
            got, out, err = run(store, *line)
        seen.add(code)
        assert got == code, (argv, out, err)
        assert "Traceback" not in err
        if got in (0, 1):
            json.loads(out)
        else:
            assert out == "" and err.startswith("straycell: ")
    assert seen == {0, 1, 2, 3, 4}


def test_a_reader_that_leaves_early_gets_no_traceback(tmp_path: Path) -> None:
    """`straycell rules show | head -1`."""
    process = start(tmp_path / "x", "rules", "show")
    assert process.stdout is not None and process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait(60) == 0 and err == ""


def test_an_ascii_screen_gets_question_marks_not_a_crash(tmp_path: Path) -> None:
    """An old locale."""
    store = tmp_path / "s"
    assert run(store, "teardown", "add", "Küchenlampe 💡", "--kind", "lamp", PYTHONIOENCODING="ascii")[0] == 0
    shown = start(store, "teardown", "list", PYTHONIOENCODING="ascii")
    code, out, _ = run(store, "teardown", "list", "--json", PYTHONIOENCODING="ascii")
    page, _ = shown.communicate(timeout=60)
    assert shown.returncode == 0 and "K?chenlampe ?" in page
    assert code == 0 and json.loads(out)[0]["title"] == "Küchenlampe 💡"


@pytest.mark.skipif(os.name == "nt", reason="signals differ")
def test_an_interrupt_is_one_line_and_130(tmp_path: Path) -> None:
    """Ctrl-C while waiting for a locked store: heard at once, and not when the wait of 30 s is over."""
    import signal
    import sqlite3
    import time

    store = tmp_path / "s"
    Bench(store).do("store init")
    lock = sqlite3.connect(store, isolation_level=None)
    lock.execute("BEGIN EXCLUSIVE")
    process = start(store, "teardown", "add", "T", "--kind", "lamp")
    deadline = time.monotonic() + 60
    # Before Python itself has begun, a signal ends the process without a word; so wait until it holds the store open.
    while not holds(process.pid, store) and time.monotonic() < deadline:
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    sent = time.monotonic()
    out, err = process.communicate(timeout=60)
    assert time.monotonic() - sent < 20
    lock.close()
    assert (process.returncode, out) == (130, ""), err
    assert err.startswith("straycell: stopped") and len(err.splitlines()) == 1


def holds(pid: int, file: Path) -> bool:
    """True when the process has the file open; where that cannot be seen, after a while."""
    import time

    opened = Path(f"/proc/{pid}/fd")
    if not opened.exists():
        time.sleep(5)
        return True
    with suppress(OSError):  # a descriptor may be closed meanwhile
        return any(link.resolve() == file.resolve() for link in opened.iterdir())
    return False


@pytest.mark.skipif(os.name == "nt", reason="signals differ")
@pytest.mark.parametrize("loaded", ["straycell.cli.app.app", "typer", "straycell.cli.nouns.take.teardown"])
def test_an_interrupt_while_the_program_is_loaded_is_one_line_and_130(loaded: str, tmp_path: Path) -> None:
    """Ctrl-C at once: sent at the moment at which a part of the program is looked for."""
    (tmp_path / "sitecustomize.py").write_text(
        "import os, signal, sys\n"
        "class Impatient:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        f"        if name == '{loaded}':\n"
        "            sys.meta_path.remove(self)\n"
        "            os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Impatient())\n"
    )
    path = f"{tmp_path}{os.pathsep}{ROOT / 'src'}"
    code, out, err = run(tmp_path / "s", "teardown", "add", "T", "--kind", "lamp", PYTHONPATH=path)
    assert (code, out) == (130, ""), err
    assert err.startswith("straycell: stopped") and len(err.splitlines()) == 1
    assert not (tmp_path / "s").exists()


def test_several_writers_at_once_all_get_their_own_codes(tmp_path: Path) -> None:
    """They wait for each other; no code is given twice."""
    store = tmp_path / "s"
    Bench(store).do("store init")
    processes = [start(store, "cell", "add", "--form", "18650", "--count", "3", "--json") for _ in range(4)]
    answers = [process.communicate(timeout=120) for process in processes]
    assert [process.returncode for process in processes] == [0] * 4, [err for _, err in answers]
    codes = [cell["code"] for out, _ in answers for cell in json.loads(out)]
    assert len(codes) == len(set(codes)) == 12
