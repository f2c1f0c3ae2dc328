"""`straycell charger`: where each slot of a charger ends a charge, measured at the cell's terminals."""

from typing import Annotated, Any

from straycell.cli.app import clock, context, output, tables, values, verbs
from straycell.keys import NEW
from straycell.meters import parse_accuracy, show_accuracy
from straycell.quantities import Dimension, Measured, show
from straycell.readings import COUNTS_FOR, Charger, Quantity, Reading, measured, newest

app = verbs.noun_app("What charges the cells, and where each slot ends.")
SlotOption = Annotated[
    int | None, values.whole("--slot", "Which of its slots (default: all alike).", low=1, high=99)
]


@app.command("add")
def add(
    name: values.OwnNameArgument,
    slot: SlotOption = None,
    measured_float: Annotated[
        float | None,
        values.quantity(
            "--measured-float",
            Dimension.VOLTAGE,
            "Voltage at the cell's terminals when it ends.",
            example="4.19V",
        ),
    ] = None,
    meter: Annotated[
        str | None,
        values.text_option("--meter", "What the float was measured with (meter add).", metavar="M"),
    ] = None,
    end_current: Annotated[
        float | None,
        values.quantity("--end-current", Dimension.CURRENT, "The current at which it ends.", example="50mA"),
    ] = None,
    capacity_accuracy: Annotated[
        str | None,
        values.text_option("--capacity-accuracy", "Accuracy of the charge it counts.", metavar="5%"),
    ] = None,
) -> None:
    """Record what was measured of a charger; `charge add --charger NAME` then takes its end from it for 90 days."""
    now = clock.now()
    with context.writing(create=True) as writer:
        with_meter = None if meter is None else writer.meter(meter)
        float_v = None
        if measured_float is not None:
            # As a reading, so that the meter's accuracy becomes U by the one way there is.
            shown = Reading(NEW, "", Quantity.VOLTAGE, now, measured_float, meter=with_meter)
            float_v = measured(shown, context.rules().defaults)
        accuracy = (
            None if capacity_accuracy is None else parse_accuracy(capacity_accuracy, Dimension.CAPACITY)
        )
        made = writer.add_charger(Charger(name, now, slot, float_v, end_current, accuracy, meter=meter))
    output.emit(
        document(made),
        lambda: output.say(_line(made)),
        then=f"it counts until {output.day(now + COUNTS_FOR)}; then measure it again",
    )


@app.command("withdraw")
def withdraw(
    name: Annotated[str, values.text_argument("NAME", "The charger.")],
    because: values.BecauseOption,
    slot: SlotOption = None,
) -> None:
    """Take back the newest measurement of a charger that was mistyped; the history keeps it."""
    with context.writing() as writer:
        gone = writer.withdraw_charger(name, slot, because)
    output.emit(
        document(gone) | {"withdrawn": True},
        lambda: output.say(f"{_line(gone)}  withdrawn"),
        # A charge took its end from what was true of the charger then, and is a record of its own.
        then="charges that took their end from it keep it: straycell reading supersede ID --mistake mistyped --until ...",
    )


@app.command("list")
def list_all() -> None:
    """List what is known of the chargers, the newest measurement of each slot."""
    with context.reading() as reader:
        known = reader.chargers()
    # Slot by slot: each ends at a voltage of its own, which is why they are measured apart.
    slots = sorted({(c.name, c.slot) for c in known}, key=lambda k: (k[0], k[1] or 0))
    found = [newest([c for c in known if (c.name, c.slot) == which]) for which in slots]
    tables.listing(
        found,
        document,
        {
            "name": lambda c: c.name,
            "slot": lambda c: "all" if c.slot is None else c.slot,
            "float": lambda c: _volts(c.float_v),
            "ends at": lambda c: (
                None if c.end_current_a is None else show(c.end_current_a, Dimension.CURRENT)
            ),
            "counts within": lambda c: show_accuracy(c.capacity, Dimension.CAPACITY),
            "measured": lambda c: output.day(c.at),
        },
        flexible="name",
        empty="no charger was measured yet: straycell charger add NAME",
    )


def _volts(float_v: Measured | None) -> str | None:
    return None if float_v is None else show(float_v.value, Dimension.VOLTAGE, u=float_v.u)


def _line(charger: Charger) -> str:
    slot = "" if charger.slot is None else f" slot {charger.slot}"
    ends = _volts(charger.float_v)
    return f"{charger.name}{slot}" + (f"  ends at {ends}" if ends else "")


def document(charger: Charger) -> dict[str, Any]:
    """The JSON of one measurement."""
    return {
        "name": charger.name,
        "slot": charger.slot,
        "float_v": None if charger.float_v is None else charger.float_v.value,
        "expanded_uncertainty": None if charger.float_v is None else charger.float_v.expanded,
        "end_current_a": charger.end_current_a,
        "meter": charger.meter,
        "capacity_accuracy": show_accuracy(charger.capacity, Dimension.CAPACITY) or None,
        "measured_at": charger.at,
        "counts_until": charger.at + COUNTS_FOR,
    }
