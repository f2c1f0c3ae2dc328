"""Bars from the store: a cell's figures against their limits, boxes against theirs, what each kind of gear yields."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from straycell.acceptance import Outcome, Reason, RuleSet, Status, Verdict
from straycell.acceptance.rules import Shown
from straycell.bench.cell_list import Listed, Wanted, cell_list
from straycell.bench.context import Bench
from straycell.bench.paper.inventory import boxes_now
from straycell.bench.wording.figure_words import figure
from straycell.cells import Stage
from straycell.pictures.bars import Bar, Chart
from straycell.quantities import count_of, plain
from straycell.safety.energy import Held, energy_wh, nominal_v
from straycell.safety.stock import BoxStock
from straycell.store.book.records import Event
from straycell.teardowns import Teardown

MOST_PER_CENT = 200.0
"""A figure further beyond its limit is drawn to here: its words have the value."""

LONGEST_PAUSE = timedelta(minutes=15)
"""Longer between two writes, and the person was away (common practice, no published source)."""

_SIGNS = {Status.FAILED: "!", Status.CLOSE: "?", Status.MET: "", Status.UNMEASURED: ""}


# --- a cell against its limits ---------------------------------------------------------------------


def limits_chart_of(bench: Bench, code: str) -> Chart:
    """Every figure of a cell that has a limit, by its code as typed. Raises BadData."""
    with bench.reading() as reader:
        found = reader.find_code(code)
        verdict = reader.verdict(found, bench.rules, bench.now)
    return limits_chart(verdict, bench.rules)


def limits_chart(verdict: Verdict, rules: RuleSet) -> Chart:
    """Value and U in per cent of the limit, what is beyond it or too close first."""
    order = {Status.FAILED: 0, Status.CLOSE: 1, Status.MET: 2}
    reasons = sorted(
        (reason for reason in verdict.reasons if reason.status in order),
        key=lambda reason: order[reason.status],
    )
    bars = [bar for reason in reasons if (bar := _limit_bar(reason, rules)) is not None]
    title = f"{verdict.code}: {verdict.outcome.word}, figures against their limits"
    empty = f"{verdict.code} has no figure with a limit yet"
    sure, may = "the figure less its uncertainty", "its uncertainty"
    return Chart(title, "%", tuple(bars), 100.0, "limit", empty, sure, may)


def _limit_bar(reason: Reason, rules: RuleSet) -> Bar | None:
    value, limit = reason.observed, reason.limit
    # A limit of zero or below has no per cent; its rule is in the verdict's page.
    if not isinstance(value, int | float) or not isinstance(limit, int | float) or limit <= 0:
        return None
    known = rules.behind(reason.rule)
    shown, bound = (known.shown, known.bound) if known is not None else (Shown.PLAIN, "")
    spread = reason.expanded_uncertainty or 0.0
    low, at, high = (
        min(max(0.0, 100.0 * part / limit), MOST_PER_CENT) for part in (value - spread, value, value + spread)
    )
    side = {"min": "at least ", "max": "at most "}.get(bound, "limit ")
    words = (
        f"{figure(value, reason.unit, reason.expanded_uncertainty, shown=shown)},"
        f" {side}{figure(limit, reason.unit, shown=shown)}"
    )
    return Bar(reason.rule, low, at, high, _SIGNS[reason.status], words)


# --- boxes -----------------------------------------------------------------------------------------


def boxes_chart_of(bench: Bench) -> Chart:
    """Every box with the energy that lies in it."""
    return boxes_chart(boxes_now(bench, with_due=False))


def boxes_chart(found: Sequence[BoxStock]) -> Chart:
    """Wh in per cent of each box's limit; a box without one has its figures in words alone."""
    return Chart(
        "Boxes: energy in % of their limits",
        "%",
        tuple(map(_box_bar, found)),
        100.0,
        "limit",
        "no box and no cell recorded yet",
    )


def _box_bar(box: BoxStock) -> Bar:
    wh = box.energy.value
    about = "about " if box.energy.estimated else ""
    # Beyond its limit a bar is cut where the scale ends, and the words have the figure.
    share = min(100.0 * wh / box.limit_wh, MOST_PER_CENT) if box.limit_wh else 0.0
    of = f" of {box.limit_wh:g} Wh" if box.limit_wh else " Wh, no limit set"
    words = f"{about}{plain(wh, 3)}{of}, {count_of(box.cells, 'cell')}"
    return Bar(box.name or "(no box)", share, share, share, "!" if box.over_limit else "", words)


# --- what is worth opening -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Yield:
    """What a kind of gear gave. `usable_wh` came out of `usable` cells, `waiting_wh` lies in cells on hold.

    `bench_h` is how long its cells were worked on, None where the writes do not show it.
    """

    kind: str
    objects: int
    cells: int
    usable: int
    waiting: int
    usable_wh: float
    waiting_wh: float
    bench_h: float | None


def yields_of(bench: Bench) -> list[Yield]:
    """Every kind of gear that was opened, the most usable Wh an object first."""
    with bench.reading() as reader:
        teardowns = list(reader.teardowns())
        listed = cell_list(reader, bench.rules, bench.now, Wanted())
        events = [event for event, _ in reader.own_events(datetime(1990, 1, 1, tzinfo=UTC))]
    return yields(
        teardowns, listed, bench_hours(events, {each.cell.code: each.cell.teardown for each in listed})
    )


def yields(
    teardowns: Sequence[Teardown], listed: Sequence[Listed], hours: Mapping[str, float]
) -> list[Yield]:
    """The same from what was read; `hours` by tear-down. Kinds that differ in case alone are one."""
    kinds: dict[str, list[Teardown]] = {}
    for teardown in teardowns:
        kinds.setdefault(teardown.kind.casefold(), []).append(teardown)
    found = [_yield(opened, listed, hours) for opened in kinds.values()]
    return sorted(found, key=lambda each: (-each.usable_wh / each.objects, each.kind))


def _yield(opened: Sequence[Teardown], listed: Sequence[Listed], hours: Mapping[str, float]) -> Yield:
    codes = {teardown.code for teardown in opened}
    cells = [each for each in listed if each.cell.teardown in codes]
    # A cell in a device has become usable, even when its last check is too old for a new use.
    usable = [each for each in cells if each.outcome >= Outcome.LIGHT or each.cell.stage is Stage.INSTALLED]
    waiting = [each for each in cells if each.outcome is Outcome.HOLD and each not in usable]
    return Yield(
        opened[0].kind,
        sum(teardown.objects for teardown in opened),
        len(cells),
        len(usable),
        len(waiting),
        math.fsum(map(_wh, usable)),
        math.fsum(map(_wh, waiting)),
        math.fsum(hours.get(code, 0.0) for code in codes) or None,
    )


def _wh(each: Listed) -> float:
    """What was measured, not what is printed: a worn cell holds less than its print."""
    facts = each.cell.facts
    return each.capacity.value * nominal_v(facts.chemistry) if each.capacity else energy_wh(Held(facts)).value


def bench_hours(events: Iterable[Event], came_from: Mapping[str, str | None]) -> dict[str, float]:
    """Hours at the bench by tear-down: the time before each write, unless it was a pause, goes to its cells' objects."""
    hours: dict[str, float] = {}
    before: datetime | None = None
    for event in sorted(events, key=lambda each: each.at):
        gap, before = event.at - (before or event.at), event.at
        at_work = {code for cell in event.cells if (code := came_from.get(cell)) is not None}
        if event.verb.startswith("teardown-"):
            at_work.add(event.subject)
        if gap <= LONGEST_PAUSE:
            for code in at_work:
                hours[code] = hours.get(code, 0.0) + gap.total_seconds() / 3600.0 / len(at_work)
    return {code: found for code, found in hours.items() if found > 0}


def yield_chart_of(bench: Bench) -> Chart:
    """Every kind of gear that was opened."""
    return yield_chart(yields_of(bench))


def yield_chart(found: Sequence[Yield]) -> Chart:
    """Usable Wh of an object opened, and pale what its cells on hold may add."""
    bars = [
        Bar(
            each.kind,
            each.usable_wh / each.objects,
            each.usable_wh / each.objects,
            (each.usable_wh + each.waiting_wh) / each.objects,
            words=_yield_words(each),
        )
        for each in found
    ]
    return Chart(
        "What each kind of gear gave: usable Wh an object, and what is still on hold",
        "Wh an object",
        tuple(bars),
        None,
        empty="no tear-down recorded yet",
        sure="usable",
        may="still on hold",
    )


def _yield_words(each: Yield) -> str:
    words = f"{plain(each.usable_wh / each.objects, 3)} Wh, {each.usable} of {count_of(each.cells, 'cell')} usable"
    if each.objects > 1:
        words += f", {each.objects} objects"
    return f"{words}, {each.usable_wh / each.bench_h:.2g} Wh an hour" if each.bench_h else words
