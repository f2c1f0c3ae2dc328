"""`straycell runtime`: how long a cell runs a device, with a low end that is a promise."""

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Annotated, Any

from straycell.acceptance import Outcome
from straycell.bench.device_use import (
    OneCell,
    draw_of,
    forbidden,
    look_up,
    run_cell,
    run_of,
    runtime_json,
)
from straycell.bench.wording.sheet_words import figure
from straycell.cli.app import cautions, clock, context, files, output, values, verbs
from straycell.cli.nouns.use import device_load
from straycell.cli.show.verdict_page import say_forbidden
from straycell.matching.words import run_hours as hours
from straycell.physics.run_time.asked import narrowing
from straycell.physics.run_time.runtime import RunCell, RunDevice, Runtime
from straycell.pictures.run_time import run_time_picture, voltage_course
from straycell.quantities import Dimension, show
from straycell.safety import Step

app = verbs.lone_app()


@dataclass(frozen=True, slots=True)
class Answer:
    """A run time and what it was asked of; `against` is what the verdict says against it, empty when it allows it."""

    one: OneCell
    drawn: device_load.Drawn
    cell: RunCell
    device: RunDevice
    found: Runtime
    against: list[str]

    @property
    def stop_v(self) -> float:
        """The voltage in V that ends the run: the first of all cut-offs, or where lamps go dark."""
        return self.device.first_stop(self.cell)[1]


@app.command()
@values.takes(
    [*device_load.WORKS, *device_load.STEADY, *device_load.LIT, device_load.PEAK, device_load.PROTECTION],
    needed=("until_v",),
)
def runtime(
    code: values.CellArgument,
    profile: Annotated[
        Path | None,
        values.option(
            "--profile",
            "A recorded load, repeated: time_s and current_a or power_w, as for a project.",
            metavar="CSV",
        ),
    ] = None,
    why: Annotated[
        bool, values.flag("--why", "Show what lies between the expected and the low hours.")
    ] = False,
    out: Annotated[
        Path | None,
        values.option("--out", "Draw voltage against time.", metavar="PNG"),
    ] = None,
    force: files.Force = False,
    **said: Any,
) -> None:
    """How long a full cell runs a device: what it draws, and the voltage at which it stops.

    For lamps behind a series resistor give --drop, --across (or --bands) and --supply, measured once.
    """
    lit, until = device_load.lamps(said), said["until_v"]
    drawn = device_load.one_load(
        device_load.steady(said), device_load.drawn_by(lit) if lit else None, device_load.profile(profile)
    )
    now, rules = clock.now(), context.rules()
    with context.reading() as reader:
        one = look_up(reader, code, rules, now)
    cell = run_cell(one)
    at_c = said.get("temperature_c", device_load.ROOM_C)
    device = RunDevice(drawn.load, until, said.get("protection_cutoff_v"), at_c)
    draw = draw_of(one, drawn.load, device.first_stop(cell)[1], at_c, said.get("peak_a"))
    lifted = replace(cell, dip_v=draw.dip_v)
    found = run_of(one, lifted, device)
    lit_notes = [lit.brighter(one.full_v)] if lit is not None and lit.brighter(one.full_v) else []
    found = replace(found, notes=(*found.notes, *draw.notes(until), *lit_notes))

    advice = narrowing(found)
    found = replace(found, notes=(*found.notes, *([advice] if advice else [])))
    # The dip shortens both ends alike, so it is not part of the margin between them.
    peaks_h = run_of(one, cell, device).expected_h - found.expected_h if why and draw.dip_v else 0.0
    against = forbidden(one, draw.steady_a, draw.peak_a)
    answer = Answer(one, drawn, lifted, device, found, against)
    if out is not None:
        files.write_whole(out, picture(answer), force=force)
    output.emit(
        {**document(answer), "picture": out, "until_v": until, **asdict(draw)},
        lambda: page(answer, peaks_h if why else None),
        then=f"picture: {out}" if out is not None else "",
    )
    cautions.talk(Step.DISCARD if one.verdict.outcome is Outcome.DISCARD else Step.MATCH, kinds=[one.facts])


def document(answer: Answer) -> dict[str, Any]:
    """The JSON of a run time; `forbidden` is empty when the verdict allows the use."""
    one, found = answer.one, answer.found
    capacity, resistance = one.capacity, one.candidate.resistance
    return {
        "code": one.code,
        "runtime_h": runtime_json(found),
        "basis": found.basis,
        "stop": found.stop,
        "stop_v": answer.stop_v,
        "forbidden": answer.against,
        "outcome": one.verdict.outcome.word,
        "load": answer.drawn.document,
        "temperature_c": answer.device.temperature_c,
        "capacity_ah": {"value": capacity.value, "expanded_uncertainty": capacity.expanded},
        "resistance_ohm": None
        if resistance is None
        else {"value": resistance.value, "expanded_uncertainty": resistance.expanded},
        "notes": [*one.notes, *found.notes],
        "margin_h": dict(found.margin_h),
    }


def page(answer: Answer, peaks_h: float | None = None) -> None:
    """A run time for a person; with `peaks_h` (what peaks cost, in h) each part of its margin."""
    one, found = answer.one, answer.found
    say_forbidden(one.code, answer.against)
    output.say(f"{one.code}  count on {hours(found.low_h)}; {hours(found.expected_h)} expected")
    resistance = figure(one.candidate.resistance, Dimension.RESISTANCE) or "not measured"
    output.facts(
        [
            ("at best", hours(found.high_h)),
            ("load", answer.drawn.words + answer.drawn.more),
            ("draws", _draws(answer)),
            ("stops at", f"{show(answer.stop_v, Dimension.VOLTAGE)}, {found.stop}"),
            ("works at", show(answer.device.temperature_c, Dimension.TEMPERATURE)),
            ("counted from", _basis(one, found)),
            ("capacity", figure(one.capacity, Dimension.CAPACITY)),
            ("resistance", resistance),
        ],
        indent="  ",
    )
    if peaks_h is not None:
        output.listed(
            f"The {hours(found.expected_h - found.low_h)} between expected and low are kept for",
            margin_lines(answer, peaks_h),
        )
    output.listed("Mind", [*one.notes, *found.notes])


def margin_lines(answer: Answer, peaks_h: float) -> list[str]:
    """Each part of the margin, the largest first, and what would make it smaller."""
    one, found, at_c = answer.one, answer.found, answer.device.temperature_c
    chemistry = one.facts.chemistry
    words = {
        "curves": f"not knowing which published {chemistry} cell this one is like: a trace of its own would tell",
        "capacity": f"the capacity's uncertainty, {figure(one.capacity, Dimension.CAPACITY)}: a better meter, or a repeat",
        "resistance": "the resistance's, and how far it grows over hours: a d.c. pulse by a better meter",
        "lag": "how slowly charge moves inside",
        "stiff": "how much the cold stiffens it: a pulse in that cold would tell",
        "cold": f"how much a cell of this kind loses at {at_c:g} C",
        "cut-off": f"the published curves of {chemistry} lie apart near the cut-off: a lower cut-off costs less",
        "model": "the model itself: more of it at a higher current, less with d.c. pulses of 1 s and of 30 s",
        "losses": "self-discharge, ageing and the protection's current, at worst: watch its rest voltage for a month",
        "promise": "no promise runs past two years, whatever a cell holds",
        "deep cold": "cold of which no cell sheet says anything",
    }
    # The largest first: it is the one measurement that would help most.
    parts = sorted(found.margin_h, key=lambda part: -part[1])
    lines = [
        f"{100 * part_h / found.expected_h:.1f} %, {hours(part_h)}: {words[what]}"
        for what, part_h in parts
        if part_h >= 0.0005 * found.expected_h > 0
    ]
    if peaks_h > 0:
        lines.append(f"besides, the peaks take {hours(peaks_h)} from both")
    return lines or ["nothing: there is no margin"]


def _draws(answer: Answer) -> str | None:
    """From full to the stop, where that is not the same; what lamps were seen to bear is beside it."""
    # A constant current is the same at every voltage, and a profile says its own.
    load = answer.drawn.load
    if answer.drawn.document["kind"] in ("current", "profile"):
        return None
    ends = (answer.one.full_v, answer.stop_v)
    full, last = (show(load.current_at(volts), Dimension.CURRENT) for volts in ends)
    return f"{full} from a full cell, {last} at the stop"


def _basis(one: OneCell, found: Runtime) -> str:
    if found.basis == "own trace":
        return "its own recorded discharge"
    return f"the published curves of {one.facts.chemistry}, scaled to its capacity and resistance"


def picture(answer: Answer) -> bytes:
    """Voltage against time as a PNG."""
    one, found, device = answer.one, answer.found, answer.device
    free = replace(answer.cell, cell_cutoff_v=None, dip_v=0.0)
    course = voltage_course(
        lambda volts: run_of(one, free, replace(device, cutoff_v=volts, protection_cutoff_v=None)),
        full_v=one.full_v,
        stop_v=answer.stop_v,
    )
    shown = f"{answer.drawn.words}, {device.temperature_c:g} °C, from {found.basis}"
    title = f"Run time of {one.code}"
    return run_time_picture(
        course,
        found,
        stop_v=answer.stop_v,
        title=title,
        summary=shown,
        forbidden=answer.against[0] if answer.against else "",
    )
