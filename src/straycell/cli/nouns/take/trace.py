"""`straycell trace`: recorded curves, and what they tell of a cell."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from straycell.cli.app import clock, context, output, values
from straycell.cli.app.files import Force, write_whole
from straycell.cli.app.verbs import noun_app
from straycell.cli.show import trace_page, uncounted_capacity
from straycell.cli.show.after_writing import talk_after
from straycell.errors import UsageFault
from straycell.plain_text import require_plain
from straycell.quantities import Dimension, Window, show

app = noun_app("Recorded curves: capacity, energy and resistance out of a file, with their uncertainty.")
_D = Dimension
_CUTOFF = Window(1.0, 4.5)
_WIDTH = 66
"""Of the small curve; its last line is longer by the name of the cut-off."""
_LONG_BYTES = 4_000_000
"""From this size on a file is read for more than a moment, and progress is shown."""
Number = Annotated[
    int,
    typer.Argument(
        parser=lambda text: values.parse_whole(text, "id", low=1, high=10**9),
        metavar="ID",
        help="The trace's number (trace list).",
        show_default=False,
    ),
]


@app.command("add")
def add(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="Delimited text, gz too: time, voltage, current.", show_default=False
        ),
    ],
    meter: Annotated[
        str | None, values.text_option("--meter", "What recorded it (meter add).", metavar="M")
    ] = None,
    at: Annotated[datetime | None, values.at_option("When the recording ended (default: now).")] = None,
    cutoff: Annotated[
        float | None,
        values.quantity(
            "--cutoff",
            _D.VOLTAGE,
            "Where the discharge ends (default: the rules' highest that counts).",
            window=_CUTOFF,
            example="3.0V",
        ),
    ] = None,
    temperature: Annotated[
        float | None,
        values.quantity("--temperature", _D.TEMPERATURE, "Of the cell, where the file does not tell it."),
    ] = None,
    columns: Annotated[
        str | None,
        values.text_option(
            "--columns", 'What the header does not name: "time=T in min, current=3 in mA".', metavar="MAP"
        ),
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Work out a file anew that is in the store; needs --because.")
    ] = False,
    because: Annotated[str | None, values.text_option("--because", "Why it is worked out anew.")] = None,
) -> None:
    """File a recorded curve of a cell, and record the capacity, resistance and charges it shows.

    The file is kept as it is. What came out points back to it; a wrong reading is superseded, the trace stays.
    With --again what the same file gave before is superseded by what it gives now.
    """
    from straycell.acceptance.case import Case
    from straycell.bench.file_trace import Request, work_out
    from straycell.safety.incidents import heat_incident
    from straycell.traces import parse_columns
    from straycell.traces.read.layout import file_bytes

    if again is (because is None):
        raise UsageFault("--again and --because go together", "add --again --because 'forgot the meter'")
    if columns:
        parse_columns(columns)
    now, rules = clock.now(), context.rules()
    with context.reading() as reader:
        found = reader.find_code(code)
        with_meter = None if meter is None else reader.meter(meter)
        evidence = reader.evidence(found)
        raw = file_bytes(file)
        require_plain("the name of the file", file.name)
        reader.require_new_trace(raw, found, again=again)
    request = Request(
        file.name, raw, at or now, at is not None, with_meter, cutoff, temperature, columns or ""
    )
    case = Case(evidence, evidence.facts, rules, now)
    filing = work_out(case, request, _progress(len(raw)))
    heat = None if filing.warmest_c is None else heat_incident(filing.warmest_c)
    if heat is not None and again and any(upset.kind == heat.id for upset in evidence.upsets):
        heat = None  # the first filing recorded it
    with context.writing() as writer:
        entry, made = writer.add_trace(filing.new, filing.items, because)
        if heat is not None:
            hot = f"{show(filing.warmest_c or 0.0, _D.TEMPERATURE)} in trace {entry.id}"
            writer.add_incident(heat.id, [found], hot, heat.severe)
    numbers = [item.id for item in made]
    with context.reading() as reader:
        evidence = reader.evidence(found)
    doubts = {
        n: words for n, words in uncounted_capacity.doubted(evidence, rules, now).items() if n in numbers
    }
    told = list(doubts.values())
    output.emit(
        trace_page.document(entry, numbers, [], told), lambda: trace_page.figures(entry, numbers, [], told)
    )
    for note in filing.notes:
        output.talk(note)
    if heat is not None:
        output.talk(f"{hot}: incident '{heat.id}' recorded ({heat.text}): {heat.why}")
    uncounted_capacity.talk_worth(numbers, doubts, uncounted_capacity.remedy(evidence, rules, now))
    talk_after(found)


@app.command("list")
def list_all(
    code: Annotated[
        str | None,
        typer.Argument(metavar="CODE", help="Only this cell's.", show_default=False),
    ] = None,
) -> None:
    """List the traces, or those of one cell."""
    with context.reading() as reader:
        entries = reader.traces(None if code is None else reader.find_code(code))
    rows = [
        [
            str(e.id),
            e.cell,
            output.day(e.at),
            _short(e.result["capacity_ah"], _D.CAPACITY, least=e.result["at_least"]),
            _short(e.result["dc_resistance_ohm"], _D.RESISTANCE),
            e.name,
        ]
        for e in entries
    ]
    output.emit(
        [
            {key: e.result[key] for key in ("capacity_ah", "energy_wh", "dc_resistance_ohm", "at_least")}
            | {"id": e.id, "cell": e.cell, "at": e.at, "file": e.name}
            for e in entries
        ],
        lambda: output.table(
            ["id", "cell", "at", "capacity", "resistance", "file"],
            rows,
            flexible="file",
            empty="no trace filed yet: straycell trace add CODE FILE",
        ),
    )


def _short(figure: dict[str, float] | None, dimension: Dimension, *, least: bool = False) -> str | None:
    return None if figure is None else ("≥ " if least else "") + show(figure["value"], dimension)


@app.command("show")
def show_one(number: Number) -> None:
    """Show a trace: its figures, where their uncertainty comes from line by line, and a small curve."""
    with context.reading() as reader:
        entry = reader.trace(number)
        stand, gone = reader.trace_readings(number)
        raw = reader.trace_file(number)
        evidence = reader.evidence(entry.cell)
    rules, now = context.rules(), clock.now()
    doubts = {n: words for n, words in uncounted_capacity.doubted(evidence, rules, now).items() if n in stand}

    def page() -> None:
        from straycell.bench.file_trace import again
        from straycell.traces.draw.terminal import terminal_curve

        trace_page.figures(entry, stand, gone, list(doubts.values()))
        output.section("Curve")
        for line in terminal_curve(
            *again(entry, raw), width=_WIDTH, plain=not trace_page.can_draw()
        ).splitlines():
            output.say(line)
        trace_page.budget(entry.result)
        trace_page.pulses(entry.result)
        if entry.result["notes"]:
            output.section("How it was read")
            output.bullets(entry.result["notes"])

    output.emit(trace_page.document(entry, stand, gone, list(doubts.values())), page)
    uncounted_capacity.talk_worth(stand, doubts, uncounted_capacity.remedy(evidence, rules, now))


@app.command("plot")
def plot(
    number: Number,
    out: Annotated[
        Path, typer.Option("--out", metavar="PNG", help="Where the picture goes.", show_default=False)
    ],
    force: Force = False,
) -> None:
    """Draw voltage, current and charge of a trace, for the wall."""
    from straycell.bench.file_trace import again
    from straycell.traces.draw.plot import plot_png

    with context.reading() as reader:
        entry = reader.trace(number)
        raw = reader.trace_file(number)
        facts = reader.cell(entry.cell).facts
    kind = f"{facts.form} {facts.chemistry}  {facts.marking}".rstrip()
    title = f"{entry.cell}  {kind}  {output.day(entry.at)}"
    write_whole(out, plot_png(*again(entry, raw), title), force=force)
    output.emit({"id": entry.id, "files": [out], "count": 1}, lambda: output.say(str(out)))


def _progress(size_bytes: int) -> Callable[[float], None] | None:
    """A counter on stderr for long files, when a person is there to see it."""
    if size_bytes < _LONG_BYTES or not sys.stderr.isatty():
        return None

    def tell(share: float) -> None:
        end = "\r\x1b[K" if share >= 1 else ""
        print(f"\rreading the file: {share:4.0%}{end}", end="", file=sys.stderr, flush=True)

    return tell
