"""Hostile files in the place of every file a command reads: refused in plain words, soon, and within 200 MB."""

from __future__ import annotations

import gzip
import math
import os
import resource
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

from tests.stress.rig import Rig, rig

from straycell.store.exchange.cells import MOST_LINES

LINES = (
    *(
        "import cells {file}",
        "import readings {file}",
        "project add {file}",
        "rules check {file}",
        "label read {file}",
    ),
    *(
        "trace add A00002M {file}",
        "runtime A00002M --current 1A --until 3V --profile {file}",
        "store merge {file}",
    ),
    *("store restore {file} --yes", "trace add A00002M {file} --columns time=1,voltage=2,current=3"),
)
MOST_BYTES = 200_000_000
OWN_BYTES = 70_000_000
"""Of a command before it reads anything; a forked child counts what its parent holds instead."""
MOST_S = 60.0


def run(count: int, seed: int) -> str:
    """`count` visits, dealt over files and commands; a line that sums them up."""
    worst_s = worst_bytes = 0.0
    with rig(seed) as used:
        used.do(*["cell", "add", "--form", "18650", "--chemistry", "nmc"])
        names, lines = used.dice.sample(list(MAKERS), len(MAKERS)), used.dice.sample(LINES, len(LINES))
        for number in range(count):
            # Few visits meet every file and every command; in the end each file has been given to each command.
            turn = number // math.lcm(len(names), len(lines))
            name, line = names[number % len(names)], lines[(number + turn) % len(lines)]
            seconds, most = _visit(used, name, line)
            worst_s, worst_bytes = max(worst_s, seconds), max(worst_bytes, most)
        rows = min(100 * count, MOST_LINES - 1)
        honest_bytes = _honest(used, rows)
    return (
        f"{count} hostile files: each refused, slowest {worst_s:.1f} s, largest {worst_bytes / 1e6:.0f} MB; "
        f"{rows} honest cells: {honest_bytes / 1e6:.0f} MB"
    )


def _honest(used: Rig, rows: int) -> float:
    """A list of good cells is taken; its share of the memory is such that the longest list stays within the bound."""
    file, line = used.folder / "honest.csv", "18650,nmc,INR18650 2600mAh,2600,45.5,from the shed\n"
    file.write_text("form,chemistry,marking,rated_capacity_mah,mass_g,note\n" + rows * line)
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    done = used.run("import", "cells", str(file), "--json")
    assert done.code == 0 and done.json["taken"] == rows, done.err
    grown = max(done.most_bytes - held, 0)
    assert grown < (MOST_BYTES - OWN_BYTES) * rows / MOST_LINES, ("large", rows, grown)
    return OWN_BYTES + grown


def _visit(used: Rig, name: str, line: str) -> tuple[float, float]:
    file = used.folder / "hostile"
    MAKERS[name](file)
    done = used.run(*line.format(file=file).split())
    assert done.code in (1, 2, 3, 4), (name, line, done.code, done.out[:300])
    assert done.seconds < MOST_S, ("slow", name, line, done.seconds)
    grown = max(done.most_bytes - resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024, 0)
    assert OWN_BYTES + grown < MOST_BYTES, ("large", name, line, grown)
    shutil.rmtree(file) if file.is_dir() else file.unlink()
    used.require_sound((name, line))
    return done.seconds, OWN_BYTES + grown


def _zip(file: Path) -> None:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("cells.csv", b"0" * 50_000_000)


def _text(text: str) -> Callable[[Path], object]:
    return lambda file: file.write_text(text)


def _sparse(size: int) -> Callable[[Path], None]:
    def make(file: Path) -> None:
        file.write_bytes(b"form,chemistry\n")
        os.truncate(file, size)

    return make


DEEP = 30_000
MAKERS: dict[str, Callable[[Path], object]] = {
    "a folder": lambda file: file.mkdir(),
    "a pipe": lambda file: os.mkfifo(file),
    "nothing in it": _text(""),
    "zeros": lambda file: file.write_bytes(bytes(1_000_000)),
    "a sparse gigabyte": _sparse(1_000_000_000),
    "random bytes": lambda file: file.write_bytes(os.urandom(100_000)),
    "a field of 10 MB": _text("form,code,at,time_s,voltage_v\n" + "x" * 10_000_000 + ",1\n"),
    "a quoted field of 10 MB": _text('form,code,at,time_s,voltage_v\n"' + "x\n" * 5_000_000),
    "a header of 10 MB": _text("form," * 2_000_000 + "\n1,2\n"),
    "a word of 10 MB": _text("a" * 10_000_000),
    "blanks": _text("time (s)" + " " * 200_000 + ",voltage\n1,2\n"),
    "many lines with faults": _text("form,chemistry\n" + "1865,nmcc\n" * 400_000),
    "many empty lines": _text("form,code,at\n" + "\n" * 5_000_000),
    "a gz bomb": lambda file: file.write_bytes(gzip.compress(b"\n" * 20_000_000) * 20),
    "a gz bomb of rows": lambda file: file.write_bytes(
        gzip.compress(b"time_s,voltage_v,current_a\n" + b"1,3.7,0\n" * 1_000_000) * 40
    ),
    "half a gz file": lambda file: file.write_bytes(gzip.compress(os.urandom(100_000))[:50_000]),
    "a zip bomb": _zip,
    "deep TOML": _text("a = " + "[" * DEEP + "]" * DEEP),
    "dotted TOML": _text(".".join(["a"] * DEEP) + " = 1\n"),
    "many keys": _text("".join(f"key{n} = {n}\n" for n in range(200_000))),
    "many limits": _text('name = "mine"\n' + '[[limit]]\nid = "x"\n' * 40_000),
    "escapes": _text('name = "\x1b]0;owned\x07"\nform,\x1b[2J\n'),
    "bidi": _text('name = "\u202egnp"\nform,\u2066x\n'),
    "a NUL": _text("form,chemistry\n18650,n\0mc\n"),
    "UTF-16": lambda file: file.write_bytes("form,chemistry\n18650,nmc\n".encode("utf-16")),
}
