"""`straycell charging`: whether a charger is gentle enough for a cell, and what to change if it is not."""

import shlex
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Annotated, Any

from straycell.acceptance import Outcome
from straycell.acceptance.charger.allowance import ChargeKind, charge_allowance
from straycell.acceptance.charger.check import Charger, ChargerAnswer, check_charger
from straycell.bench.device_use import OneCell, look_up
from straycell.cells import Chemistry
from straycell.cli.app import cautions, clock, context, output, values, verbs
from straycell.errors import BadData, NegativeAnswer, UsageFault
from straycell.keys import NEW
from straycell.matching.words import run_hours as hours
from straycell.meters import Meter
from straycell.physics.charge_time import ChargeTime
from straycell.physics.resistors import bands
from straycell.quantities import Dimension, Measured, Window, show
from straycell.readings import COUNTS_FOR, Field, Quantity, Reading, find_charger, measured
from straycell.readings import Charger as Instrument
from straycell.safe_side import at_least, at_most, millivolts
from straycell.safety import Step

app = verbs.lone_app()
_AMPS = Window(1e-4, 500.0, "a charger")
_OHMS = Window(10.0, 22e6, "a programming resistor")
_VOLTS = Window(2.0, 5.0, "one cell's charger")
_SUPPLY = Window(1.0, 60.0, "a supply")
_TOLERANCE = Window(0.0, 0.2, "a charger")

SAID = (
    Field("current_a", Dimension.CURRENT, "current", "The charge current it is set to.", typed=_AMPS),
    Field(
        "programming_resistor_ohm",
        Dimension.RESISTANCE,
        "resistor",
        "Programming resistor of a single-cell linear charger (current = 1200 V / R).",
        typed=_OHMS,
        example="4.7kohm",
    ),
    Field(
        "supply_v", Dimension.VOLTAGE, "supply", "Supply voltage of the charger.", typed=_SUPPLY, example="5V"
    ),
    Field(
        "supply_limit_a",
        Dimension.CURRENT,
        "limit",
        "Highest current the supply gives.",
        typed=_AMPS,
        example="160mA",
    ),
    Field(
        "supply_rated_v",
        Dimension.VOLTAGE,
        "rating",
        "Highest supply voltage by the charger's sheet (default 8V: a linear charger).",
        typed=_SUPPLY,
        example="24V",
    ),
    Field(
        "voltage_v",
        Dimension.VOLTAGE,
        "end",
        "End voltage it regulates to (never assumed for lfp).",
        typed=_VOLTS,
        example="4.20V",
    ),
    Field(
        "tolerance",
        Dimension.FRACTION,
        "tolerance",
        "Tolerance of that voltage (default 1.5%).",
        typed=_TOLERANCE,
    ),
    Field(
        "load_a",
        Dimension.CURRENT,
        "load",
        "Current drawn meanwhile by a device that is left on.",
        typed=_AMPS,
    ),
)
"""What is known of the charger, by the names of its own fields."""


@app.command()
@values.takes(SAID)
def charging(
    code: values.CellArgument,
    measured_float: Annotated[
        float | None,
        values.quantity(
            "--measured-float",
            Dimension.VOLTAGE,
            "End voltage measured on this board.",
            window=_VOLTS,
            example="4.18V",
        ),
    ] = None,
    meter: Annotated[
        str | None, values.text_option("--meter", "Meter used for --measured-float.", metavar="M")
    ] = None,
    charger: Annotated[
        str | None,
        values.text_option("--charger", "A charger whose float was measured (charger add).", metavar="NAME"),
    ] = None,
    slot: Annotated[int | None, values.whole("--slot", "The slot of that charger.", low=1, high=99)] = None,
    temperature: Annotated[
        float | None,
        values.quantity(
            "--temperature", Dimension.TEMPERATURE, "Temperature where it is charged (default: a room)."
        ),
    ] = None,
    **said: Any,
) -> None:
    """May this charger charge this cell, how long does it take, what to change. Exit 1 when it may not.

    Give --current, or the --programming-resistor of a linear charger, and what you know of its end voltage: without
    it no charger is shown to be safe. The current is judged at the charger's own setting, because a weak supply may be
    swapped for a strong one.
    """
    _check(said, measured_float, meter, charger, slot)
    now, rules = clock.now(), context.rules()
    with context.reading() as reader:
        one = look_up(reader, code, rules, now)
        with_meter = reader.meter(meter) if meter is not None else None
        named = _named(reader.chargers(), charger, slot, now) if charger is not None else None
    asked = Charger(
        **said,
        measured_float=named or _float(one, measured_float, with_meter),
        ambient_c=25.0 if temperature is None else temperature,
    )
    allowance = charge_allowance(one.evidence, one.verdict, rules, now, temperature_c=temperature)
    answer = check_charger(one.facts, allowance, asked, rules, one.candidate.resistance)
    output.emit(document(one, asked, answer), lambda: page(one, asked, answer))
    cautions.talk(_step(one, answer), kinds=[one.facts])
    against = answer.against
    if against is not None:
        what = "must not be charged like this" if against.ok is False else "is not shown to bear this charger"
        raise NegativeAnswer(f"cell {one.code} {what}: {against.text}", against.remedy)


def _check(
    said: Mapping[str, Any], measured_v: float | None, meter: str | None, name: str | None, slot: int | None
) -> None:
    """Raise UsageFault for what does not fit together."""
    both = "give both, or neither"
    settings = said.keys() & {"current_a", "programming_resistor_ohm"}
    set_by = "give --current, like 0.5A, or --programming-resistor, like 4.7kohm"
    refused = (
        # Two settings of one charger contradict each other, and the higher one would be the true one.
        (len(settings) > 1, "--current and --programming-resistor are two settings", "give one of them"),
        (not settings, "no charge current given", set_by),
        (meter and measured_v is None, "--meter needs --measured-float", both),
        (slot is not None and not name, "--slot is given without --charger", both),
        (
            name and measured_v is not None,
            "--charger and --measured-float are two floats of one charger",
            "give one of them",
        ),
        # A rating limits nothing while it is not known what feeds the charger.
        ("supply_rated_v" in said and "supply_v" not in said, "--supply-rated needs --supply", both),
    )
    for holds, what, remedy in refused:
        if holds:
            raise UsageFault(what, remedy)


def _named(known: list[Instrument], name: str, slot: int | None, now: datetime) -> Measured:
    """The float of a charger on record, as measured. Raises BadData where none counts now."""
    found = find_charger(known, name, slot, now)
    if found is None or found.float_v is None:
        which = f"'{name}'" if slot is None else f"'{name}' slot {slot}"
        raise BadData(
            f"no float of charger {which} was measured in the last {COUNTS_FOR.days} days",
            f"measure it: straycell charger add {shlex.quote(name)} --measured-float ... --meter ...",
        )
    return found.float_v


def _float(one: OneCell, measured_v: float | None, meter: Meter | None) -> Measured | None:
    """The measured end voltage with its meter's error, or the cautious one of the rules."""
    if measured_v is None:
        return None
    # By the same way as any reading: the meter's own U decides, else the cautious default.
    reading = Reading(
        NEW, one.code, Quantity.VOLTAGE, datetime.min.replace(tzinfo=UTC), measured_v, meter=meter
    )
    return measured(reading, one.rules.defaults)


def _step(one: OneCell, answer: ChargerAnswer) -> Step:

    # A discarded cell gets the words for discarding, whatever charger was asked about.
    if one.verdict.outcome is Outcome.DISCARD:
        return Step.DISCARD
    # A test charge of an unproven cell asks for more care than a charge in use.
    steps = {ChargeKind.USE: Step.CHARGING, ChargeKind.TEST: Step.TEST_CHARGE}
    return steps.get(answer.allowance.kind, Step.MEASURING)


def _time_json(time: ChargeTime | None) -> dict[str, float | None]:
    """Null: it may not be charged like this, or never gets there."""
    if time is None:
        return {"expected": None, "low": None, "high": None}
    return {"expected": time.expected_h, "low": time.low_h, "high": time.high_h}


def document(one: OneCell, charger: Charger, answer: ChargerAnswer) -> dict[str, Any]:
    """The JSON of the answer; `ok`, also of a check, is null while nothing shows it."""
    end, time, resistor_ohm = answer.float_v, answer.time, answer.resistor_ohm
    return {
        "code": one.code,
        "outcome": one.verdict.outcome.word,
        "current_a": answer.set_a,
        "worst_current_a": answer.worst_a,
        "flowing_a": time.current_a if time is not None else None,
        "c_rate": answer.c_rate,
        "allowed_a": answer.allowance.allowed_a,
        "allowed": answer.allowance.kind,
        "why": answer.allowance.why,
        "ok": answer.ok,
        "charge_time_h": _time_json(time),
        "limited_by_supply": time.limited_by_supply if time is not None else None,
        "limited_by_heat": time.limited_by_heat if time is not None else None,
        "heat_w": answer.heat_w,
        "float_v": None if end is None else {"set": end.set_v, "worst": end.worst_v, "limit": end.limit_v},
        "programming_resistor_ohm": resistor_ohm,
        "programming_resistor_bands": bands(resistor_ohm) if resistor_ohm is not None else None,
        "checks": [
            {"check": check.name, "ok": check.ok, "text": check.text, "remedy": check.remedy}
            for check in answer.checks
        ],
        "advice": answer.advice,
    }


def page(one: OneCell, charger: Charger, answer: ChargerAnswer) -> None:
    """The answer for a person: the verdict of it first, then the figures, then what to do."""
    output.say_wrapped(f"{one.code}  {_headline(answer)}")
    end = answer.float_v
    output.facts(
        [
            ("verdict", one.verdict.outcome.word),
            ("charger", _charger_words(charger, answer)),
            ("allowed", _allowed_words(answer)),
            ("ends at", _end_words(one, charger, answer) if end is not None else None),
            ("takes", _time_words(answer.time) if answer.time is not None else None),
            ("heat", _heat_words(charger, answer)),
        ],
        indent="  ",
    )
    output.listed(
        "What to do" if answer.ok else "What to change", answer.advice or ["nothing: charge it in sight"]
    )


def _headline(answer: ChargerAnswer) -> str:
    if answer.against is not None:
        return f"{'NO' if answer.ok is False else 'NOT SHOWN'}: {answer.against.text}"
    return "fine (test charge only)" if answer.allowance.kind.value == "test charge" else "fine"


def _allowed_words(answer: ChargerAnswer) -> str:
    allowance = answer.allowance
    # No figure beside a no: 0 A reads like a setting.
    if allowance.kind.value == "no charge":
        return "no current at all"
    return f"{at_most(allowance.allowed_a, Dimension.CURRENT)}: {allowance.why}"


def _charger_words(charger: Charger, answer: ChargerAnswer) -> str:
    text = show(answer.set_a, Dimension.CURRENT)
    if charger.programming_resistor_ohm is not None:
        text = at_least(answer.set_a, Dimension.CURRENT)
        resistor = show(charger.programming_resistor_ohm, Dimension.RESISTANCE)
        text += (
            f" nominal, up to {at_least(answer.worst_a, Dimension.CURRENT)} (programming resistor {resistor})"
        )
    return text + (f", {answer.c_rate:.2g}C" if answer.c_rate is not None else "")


def _end_words(one: OneCell, charger: Charger, answer: ChargerAnswer) -> str | None:
    end = answer.float_v
    if end is None or end.set_v is None or end.worst_v is None:
        return None
    measured = f", measured {charger.measured_float.value:.2f} V" if charger.measured_float else ""
    text = f"{end.set_v:.2f} V{measured}, at worst {millivolts(end.worst_v, up=True)}"
    text += f"; this cell bears {millivolts(end.limit_v, up=False)}"
    marked_v = one.facts.full_voltage_v
    # Said, or the owner of a 4.35 V cell takes 4.20 V for a mistake.
    if marked_v is not None and one.facts.chemistry is not Chemistry.LFP and marked_v > one.full_v:
        text += f" (marked {marked_v:.2f} V, charged to {one.full_v:.2f} V here)"
    return text


def _time_words(time: ChargeTime) -> str:
    if time.expected_h == float("inf"):
        return "without end"
    limited = (
        f", as the supply gives {show(time.current_a, Dimension.CURRENT)}" if time.limited_by_supply else ""
    )
    limited += ", as its own heat makes the charger give less at first" if time.limited_by_heat else ""
    return f"{hours(time.expected_h)} from empty ({hours(time.low_h)} to {hours(time.high_h)}){limited}"


def _heat_words(charger: Charger, answer: ChargerAnswer) -> str | None:
    if answer.heat_w is None or charger.supply_v is None:
        return None
    heat, fed = at_least(answer.heat_w, Dimension.POWER), show(charger.supply_v, Dimension.VOLTAGE)
    return f"{heat} in a linear charger at {fed}, cell empty"
