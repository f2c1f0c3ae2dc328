"""`straycell charge`: a recorded charge starts the clock for rest voltages and makes a capacity a capacity."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from straycell.cli.app import clock, context, output, values
from straycell.cli.app.verbs import noun_app
from straycell.cli.show import shapes
from straycell.cli.show.after_writing import talk_after
from straycell.quantities import Dimension, Window, show
from straycell.readings import Charge, Quantity, Reading
from straycell.safety import Step

app = noun_app("Recorded charges, which start the clock for rest voltages, and let-downs, which end it.")
_D = Dimension
_SOME = Window(1e-4, 500.0)
_UNTIL = Window(2.0, 5.0)
_ENDED = Window(0.0, 5.0)


CurrentOption = Annotated[
    float | None, values.quantity("--current", _D.CURRENT, "The charge current.", window=_SOME)
]
UntilOption = Annotated[
    float | None,
    values.quantity("--until", _D.VOLTAGE, "The voltage it was charged to.", window=_UNTIL, example="4.20V"),
]
EndCurrentOption = Annotated[
    float | None,
    values.quantity("--end-current", _D.CURRENT, "The current at which it stopped.", example="50mA"),
]
PeakOption = Annotated[
    float | None, values.quantity("--peak-temperature", _D.TEMPERATURE, "The warmest the cell became.")
]
ChargerOption = Annotated[str | None, values.text_option("--charger", "What charged it.", metavar="NAME")]
SlotOption = Annotated[int | None, values.whole("--slot", "Which of its slots.", low=1, high=99)]


@app.command("add")
def add(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    current: Annotated[float, values.quantity("--current", _D.CURRENT, "The charge current.", window=_SOME)],
    until: Annotated[
        float,
        values.quantity(
            "--until", _D.VOLTAGE, "The voltage it was charged to.", window=_UNTIL, example="4.20V"
        ),
    ],
    end_current: EndCurrentOption = None,
    temperature: Annotated[
        float | None, values.quantity("--temperature", _D.TEMPERATURE, "The room's temperature.")
    ] = None,
    peak_temperature: PeakOption = None,
    charger: ChargerOption = None,
    slot: SlotOption = None,
    at: Annotated[datetime | None, values.at_option("When it ended (default: now).")] = None,
) -> None:
    """Record a charge of a cell; its time is when it ended."""
    with context.writing() as writer:
        recorded = writer.add_charge(
            Charge(
                id=0,
                cell=writer.find_code(code),
                at=at or clock.now(),
                current_a=current,
                until_v=until,
                end_current_a=end_current,
                temperature_c=temperature,
                peak_temperature_c=peak_temperature,
                charger=charger or "",
                slot=slot,
            )
        )
    shown = f"#{recorded.id}  {recorded.cell}  charged at {show(current, _D.CURRENT)} to {show(until, _D.VOLTAGE)}"
    output.emit(shapes.charge_json(recorded), lambda: output.say(shown))
    if peak_temperature is None:
        output.hint("without --peak-temperature the warming is unmeasured, and a verdict waits for it")
    elif temperature is None:
        output.hint(
            "without --temperature (of the room) the warming is unmeasured, and a verdict waits for it"
        )
    talk_after(recorded.cell, Step.CHARGING)


@app.command("let-down")
def let_down(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    until: Annotated[
        float,
        values.quantity(
            "--until",
            _D.VOLTAGE,
            "The voltage at which the load was taken off.",
            window=_ENDED,
            example="3.80V",
        ),
    ],
    temperature: Annotated[
        float | None, values.quantity("--temperature", _D.TEMPERATURE, "The room's temperature.")
    ] = None,
    at: Annotated[datetime | None, values.at_option("When it ended (default: now).")] = None,
) -> None:
    """Record that a load brought a cell down to storage voltage; it ends a self-discharge check and proves nothing."""
    with context.writing() as writer:
        found = writer.find_code(code)
        moment = at or clock.now()
        (made,) = writer.add_readings([Reading(0, found, Quantity.LET_DOWN, moment, until, temperature)])
    output.emit(
        shapes.reading_json(made, context.rules().defaults),
        lambda: output.say(f"#{made.id}  {made.cell}  let down to {show(until, _D.VOLTAGE)}"),
    )
    output.hint(
        "it accounts for what is measured from now on; rest voltages recorded before it count as they did"
    )
    talk_after(made.cell, Step.CAPACITY)
