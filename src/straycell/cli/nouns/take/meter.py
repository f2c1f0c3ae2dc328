"""`straycell meter`: what readings are taken with, and how far to trust it."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from straycell.cli.app import clock, context, output, tables, values
from straycell.cli.app.verbs import noun_app
from straycell.cli.show import shapes
from straycell.errors import UsageFault
from straycell.meters import Meter, meter_classes, meter_like, parse_accuracy, parse_resolution, show_accuracy
from straycell.quantities import Dimension, show
from straycell.typed import parse_day

app = noun_app("What readings are taken with, and how far to trust it.")
_D = Dimension


@app.command("add")
def add(
    name: Annotated[str, values.text_argument("NAME", "What you call it.")],
    like: Annotated[
        str | None,
        values.text_option("--like", f"A shipped class: {', '.join(meter_classes())}.", metavar="CLASS"),
    ] = None,
    voltage_accuracy: Annotated[
        str | None, values.text_option("--voltage-accuracy", "From its sheet.", metavar="0.05%+2mV")
    ] = None,
    voltage_resolution: Annotated[
        str | None, values.text_option("--voltage-resolution", "1mV, or 1mV<4V,10mV.", metavar="1mV")
    ] = None,
    capacity_accuracy: Annotated[
        str | None, values.text_option("--capacity-accuracy", "From its sheet.", metavar="1%+5mAh")
    ] = None,
    resistance_accuracy: Annotated[
        str | None, values.text_option("--resistance-accuracy", "From its sheet.", metavar="3%+2mohm")
    ] = None,
    temperature_accuracy: Annotated[
        str | None, values.text_option("--temperature-accuracy", "From its sheet.", metavar="1C")
    ] = None,
) -> None:
    """Record a meter: a shipped class, its own sheet, or a class with single figures changed."""
    meter = meter_like(name, like) if like else Meter(name)
    given: dict[str, Any] = {
        field: parse_accuracy(text, dimension)
        for field, text, dimension in (
            ("voltage", voltage_accuracy, _D.VOLTAGE),
            ("capacity", capacity_accuracy, _D.CAPACITY),
            ("resistance", resistance_accuracy, _D.RESISTANCE),
            ("temperature", temperature_accuracy, _D.TEMPERATURE),
        )
        if text is not None
    }
    if not (like or given):
        raise UsageFault(
            f"nothing is known of meter '{name}'",
            f"add --like with one of: {', '.join(meter_classes())}; or an accuracy, like --voltage-accuracy 0.5%+3mV",
        )
    meter = replace(meter, **given)
    if voltage_resolution is not None:
        meter = replace(meter, voltage_resolution=parse_resolution(voltage_resolution))
    with context.writing(create=True) as writer:
        writer.add_meter(meter)
    output.emit(shapes.meter_json(meter), lambda: _page(meter))
    if like:
        output.hint(
            f"the figures of class {like} are {meter_classes()[like].source}; your meter's sheet is better"
        )


@app.command("list")
def list_all() -> None:
    """List the meters with their accuracies."""
    with context.bench().reading() as reader:
        meters = list(reader.meters())
    rows = [
        [
            m.name,
            show_accuracy(m.voltage, _D.VOLTAGE),
            show_accuracy(m.capacity, _D.CAPACITY),
            show_accuracy(m.resistance, _D.RESISTANCE),
            show_accuracy(m.temperature, _D.TEMPERATURE),
        ]
        for m in meters
    ]
    output.emit(
        [shapes.meter_json(m) for m in meters],
        lambda: tables.table(
            ["name", "voltage", "capacity", "resistance", "temperature"],
            [[cell or None for cell in row] for row in rows],
            flexible="name",
            empty="no meter recorded yet: readings without one get the cautious defaults of the rules",
        ),
    )


@app.command("compare")
def compare(
    name: Annotated[str, values.text_argument("NAME", "The meter.")],
    on: Annotated[str | None, values.text_option("--on", "The day (default: today).", metavar="DATE")] = None,
    note: Annotated[str | None, values.text_option("--note", "With what, and how far off it was.")] = None,
) -> None:
    """Record that a meter was held against a better one; `due` asks for it once a year."""
    now = clock.now()
    day = parse_day(on, now) if on is not None else now.astimezone().date()
    with context.writing() as writer:
        done = writer.compare_meter(name, day, note or "")
    document = {"meter": done.meter, "compared_on": output.day(done.last), "note": note}
    output.emit(document, lambda: output.say(f"{done.meter}  compared {output.day(done.last)}"))
    output.hint(
        "is it off by more than its accuracy, declare it anew under another name with the wider figure"
    )


def _page(meter: Meter) -> None:
    output.say(meter.name + (f"  (like a {meter.like})" if meter.like else ""))
    unknown = "not known: the cautious default of the rules holds"
    output.facts(
        [
            ("voltage", show_accuracy(meter.voltage, _D.VOLTAGE) or unknown),
            ("resolution", _steps(meter)),
            ("capacity", show_accuracy(meter.capacity, _D.CAPACITY) or unknown),
            ("resistance", show_accuracy(meter.resistance, _D.RESISTANCE) or unknown),
            ("temperature", show_accuracy(meter.temperature, _D.TEMPERATURE) or unknown),
        ],
        indent="  ",
    )


def _steps(meter: Meter) -> str:
    """`1 mV below 4 V, then 10 mV`."""
    shown = [
        show(step, _D.VOLTAGE) + ("" if bound == float("inf") else f" below {show(bound, _D.VOLTAGE)}")
        for bound, step in meter.voltage_resolution.steps
    ]
    return ", then ".join(shown)
