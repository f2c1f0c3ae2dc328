"""Everything that must be looked at, worst first: of cells, builds, meters and chargers."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from straycell.acceptance import Outcome, Reason, Verdict, usable
from straycell.builds import Build, BuildState
from straycell.cells import Stage
from straycell.quantities import count_of
from straycell.readings import COUNTS_FOR, Quantity
from straycell.safety.due.cells import cells_due
from straycell.safety.due.survey import DueItem, Household, Kept, danger_of, due_kinds
from straycell.safety.group_watch import WATCH, next_inspection


def builds_due(household: Household) -> Iterator[DueItem]:
    """Finished builds: looked at two weeks after they were finished, then twice a year; joined packs: their groups."""
    by_code = {kept.code: kept for kept in household.kept}
    for build in household.builds:
        if (at := next_inspection(build)) is not None:
            times = "once" if len(build.inspections) == 1 else f"{len(build.inspections)} times"
            why = f"{len(build.groups)} groups in series, measured {times} since joining"
            yield DueItem(due_kinds()[WATCH], build.project, at, why, about="build")
        if build.state is not BuildState.FINISHED or build.finished_at is None:
            continue
        cells = [by_code[code] for code in build.codes if code in by_code]
        yield from _doubtful(build, cells)
        yield _inspection(build, cells)


def _doubtful(build: Build, cells: list[Kept]) -> Iterator[DueItem]:
    for kept in cells:
        # A cell in use cannot be tested in place, so a doubt that would hold it means opening the device.
        reason = unfit(kept.verdict) if kept.cell.stage is Stage.INSTALLED else None
        if reason is not None:
            yield DueItem(
                due_kinds()["in-device"],
                kept.code,
                kept.since(reason.at),
                f"{reason.text} (in '{build.project}')",
                fill={"project": build.project},
            )


def unfit(verdict: Verdict) -> Reason | None:
    """Why a cell must not stay in a device; None where it may."""
    if usable(verdict.outcome):
        return None
    reason = next(filter(_concerns_a_device, verdict.deciding), None)
    if reason is None and verdict.outcome is Outcome.DISCARD:
        reason = next(iter(verdict.deciding), None)
    return reason


def _concerns_a_device(reason: Reason) -> bool:
    # That a reading grew old does not, nor that the device emptied it: neither can be mended in there.
    return reason.rule == "chemistry" or danger_of(reason) not in ("", "sinking")


def _inspection(build: Build, cells: list[Kept]) -> DueItem:
    kind = due_kinds()["inspection"]
    assert build.finished_at is not None
    last = inspected_at(build, cells)
    # Faults of joints and clearance show in the first days of use, faults of cells over months (common
    # practice).
    days = kind.days["first" if last is None else "every"]
    since = last or build.finished_at
    word = "finished" if last is None else "looked at"
    why = f"{word} {since:%Y-%m-%d}: {count_of(len(build.codes), 'cell')}"
    return DueItem(kind, build.project, since + timedelta(days=days), why, about="build")


def inspected_at(build: Build, cells: list[Kept]) -> datetime | None:
    """When all cells of a build were last looked at after it was finished: the oldest of their latest looks."""
    latest = [
        max(
            (r.at for r in kept.case.of(Quantity.LOOK) if build.finished_at and r.at > build.finished_at),
            default=None,
        )
        for kept in cells
    ]
    # A build is as well inspected as its least inspected cell.
    seen = [at for at in latest if at is not None]
    return min(seen) if seen and len(seen) == len(latest) else None


def meters_due(household: Household) -> Iterator[DueItem]:
    """Meters that were not compared for a year, or never since they were declared."""
    # Hand-held meters are calibrated once a year by common practice; every limit here rests on one.
    kind = due_kinds()["meter"]
    for meter in sorted(household.meters, key=lambda m: m.name):
        word = "last compared" if meter.compared else "never compared, declared"
        at = meter.last + timedelta(days=kind.days["every"])
        yield DueItem(kind, meter.name, at, f"{word} {meter.last:%Y-%m-%d}", about="meter")


def chargers_due(household: Household) -> Iterator[DueItem]:
    """Slots whose measured float has ceased to count, or soon will."""
    # The float is what over-charges: a later check of the counting alone does not put its date off.
    by_float = sorted(household.chargers, key=lambda c: (c.float_v is not None, c.at))
    newest = {(c.name, c.slot): c for c in by_float}
    for (name, slot), charger in sorted(newest.items(), key=lambda each: (each[0][0], each[0][1] or 0)):
        said = f"'{name}'" if slot is None else f"'{name}' --slot {slot}"
        which = name if slot is None else f"{name} slot {slot}"
        why = f"last measured {charger.at:%Y-%m-%d}"
        at = charger.at + COUNTS_FOR
        yield DueItem(due_kinds()["charger"], which, at, why, about="charger", fill={"charger": said})


def survey(household: Household) -> list[DueItem]:
    """All that is due now or will be, as things are, worst first. Same input, same list."""
    found: Iterable[DueItem] = [
        *cells_due(household),
        *builds_due(household),
        *meters_due(household),
        *chargers_due(household),
    ]
    return sorted(found, key=lambda item: item.order)


def due_now(items: Iterable[DueItem], now: datetime) -> list[DueItem]:
    """Those whose time has come, worst first."""
    return [item for item in items if item.at <= now]


def due_until(items: Iterable[DueItem], now: datetime, until: datetime) -> list[DueItem]:
    """Those whose time comes after `now`, up to `until`, the soonest first."""
    return sorted((item for item in items if now < item.at <= until), key=lambda item: (item.at, item.order))
