"""Taking a cell out of use for good; recording that something happened to cells, and taking that back as a mistake."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance import Condemnation
from straycell.acceptance.evidence import DISMANTLED, Upset
from straycell.bench.context import Bench, Writer
from straycell.bench.recording.record import After, Lost, Recorded
from straycell.errors import BadData
from straycell.plain_text import one_line
from straycell.readings import Mistake
from straycell.safety.handover.listing import NOT_LOOKED_OVER, condition_of
from straycell.safety.incidents import IncidentKind, find_incident, severe_in


@dataclass(frozen=True, slots=True)
class Discarded:
    """A cell out of use. `earlier`: a person had discarded it before, and nothing was written.

    `project` lost it; `in_build` tells that it still sits in there. `looked_over` is false where its hand-over list
    will call it damaged for want of a look.
    """

    after: After
    because: str
    at: datetime
    earlier: Condemnation | None
    project: str | None
    in_build: bool
    looked_over: bool


def discard_cell(bench: Bench, code: str, because: str) -> Discarded:
    """Put a cell out of use for good, by its code as typed. Raises BadData."""
    with bench.writing() as writer:
        found = writer.find_code(code)
        earlier = writer.evidence(found).condemned
        project = writer.discard(found, because) if earlier is None else None
        in_build = project is not None and writer.live_build(project) is not None
        writer.settle()
        after = After(writer.cell(found), writer.verdict(found, bench.rules, bench.now))
        condition = condition_of(writer.evidence(found), after.verdict)[1]
    return Discarded(
        after,
        because if earlier is None else earlier.because,
        bench.now if earlier is None else earlier.at,
        earlier,
        project,
        in_build,
        NOT_LOOKED_OVER not in condition,
    )


@dataclass(frozen=True, slots=True)
class Incident:
    """What happened to cells, as recorded: the event's number, and where each cell is now.

    `kind` None is a person's own word. A severe one condemns at once.
    """

    number: int
    name: str
    kind: IncidentKind | None
    severe: bool
    after: tuple[After, ...]
    lost: Lost


def record_incident(
    bench: Bench, codes: Sequence[str], name: str, *, note: str = "", severe: bool = False
) -> Incident:
    """Record that something happened to cells, by their codes as typed. Raises BadData."""
    kind, known, worst = _kind_of(name, severe)
    with bench.writing() as writer:
        found = list(dict.fromkeys(writer.find_code(code) for code in codes))
        held_by = _held_by(writer, found)
        number = writer.add_incident(known, found, note, worst)
        after = _after(bench, writer, found)
        lost = _lost(writer, held_by)
    return Incident(number, known, kind, worst, after, lost)


def _kind_of(name: str, severe: bool) -> tuple[IncidentKind | None, str, bool]:
    """The kind that a word is, what is recorded of it, and whether it condemns. Raises BadData."""
    kind = find_incident(name)
    if kind is None and not severe and (meant := severe_in(name)) is not None:
        raise BadData(
            f"'{one_line(name)[:80]}' may mean '{meant.id}', which condemns: {meant.text}",
            f"say {meant.id}, or your own words with --severe; if it was less, say it without that word",
        )
    return kind, kind.id if kind is not None else name, severe or (kind is not None and kind.severe)


def _held_by(writer: Writer, codes: Sequence[str]) -> dict[str, str]:
    return {code: build.project for build in writer.builds() for code in build.codes if code in codes}


def _lost(writer: Writer, held_by: Mapping[str, str]) -> Lost:
    built = {code for b in writer.builds() if b.finished_at is not None for code in b.codes}
    still = {code for build in writer.builds() for code in build.codes}
    return {p: (c, c in built) for c, p in held_by.items() if c in built or c not in still}


def _after(bench: Bench, writer: Writer, codes: Sequence[str]) -> tuple[After, ...]:
    writer.settle()
    verdicts = writer.verdicts(bench.rules, bench.now, codes)
    return tuple(After(writer.cell(code), verdicts[code]) for code in codes)


@dataclass(frozen=True, slots=True)
class TakenBack:
    """An incident taken back: of what cell, what it was, where it counts now (None: with other cells of it)."""

    cell: str
    was: Upset
    now_of: str | None
    kind: str
    severe: bool
    recorded: Recorded


def withdraw_incident(
    bench: Bench,
    code: str,
    mistake: Mistake,
    because: str,
    *,
    right_cell: str | None = None,
    name: str | None = None,
    severe: bool = False,
    number: str | None = None,
) -> TakenBack:
    """Take an incident of a cell back as a mistake: the one of this number, or the only one. Raises BadData."""
    with bench.writing() as writer:
        found = writer.find_code(code)
        was = _which(writer, found, number)
        right = None if right_cell is None else writer.find_code(right_cell)
        meant = None if name is None and not severe else _kind_of(name or was.kind, severe)[1:]
        kind, worst = meant or (was.kind, was.severe)
        now_of = found if mistake is Mistake.MISTYPED else right
        held_by = _held_by(writer, [now_of] if now_of else [])
        writer.withdraw_incident(found, was, mistake, because, right, meant)
        after = _after(bench, writer, [found, *([right] if right else [])])
        recorded = Recorded((), after, dict(_lost(writer, held_by)))
    return TakenBack(found, was, now_of, kind, worst, recorded)


def _which(writer: Writer, code: str, number: str | None) -> Upset:
    """The incident that is meant. Raises BadData where none is, or several may be."""
    counted = [each for each in writer.evidence(code).upsets if each.kind != DISMANTLED]
    wanted = [each for each in counted if number is None or each.key.split()[-1] == number.strip().upper()]
    # What another cell of an incident lost went to this one: there twice, and one incident.
    wanted, listed_ones = (
        list({(u.kind, u.at, u.severe): u for u in each}.values()) for each in (wanted, counted)
    )
    listed = ", ".join(
        f"{u.key.split()[-1]} {one_line(u.kind)[:40]} {u.at:%Y-%m-%d %H:%M}" for u in listed_ones
    )
    if not wanted:
        raise BadData(
            f"{code} has no incident{f' {one_line(number)[:20]}' if number else ''} on record",
            f"it has: {listed}" if counted else f"see: straycell cell history {code}",
        )
    if len(wanted) > 1:
        raise BadData(f"{code} has {len(wanted)} incidents: {listed}", "say which with --incident NUMBER")
    return wanted[0]
