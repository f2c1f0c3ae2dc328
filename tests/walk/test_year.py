"""A year at the bench with three hundred cells of known truth, then one with fewer and other dice; or a small one alone.

No dangerous cell is ever offered, sits in a pack unnoticed, or is missing from `due` and the hand-over once the
records tell of it; and the good ones are not thrown away for that.
"""

from __future__ import annotations

import pickle
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from tests.drawing import FULL
from tests.once import Once, made_once
from tests.walk.person import DEEDS, PLANS, Person, Week
from tests.walk.truth import HARMLESS, Kind, TrueCell, make_cells

from straycell.acceptance import Outcome
from straycell.cells import Stage
from straycell.safety.due.survey import due_kinds

AT_ONCE = {Kind.BAD_LOOK, Kind.DEEP, Kind.OVER, Kind.PRIMARY, Kind.SWOLLEN_LATER, Kind.SHORTED, Kind.MIS_DEEP}
HELD = {"isolate", "set-apart", "in-device", "handover", "handover-damaged"}


@dataclass(frozen=True)
class Crowd:
    """Cells drawn from one seed, dealt to benches that each live the same year on a store of their own.

    `before` is the usable share of its good cells just before findings were kept: measured with that version of the rules
    and the same dice, or all of them where nobody measured.
    """

    seed: int
    share: float
    benches: str
    crate: int
    matches_every: int
    before: float = 1.0

    @property
    def whole(self) -> bool:
        """Large enough for what is rare."""
        return self.share == 1.0

    def live(self, bench: str, folder: Path) -> None:
        """One bench's year, left in the folder."""
        number = self.benches.index(bench)
        cells = make_cells(self.seed, self.share)[number :: len(self.benches)]
        store = folder / "year.sqlite"
        person = Person(
            self.seed + number,
            path=store,
            bench=bench,
            crate=self.crate,
            matches_every=self.matches_every,
            cells=cells,
        ).year()
        (folder / "year.pickle").write_bytes(pickle.dumps(_told(person, self)))


# The larger crowd works at four benches, so that several workers can live its year at once.
LARGE = {
    "three hundred cells": Crowd(20260103, 1.0, "ABCD", 12, 8, 0.982),
    "another hundred and twenty": Crowd(77, 0.4, "A", 30, 4),
}
# Few dice show every trouble to so few cells: with these there are flat cells that leak and a danger inside a pack.
YEARS = LARGE if FULL else {"half a hundred": Crowd(79, 0.16, "A", 12, 4)}


@dataclass
class Year:
    """What is left of a year: the weeks, the truth, and when the records first told of each danger."""

    weeks: list[Week]
    cells: dict[str, TrueCell]
    known_bad: dict[str, tuple[float, str]]
    lists: list[dict[str, Any]]
    refused: list[str]
    mixed_refusals: int
    acted: Counter[str]
    crowd: Crowd

    def after(self, code: str) -> list[Week]:
        """The weeks that ended after the records told of a cell."""
        return [week for week in self.weeks if week.day > self.known_bad[code][0]]


def _told(person: Person, crowd: Crowd) -> Year:
    return Year(
        person.weeks,
        person.by_code,
        person.known_bad,
        person.lists,
        person.refused,
        person.mixed_refusals,
        person.acted,
        crowd,
    )


def _together(years: Sequence[Year]) -> Year:
    """The benches side by side: codes carry the bench's letter, so nothing collides."""
    weeks = [
        Week(
            day=same[0].day,
            due=[item for week in same for item in week.due],
            offered=set[str]().union(*(week.offered for week in same)),
            matched=set[str]().union(*(week.matched for week in same)),
            outcomes={code: outcome for week in same for code, outcome in week.outcomes.items()},
            stages={code: stage for week in same for code, stage in week.stages.items()},
            boxes={code: box and f"{code[0]}: {box}" for week in same for code, box in week.boxes.items()},
            in_packs=set[str]().union(*(week.in_packs for week in same)),
        )
        for same in zip(*(year.weeks for year in years), strict=True)
    ]
    return Year(
        weeks,
        {code: cell for year in years for code, cell in year.cells.items()},
        {code: known for year in years for code, known in year.known_bad.items()},
        [body for year in years for body in year.lists],
        [code for year in years for code in year.refused],
        sum(year.mixed_refusals for year in years),
        sum((year.acted for year in years), Counter[str]()),
        years[0].crowd,
    )


@pytest.fixture(scope="session", params=YEARS)
def year(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Year:
    """Each crowd's year, lived once however many workers ask for it."""
    crowd = YEARS[request.param]
    parts = [
        Once(tmp_path_factory, f"year-{crowd.seed}-{bench}", partial(crowd.live, bench))
        for bench in crowd.benches
    ]
    return _together([pickle.loads((part / "year.pickle").read_bytes()) for part in made_once(parts)])


def test_there_was_something_to_find(year: Year) -> None:
    """Every kind of trouble, iron phosphate among most, each danger told by the records some time."""
    kinds = Counter(cell.kind for cell in year.cells.values())
    assert abs(kinds.total() - 300 * year.crowd.share) <= 1 and set(kinds) == set(Kind)
    flat = Counter(cell.kind for cell in year.cells.values() if cell.lfp)
    assert flat[Kind.GOOD] >= min(6, 0.04 * kinds.total()) and flat[Kind.LEAKY]
    told = Counter(year.cells[code].kind for code in year.known_bad)
    assert told.total() >= 0.3 * kinds.total()
    for kind in (Kind.BAD_LOOK, Kind.DEEP, Kind.OVER, Kind.PRIMARY, Kind.SHORTED, Kind.LEAKY):
        assert told[kind] >= 0.9 * kinds[kind], kind
    assert told[Kind.SWOLLEN_LATER] >= 0.7 * kinds[Kind.SWOLLEN_LATER]
    assert not year.crowd.whole or (year.refused and year.mixed_refusals)


def test_no_dangerous_cell_is_ever_offered(year: Year) -> None:
    """False negatives 0: not by match, and not fit to be matched by anybody, from the evening it is known."""
    wrong = [
        (code, week.day, year.known_bad[code])
        for code in year.known_bad
        for week in year.after(code)
        if code in week.offered or (code in week.matched and week is not year.after(code)[0])
    ]
    assert not wrong


def test_a_leaky_cell_is_not_offered_before_its_check_either(year: Year) -> None:
    """Unknown is never a pass: nobody knows yet that it leaks, and it is on hold."""
    wrong = [
        (code, week.day)
        for code, cell in year.cells.items()
        if cell.kind in (Kind.LEAKY, Kind.DEEP, Kind.OVER, Kind.PRIMARY)
        for week in year.weeks
        if code in week.offered
    ]
    assert not wrong


def test_no_dangerous_cell_sits_in_a_pack_unnoticed(year: Year) -> None:
    """A cell that turns out dangerous inside a build stands first in `due` until that is taken apart."""
    inside = 0
    for code in year.known_bad:
        for week in year.after(code):
            if code in week.in_packs:
                inside += 1
                assert ("in-device", code) in {(i.kind.id, i.subject) for i in week.due}, (code, week.day)
    assert inside, "no cell turned dangerous inside a pack: the walk shows nothing"


def test_what_the_records_tell_at_once_condemns_at_once(year: Year) -> None:
    """Look, voltage, history: no evening passes with such a cell anything but condemned or gone."""
    wrong = [
        (code, week.day, week.stages[code], year.known_bad[code])
        for code in year.known_bad
        if year.cells[code].kind in AT_ONCE
        for week in year.after(code)
        if week.stages[code] not in (Stage.CONDEMNED, Stage.HANDED_OVER)
    ]
    assert not wrong


def test_a_condemned_cell_is_in_due_until_it_lies_apart(year: Year) -> None:
    """False negatives 0: wherever it lies wrongly, `due` says so that very evening."""
    for week in year.weeks:
        told = {item.subject for item in week.due if item.kind.id in HELD}
        good = {week.boxes[c] for c, s in week.stages.items() if s in (Stage.RECEIVED, Stage.SHELVED)}
        for code, stage in week.stages.items():
            if stage is Stage.CONDEMNED and (week.boxes[code] is None or week.boxes[code] in good):
                assert code in told, (code, week.day)


def test_a_condemned_cell_is_in_due_when_it_waits_too_long(year: Year) -> None:
    """Two weeks for a damaged cell; every kind of danger here is damage, but for a clean primary cell."""
    for week in year.weeks:
        told = {item.subject for item in week.due if item.kind.id.startswith("handover")}
        built_in = {item.subject for item in week.due if item.kind.id == "in-device"}
        for code, (day, _) in year.known_bad.items():
            limit = 90 if year.cells[code].kind is Kind.PRIMARY else 14
            waits = _condemned_for(year, code, week)
            if waits is not None and waits > limit and day < week.day and code not in built_in:
                assert code in told, (code, week.day, waits)


def _condemned_for(year: Year, code: str, week: Week) -> float | None:
    """Days a cell has been condemned for sure, counted from the first evening that shows it."""
    if week.stages.get(code) is not Stage.CONDEMNED:
        return None
    since = week.day
    for before in reversed([w for w in year.weeks if w.day <= week.day]):
        if before.stages.get(code) is not Stage.CONDEMNED:
            break
        since = before.day
    return week.day - since


def test_every_dangerous_cell_that_left_stands_on_one_list_as_damaged(year: Year) -> None:
    """The hand-over misses none, lists none twice, and calls none intact that is not."""
    listed = [(cell["code"], line) for body in year.lists for line in body["lines"] for cell in line["cells"]]
    counts = Counter(code for code, _ in listed)
    assert not [code for code, count in counts.items() if count > 1]
    gone = {code for code, stage in year.weeks[-1].stages.items() if stage is Stage.HANDED_OVER}
    assert gone == set(counts)
    state = {code: line["condition"] for code, line in listed}
    for code in year.known_bad:
        if code in gone and year.cells[code].kind is not Kind.PRIMARY:
            assert state[code] == "damaged or defective", (code, year.known_bad[code])


def test_a_cell_that_begins_to_leak_on_the_shelf_is_told(year: Year) -> None:
    """Out of the offers, or told by `due`, at the latest when it has lost a quarter of its charge and was checked."""
    told_at: dict[str, float] = {}
    for week in year.weeks:
        for code, cell in year.cells.items():
            known = {i.kind.id for i in week.due if i.subject == code}
            held = week.outcomes.get(code, Outcome.HOLD) <= Outcome.HOLD
            if cell.turned(week.day) and (
                held or known & {"falling", "sinking", "sinks-soon", "storage-voltage"}
            ):
                told_at.setdefault(code, week.day)
    later = {code: cell for code, cell in year.cells.items() if cell.kind is Kind.LEAKY_LATER}
    for code, cell in later.items():
        points = 36 if cell.lfp else 25  # a flat curve tells only near its end, a tenth of the 40 % left
        quarter_day = cell.turns_day + 30 * points / cell.later_loss
        check_day = quarter_day + 90 + 14 + 7  # the next check, its grace, and the next Saturday
        if check_day < year.weeks[-1].day:
            assert told_at.get(code, 1e9) <= check_day, (code, cell.turns_day, cell.later_loss)


def test_a_flat_curve_is_told_by_a_second_run(year: Year) -> None:
    """Iron phosphate: a leak ends as a discard, a good cell reaches solo; both by the charge kept over four weeks."""
    last, flat = year.weeks[-1], [(code, cell) for code, cell in year.cells.items() if cell.lfp]
    out = (Stage.CONDEMNED, Stage.HANDED_OVER)
    leaky = [code for code, cell in flat if cell.kind is Kind.LEAKY]
    assert sum(last.stages[code] in out for code in leaky) >= 0.9 * len(leaky)
    good = [code for code, cell in flat if cell.kind is Kind.GOOD]
    reached = [c for c in good if any(w.outcomes.get(c, Outcome.HOLD) >= Outcome.SOLO for w in year.weeks)]
    assert len(reached) >= 0.8 * len(good)
    assert sum(last.stages[code] in out for code in good) <= 0.05 * len(good)


def test_a_cell_that_leaks_is_out_in_the_end(year: Year) -> None:
    """Found by its check: condemned, gone, or still held; never free for use at the year's end."""
    last = year.weeks[-1]
    leaky = [code for code, cell in year.cells.items() if cell.kind is Kind.LEAKY]
    assert not [code for code in leaky if last.outcomes[code] > Outcome.HOLD]
    out = [code for code in leaky if last.stages[code] in (Stage.CONDEMNED, Stage.HANDED_OVER)]
    assert len(out) >= 0.9 * len(leaky)


def test_at_most_five_per_cent_of_the_good_cells_are_lost(year: Year) -> None:
    """Holding everything is no safety, and neither is throwing everything away."""
    last = year.weeks[-1]
    good = [code for code, cell in year.cells.items() if cell.kind in HARMLESS]
    lost = [code for code in good if last.stages[code] in (Stage.CONDEMNED, Stage.HANDED_OVER)]
    assert len(lost) <= 0.05 * len(good), lost


def test_the_good_cells_stay_as_usable_as_before_dangers_were_kept(
    year: Year, record_property: Callable[[str, object], None]
) -> None:
    """Of the good, fully measured ones; and at the year's end they still are, or sit in a device."""
    last = year.weeks[-1]
    good = [code for code, cell in year.cells.items() if cell.kind in HARMLESS]
    reached = [c for c in good if any(w.outcomes.get(c, Outcome.HOLD) >= Outcome.SOLO for w in year.weeks)]
    assert len(reached) >= 0.8 * len(good)
    still = [c for c in good if last.outcomes[c] >= Outcome.SOLO or last.stages[c] is Stage.INSTALLED]
    share, before = len(still) / len(good), year.crowd.before
    offered = sum(code in week.offered for code in year.known_bad for week in year.after(code))
    record_property(
        "figures",
        f"a year with {len(year.cells)} cells: dangerous ones offered {offered}; "
        f"good ones usable {share:.1%}, before findings were kept {before:.1%}",
    )
    assert not offered and len(still) >= int((before - 0.03) * len(good))  # in whole cells


def test_nothing_that_due_asked_for_was_ignored(year: Year) -> None:
    """The person knows a deed for every kind of it; packs' groups and the charger are measured, too."""
    known = set(DEEDS) | set(PLANS) | {"handover", "handover-damaged"}
    assert known == set(due_kinds())
    assert year.acted["charger"] >= 3 and year.acted["group-voltages"] >= 4


def test_a_dropped_cell_is_held_until_it_is_tested_again(year: Year) -> None:
    """Whatever its figures say; then it may go on."""
    drop_day = 14 * 7.0
    dropped = [code for code, cell in year.cells.items() if cell.kind is Kind.DROPPED]
    week = next(w for w in year.weeks if w.day > drop_day)
    hurt = [c for c in dropped if ("incident", c) in {(i.kind.id, i.subject) for i in week.due}]
    assert all(week.outcomes[code] is Outcome.HOLD for code in hurt)
    # At the very end a sibling that leaks may hold it again.
    later = [w for w in year.weeks if w.day > drop_day + 70]
    fit = [c for c in dropped if any(w.outcomes[c] >= Outcome.SOLO for w in later)]
    assert len(fit) >= 0.75 * len(dropped)


def test_the_evenings_stay_short(year: Year) -> None:
    """A person reads the list: after the intake, on most Saturdays not more than a third of the cells are on it."""
    later = [week for week in year.weeks if week.day > 150]
    busy = [week for week in later if len({i.subject for i in week.due}) > len(year.cells) / 3]
    assert len(busy) <= 0.1 * len(later)
