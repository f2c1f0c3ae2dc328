"""Commands killed at any moment: no acknowledged write is lost, none is half, no code is on paper unknown to the store."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path

from tests.stress.kill_more import NEXT, recording, upgrading, version_and_rows
from tests.stress.rig import Rig, Work, draw_plainly, rig


def run(count: int, seed: int) -> str:
    """`count` kills, dealt over the commands that write; a line that sums them up."""
    with rig(seed) as used:
        walk = _Walk(used)
        for number in range(count):
            walk.round(number)
        return (
            f"{count} kills, {walk.unfinished} in the middle: {len(walk.known)} cells, nothing lost or half"
        )


class _Walk:
    """The store as it must be, after whatever was killed."""

    def __init__(self, used: Rig) -> None:
        self.rig, self.known, self.printed = used, set[str](), set[str]()
        self.discarded, self.unfinished = set[str](), 0
        draw_plainly()
        used.do("store", "init")
        # A slow machine may kill every `_add`: a round must still find a cell.
        used.do("cell", "add", "--form", "18650", "--chemistry", "nmc", "--count", "3")
        self.known |= used.codes()
        self.backup = used.folder / "backup.sqlite"
        used.do("store", "backup", str(self.backup))
        self.other = self._other_bench()
        self.rounds: list[Callable[[], None]] = [
            *(self._add, self._blank, self._discard, self._export, self._import, self._merge, self._restore),
            *(self._upgrade, self._page),
        ]

    def round(self, number: int) -> None:
        """One kill, and what must hold after it."""
        self.rounds[number % len(self.rounds)]()
        self.rig.require_sound(self.rounds[number % len(self.rounds)].__name__)
        codes = self.rig.codes()
        assert self.known <= codes, ("lost", self.known - codes)
        for code in self.discarded:
            assert self.rig.do("cell", "show", code)["stage"] == "condemned", ("a discard is lost", code)

    def _kill(self, *argv: str, within_s: float = 0.4) -> bool:
        """Whether it was done before the kill."""
        return self._kill_work(argv, within_s)

    def _kill_work(self, work: Work, within_s: float) -> bool:
        done = self.rig.killed(work, within_s)
        self.unfinished += done.code < 0
        return done.code == 0

    def _add(self) -> None:
        before = self.rig.codes()
        line = ["cell", "add", "--form", "18650", "--chemistry", "nmc", "--count", "3", "--json"]
        done = self.rig.killed(line, within_s=0.4)
        self.unfinished += done.code < 0
        new = self.rig.codes() - before
        assert len(new) in ((3,) if done.code == 0 else (0, 3)), ("half a write", new)
        self.known |= new

    def _blank(self) -> None:
        out = self.rig.folder / "blank.pdf"
        before = out.read_bytes() if out.exists() else b""
        self._kill("label", "blank", "--count", "5", "--out", str(out))
        after = out.read_bytes() if out.exists() else b""
        if after != before:
            fresh = set(after.decode().split()[1:])
            assert len(fresh) == 5 and not fresh & self.printed, ("printed twice", fresh & self.printed)
            # One by one: completion offers 200 at most.
            words = ("completion", "words", "--", "cell", "add", "--code")
            lost = {code for code in fresh if code not in self.rig.here(*words, code).out.split()}
            assert not lost, ("on paper and not in the store", lost)
            self.printed |= fresh
        again = self.rig.here("label", "blank", "--count", "1", "--out", str(out))
        assert again.code == 0, again.err
        fresh = set(out.read_text().split()[1:])
        assert not fresh & self.printed
        self.printed |= fresh
        self._require_clean()

    def _discard(self) -> None:
        code = self.rig.dice.choice(sorted(self.known - self.discarded) or sorted(self.known))
        if self._kill("discard", code, "--because", "dented"):
            self.discarded.add(code)

    def _export(self) -> None:
        out = self.rig.folder / "out"
        shutil.rmtree(out, ignore_errors=True)
        self._kill("export", str(out), within_s=1.0)
        if out.exists():
            assert len(list(out.glob("*.csv"))) >= 15, sorted(out.iterdir())
            shutil.rmtree(out)
        assert self.rig.here("export", str(out)).code == 0
        self._require_clean()

    def _import(self) -> None:
        file = self.rig.folder / "cells.csv"
        file.write_text("form,chemistry\n" + "18650,nmc\n" * 40)
        before = self.rig.codes()
        done = self._kill("import", "cells", str(file), within_s=0.8)
        new = self.rig.codes() - before
        assert len(new) in ((40,) if done else (0, 40)), ("half an import", len(new))
        self.known |= new

    def _other_bench(self) -> Path:
        other = self.rig.folder / "other.sqlite"
        self.rig.do("--store", str(other), "store", "init", "--bench", "B")
        self._grow(other)
        return other

    def _grow(self, other: Path) -> None:
        self.rig.do(
            "--store", str(other), *["cell", "add", "--form", "21700", "--chemistry", "nmc", "--count", "2"]
        )

    def _merge(self) -> None:
        self._grow(self.other)
        before = {code for code in self.rig.codes() if code.startswith("B")}
        done = self._kill("store", "merge", str(self.other))
        after = {code for code in self.rig.codes() if code.startswith("B")}
        there = {cell["code"] for cell in self.rig.do("--store", str(self.other), "cell", "list")}
        assert after == there or (after == before and not done), ("half a merge", after)

    def _restore(self) -> None:
        """Back to the first day: what was discarded since stays so, whichever moment it is killed at."""
        kept = self.rig.folder / "kept.sqlite"
        shutil.copy(self.rig.store, kept)
        self._kill("store", "restore", str(self.backup), "--yes")
        if self.rig.store.exists():
            here = self.rig.codes()
            for code in self.discarded & here:
                assert self.rig.do("cell", "show", code)["stage"] == "condemned", ("restore lost", code)
        self._put_back(kept)
        # What a killed restore left goes with the next one, which must be possible.
        self.rig.do("store", "restore", str(self.backup), "--yes")
        self._require_clean()
        self._put_back(kept)

    def _upgrade(self) -> None:
        """To an invented next version: it is of one of both at any moment, and has all it had."""
        kept = self.rig.folder / "kept.sqlite"
        shutil.copy(self.rig.store, kept)
        before = version_and_rows(self.rig.store)[1]
        upgrade = upgrading(self.rig.folder)
        done = self._kill_work(upgrade, within_s=1.0)
        version, rows = version_and_rows(self.rig.store)
        assert rows == before and version in ((NEXT,) if done else (NEXT - 1, NEXT)), ("half", version)
        assert self.rig.end(self.rig.start(upgrade), time.monotonic()).code == 0, "it cannot be done again"
        assert version_and_rows(self.rig.store) == (NEXT, before), "an upgrade lost something"
        self._put_back(kept)

    def _page(self) -> None:
        """A page that records: what the phone was told is recorded, once; at most one more is."""
        code, told = self.rig.dice.choice(sorted(self.known)), self.rig.folder / "told"
        told.unlink(missing_ok=True)
        before = self._masses(code)
        grams = [round(44 + (len(before) + n) / 1000, 3) for n in range(1, 11)]
        self._kill_work(recording(self.rig.store, code, grams, told), within_s=2.0)
        heard = [float(line) for line in told.read_text().split()] if told.exists() else []
        new = self._masses(code)[len(before) :]
        assert new == grams[: len(new)] and len(new) - len(heard) in (0, 1), ("the page", heard, new)

    def _masses(self, code: str) -> list[float]:
        shown = self.rig.do("cell", "show", code)["readings"]
        return [each["value"] for each in shown if each["quantity"] == "mass"]

    def _put_back(self, kept: Path) -> None:
        for aside in self.rig.folder.glob("bench.sqlite?*"):
            aside.unlink()
        shutil.copy(kept, self.rig.store)

    def _require_clean(self) -> None:
        left = [path.name for path in self.rig.folder.iterdir() if path.name.endswith(".part")]
        assert not left, ("left behind", left)
