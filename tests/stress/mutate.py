"""Do the tests notice when a rule is wrong? `python -m tests.stress.mutate [ROOM ...] [--count N] [--seed S]`.

Each mutant is one small change in a copy of the source: a comparison turned, a `max` made `min`, a figure moved by 20 %
to the unsafe side. The room's own tests must fail. Not part of `pytest`: a mutant takes as long as those tests.
`figures` is every room of figures; `--only WORD` takes the mutants that name it.
"""

from __future__ import annotations

import argparse
import ast
import math
import os
import random
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain, islice
from pathlib import Path
from typing import NoReturn

import hypothesis.strategies  # noqa: F401
import numpy  # noqa: F401
import pytest
import sqlmodel  # noqa: F401

ROOT = Path(__file__).parents[2]
RULES = ["tests/acceptance", "tests/laws", "tests/safety"]
# room: (files or folders under src/straycell, the tests that must notice)
ROOMS: dict[str, tuple[list[str], list[str]]] = {
    "acceptance": (["acceptance"], RULES),
    "charger": (["acceptance/charger"], ["tests/acceptance"]),
    "safety": (["safety"], ["tests/safety"]),
    "runtime": (["physics/run_time"], ["tests/physics", "tests/matching"]),
}
PHYSICS = "tests/physics/test_"
FULL_MODEL = "tests/physics/run_time/test_against_full_model.py"
FIGURES: dict[str, tuple[str, list[str], str]] = {
    # room: (file, the narrow tests that read it, pattern of the figures that forbid less when they are lower)
    "figures-rules": (
        "acceptance/shipped.toml",
        # the quick ones first: most mutants fall there
        [
            "tests/acceptance/test_limits_against_sources.py",
            "tests/acceptance/test_size_volumes.py",
            "tests/acceptance/checks",
            "tests/acceptance/test_rules_and_conformance.py",
            "tests/acceptance",
        ],
        "",
    ),
    "figures-charging": (
        "physics/data/charging.toml",
        [f"{PHYSICS}charging.py", f"{PHYSICS}protection.py", f"{PHYSICS}charge_time.py", "tests/acceptance"],
        "volts|share|tolerance|detect_high_v|hot_ratio|trickle_below_v|end_share|trickle_share|regulates_v|.*k_per_w|"
        ".*pass_ohm|base|per_rate",
    ),
    "figures-cold": (
        "physics/data/temperature.toml",
        [f"{PHYSICS}temperature.py", f"{PHYSICS}at_temperature.py"],
        "kj_mol",
    ),
    "figures-margin": (
        "physics/data/margin.toml",
        [f"{PHYSICS}at_temperature.py", FULL_MODEL],
        # A rate below 1C to a higher power is less.
        "(?!rate_power).*",
    ),
    "figures-pulses": (
        "physics/data/polarisation.toml",
        [
            f"{FULL_MODEL}::test_the_polarisation_figures_are_those_of_the_tables",
            f"{FULL_MODEL}::test_the_shape_of_the_resistance_is_the_median_of_the_tables",
            f"{FULL_MODEL}::test_the_range_of_the_shape_holds_every_table_and_no_more",
            f"{PHYSICS}polarisation.py",
            "tests/traces/test_reference.py",
            f"{PHYSICS}at_temperature.py",
            FULL_MODEL,
        ],
        "steady.*|spread|lag_h|grown_ohm_ah|apart_k|short_s|ratio|(u_)?ohm_ah",
    ),
    "figures-losses": ("physics/data/losses.toml", [f"{PHYSICS}losses.py"], "expected|low|high"),
    "figures-resistors": ("physics/data/resistors.toml", [f"{PHYSICS}resistors.py"], ".*"),
    "figures-energy": ("safety/energy.toml", ["tests/safety/test_handover_list.py"], ".*"),
    "figures-storage": (
        "safety/storage.toml",
        ["tests/safety/test_storage.py", "tests/safety/test_let_down.py", "tests/safety"],
        "least_v|usual",
    ),
    "figures-trends": ("safety/due/trends.toml", ["tests/safety/test_trends.py"], "fewest"),
    "figures-packs": (
        "matching/screen/use_limits.toml",
        ["tests/matching/pack/test_joining.py", "tests/matching/pack", "tests/matching/test_single.py"],
        "low",
    ),
    "figures-fuses": (
        "matching/sheet/fuses.toml",
        ["tests/matching/pack/test_fusing.py"],
        "melts|holds|rated_a|prefer_a",
    ),
}
ROOMS |= {room: ([file], tests) for room, (file, tests, _) in FIGURES.items()}
COUNTS = ("fewest",)
# The tests of a single limit, where others than those of its room read it.
NARROW = {
    "rate-out": ["tests/matching/test_candidates.py"],
    "use_limits.toml: peak-seconds": ["tests/matching/test_candidates.py"],
    "use_limits.toml: mean-seconds": ["tests/matching/test_candidates.py"],
    "error-resistance": ["tests/review/test_black_box_rules.py"],
    "resistance-spread": ["tests/matching/pack/test_joining.py"],
    "storage.toml: let_down": ["tests/cli/take/test_let_down.py"],
}
TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
OTHER = {"max": "min", "min": "max", "any": "all", "all": "any", "low": "value", "high": "value"}


@dataclass(frozen=True)
class Mutant:
    """One changed file: where, what was changed, the whole new text."""

    path: Path
    what: str
    text: str


def mutants(path: Path) -> Iterator[Mutant]:
    """Every mutant of a file."""
    yield from (_of_limits(path) if path.suffix == ".toml" else _of_code(path))


def _of_code(path: Path) -> Iterator[Mutant]:
    text = path.read_text(encoding="utf-8")
    for number, node in enumerate(ast.walk(ast.parse(text))):
        if not isinstance(node, ast.Compare | ast.BinOp | ast.BoolOp | ast.Call | ast.Attribute):
            continue
        before = ast.unparse(node)
        if _change(node):
            tree = ast.parse(text)
            _change(next(islice(ast.walk(tree), number, None)))
            yield Mutant(path, f"line {node.lineno}: {before} -> {ast.unparse(node)}", ast.unparse(tree))


def _change(node: ast.AST) -> bool:
    """Turn one node in place; False when there is nothing to turn."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
        node.ops[0] = TURNED[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED and not _text(node):
        node.op = SWAPPED[type(node.op)]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in OTHER:
        node.func.id = OTHER[node.func.id]
    elif isinstance(node, ast.Attribute) and node.attr in ("low", "high"):
        node.attr = OTHER[node.attr]
    else:
        return False
    return True


def _text(node: ast.BinOp) -> bool:
    return any(
        isinstance(each, ast.Constant | ast.JoinedStr) and not _number(each) for each in ast.walk(node)
    )


def _number(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)


def _of_limits(path: Path) -> Iterator[Mutant]:
    """Each figure of a limit, moved by 20 % to where it forbids less."""
    lines = path.read_text(encoding="utf-8").splitlines()
    bound, name, quoted = "max", "", re.compile(r'"[^"]*"')
    blocks = re.findall(r"(?ms)^\[\[limit\]\].*?(?=^\[\[limit\]\]|\Z)", "\n".join(lines))
    safe = {re.search(r'id = "(.+)"', each)[1] for each in blocks if "safety = true" in each}  # type: ignore[index]
    lower = next((down for file, _, down in FIGURES.values() if path.as_posix().endswith(file)), "")
    for at, line in enumerate(lines):
        if found := re.match(r'id = "(.+)"', line) or re.match(r"\[(?!limit)([^\[\]]+)\]", line):
            name = found[1]
        elif found := re.match(r'bound = "(.+)"', line):
            bound = found[1]
        elif re.match(r'(value|values|"[^"]+"|[\w-]+) = ', line) and not line.startswith(("source", "text")):
            head, _, rest = line.partition(" = ")
            is_lower = bound == "min" or bool(lower and re.fullmatch(lower, head.strip('"')))
            factor = 0.8 if is_lower else 1.2
            blank = quoted.sub(lambda match: "\0" * len(match[0]), rest)
            for figure in re.finditer(r"(?<![\w.-])-?\d+\.?\d*(?:e-?\d+)?(?![\w.])", blank):
                if not float(figure[0]):
                    continue  # a share of nothing is nothing: no mutant
                moved = float(figure[0]) * factor
                # Of a number of things a fifth is nothing: it moves by a whole one.
                whole = head in COUNTS and (math.floor if is_lower else math.ceil)(moved)
                new = f"{whole or moved:.12g}"
                changed = f"{head} = {rest[: figure.start()]}{new}{rest[figure.end() :]}"
                text = "\n".join([*lines[:at], changed, *lines[at + 1 :], ""])
                kind = "safety: " if name in safe else ""
                what = f"line {at + 1}: {kind}{name}: {figure[0]} -> {new} ({line.strip()[:50]})"
                yield Mutant(path, what, text)


def survives(mutant: Mutant, tests: list[str], copy: Path) -> bool:
    """Whether the tests pass on the changed copy."""
    target = copy / mutant.path.relative_to(ROOT)
    kept = target.read_text(encoding="utf-8")
    target.write_text(mutant.text, encoding="utf-8")
    try:
        child = os.fork()
        if not child:
            _tested(tests, copy, keeps_bytecode=mutant.path.suffix == ".toml")
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    finally:
        target.write_text(kept, encoding="utf-8")


def _tested(tests: list[str], copy: Path, keeps_bytecode: bool) -> NoReturn:
    """The rest of a child's life: the copy's tests, up to the first that fails."""
    # Forked with pytest and the large libraries loaded, a mutant costs its tests alone; what is ours comes from the copy.
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    os.chdir(copy)
    sys.path[:0] = [str(copy), str(copy / "src")]
    # A quarter of the tables would let a fault live that all of them notice.
    os.environ |= {"PYTHONPATH": str(copy / "src"), "STRAYCELL_NUMBERS": "full"}
    # A changed module of the same size within the same second would be taken for its bytecode.
    sys.dont_write_bytecode = not keeps_bytecode
    for name in [each for each in sys.modules if each.partition(".")[0] in ("tests", "straycell")]:
        del sys.modules[name]
    os._exit(pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]))


def _named(name: str, mutant: Mutant) -> bool:
    file, _, figure = name.rpartition(": ")
    return file in mutant.path.name and f": {figure}: " in mutant.what


def drawn(room: str, count: int, seed: int, only: str) -> list[Mutant]:
    """A sample of the room's mutants that name `only`; all of them when they are fewer."""
    places = [ROOT / "src" / "straycell" / place for place in ROOMS[room][0]]
    files = [
        file for place in places for file in (sorted(place.rglob("*.py")) if place.is_dir() else [place])
    ]
    found = [mutant for file in files for mutant in mutants(file) if only in mutant.what]
    return random.Random(seed).sample(found, min(count, len(found)))


def main() -> int:
    """Print each survivor and the score; exit 0 when none survived."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rooms", nargs="*", choices=["figures", *ROOMS, []], default=[])
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="")
    asked = parser.parse_args()
    rooms = [each for room in asked.rooms or ROOMS for each in (FIGURES if room == "figures" else [room])]
    alive = 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__"))
        for room in rooms:
            sample = drawn(room, asked.count, asked.seed, asked.only)
            # Tests that fail by themselves, or that are not there, would notice every mutant.
            if sample and not survives(
                replace(sample[0], text=sample[0].path.read_text("utf-8")), ROOMS[room][1], copy
            ):
                raise SystemExit(f"{room}: its tests do not pass on the unchanged source")
            lived = []
            for mutant in sample:
                narrow = [each for name, each in NARROW.items() if _named(name, mutant)]
                if survives(mutant, [*chain(*narrow), *ROOMS[room][1]], copy):
                    lived.append(mutant)
                    print(f"  survived: {mutant.path.relative_to(ROOT)} {mutant.what}", flush=True)
            print(f"{room}: {len(sample) - len(lived)} of {len(sample)} mutants noticed", flush=True)
            alive += len(lived)
    return 1 if alive else 0


if __name__ == "__main__":
    sys.exit(main())
