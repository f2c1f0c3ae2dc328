"""Taking a cell out of use for good, and recording that something happened to cells."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance import Condemnation
from straycell.bench.context import Bench
from straycell.bench.recording.record import After, Lost
from straycell.errors import BadData
from straycell.plain_text import one_line
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
    kind = find_incident(name)
    if kind is None and not severe and (meant := severe_in(name)) is not None:
        raise BadData(
            f"'{one_line(name)[:80]}' may mean '{meant.id}', which condemns: {meant.text}",
            f"say {meant.id}, or your own words with --severe; if it was less, say it without that word",
        )
    worst = severe or (kind is not None and kind.severe)
    with bench.writing() as writer:
        found = list(dict.fromkeys(writer.find_code(code) for code in codes))
        held_by = {code: build.project for build in writer.builds() for code in build.codes if code in found}
        known = kind.id if kind is not None else name
        number = writer.add_incident(known, found, note, worst)
        writer.settle()
        verdicts = writer.verdicts(bench.rules, bench.now, found)
        after = tuple(After(writer.cell(code), verdicts[code]) for code in found)
        built = {code for b in writer.builds() if b.finished_at is not None for code in b.codes}
        still = {code for build in writer.builds() for code in build.codes}
    lost = {p: (c, c in built) for c, p in held_by.items() if c in built or c not in still}
    return Incident(number, known, kind, worst, after, lost)
