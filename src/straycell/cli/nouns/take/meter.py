"""`straycell meter`: what readings are taken with, and how far to trust it."""

from __future__ import annotations

from dataclasses import replace
from operator import methodcaller
from typing import TYPE_CHECKING, Annotated, Any

from straycell.bench.wording import shapes
from straycell.cli.app import clock, context, output, tables, values, verbs
from straycell.errors import BadData, UsageFault
from straycell.meters import ACCURACIES, Meter, meter_classes, meter_like, parse_accuracy, parse_resolution
from straycell.quantities import Dimension, count_of, parse_quantity, show
from straycell.readings import METER_FAULT, Quantity
from straycell.typed import parse_day, parse_time

if TYPE_CHECKING:
    from straycell.store.book.stock.household import KnownValue

app = verbs.noun_app("What readings are taken with, and how far to trust it.")
NameArgument = Annotated[str, values.text_argument("NAME", "The meter.")]


def _accuracy_option(quantity: str, like: str) -> Any:
    return values.text_option(f"--{quantity}-accuracy", "As its data sheet states it.", metavar=like)


@app.command("add")
def add(
    name: values.OwnNameArgument,
    like: Annotated[
        str | None,
        values.text_option("--like", f"A shipped class: {', '.join(meter_classes())}.", metavar="CLASS"),
    ] = None,
    voltage_accuracy: Annotated[str | None, _accuracy_option("voltage", "0.05%+2mV")] = None,
    voltage_resolution: Annotated[
        str | None,
        values.text_option(
            "--voltage-resolution", "Its smallest step: 1mV, or 1mV<4V,10mV for two ranges.", metavar="1mV"
        ),
    ] = None,
    capacity_accuracy: Annotated[str | None, _accuracy_option("capacity", "1%+5mAh")] = None,
    resistance_accuracy: Annotated[str | None, _accuracy_option("resistance", "3%+2mohm")] = None,
    temperature_accuracy: Annotated[str | None, _accuracy_option("temperature", "1C")] = None,
) -> None:
    """Record a meter: a shipped class, its own sheet, or a class with single figures changed."""
    # A class is the cautious end of many meters; the sheet of this one is better.
    meter = meter_like(name, like) if like else Meter(name)
    typed = (voltage_accuracy, capacity_accuracy, resistance_accuracy, temperature_accuracy)
    given: dict[str, Any] = {
        quantity: parse_accuracy(text, ACCURACIES[quantity])
        for quantity, text in zip(ACCURACIES, typed, strict=True)
        if text is not None
    }
    # A meter without an accuracy would count as exact.
    if not (like or given):
        raise UsageFault(
            f"nothing is known of meter '{name}'",
            f"add --like with one of: {', '.join(meter_classes())}; or an accuracy, like --voltage-accuracy 0.5%+3mV",
        )
    meter = replace(meter, **given)
    # A display that steps by 10 mV hides what its accuracy promises.
    if voltage_resolution is not None:
        meter = replace(meter, voltage_resolution=parse_resolution(voltage_resolution))
    with context.writing(create=True) as writer:
        writer.add_meter(meter)
    output.emit(
        shapes.meter_json(meter),
        lambda: _page(meter),
        then=f"the figures of class {like} are {meter_classes()[like].source}; your meter's sheet is better"
        if like
        else "",
    )


@app.command("list")
def list_all() -> None:
    """List the meters with their accuracies."""
    with context.bench().reading() as reader:
        meters = list(reader.meters())
    columns: tables.Columns[Meter] = {
        "name": lambda m: m.name,
        **{quantity: methodcaller("accuracy_words", quantity) for quantity in ACCURACIES},
    }
    empty = "no meter recorded yet: readings without one get the cautious defaults of the rules"
    tables.listing(meters, shapes.meter_json, columns, flexible="name", empty=empty)


@app.command("compare")
def compare(
    name: NameArgument,
    on: Annotated[str | None, values.text_option("--on", "The day (default: today).", metavar="DATE")] = None,
    note: Annotated[str | None, values.text_option("--note", "With what, and how far off it was.")] = None,
    showed: Annotated[
        str | None, values.text_option("--showed", "What it showed of a known value.", metavar="4.05V")
    ] = None,
    actual: Annotated[
        str | None, values.text_option("--actual", "What that value is, by the better one.", metavar="4.20V")
    ] = None,
) -> None:
    """Record that a meter was compared with a better one; `due` asks for it once a year."""
    now = clock.now()
    # The person's own calendar day: late in the evening UTC is already tomorrow.
    day = parse_day(on, now) if on is not None else now.astimezone().date()
    known = _known_value(showed, actual)
    with context.writing() as writer:
        # Whether it is off is worked out from both figures, not asked: nobody likes to call an own meter
        # wrong.
        done, is_off = writer.compare_meter(name, day, note or "", known)
    document = {"meter": done.meter, "compared_on": output.day(done.last), "note": note, "off": is_off}
    word = ": off by more than its accuracy" if is_off else ""
    output.emit(document, lambda: output.say(f"{done.meter}  compared {output.day(done.last)}{word}"))
    if is_off:
        output.hint(
            f"take back what it showed: straycell meter fault '{name}' --from TIME --to TIME --because ..."
        )
    elif known is None:
        output.hint(
            "If it was off by more than its accuracy, add it again under a new name with the wider figure."
        )


def _known_value(showed: str | None, actual: str | None) -> KnownValue | None:
    """Both figures of a comparison, in one unit."""
    if showed is None and actual is None:
        return None
    if showed is None or actual is None:
        raise UsageFault("one figure of a comparison is missing", "give --showed and --actual, or neither")
    from straycell.store.book.stock.household import KnownValue

    # Both in one unit or it is not a comparison: 4.05 V against 4050 mAh is a slip.
    for name, dimension in ACCURACIES.items():
        try:
            figures = [parse_quantity(text, dimension) for text in (showed, actual)]
        except BadData:
            continue
        return KnownValue(Quantity(name), *figures)
    raise BadData(
        f"'{showed}' and '{actual}' are not two values of one kind",
        "write both with their unit, like 4.05V and 4.20V",
    )


@app.command("fault")
def fault(
    name: NameArgument,
    start: Annotated[str, values.text_option("--from", "Since when it was wrong.", metavar="TIME")],
    end: Annotated[str, values.text_option("--to", "Until when.", metavar="TIME")],
    because: Annotated[str, values.text_option("--because", "What was wrong with it.")],
) -> None:
    """Take back all that a faulty meter showed; needs a comparison that shows the fault (meter compare --showed)."""
    now = clock.now()
    # The window takes readings back for good, so it has to be stated and is never assumed.
    since, until = parse_time(start, now), parse_time(end, now)
    if until < since:
        raise UsageFault("--to lies before --from", "give the earlier time first")
    with context.writing() as writer:
        withdrawn, floats = writer.withdraw_faulty(name, since, until, because)
    cells = sorted({r.cell for r in withdrawn})
    parts = [
        *([f"{count_of(len(withdrawn), 'reading')} of {count_of(len(cells), 'cell')}"] if withdrawn else []),
        *([f"{count_of(len(floats), 'measurement')} of chargers"] if floats else []),
    ]
    document = [
        *(
            {
                "id": r.key,
                "cell": r.cell,
                "quantity": r.quantity,
                "at": r.at.isoformat(),
                "mistake": METER_FAULT,
            }
            for r in withdrawn
        ),
        *(
            {"charger": c.name, "slot": c.slot, "at": c.at.isoformat(), "mistake": METER_FAULT}
            for c in floats
        ),
    ]
    output.emit(
        document,
        lambda: output.say(f"{' and '.join(parts)} taken back"),
        then=f"measure each again before anything else, with another meter: {', '.join(cells)}"
        if cells
        else "",
    )
    if floats:
        names = ", ".join(dict.fromkeys(c.name for c in floats))
        output.hint(
            f"measure with another meter where it ends: {names}; cells charged by it are tested again"
        )


def _page(meter: Meter) -> None:
    output.say(meter.name + (f"  (like {meter.like})" if meter.like else ""))
    unknown = "not known: the cautious default of the rules holds"
    facts = [(quantity, meter.accuracy_words(quantity) or unknown) for quantity in ACCURACIES]
    # Beside the accuracy of the same figure: a coarse display undoes a fine one.
    output.facts([facts[0], ("resolution", _steps(meter)), *facts[1:]], indent="  ")


def _steps(meter: Meter) -> str:
    """`1 mV below 4 V, then 10 mV`."""
    shown = [
        show(step, Dimension.VOLTAGE)
        + ("" if bound == float("inf") else f" below {show(bound, Dimension.VOLTAGE)}")
        for bound, step in meter.voltage_resolution.steps
    ]
    return ", then ".join(shown)
