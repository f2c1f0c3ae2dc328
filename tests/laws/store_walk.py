"""A random walk over three benches that merge, restore old backups and make mistakes; its laws count their premises."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from tests.acceptance.bench import NMC, day
from tests.store.store_bench import NOW, Shelf, capacity, found, look, volts

from straycell.acceptance import Finding, load_rules
from straycell.cells import Look, Stage
from straycell.errors import BadData, StraycellError
from straycell.keys import NEW, apart
from straycell.quantities import Measured
from straycell.readings import Charge, Mistake, Reading
from straycell.readings.charger import Charger
from straycell.store.backup import backup_store, restore_store
from straycell.store.merge.take_in import merge_store

LETTERS = "ABC"
DANGERS = (Look.LEAKING, Look.SWOLLEN, Look.BURNT, Look.VENTED)
OUT = (Stage.CONDEMNED, Stage.HANDED_OVER)


class Walk:
    """Three stores that began as copies of one. `seen` holds cells that were discarded, until that is taken back."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.dice, self.folder, self.now = random.Random(seed), folder, day(30)
        self.rules = load_rules()
        self.shelves = {letter: Shelf(folder / f"{letter}.sqlite", self.rules) for letter in LETTERS}
        self.premises: Counter[str] = Counter()
        self.discarded: set[str] = set()
        self.backups: dict[str, list[Path]] = {letter: [] for letter in LETTERS}
        first = self.shelves["A"]
        first.cells(4)
        for letter in LETTERS[1:]:
            shutil.copyfile(first.path, self.shelves[letter].path)
            with self.writing(letter) as writer:
                writer.take_letter(letter)

    @contextmanager
    def writing(self, letter: str) -> Any:
        """One write of a bench, a few minutes after the last one anywhere."""
        self.now += timedelta(minutes=self.dice.randint(1, 90))
        with self.shelves[letter].writing(self.now) as writer:
            yield writer

    def step(self) -> None:
        """One thing that somebody does."""
        deeds: list[tuple[int, Callable[[str], None]]] = [
            *((12, self.measure), (3, self.add), (4, self.see), (4, self.correct), (3, self.take_back)),
            *((2, self.discard), (2, self.incident), (2, self.move_incident), (1, self.hand_over)),
            *((2, self.back_up), (1, self.restore), (3, self.merge)),
            *((2, self.charge), (2, self.measure_charger)),
        ]
        weights, acts = zip(*deeds, strict=True)
        self.dice.choices(acts, weights)[0](self.dice.choice(LETTERS))

    def _code(self, letter: str, *, here: bool = True) -> str | None:
        with self.shelves[letter].reading() as reader:
            codes = [c.code for c in reader.cells() if not here or c.stage is not Stage.HANDED_OVER]
        return self.dice.choice(codes) if codes else None

    def add(self, letter: str) -> None:
        with self.writing(letter) as writer:
            writer.add_cells(NMC, count=self.dice.randint(1, 2))

    def measure(self, letter: str) -> None:
        code = self._code(letter)
        if code is None:
            return
        items: list[Reading] = [
            volts(code, round(self.dice.uniform(3.2, 4.15), 2), self.now),
            found(code, round(self.dice.uniform(2.6, 3.9), 2), self.now),
            capacity(code, round(self.dice.uniform(1.9, 2.6), 2), self.now),
        ]
        with self.writing(letter) as writer:
            writer.add_readings([self.dice.choice(items)])

    def charge(self, letter: str) -> None:
        """Each bench has a "bay" of its own."""
        code = self._code(letter)
        if code is not None:
            with self.writing(letter) as writer:
                writer.add_charge(Charge(NEW, code, self.now, 0.5, 4.2, 0.05, 21.0, 24.0, "bay"))

    def measure_charger(self, letter: str) -> None:
        """Right, or far too high; now and then that was a slip."""
        float_v = Measured(self.dice.choice([4.19, 4.19, 4.35]), 0.002)
        with self.writing(letter) as writer:
            writer.add_charger(Charger("bay", self.now, None, float_v))
            if self.dice.random() < 0.2:
                writer.withdraw_charger("bay", None, "read wrong")

    def see(self, letter: str) -> None:
        code = self._code(letter)
        if code is not None:
            word = self.dice.choice([Look.CLEAN, *DANGERS])
            with self.writing(letter) as writer:
                writer.add_readings([look(code, word, at=self.now)])

    def correct(self, letter: str) -> None:
        """Careless: a field at random, sometimes as mistyped."""
        code = self._code(letter, here=False)
        change = self.dice.choice(
            [{"maker": self.dice.choice("xyz")}, {"chemistry": self.dice.choice(["nmc", "lco", "lfp"])}]
        )
        try:
            with self.writing(letter) as writer:
                writer.correct_cell(code, change, "read it again", self.dice.choice([None, "mistyped"]))
        except BadData:  # nothing changes by it
            self.premises["refused corrections"] += 1

    def take_back(self, letter: str) -> None:
        code = self._code(letter)
        with self.shelves[letter].reading() as reader:
            standing = [] if code is None else reader.recorded(code, with_superseded=False)
        if standing:
            with self.writing(letter) as writer:
                writer.supersede(self.dice.choice(standing).item.id, "wrong-cell", "it was the spare")

    def discard(self, letter: str) -> None:
        code = self._code(letter)
        if code is None:
            return
        try:
            with self.writing(letter) as writer:
                writer.discard(code, "sat on")
        except StraycellError:
            return
        self.discarded.add(code)

    def incident(self, letter: str) -> None:
        code = self._code(letter)
        if code is not None:
            with self.writing(letter) as writer:
                kind = self.dice.choice(["drop", "warm", "vented"])
                writer.add_incident(kind, [code], severe=kind == "vented")

    def move_incident(self, letter: str) -> None:
        """It was another cell, or another kind. Law: that one counts there, and all others where they did."""
        with self.shelves[letter].reading() as reader:
            before = {code: each.upsets for code, each in reader.evidences().items() if each.upsets}
            codes = [cell.code for cell in reader.cells()]
        code, other = self.dice.choice(sorted(before) or [""]), self.dice.choice(codes)
        if code in ("", other):
            return
        happened, kind = self.dice.choice(before[code]), self.dice.choice(["drop", "vented"])
        to, instead = self.dice.choice([(other, None), (None, (kind, kind == "vented"))])
        mistake = Mistake.WRONG_CELL if to else Mistake.MISTYPED
        try:
            with self.writing(letter) as writer:
                writer.withdraw_incident(code, happened, mistake, "the next one", to, instead)
        except BadData:  # what a restore brought back, or the same kind again
            return
        with self.shelves[letter].reading() as reader:
            after = {code: each.upsets for code, each in reader.evidences().items()}
        self.premises["moved incidents"] += 1
        # Two benches may have moved one to the same cell: it is there twice, and moves as one.
        was, now = (
            {(each, u.kind, u.severe, u.at) for each, upsets in side.items() for u in upsets}
            for side in (before, after)
        )
        assert was - now == {(code, happened.kind, happened.severe, happened.at)}
        placed = (to or code, *(instead or (happened.kind, happened.severe)), happened.at)
        assert placed in now and now - was <= {placed}

    def hand_over(self, letter: str) -> None:
        try:
            with self.writing(letter) as writer:
                entry = writer.add_handover("yard")
                if self.dice.random() < 0.7:
                    writer.close_handover(entry.id)
        except BadData:  # no cell waits
            self.premises["empty hand-overs"] += 1

    def back_up(self, letter: str) -> None:
        file = self.folder / f"backup-{letter}-{len(self.backups[letter])}.sqlite"
        backup_store(self.shelves[letter].path, file)
        self.backups[letter].append(file)

    def restore(self, letter: str) -> None:
        """Law: what was out of use stays so, for every cell that the backup knows."""
        if not self.backups[letter]:
            return
        shelf = self.shelves[letter]
        before, found = stages(shelf), digests(shelf)
        done = restore_store(
            self.dice.choice(self.backups[letter]), shelf.path, now=self.now, rules=self.rules
        )
        assert done.aside is not None
        done.aside.unlink()
        after = stages(shelf)
        for digest, code in found.items():
            if code in after:
                self.premises["findings"] += 1
                assert digest in digests(shelf), code
        for code in after.keys() & before.keys():
            if before[code] in OUT:
                self.premises["restored"] += 1
                assert after[code] in OUT, code

    def merge(self, letter: str) -> None:
        """Laws: a second merge writes nothing; which side takes in which makes no difference; discards stay."""
        other = self.dice.choice([each for each in LETTERS if each != letter])
        mine, theirs = self.shelves[letter], self.shelves[other]
        merged = self.commutes(mine, theirs)
        # Four merges of whole stores: by far the dearest law, and three benches give it few different cases.
        if self.premises["commuted"] % 2 == 0:
            self.associates()
        known_before = digests(mine) | digests(theirs)
        shutil.move(merged.path, mine.path)
        self.premises["idempotent"] += 1
        before = mine.path.read_bytes()
        self._merge(mine, theirs)
        assert mine.path.read_bytes() == before
        here, kept = stages(mine), digests(mine)
        for digest in known_before:
            self.premises["findings"] += 1
            assert digest in kept
        for code in self.discarded & here.keys():
            self.premises["discards"] += 1
            with mine.reading() as reader:
                known = reader.evidence(code).condemned is not None
            assert not known or here[code] in OUT, code

    def _merge(self, mine: Shelf, theirs: Shelf) -> None:
        with mine.writing(self.now) as writer:
            writer.write(merge_store, theirs.path)

    def _copy(self, shelf: Shelf, name: str) -> Shelf:
        made = Shelf(self.folder / f"{name}.sqlite", self.rules)
        shutil.copyfile(shelf.path, made.path)
        return made

    def commutes(self, mine: Shelf, theirs: Shelf) -> Shelf:
        """The same writes, stages and evidence whichever side takes in the other; what `mine` is after its merge."""
        left, right = self._copy(mine, "merged"), self._copy(theirs, "right")
        self._merge(left, theirs)
        self._merge(right, mine)
        self.premises["commuted"] += 1
        assert said(left) == said(right)
        assert writes(left) == writes(right)
        return left

    def associates(self) -> None:
        """(a with b) with c says the same as a with (b with c)."""
        a, b, c = self.shelves.values()
        left, right, middle = self._copy(a, "left"), self._copy(a, "right"), self._copy(b, "middle")
        self._merge(left, b)
        self._merge(left, c)
        self._merge(middle, c)
        self._merge(right, middle)
        self.premises["associated"] += 1
        assert said(left, when_found=False) == said(right, when_found=False)

    def sound(self) -> None:
        """No store has a fault."""
        for letter, shelf in self.shelves.items():
            with shelf.reading() as reader:
                assert reader.check(self.rules) == [], letter


def stages(shelf: Shelf) -> dict[str, Stage]:
    """Where each cell stands."""
    with shelf.reading() as reader:
        return {cell.code: cell.stage for cell in reader.cells()}


def digests(shelf: Shelf) -> dict[str, str]:
    """The findings of a store, fallen ones too, and the cell of each."""
    with shelf.bare() as conn:
        return dict(conn.execute("SELECT digest, code FROM finding"))


def writes(shelf: Shelf) -> set[str]:
    """The keys of all writes."""
    with shelf.bare() as conn:
        return {key for (key,) in conn.execute('SELECT key FROM "write"')}


def said(shelf: Shelf, *, when_found: bool = True) -> dict[str, object]:
    """What a store says of each cell, without row numbers, which are its own.

    What only two benches' records together show is found by the merge that first holds both, and bears its time:
    without `when_found` it may be either, and the order of findings with it.
    """
    with shelf.reading() as reader:
        # A bench calls its own chargers by their bare name.
        here = reader.bench_letter()
        evidence = {
            code: replace(
                each,
                charges=tuple(replace(c, charger=c.charger and apart(c.charger, here)) for c in each.charges),
                floats=tuple(replace(c, name=c.owned) for c in each.floats),
                last_reading="",
                upsets=tuple(replace(u, event=0) for u in each.upsets),
                findings=each.findings if when_found else _whenever(each.findings),
            )
            for code, each in reader.evidences().items()
        }
        cells = {cell.code: (cell.stage, cell.facts, cell.pack) for cell in reader.cells()}
    return {code: (cells[code], each) for code, each in evidence.items()}


def _whenever(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(sorted((replace(f, recorded=NOW) for f in findings), key=lambda f: f.digest))
