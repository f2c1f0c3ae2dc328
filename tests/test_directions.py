"""Who may import whom, and how large a part may be: the rooms and their direction, as a table held against the code.

An edge that is not in the table fails; to add one is a decision, not an accident.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import straycell

SOURCE = Path(straycell.__file__).parent

# room: the rooms it may look back to; * is every row above. Physics knows none of its users.
EDGES = """
errors:
shipped:
plain_text:  errors
files:       errors plain_text
typed:       errors plain_text
quantities:  errors
safe_side:   quantities
teardowns:   errors quantities
cells:       errors quantities
markings:    errors shipped quantities cells
meters:      errors shipped quantities
keys:        errors
readings:    errors quantities cells meters keys
traces:      errors files quantities cells meters readings physics keys
physics:     errors shipped quantities safe_side cells
acceptance:  errors shipped plain_text files quantities safe_side teardowns cells markings meters readings physics keys
labels:      errors shipped files quantities teardowns cells meters readings acceptance keys
projects:    errors plain_text files quantities cells physics
matching:    errors shipped quantities safe_side cells meters readings physics acceptance projects keys
pictures:    errors quantities cells acceptance physics traces
builds:      errors quantities cells acceptance projects matching keys
safety:      errors shipped quantities cells markings readings physics acceptance labels builds keys
store:       *
bench:       *
web:         errors shipped files typed quantities cells readings acceptance labels builds safety bench
cli:         *
"""
ALLOWED: dict[str, set[str]] = {}
for _line in EDGES.strip().splitlines():
    _room, _, _targets = _line.partition(":")
    ALLOWED[_room] = set(ALLOWED) if _targets.strip() == "*" else set(_targets.split())

# library: the only places that may import it (rooms, or files of a room)
LIBRARIES = """
stdnum       cells.py
rapidfuzz    cells.py
platformdirs store/location.py
sqlmodel     store/schema/models
sqlalchemy   store/
sqlite3      store/sqlite/
alembic      store/schema/migrations/
typer        cli/
click        cli/
rich         cli/
qrcode       labels/render.py
fpdf         labels/document.py safety/handover/render.py
fontTools    labels/faces.py
icalendar    safety/due/calendar.py
PIL          labels/picture.py labels/reading.py
pydantic     labels/stocks/files.py web/routes/api.py
zxingcpp     labels/reading.py
matplotlib   pictures/
pandas       traces/ store/exchange
fastapi      web/
starlette    web/
jinja2       web/view.py
uvicorn      cli/nouns/keep/serve.py
highspy      matching/
numpy        traces/ physics/ matching/ pictures/
"""
PLACES = {line.split()[0]: line.split()[1:] for line in LIBRARIES.strip().splitlines()}

HEAVY = ["fastapi", "jinja2", "uvicorn", "sqlmodel", "sqlalchemy", "alembic"]
HEAVY += ["pandas", "numpy", "qrcode", "fpdf", "PIL", "matplotlib"]
RIM = {"store", "bench", "web", "cli"}
FILES = sorted(path for path in SOURCE.rglob("*.py") if "sample_db" not in path.parts)


def where(path: Path) -> str:
    return path.relative_to(SOURCE).as_posix()


def room_of(path: Path) -> str:
    return path.relative_to(SOURCE).parts[0].removesuffix(".py")


def imports(tree: ast.AST, package: str) -> Iterator[str]:
    """Dotted names that a module imports, at the top or inside functions, relative ones made absolute."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parts = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            base = ".".join([*parts, *([node.module] if node.module else [])])
            yield base
            if base == "straycell" or node.level:
                yield from (f"{base}.{alias.name}" for alias in node.names)


@cache
def tree_of(path: Path) -> ast.Module:
    """A module as it is written."""
    return ast.parse(path.read_text(encoding="utf-8"))


def imports_of(path: Path) -> set[str]:
    package = ".".join(["straycell", *path.relative_to(SOURCE).parent.parts])
    return set(imports(tree_of(path), package))


def rooms_imported(names: set[str]) -> set[str]:
    return {name.split(".")[1] for name in names if name.startswith("straycell.")} & set(ALLOWED)


def strangers(names: set[str]) -> set[str]:
    """Top-level names of libraries that are neither ours nor Python's own."""
    return {name.partition(".")[0] for name in names} - set(sys.stdlib_module_names) - {"straycell", ""}


def test_the_table_knows_every_room_and_the_map_names_it() -> None:
    """A new room is put into the table and into the one-line map of the package."""
    rooms = {room_of(path) for path in FILES} - {"__init__", "__main__"}
    assert rooms == set(ALLOWED)
    mapped = [
        line.split()[0] for line in (straycell.__doc__ or "").splitlines() if line and line[0].islower()
    ]
    assert rooms <= set(mapped)


def test_the_table_itself_runs_in_one_direction() -> None:
    """No two rooms may import each other, not even through others; only the command line stands above the store."""
    settled: set[str] = set()
    while len(settled) < len(ALLOWED):
        ready = {room for room, targets in ALLOWED.items() if targets <= settled} - settled
        assert ready, f"a circle among {set(ALLOWED) - settled}"
        settled |= ready
    assert all(not targets & RIM for room, targets in ALLOWED.items() if room not in RIM)
    assert {room for room, targets in ALLOWED.items() if "store" in targets} == {"bench", "cli"}
    assert not any("cli" in targets for targets in ALLOWED.values())
    assert ALLOWED["physics"] <= {"errors", "shipped", "quantities", "safe_side", "cells"}


def files_of(room: str) -> list[Path]:
    return [path for path in FILES if room_of(path) == room]


@pytest.mark.parametrize("room", [*ALLOWED, "__init__", "__main__"])
def test_a_room_imports_only_what_lies_behind_it(room: str) -> None:
    """Every import of one of our rooms stands in the table; the two files on top know the command line alone."""
    allowed = ALLOWED.get(room, {"cli"}) | {room}
    breaches = {where(path): rooms_imported(imports_of(path)) - allowed for path in files_of(room)}
    assert not {name: rooms for name, rooms in breaches.items() if rooms}


@pytest.mark.parametrize("room", [*ALLOWED, "__init__", "__main__"])
def test_a_library_is_imported_only_where_it_belongs(room: str) -> None:
    """Only store knows SQLModel, only cli Typer and Rich, only labels/render the drawing; the rest is pure."""
    breaches = [
        f"{where(path)}: {library}"
        for path in files_of(room)
        for library in strangers(imports_of(path))
        if not any(where(path).startswith(place) for place in PLACES.get(library, []))
    ]
    assert not breaches


@pytest.mark.parametrize("room", [room for room in ALLOWED if room not in RIM])
def test_a_core_room_reads_no_clock(room: str) -> None:
    """The time comes in as an argument: same input, same output."""
    calls = {
        f"{node.value.id}.{node.attr}"
        for path in files_of(room)
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
    }
    assert not calls & {"datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time"}


# --- the shape of modules --------------------------------------------------------------------------

MOST_LINES, MOST_ARGUMENTS, MOST_MODULES, MOST_MODULE_LINES = 60, 8, 15, 400
GENERATED = ("ddl.py", "tables.py")


def is_command(function: ast.FunctionDef) -> bool:
    """A command of the command line: its arguments are its options, each on a line of its own."""
    calls = [each.func for each in function.decorator_list if isinstance(each, ast.Call)]
    return any(isinstance(call, ast.Attribute) and call.attr in ("command", "callback") for call in calls)


def too_large(tree: ast.AST) -> Iterator[tuple[str, int, str]]:
    """Functions over a bound: name, size, of what."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.FunctionDef) or is_command(node):
            continue
        lines = (node.end_lineno or node.lineno) - node.lineno + 1
        names = [each.arg for each in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
        arguments = len([name for name in names if name not in ("self", "cls")])
        if lines > MOST_LINES:
            yield node.name, lines, "lines"
        if arguments > MOST_ARGUMENTS:
            yield node.name, arguments, "arguments"


def test_functions_and_folders_stay_small() -> None:
    """Sixty lines and eight arguments a function, commands apart; 400 lines a module; fifteen modules a folder."""
    found = [
        f"{where(path)} {name} {size} {what}"
        for path in FILES
        for name, size, what in too_large(tree_of(path))
    ]
    for path in FILES:
        lines = len(path.read_text(encoding="utf-8").splitlines())
        # What is generated from the models is as long as they are.
        if lines > MOST_MODULE_LINES and path.name not in GENERATED:
            found.append(f"{where(path)} {lines} lines")
    for folder in {path.parent for path in FILES}:
        modules = [path for path in FILES if path.parent == folder and path.name != "__init__.py"]
        if len(modules) > MOST_MODULES:
            found.append(f"{where(folder)}/ {len(modules)} modules")
    assert not found


def test_what_is_too_large_is_seen() -> None:
    """The check itself is checked: a line and an argument more than the bound, and a command that may have them."""
    body = "\n".join("    pass" for _ in range(MOST_LINES))
    names = ", ".join(f"a{number}" for number in range(MOST_ARGUMENTS + 1))
    plain = f"def f(self, {names}):\n{body}"
    assert [what for _, _, what in too_large(ast.parse(plain))] == ["lines", "arguments"]
    assert not list(too_large(ast.parse(f"@app.command()\n{plain}")))


def outside_functions(body: list[ast.stmt]) -> Iterator[ast.Import | ast.ImportFrom]:
    """The imports of a module, those for a type checker too: what two files both name lies below both. Those inside
    functions run later: they cannot catch a module half made, and the command line stays quick by them."""
    for node in body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield node
        elif isinstance(node, ast.If):
            yield from outside_functions([*node.body, *node.orelse])
        elif isinstance(node, ast.Try | ast.With):
            yield from outside_functions(node.body)


def module_name(path: Path) -> str:
    parts = ["straycell", *path.relative_to(SOURCE).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def named_by(path: Path, modules: set[str]) -> set[str]:
    """Our modules that this one loads when it is loaded, or names to a type checker."""
    package = ".".join(["straycell", *path.relative_to(SOURCE).parent.parts])
    found: set[str] = set()
    for node in outside_functions(tree_of(path).body):
        names = set(imports(ast.Module([node], []), package))
        if isinstance(node, ast.ImportFrom):  # a name that is a module of its own is that module
            names |= {f"{name}.{alias.name}" for name in names for alias in node.names}
            inner = {name for name in names if name in modules}
            names = {name for name in inner if not any(other.startswith(f"{name}.") for other in inner)}
        found |= names & modules
    return found


def circle(edges: dict[str, set[str]]) -> set[str]:
    """Modules that name each other, straight or through others; empty when there are none."""
    left = dict(edges)
    while ready := [name for name, targets in left.items() if not targets & set(left)]:
        for name in ready:
            del left[name]
    return set(left)


def test_no_module_names_itself_through_others() -> None:
    """Inside a room, too, imports run in one direction, and so do types."""
    modules = {module_name(path) for path in FILES}
    assert not circle({module_name(path): named_by(path, modules) for path in FILES})


def test_a_circle_is_seen() -> None:
    """Three in a ring, with one that only looks at them."""
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": set()}) == {"a", "b", "c"}
    checking = "if TYPE_CHECKING:\n    import a\nelse:\n    import b\ndef f():\n    import c"
    seen = [ast.unparse(node) for node in outside_functions(ast.parse(checking).body)]
    assert seen == ["import a", "import b"]


# --- the checks themselves -------------------------------------------------------------------------

BREACHES = """
physics  | import straycell.acceptance
physics  | from straycell import store
cells    | from straycell.readings import Reading
matching | from straycell.builds import Build
builds   | def f():\\n    from straycell.store.schema.tables import Row
labels   | from ..store import tables
labels   | from .. import store
"""


@pytest.mark.parametrize("line", BREACHES.strip().splitlines())
def test_a_breach_in_any_wording_is_seen(line: str) -> None:
    """The check itself is checked: absolute, from, relative and inside a function."""
    room, code = (part.strip() for part in line.split("|"))
    names = set(imports(ast.parse(code.replace("\\n", "\n")), f"straycell.{room}"))
    assert rooms_imported(names) - {room} - ALLOWED[room]


def test_a_stranger_is_seen() -> None:
    """A library inside a function is an import like any other; Python's own is none."""
    names = set(
        imports(ast.parse("import json, os.path\ndef f():\n    import pandas as pd"), "straycell.cells")
    )
    assert strangers(names) == {"pandas"}


def loaded_after(*statements: str) -> tuple[int, str, list[list[str]]]:
    """Run statements in a fresh Python, each without what of ours the one before it loaded: (exit code, stdout, heavy
    libraries that were loaded after each)."""
    forget = "for m in [m for m in sys.modules if m.partition('.')[0] == 'straycell']: del sys.modules[m]"
    told = f"    print('loaded:', *[m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    tried = [f"{forget}\ntry:\n    {each}\nfinally:\n{told}" for each in statements]
    done = subprocess.run(
        [sys.executable, "-c", "\n".join(["import sys", *tried])],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONPATH": str(SOURCE.parent)},
    )
    loaded = [line.split()[1:] for line in done.stderr.splitlines() if line.startswith("loaded:")]
    assert loaded, done.stderr
    return done.returncode, done.stdout, loaded


def test_help_is_cheap() -> None:
    """`straycell --help` prints the nouns, exits 0, and loads neither SQLModel, pandas, numpy nor qrcode."""
    status, page, loaded = loaded_after("from straycell.cli import run; run(['--help'])")
    assert status == 0
    assert "teardown" in page and "Usage" in page
    assert loaded == [[]]


FRONTS = ["straycell", "straycell.cli", *(f"straycell.{r}" for r in (
    "cells", "markings", "meters", "readings", "acceptance", "labels", "projects", "builds", "safety", "matching"))]  # fmt: skip


def test_importing_a_room_loads_nothing_heavy() -> None:
    """The front of each core room can be imported without the libraries at the rim, one after the other."""
    status, _, loaded = loaded_after(*(f"import {module}" for module in FRONTS))
    assert status == 0
    assert dict(zip(FRONTS, loaded, strict=True)) == {module: [] for module in FRONTS}
