"""`straycell charge`: a recorded charge starts the clock for rest voltages and makes a capacity a capacity."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any

from straycell.bench.recording import many, record
from straycell.bench.wording import shapes
from straycell.cli.app import context, output, values, verbs
from straycell.cli.show.after_writing import talk_recorded
from straycell.quantities import Dimension, show
from straycell.readings import FIELDS, LET_DOWN_V, OF_CHARGE, ROOM, Charge, Item
from straycell.safety import Step

app = verbs.noun_app(
    "Recorded charges, which start the clock for rest voltages, and let-downs, which end it."
)
EndedOption = Annotated[datetime | None, values.at_option("When it ended (default: now).")]


@app.command("add")
@values.takes([*OF_CHARGE.values(), ROOM], needed=("current_a",))
def add(
    codes: values.CodesArgument = None,
    box: values.BoxOption = None,
    teardown: values.TeardownOption = None,
    at: EndedOption = None,
    **said: Any,
) -> None:
    """Record a charge of a cell, or the same charge of each of many; its time is when it ended.

    Cells of a box or tear-down that are out of use or built in are left out.
    """
    done = record.record_charge(context.bench(), many.Which(tuple(codes or ()), box, teardown), said, at=at)
    defaults = context.rules().defaults
    documents = [shapes.item_json(charge, defaults) for charge in done.items]
    output.emit(documents[0] if len(documents) == 1 else documents, lambda: _show(done.items))
    # Both or no warming: the rise over the room is what points to trouble inside, not the temperature.
    lacks = next((name for name in ("peak_temperature_c", "temperature_c") if name not in said), None)
    if lacks:
        option, of = FIELDS[lacks].option, " (of the room)" if lacks == "temperature_c" else ""
        output.hint(f"without {option}{of} the warming is unmeasured, and a verdict waits for it")
    talk_recorded(done, Step.CHARGING)


def _show(charges: Sequence[Item]) -> None:
    for charge in charges:
        assert isinstance(charge, Charge)
        current = show(charge.current_a, Dimension.CURRENT)
        until = show(charge.until_v, Dimension.VOLTAGE, u=charge.u)
        output.say(f"{charge.id}  {charge.cell}  charged at {current} to {until}")


@app.command("let-down")
@values.takes([LET_DOWN_V, ROOM], needed=("until_v",))
def let_down(code: values.CellArgument, at: EndedOption = None, **said: Any) -> None:
    """Record that a load brought a cell to storage voltage; it ends a self-discharge check."""
    done = record.record_let_down(context.bench(), code, said, at=at)
    (made,) = done.items
    output.emit(
        shapes.item_json(made, context.rules().defaults),
        lambda: output.say(f"{made.id}  {made.cell}  let down to {show(said['until_v'], Dimension.VOLTAGE)}"),
        # A let-down explains a lower voltage only from its own time on; it cannot excuse an earlier leak.
        then="it accounts for what is measured from now on; rest voltages recorded before it count as they did",
    )
    talk_recorded(done, Step.CAPACITY)
