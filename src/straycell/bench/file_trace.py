"""From a file to what the store keeps of it: read, reduced under the rules, turned into readings, filed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from straycell.acceptance import Case
from straycell.acceptance.checks.steps import SOON
from straycell.bench.context import Bench, Reader
from straycell.bench.recording.record import Recorded, followed
from straycell.bench.uncounted_capacity import doubted, remedy
from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.keys import NEW, RecordKey
from straycell.meters import Accuracy, Meter
from straycell.plain_text import require_plain
from straycell.quantities import Dimension, show
from straycell.readings import CautiousDefaults, Charge, Mistake, Quantity, Reading
from straycell.safety.incidents import heat_incident
from straycell.store.book.records import NewTrace, TraceEntry
from straycell.typed import FIRST_DAY

if TYPE_CHECKING:
    from straycell.traces import Trace, TraceResult

DATED = "dated_s"
"""In a trace's setting: how long it ran, when its time was said or stamped and is not only that of its filing."""
_UNSET_YEARS = (1970, 1980, 2000)
"""Loggers whose clock nobody set count from the first of January of one of these (common practice)."""
_LONG_S, _BOTH_S = 1800.0, 600.0
"""Clocks of two instruments differ by minutes: only long runs that overlap by more are questioned (common practice)."""
_OPENING_DROP_V = 0.35
"""A charge that may have come after the trace counts only if the trace opens this near full (common practice)."""


@dataclass(frozen=True, slots=True)
class Request:
    """What `trace add` was given. `at` is when the trace ended, `at_said` False when that is only now."""

    name: str
    raw: bytes
    at: datetime
    at_said: bool
    meter: Meter | None
    cutoff_v: float | None
    temperature_c: float | None
    columns: str


@dataclass(frozen=True, slots=True)
class Filing:
    """A trace ready to be filed, and what to tell of it; `warmest_c` is the hottest the cell is said to have been."""

    new: NewTrace
    items: tuple[Reading | Charge, ...]
    notes: tuple[str, ...]
    warmest_c: float | None = None


def work_out(case: Case, request: Request, progress: Callable[[float], None] | None = None) -> Filing:
    """Read and reduce a trace of the case's cell. Raises BadData naming the file and its line."""
    from straycell.traces.analyse.derived import Occasion, derived_items
    from straycell.traces.analyse.own_curve import own_curve

    # Derived from the bytes alone and a recorded setting, the same file gives the same figures at any later
    # time.
    trace = read_named(request.name, request.raw, request.columns, progress)
    request, dating = dated(request, trace)
    started = request.at - _duration(trace)
    full_v = min(case.figure("full-voltage"), case.full_voltage_v)
    charge = full_charge_before(case, started, request, opens_at_v=float(trace.voltage_v[0]))
    later = charge is not None and charge.at > started
    setting = _setting(case, request, full_v=full_v, charged=charge is not None)
    # The highest cut-off that counts takes the least out of the cell: the figure errs to the low side.
    cutoff_v = case.figure("capacity-cutoff-high") if request.cutoff_v is None else request.cutoff_v
    result = reduce_with(trace, request.meter, cutoff_v, setting)
    occasion = Occasion(
        cell=case.evidence.code,
        ended_at=request.at,
        meter=request.meter,
        defaults=case.rules.defaults,
        most_v=case.full_voltage_v + case.figure("voltage-over-full"),
        doubt_v=case.full_voltage_v + case.figure("voltage-over-full-doubt"),
        not_before=charge.at if charge is not None and later else None,
        floor_v=None if case.facts.chemistry is Chemistry.PRIMARY else case.figure("voltage-floor"),
        low_v=case.figure("voltage-light-only"),
        rest_s=case.figure("rest-time") * 3600.0,
        explained=case.figure("charge-in"),
    )
    items, doubts = derived_items(trace, result, occasion)
    items += _lone_heat(case, trace, request)
    result = replace(result, warnings=(*result.warnings, *doubts))
    curve = own_curve(trace, result)
    new = NewTrace(
        cell=case.evidence.code,
        name=request.name,
        raw=request.raw,
        at=request.at,
        meter=request.meter,
        cutoff_v=cutoff_v,
        columns=request.columns,
        setting=setting | ({DATED: _duration(trace).total_seconds()} if request.at_said else {}),
        result=result.to_json(),
        curve=None if curve is None else asdict(curve),
    )
    notes = (*dating, *_notes(charge if later else None))
    return Filing(new, tuple(items), notes, warmest(trace, request.temperature_c))


def dated(request: Request, trace: Trace) -> tuple[Request, list[str]]:
    """The request with the end of the run by the file's time stamps, unless a time was said; and what to tell of it.

    Raises BadData for stamps that end in the future.
    """
    if request.at_said or trace.began_at is None:
        return request, []
    began_at = trace.began_at.astimezone(UTC)
    at = began_at + _duration(trace)
    shown = at.astimezone().isoformat(sep=" ", timespec="minutes")
    # A clock that was never set would date a run decades back, where every age limit has passed.
    if began_at.date() < FIRST_DAY or (began_at.year in _UNSET_YEARS and began_at.month == 1):
        return request, [
            f"its time stamps ({shown}) are of a clock that was never set: dated now; or give --at TIME"
        ]
    # A record later than now holds the cell, as every rest and age counts from it.
    if at > request.at:
        raise BadData(
            f"{request.name}: its time stamps end at {shown}, in the future", "give the end with --at TIME"
        )
    return replace(request, at=at, at_said=True), [
        f"dated by its time stamps: ended {shown}; --at TIME overrules them"
    ]


def require_one_at_a_time(reader: Reader, new: NewTrace) -> None:
    """Raise BadData for a long run that another dated one of the same cell overlaps: a cell runs once at a time."""
    long_s = new.setting.get(DATED, 0.0)
    # The same file filed again is not a second run.
    digest = hashlib.sha256(new.raw).hexdigest()
    for other in reader.traces(new.cell) if long_s >= _LONG_S else ():
        other_s = other.setting.get(DATED, 0.0)
        began, other_began = new.at - timedelta(seconds=long_s), other.at - timedelta(seconds=other_s)
        both_s = (min(new.at, other.at) - max(began, other_began)).total_seconds()
        if other_s < _LONG_S or both_s < _BOTH_S or other.sha256 == digest:
            continue
        if reader.trace_readings(other.id)[0]:
            raise BadData(
                f"{new.name} overlaps by {both_s / 3600:.1f} h with trace {other.id} ('{other.name}') of {new.cell}",
                "is one of another cell, or its time wrong? name the cell, or the end with --at TIME",
            )


def _duration(trace: Trace) -> timedelta:
    return timedelta(seconds=float(trace.time_s[-1] - trace.time_s[0]))


def warmest(trace: Trace, said_c: float | None) -> float | None:
    """The highest temperature in the trace in C, a lone sample left out; what was said where the file tells none."""
    from straycell.traces.analyse.derived import steady_peak

    known, _ = steady_peak(trace)
    return said_c if known is None else known


def _lone_heat(case: Case, trace: Trace, request: Request) -> list[Reading | Charge]:
    """A lone sample too hot to be true is not heat, and no pass: somebody says what happened."""
    from straycell.traces.analyse.derived import steady_peak

    # A sensor that slips or a loose plug gives one wild sample; heat in a cell lasts for minutes.
    steady_c, lone_c = steady_peak(trace)
    if lone_c is None or heat_incident(lone_c) is None or heat_incident(steady_c or 0.0) is not None:
        return []
    doubt = f"a lone sample of {lone_c:.0f} C in a trace"
    code = case.evidence.code
    return [Reading(NEW, code, Quantity.TEMPERATURE, request.at, min(lone_c, 250.0), doubt=doubt)]


def read_named(name: str, raw: bytes, columns: str, progress: Callable[[float], None] | None = None) -> Trace:
    """The trace in a file's bytes; every refusal names the file. Raises BadData, UsageFault."""
    from straycell.traces import parse_columns, read_trace

    mapping = parse_columns(columns) if columns else None
    try:
        return read_trace(raw, columns=mapping, progress=progress)
    except BadData as fault:
        raise BadData(f"{name}: {fault.what}", fault.remedy) from fault


def reduce_with(
    trace: Trace, meter: Meter | None, cutoff_v: float, setting: Mapping[str, Any]
) -> TraceResult:
    """The figures of a trace under a recorded setting: the same ones at any later time."""
    from straycell.traces import Conditions, reduce_trace

    unused = Accuracy()
    conditions = Conditions(
        cutoff_v,
        setting["full_voltage_v"],
        setting["charged_just_before"],
        setting["rated_ah"],
        setting["temperature_c"],
        Chemistry(setting["chemistry"]),
    )
    voltage, capacity = Accuracy(*setting["default_voltage"]), Accuracy(*setting["default_capacity"])
    defaults = CautiousDefaults(voltage, capacity, unused, unused, unused)
    return reduce_trace(trace, conditions, meter, defaults)


def again(entry: TraceEntry, raw: bytes) -> tuple[Trace, TraceResult]:
    """A filed trace read and reduced once more, as it was when it was filed."""
    trace = read_named(entry.name, raw, entry.columns)
    return trace, reduce_with(trace, entry.meter, entry.cutoff_v, entry.setting)


def _setting(case: Case, request: Request, *, full_v: float, charged: bool) -> dict[str, Any]:
    defaults = case.rules.defaults
    return {
        "full_voltage_v": full_v,
        "charged_just_before": charged,
        "rated_ah": case.facts.rated_capacity_ah,
        "temperature_c": request.temperature_c,
        "chemistry": case.facts.chemistry.value,
        "default_voltage": [defaults.voltage.gain, defaults.voltage.offset],
        "default_capacity": [defaults.capacity.gain, defaults.capacity.offset],
    }


def full_charge_before(
    case: Case, started: datetime, request: Request, *, opens_at_v: float
) -> Charge | None:
    """The recorded full charge that the trace began from, if there is one.

    When no time was said, charge and trace were recorded in their order: a charge recorded before now came first,
    unless the trace opens far below full.
    """
    charge = case.charge_before(started if request.at_said else request.at)
    # After three days self-discharge makes the run a lower bound.
    if charge is None or not case.is_full(charge) or started - charge.at > SOON:
        return None
    if charge.at > started and opens_at_v < case.figure("full-voltage") - _OPENING_DROP_V:
        return None
    drained = any(charge.at < r.at <= started for r in case.of(Quantity.CAPACITY))
    return None if drained or any(charge.at < r.at <= started for r in case.of(Quantity.LET_DOWN)) else charge


def _notes(charge: Charge | None) -> list[str]:
    if charge is None:
        return []
    return [
        f"charge {charge.id} is taken to have come before this trace; if it came after it, "
        "say when the trace ended: --at TIME"
    ]


@dataclass(frozen=True, slots=True)
class Filed:
    """A trace as filed, what came out of it, and what a person should know of how it was read."""

    entry: TraceEntry
    recorded: Recorded
    notes: tuple[str, ...]


def file_trace(
    bench: Bench,
    code: str,
    file: Path,
    *,
    because: str | None,
    progress: Callable[[int], Callable[[float], None] | None] = lambda size_bytes: None,
    meter: str | None = None,
    at: datetime | None = None,
    **said: Any,
) -> Filed:
    """File a curve of a cell and record what it shows; `said` has `cutoff_v`, `temperature_c`, `columns` of a Request.

    `because` says why a file that is in the store is worked out again; what it gave before is superseded. `progress`
    makes, from the file's size in bytes, what hears the share that is read. Raises BadData, UsageFault.
    """
    from straycell.traces.read.layout import file_bytes

    # Read before the store is opened: a long file must not keep others from writing.
    raw = file_bytes(file)
    require_plain("the name of the file", file.name)
    with bench.reading() as reader:
        found = reader.find_code(code)
        with_meter = None if meter is None else reader.meter(meter)
        evidence = reader.evidence(found)
        reader.require_new_trace(raw, found, again=because is not None)
    request = Request(file.name, raw, at or bench.now, at is not None, with_meter, **said)
    case = Case(evidence, evidence.facts, bench.rules, bench.now)
    filing = work_out(case, request, progress(len(raw)))
    with bench.reading() as reader:
        require_one_at_a_time(reader, filing.new)
    heat = None if filing.warmest_c is None else heat_incident(filing.warmest_c)
    if heat is not None and because is not None and any(u.kind == heat.id for u in evidence.upsets):
        heat = None  # the first filing recorded it
    notes = list(filing.notes)
    # Trace, readings and incident are one write: none of them is ever seen without the others.
    with bench.writing() as writer:
        entry, made = writer.add_trace(filing.new, filing.items, because)
        if heat is not None:
            hot = f"{show(filing.warmest_c or 0.0, Dimension.TEMPERATURE)} in trace {entry.id}"
            writer.add_incident(heat.id, [found], hot, heat.severe)
            notes.append(f"{hot}: incident '{heat.id}' recorded ({heat.text}): {heat.why}")
        return Filed(entry, followed(bench, writer, made, [found]), tuple(notes))


def explain(bench: Bench, number: str, *, there: bool, because: str) -> Recorded:
    """Say what a doubt of a trace was: the cell was `there` and the value is its own, or it had been taken out.

    Raises BadData for a record that leaves nothing to explain.
    """
    with bench.writing() as writer:
        key = writer.reading_number(number)
        old = writer.reading(key).item
        if isinstance(old, Charge) or not old.doubt:
            raise BadData(f"{key} leaves nothing to explain", "see: straycell verdict show CODE")
        placed = [replace(old, doubt="")] if there else []
        # The doubtful record is never changed: it is superseded, and stays visible with the reason.
        mistake = Mistake.MISTYPED if there else Mistake.WRONG_CELL
        made = writer.supersede(key, mistake.value, because, None, placed)
        hot = heat_incident(old.value or 0.0) if old.quantity is Quantity.TEMPERATURE else None
        if there and hot is not None:
            writer.add_incident(hot.id, [old.cell], because, hot.severe)
        return followed(bench, writer, made, [old.cell])


@dataclass(frozen=True, slots=True)
class TraceSheet:
    """A filed trace with its file, the numbers of the readings that came out of it (`gone`: superseded), and doubts.

    `doubts` says which of its capacities do not count, and why; `remedy` what one must be to count.
    """

    entry: TraceEntry
    raw: bytes
    stand: tuple[RecordKey, ...]
    gone: tuple[RecordKey, ...]
    doubts: Mapping[RecordKey, str]
    remedy: str


def trace_sheet(bench: Bench, number: str) -> TraceSheet:
    """The sheet of a filed trace; its number as typed. Raises BadData when there is none of that number."""
    with bench.reading() as reader:
        entry = reader.trace(reader.trace_number(number))
        stand, gone = reader.trace_readings(entry.id)
        raw = reader.trace_file(entry.id)
        evidence = reader.evidence(entry.cell)
    doubts = {n: why for n, why in doubted(evidence, bench.rules, bench.now).items() if n in stand}
    what_to_do = remedy(evidence, bench.rules, bench.now) if doubts else ""
    return TraceSheet(entry, raw, tuple(stand), tuple(gone), doubts, what_to_do)
