"""`straycell reading`: what was measured or seen; append-only, a wrong one is superseded with a reason."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any

from straycell.bench.recording import many, reading_form, record, tonight
from straycell.bench.wording import shapes, sheet_words
from straycell.cli.app import context, output, tables, values, verbs
from straycell.cli.show.after_writing import talk_recorded
from straycell.errors import UsageFault
from straycell.readings import OF_CHARGE, OF_READING, Item, Mistake, Quantity

app = verbs.noun_app("What was measured or seen; a wrong one is superseded, never edited.")
MeterOption = Annotated[
    str | None, values.text_option("--meter", "What it was taken with (meter add).", metavar="M")
]
AtOption = Annotated[datetime | None, values.at_option()]


@app.command("add")
@values.takes(OF_READING.values())
def add(code: values.CellArgument, meter: MeterOption = None, at: AtOption = None, **said: Any) -> None:
    """Record what was measured or seen of a cell; several quantities on one line are recorded together."""
    recorded = record.record_readings(context.bench(), code, _plain(said), meter=meter, at=at)
    _show_made(recorded.items)
    output.talk(*reading_form.notes_of(said))
    talk_recorded(recorded)


def _plain(said: dict[str, Any]) -> dict[str, Any]:
    """A list of words as a reading holds them."""
    return {name: tuple(value) if isinstance(value, list) else value for name, value in said.items()}


def _show_made(made: Sequence[Item]) -> None:
    defaults = context.rules().defaults
    one_cell = len({item.cell for item in made}) == 1
    output.emit(
        [shapes.item_json(item, defaults) for item in made],
        lambda: tables.lines(
            [
                [
                    f"{item.id}",
                    *([] if one_cell else [item.cell]),
                    item.quantity.value,
                    sheet_words.value_text(item, defaults),
                    sheet_words.describe(item),
                ]
                for item in made
            ],
            empty="nothing was recorded in its place",
        ),
    )


@app.command("supersede")
@values.takes([*(field for field in OF_READING.values() if field.name != "as_group"), *OF_CHARGE.values()])
def supersede(
    mistake: Annotated[Mistake, values.word("--mistake", Mistake, "What was wrong with it.")],
    because: values.BecauseOption,
    numbers: Annotated[
        list[str] | None,
        values.argument(
            "[ID]...",
            "The numbers of the readings or charges (cell show lists them); with --last codes of cells.",
        ),
    ] = None,
    last: Annotated[
        Quantity | None,
        values.word("--last", Quantity, "Instead of numbers: the last record of this kind of each cell."),
    ] = None,
    box: values.BoxOption = None,
    teardown: values.TeardownOption = None,
    right_cell: Annotated[
        str | None, values.text_option("--right-cell", "The cell that was really measured.", metavar="CODE")
    ] = None,
    as_group: Annotated[
        bool, values.flag("--as-group", "Take back the as-found voltage of its whole group.")
    ] = False,
    meter: MeterOption = None,
    at: AtOption = None,
    **said: Any,
) -> None:
    """Take readings back as a mistake, and record the right ones in their place if there are any.

    The old ones stay visible. Options you leave out keep their old value; after a bad contact give every value
    again. A charge is superseded with the options of charge add.
    """
    bench = context.bench()
    correction = reading_form.Correction(mistake, _plain(said), meter, at, bench.now)
    named, which = tuple(numbers or ()), many.Which(tuple(numbers or ()), box, teardown)
    if last is None and (not named or box is not None or teardown is not None):
        raise UsageFault(
            "which readings is missing", "give their numbers, or --last WORD with codes, --box or --teardown"
        )
    wanted = named if last is None else record.LastOf(last, which)
    done = record.supersede(bench, wanted, correction, because, right_cell=right_cell, as_group=as_group)
    _show_made(done.recorded.items)
    taken = ", ".join(str(old.item.id) for old in done.taken_back)
    output.talk(
        f"{taken} superseded as {mistake}; the history keeps {'it' if len(done.taken_back) == 1 else 'them'}"
    )
    # One meter on a parallel group reads all of its cells: a slip is a slip for each, but only a person
    # knows.
    if done.rest_of_group:
        output.hint(
            "it was recorded for a whole group: the other cells still hold theirs (--as-group takes all back)"
        )
    # The file is evidence and stays; only what was concluded from it is taken back.
    trace = done.taken_back[0].item.trace
    if trace is not None:
        listed = ", ".join(f"{number}" for number in done.same_trace)
        output.hint(f"it came out of trace {trace}, which stays" + (f"; so did {listed}" if listed else ""))
    talk_recorded(done.recorded)


@app.command("undo")
def undo(because: values.BecauseOption) -> None:
    """Take back the last record of this bench as mistyped, within an hour; then record it right."""
    done = tonight.undo_last(context.bench(), because)
    output.emit(
        {"superseded": done.numbers, "mistake": Mistake.MISTYPED, "because": because},
        lambda: output.say(f"{', '.join(done.numbers)} taken back"),
    )
    talk_recorded(done.recorded)
