"""`straycell load`: what a device draws, and which resistor or current gives the hours that are wanted."""

from pathlib import Path
from typing import Annotated, Any

from straycell.acceptance import Outcome
from straycell.bench.device_use import OneCell, forbidden, gentle_run, look_up, most_a, runtime_json
from straycell.cli.app import cautions, clock, context, files, output, values, verbs
from straycell.cli.nouns.use import device_load
from straycell.cli.show import load_page
from straycell.errors import BadData, NegativeAnswer, UsageFault
from straycell.physics.loads import Lamps, ResistiveLoad, current_from_drop
from straycell.physics.resistors import BandReading, bands, is_standard, nearest, power_rating, rounded_up
from straycell.physics.run_time.for_runtime import TOLERANCE, Run, current_for_runtime, resistor_for_runtime
from straycell.quantities import Dimension, Window
from straycell.safety import Step

app = verbs.noun_app("What a device draws, and which resistor or current gives the hours wanted.")
SUPPLIES_V = (4.2, 3.7, 3.3, 3.0)
_HOURS = Window(36.0, 20 * 365.25 * 86400.0, "a run time")


@app.command("from-drop")
@values.takes(device_load.LIT)
def from_drop(**said: Any) -> None:
    """What a device draws, by the drop over its series resistor; --bands alone reads a resistor.

    With --supply also what the same lamps draw on a lithium cell, which is another current.
    """
    read = device_load.read_resistor(said["bands"]) if "bands" in said else None
    drop, across = said.get("drop_v"), said.get("across_ohm")
    if drop is None and said.keys() != {"bands"}:
        raise UsageFault(
            "--drop is missing", "measure the voltage over the resistor, like --drop 0.55V --across 10ohm"
        )
    # Measured beats read: bands state a tolerance, an ohmmeter what this one has.
    ohm = across if across is not None else read.ohm if read is not None else None
    if ohm is None:
        raise UsageFault(
            "the series resistor is missing", "give --across, like 10ohm, or its colours with --bands"
        )
    found = drop_document(
        drop, ohm, read if across is None else None, said.get("lamps"), said.get("supply_v")
    )
    found["resistor"] = resistor_document(ohm, read)
    output.emit(found, lambda: load_page.drop_page(found))
    if drop is not None:
        cautions.talk(Step.CIRCUIT)


def drop_document(
    drop_v: float | None, ohm: float, read: BandReading | None, lamps: int | None, supply_v: float | None
) -> dict[str, Any]:
    """The currents in A: nominal, and the ends that the resistor's tolerance leaves (null without one)."""
    if drop_v is None:
        return dict.fromkeys(("current_a", "low_a", "high_a", "per_lamp_a", "lamps", "lamp_v", "on_supply"))
    drawn = current_from_drop(drop_v, ohm, lamps)
    # Lamps are diodes: on another voltage they draw another current.
    lit = Lamps(lamps or 1, drop_v, ohm, supply_v) if supply_v is not None else None
    return {
        "current_a": drawn.current_a,
        "low_a": drop_v / read.high_ohm if read else None,
        "high_a": drop_v / read.low_ohm if read else None,
        "per_lamp_a": drawn.per_lamp_a,
        "lamps": lamps,
        "drop_v": drop_v,
        "resistor_w": drop_v * drawn.current_a,
        "supply_v": supply_v,
        "lamp_v": lit.lamp_v if lit else None,
        "on_supply": on_supplies(lit, lamps) if lit else None,
    }


def on_supplies(lit: Lamps, lamps: int | None) -> list[dict[str, float | bool | None]]:
    """What these lamps draw from full to nearly empty, and whether they still light with it."""
    found: list[dict[str, float | bool | None]] = []
    # From a full cell down to a nearly empty one: lamps dim as it sinks.
    for volts in SUPPLIES_V:
        current_a = lit.current_at(volts)
        found.append(
            {
                "supply_v": volts,
                "current_a": current_a,
                "per_lamp_a": current_a / lamps if lamps else None,
                "lit": current_a >= lit.least_a,
            }
        )
    return found


def resistor_document(ohm: float, read: BandReading | None) -> dict[str, Any]:
    """A resistor beside what one can buy, and what its bands say."""
    near_ohm = nearest(ohm)
    return {
        "ohm": ohm,
        "is_e24": is_standard(ohm),
        "nearest_e24_ohm": near_ohm,
        "nearest_e24_bands": bands(near_ohm),
        "bands_ohm": read.ohm if read else None,
        "tolerance": read.tolerance if read else None,
        "low_ohm": read.low_ohm if read else None,
        "high_ohm": read.high_ohm if read else None,
        "within_bands": read.low_ohm <= ohm <= read.high_ohm if read else None,
    }


@app.command("from-log")
def from_log(
    file: Annotated[Path, values.argument("FILE", "The log: times and current.")],
    out: Annotated[Path, values.option("--out", "Where the profile goes.", metavar="CSV")],
    columns: Annotated[
        str | None,
        values.text_option("--columns", 'Its columns, like "time=Zeit, current=I in mA".', metavar="MAP"),
    ] = None,
    power: Annotated[
        bool, values.flag("--power", "Keep the power (needs a voltage), as behind a converter.")
    ] = False,
    force: files.Force = False,
) -> None:
    """Turn a recorded log into a profile for a project: semicolons, decimal commas, clocks and own names are read."""
    device_load.from_log(file, out, columns, power, force)


@app.command("for-runtime")
@values.takes([*device_load.WORKS, *device_load.LIT], needed=("until_v",))
def for_runtime(
    code: values.CellArgument,
    runtime: Annotated[
        float,
        values.quantity(
            "--runtime", Dimension.DURATION, "The hours that are wanted.", window=_HOURS, example="48h"
        ),
    ],
    brighter: Annotated[
        bool,
        values.flag("--brighter", "Let the lamps get more than in their old device, at your own risk."),
    ] = False,
    **said: Any,
) -> None:
    """Which series resistor, or which current, gives the wanted hours on this cell.

    For lamps give what was measured once: --drop over --across (or its --bands) at --supply; the answer is
    their new series resistor, which gives no lamp more than it had then. Without them: the largest current,
    and the plain resistor that draws it.
    """
    # No lamp gets more than it had in its old device: its limit is not known, that current is.
    lit, until = device_load.lamps(said), said["until_v"]
    now, rules = clock.now(), context.rules()
    with context.reading() as reader:
        one = look_up(reader, code, rules, now)
    at_c = said.get("temperature_c", device_load.ROOM_C)
    wanted_h = runtime / 3600.0
    found = {
        "code": one.code,
        "wanted_h": wanted_h,
        "until_v": until,
        "temperature_c": at_c,
        "outcome": one.verdict.outcome.word,
        "forbidden": forbidden(one),
        "allowed_a": one.allowed_out_a,
    }
    found |= _answer(one, gentle_run(one, until, at_c), wanted_h, lit, said.get("lamps"), brighter)
    output.emit(found, lambda: load_page.wanted_page(found))
    cautions.talk(Step.DISCARD if one.verdict.outcome is Outcome.DISCARD else Step.MATCH, kinds=[one.facts])


def _answer(
    one: OneCell, run: Run, wanted_h: float, lit: Lamps | None, lamps: int | None, brighter: bool
) -> dict[str, Any]:
    """The resistor or current; nulls and `why_not` when nothing lasts that long, which is an answer too."""
    # What nothing lasts for is an answer of its own (exit 0): the question was how long, not whether.
    try:
        if lit is not None:
            return _lamp_answer(one, run, wanted_h, lit, lamps, brighter)
        return _current_answer(one, run, wanted_h, most_a(one))
    except NegativeAnswer as nothing:
        empty = dict.fromkeys(("current_a", "per_lamp_a", "resistor", "runtime_h", "basis", "stop"))
        return {**empty, "why_not": nothing.what, "remedy": nothing.remedy, "notes": list(one.notes)}


def _lamp_answer(
    one: OneCell, run: Run, wanted_h: float, lit: Lamps, lamps: int | None, brighter: bool
) -> dict[str, Any]:
    """Their new series resistor; the current is that of a full cell at the lower end of its tolerance."""
    choice = resistor_for_runtime(wanted_h, lit, run, full_v=one.full_v, brighter=brighter)
    # The low end of the resistor's tolerance is what lets the most current through.
    weakest = lit.with_resistor(choice.ohm * (1 - TOLERANCE))
    return {
        "current_a": choice.full_current_a,
        "per_lamp_a": choice.full_current_a / lamps if lamps else None,
        "resistor": {
            "use": "in series with the lamps",
            "ohm": choice.ohm,
            "bands": choice.bands,
            "tolerance": TOLERANCE,
            "dissipated_w": choice.dissipated_w,
            "rating_w": choice.rating_w,
        },
        "runtime_h": runtime_json(choice.runtime),
        "basis": choice.runtime.basis,
        "stop": choice.runtime.stop,
        "why_not": None,
        "notes": [
            *one.notes,
            *choice.runtime.notes,
            *([note] if (note := weakest.brighter(one.full_v)) else []),
            "the lamps are taken as one diode through the measured point",
        ],
    }


def _current_answer(one: OneCell, run: Run, wanted_h: float, most_a: float) -> dict[str, Any]:
    """The largest constant current, and the plain resistor across the cell that never draws more."""
    choice = current_for_runtime(wanted_h, run, most_a=most_a)
    # At the limit of its outcome the search ends, although a larger current would still last.
    limit = ["no more than this cell may give; it would last longer"] if choice.current_a >= most_a else []
    return {
        "current_a": choice.current_a,
        "per_lamp_a": None,
        "resistor": _plain_resistor(one, run, choice.current_a),
        "runtime_h": runtime_json(choice.runtime),
        "basis": choice.runtime.basis,
        "stop": choice.runtime.stop,
        "why_not": None,
        "notes": [*one.notes, *choice.runtime.notes, *limit],
    }


def _plain_resistor(one: OneCell, run: Run, current_a: float) -> dict[str, Any] | None:
    """The E24 resistor across the cell that never draws more; None where one piece cannot bear the heat."""
    try:
        ohm = rounded_up(one.full_v / current_a / (1 - TOLERANCE))
        # At full voltage and the low end of the tolerance it gets hottest.
        heat_w = one.full_v**2 / (ohm * (1 - TOLERANCE))
        rating_w = power_rating(heat_w)
    except BadData:
        return None
    return {
        "use": "alone across the cell, drawing no more than that",
        "ohm": ohm,
        "bands": bands(ohm, TOLERANCE),
        "tolerance": TOLERANCE,
        "dissipated_w": heat_w,
        "rating_w": rating_w,
        "runtime_h": runtime_json(run(ResistiveLoad(ohm * (1 - TOLERANCE)))),
    }
