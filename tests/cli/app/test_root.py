"""The root: help, version, errors, exit codes, and what stays unloaded."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import pytest
import typer
from tests.cli.bench import Bench

from straycell.cli.app import app as app_module
from straycell.cli.app import faults, options, output, tables, verbs
from straycell.cli.app.noun_table import NOUNS
from straycell.errors import BadData, NegativeAnswer, StoreFault, StraycellError, UsageFault

HEAVY = ("sqlmodel", "sqlalchemy", "pandas", "numpy", "qrcode", "alembic", "fpdf", "PIL")


def process(*argv: str, **env: str) -> subprocess.CompletedProcess[str]:
    """One real process."""
    return subprocess.run(
        [sys.executable, "-m", "straycell", *argv],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": "src", **env},
        timeout=60,
        check=False,
        stdin=subprocess.DEVNULL,
    )


@pytest.mark.parametrize("line", ["--help", *(f"{noun} --help" for noun in ("cell", "store", "reading"))])
def test_help_loads_nothing_heavy(line: str) -> None:
    """Asked of a fresh interpreter: help is cheap, so people ask for it."""
    script = (
        "import sys\nfrom straycell.cli.app.app import main\n"
        f"code = main({line.split()!r})\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
        "sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": "src"},
        check=True,
    )
    assert done.stderr.strip() == "[]"
    assert "Usage:" in done.stdout


def test_root_help_names_every_noun_without_importing_one(bench: Bench) -> None:
    """The table speaks for the files."""
    answer = bench.run("--help")
    assert answer.code == 0
    for noun in NOUNS:
        assert f"\n  {noun} " in answer.out


@pytest.mark.parametrize("noun", list(NOUNS))
def test_every_noun_of_the_table_has_a_file_and_a_help(noun: str, bench: Bench) -> None:
    """One line a file: the line is true."""
    answer = bench.run([noun, "--help"])
    assert answer.code == 0 and "Usage: straycell" in answer.out


def every_command() -> Iterator[list[str]]:
    """Root, nouns and verbs, each as the words that name it."""
    root = app_module.root_command()
    yield []
    for noun in NOUNS:
        command = root.get_command(None, noun)
        yield [noun]
        for verb in command.list_commands(None) if hasattr(command, "list_commands") else []:
            yield [noun, verb]


def test_every_help_fits_eighty_columns(bench: Bench) -> None:
    """Whatever it is the help of."""
    for argv in every_command():
        assert max(map(len, bench.run([*argv, "--help"]).out.splitlines())) <= 80, argv


WORD = r"[A-Za-z][\w.|-]*"
USAGE = re.compile(
    rf"Usage: straycell[a-z -]* \[OPTIONS\]( NOUN VERB \.\.\.| VERB \.\.\.|( {WORD}| \[{WORD}\])*)"
)


def test_every_usage_line_reads_like_a_line_to_type(bench: Bench) -> None:
    """CODE, [CODE], CODE..., [CODE...]: no braces, no brackets in brackets, no names of Python's types."""
    for argv in every_command():
        text = bench.run([*argv, "--help"]).out
        usage = " ".join(text.partition("\n\n")[0].split())
        assert USAGE.fullmatch(usage), usage
        assert not re.search(r"[{}]|<(str|int|path|float|list)|x>=|\[\[", text), argv


@pytest.mark.parametrize(
    ("line", "usage"),
    [
        ("cell show", "straycell cell show [OPTIONS] CODE"),
        ("trace list", "straycell trace list [OPTIONS] [CODE]"),
        ("incident add", "straycell incident add [OPTIONS] CODE..."),
        ("label sheet", "straycell label sheet [OPTIONS] [CODE...]"),
        ("cell list", "straycell cell list [OPTIONS]"),
    ],
)
def test_usage_tells_one_from_many_and_needed_from_optional(line: str, usage: str, bench: Bench) -> None:
    """One of each kind."""
    assert bench.run(f"{line} --help").out.startswith(f"Usage: {usage}\n")


def test_version(bench: Bench) -> None:
    """As text and as JSON."""
    from straycell import __version__

    assert bench.run("--version").out == f"straycell {__version__}\n"
    assert bench.run("--version --json").json == {"version": __version__}


def test_help_with_json_is_one_json_document(bench: Bench) -> None:
    """Nothing else ever reaches stdout with --json."""
    assert "Usage:" in bench.run("cell --help --json").json["help"]
    assert "Usage:" in bench.run("--json").json["help"]


def test_a_bare_call_prints_the_help(bench: Bench) -> None:
    """A person who tries the name learns what it is."""
    answer = bench.run("")
    assert answer.code == 0 and "Usage: straycell" in answer.out


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("cel list", "nearest: cell"),
        ("cell lst", "nearest: list"),
        ("zzz", "see: straycell --help"),
        ("cell list --outcom hold", "nearest: --outcome"),
        ("cell show", "missing argument 'CODE'"),
        ("cell show A B", "unexpected extra argument"),
        ("teardown add T", "missing option '--kind'"),
        ("teardown add T --kind", "requires an argument"),
        ("cell list --store", "--store needs"),
        ("--frob", "has no option --frob"),
        ("-- cell", "needs a verb"),
    ],
)
def test_wrong_usage_is_exit_2_in_our_own_words(line: str, words: str, bench: Bench) -> None:
    """What, and what to do, on stderr; nothing on stdout."""
    assert words in bench.refused(line, 2)


# --- errors end in one place -----------------------------------------------------------------------


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> list[BaseException]:
    """A verb `probe` in a noun of its own that raises what the list holds."""
    import types

    raised: list[BaseException] = []
    probe = verbs.lone_app()

    @probe.command()
    def run(words: Annotated[str, typer.Option()] = "") -> None:
        """Raise."""
        raise raised[0]

    module = types.ModuleType("straycell_probe")
    module.app = probe  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "straycell_probe", module)
    monkeypatch.setitem(NOUNS, "probe", verbs.Noun("straycell_probe", "raises", "Tests"))
    app_module.root_command().commands.pop("probe", None)
    return raised


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (NegativeAnswer("no cell serves it", "add cells"), 1),
        (UsageFault("it does not fit", "leave it out"), 2),
        (BadData("a bad value", "write another"), 3),
        (StoreFault("the store is locked", "wait"), 4),
        (typer.Abort(), 130),
        (KeyboardInterrupt(), 130),
    ],
)
def test_each_kind_of_error_has_its_exit_code(
    failing: list[BaseException], bench: Bench, error: BaseException, code: int
) -> None:
    """One to three lines on stderr, nothing on stdout."""
    failing.append(error)
    err = bench.refused("probe", code)
    if isinstance(error, StraycellError):
        assert err == f"straycell: {error.what}\n  {error.remedy}\n"


def test_line_breaks_inside_an_error_do_not_make_more_lines(
    failing: list[BaseException], bench: Bench
) -> None:
    """Three lines at most, whatever a file held."""
    failing.append(BadData("one\ntwo\nthree", "four\nfive\nsix"))
    assert len(bench.refused("probe", 3).splitlines()) == 2


def test_a_second_fault_has_a_line_of_its_own(failing: list[BaseException], bench: Bench) -> None:
    """What, the second one, what to do: three lines."""
    failing.append(BadData("x.toml has 4 faults: a", "and 2 more", besides="b"))
    assert bench.refused("probe", 3) == "straycell: x.toml has 4 faults: a\n  b\n  and 2 more\n"


LONG = ["straycell: " + "a fault of some length " * 6, "  " + "and what to do about it " * 5]


@pytest.mark.parametrize("width", [40, 80, 120])
def test_a_terminal_gets_errors_broken_between_words_only(width: int) -> None:
    """No line wider than the screen, no word split, none lost."""
    lines = faults.on_terminal(LONG, width)
    assert max(map(len, lines)) <= width and len(lines) > 2
    assert " ".join(lines).replace(";", "").split() == " ".join(LONG).split()


def test_a_terminal_gets_three_lines_where_one_paragraph_makes_them() -> None:
    """Apart they would make four; a word longer than the screen stays whole, so that it can be copied."""
    lines = faults.on_terminal(["straycell: " + "ab " * 26, "  " + "cd " * 27], 80)
    assert len(lines) == 3 and "ab; cd" in " ".join(" ".join(lines).split())
    path = "/" + "x" * 100
    assert path in faults.on_terminal([f"straycell: no such file {path}", "  check it"], 80)[1]


def test_an_unforeseen_error_is_an_internal_fault_without_a_traceback(
    failing: list[BaseException], bench: Bench
) -> None:
    """It says so, and how to get the traceback."""
    failing.append(ZeroDivisionError("division by zero"))
    answer = bench.run("probe")
    assert answer.code == 3
    assert "internal fault" in answer.err and "--debug" in answer.err and "Traceback" not in answer.err


def test_debug_shows_the_traceback(failing: list[BaseException], bench: Bench) -> None:
    """Only with --debug, wherever it stands."""
    failing.append(ZeroDivisionError("division by zero"))
    for line in ("probe --debug", "--debug probe"):
        assert "Traceback" in bench.run(line).err


def test_errors_of_the_database_are_faults_of_the_store() -> None:
    """Also those that nobody wrapped."""

    fault = faults.explain(sqlite3.DatabaseError("file is not a database"))
    assert fault.exit_code == 4 and "store check" in fault.lines[1]


def test_errors_of_the_disk_name_the_file() -> None:
    """A full disk, a missing folder."""
    fault = faults.explain(FileNotFoundError(2, "No such file or directory", "out.pdf"))
    assert fault.exit_code == 3 and fault.lines[0].startswith("out.pdf: ")


def test_a_full_disk_is_called_full() -> None:
    """stdout has no name, and no path is to be checked."""
    fault = faults.explain(OSError(28, "No space left on device"))
    assert fault.exit_code == 3 and fault.lines[0] == "the output cannot be written: No space left on device"
    assert "full" in fault.lines[1] and "path" not in fault.lines[1]
    assert "name a file" in faults.explain(IsADirectoryError(21, "Is a directory", "/tmp")).lines[1]


@pytest.mark.parametrize("line", ["zzz", "stor check", "cell lst", "q" * 200])
def test_an_unknown_noun_or_verb_takes_three_lines_of_a_terminal(line: str, bench: Bench) -> None:
    """The nearest words or the help, never all nouns."""
    told = bench.refused(line, 2).rstrip("\n").split("\n")
    assert len(faults.on_terminal(told, 80)) <= 3 and "--help" in told[-1]


@pytest.mark.parametrize("verb", ["restore {} --yes", "merge {}"])
@pytest.mark.parametrize("what", ["text", "folder", "nothing", "damaged"])
def test_a_file_that_is_no_store_is_at_fault_itself(
    bench: Bench, tmp_path: Path, verb: str, what: str
) -> None:
    """Another --store would not help: the file named on the line is the wrong one."""
    bench.do("cell add --form 18650")
    file = tmp_path / "other.toml"
    if what == "text":
        file.write_text("x = 1")
    elif what == "folder":
        file.mkdir()
    elif what == "damaged":
        file.write_bytes(bench.store.read_bytes()[:-8192])
    told = bench.refused(f"store {verb.format(file)}", 4)
    assert "--store" not in told and "store init" not in told and f"straycell: {file} " in told
    assert bench.do("store check")["ok"]


def test_a_folder_in_place_of_a_file_is_told_in_plain_words(bench: Bench, tmp_path: Path) -> None:
    """No name of an error, no number."""
    text = tmp_path / "picture.png"
    text.write_text("no picture")
    for line in (f"project add {tmp_path}", f"label read {tmp_path}", f"label read {text}"):
        told = bench.refused(line, 3)
        assert "Error" not in told and "Errno" not in told
        assert "is a folder" in told or "not a picture" in told


def test_a_reader_that_leaves_is_no_error(failing: list[BaseException], bench: Bench) -> None:
    """`| head`."""
    failing.append(BrokenPipeError(32, "Broken pipe"))
    answer = bench.run("probe")
    assert (answer.code, answer.err) == (0, "")


def test_a_pinned_clock_that_cannot_be_read_is_a_usage_fault(bench: Bench) -> None:
    """STRAYCELL_NOW is for tests and demonstrations; a wrong one must not pass for now."""
    for pin in ("yesterday", "2026-03-01T09:00:00"):
        bench.now = pin
        assert "STRAYCELL_NOW" in bench.refused("teardown add T --kind lamp", 2)


# --- output ----------------------------------------------------------------------------------------


def test_plain_makes_json_of_what_json_has_no_word_for() -> None:
    """Not-a-number and infinity become null, decimals numbers, times carry their offset."""
    from datetime import UTC, date, datetime
    from decimal import Decimal

    from straycell.cells import Form

    document = output.plain(
        {
            "nan": float("nan"),
            "inf": float("-inf"),
            "decimal": Decimal("1.25"),
            "day": date(2026, 3, 1),
            "at": datetime(2026, 3, 1, 9, tzinfo=UTC),
            "form": Form.F18650,
            "many": (1, Path("a")),
            Form.POUCH: True,
        }
    )
    text = json.dumps(document, allow_nan=False)
    assert json.loads(text) == document
    assert (document["nan"], document["inf"], document["decimal"]) == (None, None, 1.25)
    assert datetime.fromisoformat(document["at"]) == datetime(2026, 3, 1, 9, tzinfo=UTC)
    assert (document["form"], document["pouch"], document["many"]) == ("18650", True, [1, "a"])


class _Terminal:
    """A stream that says it is a screen."""

    encoding = "utf-8"

    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        """Nothing to flush."""

    def isatty(self) -> bool:
        return True


def _drawn(monkeypatch: pytest.MonkeyPatch, env: dict[str, str], rows: list[list[str | None]]) -> str:
    monkeypatch.setenv("COLUMNS", "80")
    screen = _Terminal()
    with options.use(options.Session(env=env, stdout=screen)):  # type: ignore[arg-type]
        output.section("Heading")
        tables.table(["code", "marking"], rows, flexible="marking", empty="none")
    return screen.text


def test_no_color_leaves_no_escape_sequence(monkeypatch: pytest.MonkeyPatch) -> None:
    """https://no-color.org: any value but the empty one switches colour off."""
    assert "\x1b" not in _drawn(monkeypatch, {"NO_COLOR": "1", "TERM": "xterm"}, [["A1", "x"]])
    assert "\x1b" in _drawn(monkeypatch, {"TERM": "xterm"}, [["A1", "x"]])


def test_a_table_on_a_terminal_folds_within_eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is lost there, it takes more lines."""
    text = _drawn(monkeypatch, {"NO_COLOR": "1", "TERM": "xterm"}, [["A1", "m" * 120]])
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("m") == 120 + len("marking".replace("arking", ""))


def test_a_table_in_a_pipe_is_plain_and_fits_eighty_columns(capsys: pytest.CaptureFixture[str]) -> None:
    """One line a row; the flexible column is cut, --json has it whole."""
    tables.table(["code", "marking", "stage"], [["A1", "m" * 120, None]], flexible="marking", empty="none")
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2 and max(map(len, lines)) <= 80
    assert lines[1].endswith("-") and "…" in lines[1]


def test_control_characters_of_data_never_reach_a_screen(capsys: pytest.CaptureFixture[str]) -> None:
    """A marking must not steer a terminal."""
    tables.table(["code", "marking"], [["A1", "\x1b[2Jx"]], flexible="marking", empty="none")
    output.say("a\x07b")
    assert "\x1b" not in (text := capsys.readouterr().out) and "\x07" not in text


class _Keyboard(_Terminal):
    """A person who types one line."""

    def __init__(self, answer: str) -> None:
        super().__init__()
        self.answer = answer

    def readline(self) -> str:
        return self.answer


@pytest.mark.parametrize(
    ("answer", "agreed"), [("y\n", True), (" YES \n", True), ("n\n", False), ("", False)]
)
def test_at_a_terminal_only_a_yes_is_a_yes(
    monkeypatch: pytest.MonkeyPatch, answer: str, agreed: bool
) -> None:
    """The question goes to stderr; anything else changes nothing."""
    from straycell.cli.app.prompts import confirm

    screen = _Terminal()
    monkeypatch.setattr(sys, "stdin", _Keyboard(answer))
    monkeypatch.setattr(sys, "stderr", screen)
    if agreed:
        confirm(False, "replace it?")
    else:
        with pytest.raises(UsageFault, match="nothing was changed"):
            confirm(False, "replace it?")
    assert screen.text == "replace it? [y/N] "


def test_without_a_terminal_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """--yes confirms, else exit 2."""
    import io

    from straycell.cli.app.prompts import confirm

    monkeypatch.setattr(sys, "stdin", io.StringIO("y\n"))
    confirm(True, "replace it?")
    with pytest.raises(UsageFault) as caught:
        confirm(False, "replace it?")
    assert caught.value.remedy == "add --yes"


def test_a_ctrl_c_that_falls_into_a_destructor_is_not_lost() -> None:
    """Python drops an exception raised there and prints its traceback; the person pressed Ctrl-C and must be heard."""
    program = (
        "import sys, time\n"
        "from straycell import cli\n"
        "class Falls:\n"
        "    def __del__(self): raise KeyboardInterrupt\n"
        "def main(argv):\n"
        "    Falls()\n"
        "    time.sleep(20)\n"
        "    return 0\n"
        "import straycell.cli.app.app as app\n"
        "app.main = main\n"
        "cli.run([])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=15, check=False
    )
    assert done.returncode == 130
    assert "Traceback" not in done.stderr and "stopped" in done.stderr
