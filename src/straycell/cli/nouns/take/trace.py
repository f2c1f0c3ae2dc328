"""`straycell trace`: recorded curves, and what they tell of a cell."""

import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated

from straycell.bench.wording.sheet_words import kind_words
from straycell.cli.app import context, files, options, output, tables, values, verbs
from straycell.cli.show import after_writing, picture, trace_page
from straycell.errors import UsageFault
from straycell.quantities import Dimension, Window, show
from straycell.store.book.records import TraceEntry

app = verbs.noun_app(
    "Recorded curves: capacity, energy and resistance out of a file, with their uncertainty."
)
_CUTOFF = Window(1.0, 4.5)
"""Of the small curve; its last line is longer by the name of the cut-off."""
_LONG_BYTES = 4_000_000
"""From this size on a file is read for more than a moment, and progress is shown."""
Number = Annotated[str, values.record_argument("trace", "The trace's number (trace list).")]


@app.command("add")
def add(
    code: values.CellArgument,
    file: Annotated[
        Path,
        values.argument("FILE", "Delimited text, gz too: time, voltage, current."),
    ],
    meter: Annotated[
        str | None, values.text_option("--meter", "What recorded it (meter add).", metavar="M")
    ] = None,
    at: Annotated[datetime | None, values.at_option("When the recording ended (default: now).")] = None,
    cutoff: Annotated[
        float | None,
        values.quantity(
            "--cutoff",
            Dimension.VOLTAGE,
            "Where the discharge ends (default: the rules' highest that counts).",
            window=_CUTOFF,
            example="3.0V",
        ),
    ] = None,
    temperature: Annotated[
        float | None,
        values.quantity(
            "--temperature", Dimension.TEMPERATURE, "Temperature of the cell, if the file does not hold it."
        ),
    ] = None,
    columns: Annotated[
        str | None,
        values.text_option(
            "--columns", 'What the header does not name: "time=T in min, current=3 in mA".', metavar="MAP"
        ),
    ] = None,
    again: Annotated[bool, values.flag("--again", "Evaluate a stored file again (needs --because).")] = False,
    because: Annotated[str | None, values.text_option("--because", "Why it is evaluated again.")] = None,
) -> None:
    """File a recorded curve of a cell, and record the capacity, resistance and charges it shows.

    The file is kept as it is. What came out points back to it; a wrong reading is superseded, the trace stays.
    With --again what the same file gave before is superseded by what it gives now.
    """
    from straycell.bench.file_trace import file_trace
    from straycell.traces import parse_columns

    # What was worked out before is superseded by it, and a supersession needs a reason.
    if again is (because is None):
        raise UsageFault("--again and --because go together", "add --again --because 'forgot the meter'")
    # Asked before the file is read, which may take a minute.
    if columns:
        parse_columns(columns)
    filed = file_trace(
        context.bench(),
        code,
        file,
        meter=meter,
        at=at,
        cutoff_v=cutoff,
        temperature_c=temperature,
        columns=columns or "",
        because=because,
        progress=_progress,
    )
    numbers, doubts = [item.id for item in filed.recorded.items], list(filed.recorded.doubts.values())
    output.emit(
        trace_page.document(filed.entry, numbers, [], doubts),
        lambda: trace_page.figures(filed.entry, numbers, [], doubts),
    )
    output.talk(*filed.notes)
    after_writing.talk_recorded(filed.recorded)


@app.command("list")
def list_all(
    code: Annotated[str | None, values.argument("CODE", "Only this cell's.")] = None,
) -> None:
    """List the traces, or those of one cell."""
    with context.bench().reading() as reader:
        entries = reader.traces(None if code is None else reader.find_code(code))
    columns: tables.Columns[TraceEntry] = {
        "id": lambda e: e.id,
        "cell": lambda e: e.cell,
        "at": lambda e: output.day(e.at),
        "capacity": lambda e: _short(e.result["capacity_ah"], Dimension.CAPACITY, least=e.result["at_least"]),
        "resistance": lambda e: _short(e.result["dc_resistance_ohm"], Dimension.RESISTANCE),
        "file": lambda e: e.name,
    }
    figures = ("capacity_ah", "energy_wh", "dc_resistance_ohm", "at_least")
    tables.listing(
        entries,
        lambda e: (
            {key: e.result[key] for key in figures} | {"id": e.id, "cell": e.cell, "at": e.at, "file": e.name}
        ),
        columns,
        flexible="file",
        empty="no trace filed yet: straycell trace add CODE FILE",
    )


def _short(figure: dict[str, float] | None, dimension: Dimension, *, least: bool = False) -> str | None:
    return None if figure is None else ("≥ " if least else "") + show(figure["value"], dimension)


@app.command("show")
def show_one(number: Number) -> None:
    """Show a trace: its figures, where their uncertainty comes from line by line, and a small curve."""
    from straycell.bench.file_trace import trace_sheet

    # Everything is read in one snapshot and the store is free while the curve is drawn.
    sheet = trace_sheet(context.bench(), number)
    entry, stand, gone, doubts = sheet.entry, sheet.stand, sheet.gone, sheet.doubts

    # Drawn from the file each time: pictures need no room in the store and follow better drawing code.
    def page() -> None:
        from straycell.bench.file_trace import again
        from straycell.pictures.runs import run_curves

        trace_page.figures(entry, stand, gone, list(doubts.values()))
        output.section("Curve")
        picture.say(run_curves(entry.cell, again(entry, sheet.raw)), options.current().line)
        trace_page.budget(entry.result)
        trace_page.pulses(entry.result)
        output.listed("How it was read", entry.result["notes"])

    output.emit(trace_page.document(entry, stand, gone, list(doubts.values())), page)
    after_writing.talk_doubts(doubts, sheet.remedy)


@app.command("plot")
def plot(
    number: Number,
    out: picture.Out = None,
    run: Annotated[
        bool, values.flag("--run", "Only the run, over mAh, beside its siblings and its rating.")
    ] = False,
    force: files.Force = False,
) -> None:
    """Draw a trace: voltage, current and charge over time into a file, or with --run what came out of it.

    Without --out the run is drawn here.
    """
    bench = context.bench()
    if run or out is None:
        from straycell.bench.paper.curves_of import run_curves_of

        picture.draw(run_curves_of(bench, number), out, force)
        return
    from straycell.bench.file_trace import again
    from straycell.pictures.trace import trace_picture

    with bench.reading() as reader:
        entry = reader.trace(reader.trace_number(number))
        raw = reader.trace_file(entry.id)
        facts = reader.cell(entry.cell).facts
    # A picture leaves the store: it must say by itself which cell it is of.
    title = f"{entry.cell}  {kind_words(facts)}  {output.day(entry.at)}"
    files.write_whole(out, trace_picture(*again(entry, raw), title), force=force)
    output.emit({"id": entry.id, "files": [out], "count": 1}, lambda: output.say(str(out)))


def _progress(size_bytes: int) -> Callable[[float], None] | None:
    """A counter on stderr for long files, when a person is there to see it."""
    # A counter for a second's work only flickers.
    if size_bytes < _LONG_BYTES or not sys.stderr.isatty():
        return None

    def tell(share: float) -> None:
        end = "\r\x1b[K" if share >= 1 else ""
        print(f"\rreading the file: {share:4.0%}{end}", end="", file=sys.stderr, flush=True)

    return tell


Doubt = Annotated[str, values.record_argument("reading", "The number of the unexplained value (cell show).")]
Because = Annotated[str, values.text_option("--because", "What happened; it stays in the history.")]


@app.command("keep")
def keep(number: Doubt, because: Because) -> None:
    """Count what a trace showed and nobody had explained: the cell was in the circuit."""
    _explained(number, because, there=True)


@app.command("trim")
def trim(number: Doubt, because: Because) -> None:
    """Leave out what a trace showed and nobody had explained: the cell had been taken out."""
    _explained(number, because, there=False)


def _explained(number: str, because: str, *, there: bool) -> None:
    from straycell.bench.file_trace import explain

    done = explain(context.bench(), number, there=there, because=because)
    # Until a person says what happened, neither answer is safe: counted it may hide a leak, dropped a danger.
    cell = done.after[0].cell.code
    what = "is its own, and counts" if there else "was not of this cell"
    output.emit(
        {"code": cell, "explained": number, "kept": there}, lambda: output.say(f"{number}  {cell}  {what}")
    )
    after_writing.talk_recorded(done)
