"""`straycell cell`: one cell, one code, for life."""

from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from straycell.bench import verdict_words
from straycell.bench.cell_list import CellOrder, Wanted, cell_list, sort_cells
from straycell.bench.cell_sheet import cell_history, cell_sheet
from straycell.bench.outlook import IN_HOUSE
from straycell.bench.recording import many, record
from straycell.bench.wording import shapes, sheet_words
from straycell.cells import Cell, Chemistry, Form, Stage, tidy_code
from straycell.cli.app import cautions, context, files, output, tables, values, verbs
from straycell.cli.nouns.take import facts
from straycell.cli.show import after_writing, cell_page, picture, verdict_page
from straycell.errors import UsageFault
from straycell.markings import shares_primary_size
from straycell.quantities import Dimension
from straycell.readings import Mistake
from straycell.safety import Step, laying_away
from straycell.store.book.records import KEEP
from straycell.teardowns import parse_teardown_code

app = verbs.noun_app("One cell, one code, for life.")


@app.command("add")
@values.takes(facts.SAID)
def add(
    teardown: facts.TeardownOption = None,
    pack: facts.PackOption = None,
    code: Annotated[
        str | None, values.text_option("--code", "A code printed beforehand (label blank).", metavar="CODE")
    ] = None,
    count: Annotated[
        int | None, values.whole("--count", "How many alike cells (default 1).", low=1, high=500)
    ] = None,
    box: facts.BoxOption = None,
    **said: Any,
) -> None:
    """Record one cell, or many alike; each gets its code."""
    if code is not None and (count or 1) > 1:
        raise UsageFault(
            f"--code {code} names one cell, --count {count} asks for more", "leave one of them out"
        )
    # Pack 1 exists in every tear-down: alone it would make strangers siblings.
    if pack is not None and teardown is None:
        raise UsageFault("--pack is a pack of a tear-down", "add --teardown CODE")
    fields, notes = facts.with_marking(said, said.get("marking", ""))
    with context.writing(create=True) as writer:
        made = writer.add_cells(
            facts.build_facts(fields),
            count=count or 1,
            code=None if code is None else tidy_code(code),
            teardown=None if teardown is None else parse_teardown_code(teardown),
            pack=pack,
            box=box,
        )
    output.emit([shapes.cell_json(cell) for cell in made], lambda: _codes(made))
    output.talk(*[*notes, *_advice(made[0])])
    output.hint(f"next: straycell reading add {made[0].code} --look WORD --as-found-voltage Q --meter NAME")
    cautions.talk(Step.INTAKE, kinds=[made[0].facts])


def _codes(cells: list[Cell]) -> None:
    output.say(*(f"{cell.code}  {sheet_words.kind_words(cell.facts)}" for cell in cells))


def _advice(cell: Cell) -> list[str]:
    known = cell.facts
    primary = known.chemistry is Chemistry.PRIMARY
    unsure = not primary and not known.marking and not known.confirmed_rechargeable
    notes = {
        "form: other; say --form if it has a usual size": known.form is Form.OTHER,
        # A guessed chemistry is worse than none: 4.2 V over-charges an lfp cell by half a volt.
        "chemistry: unknown, so it stays on hold; never guess it": known.chemistry is Chemistry.UNKNOWN,
        "not rechargeable: it goes to the collection point and is never charged": primary,
        f"form {known.form} is shared by cells that must never be charged: on hold until its marking is "
        "recorded, or --confirm-rechargeable": unsure and shares_primary_size(known.form),
    }
    return [note for note, holds in notes.items() if holds]


@app.command("correct")
@values.takes(facts.SAID)
def correct(
    code: values.CellArgument,
    because: values.BecauseOption,
    mistake: Annotated[
        str | None,
        values.text_option(
            "--mistake",
            "'mistyped': the former entry was never true. Without it: it was true until now.",
            metavar="mistyped",
        ),
    ] = None,
    teardown: facts.TeardownOption = None,
    pack: facts.PackOption = None,
    box: facts.BoxOption = None,
    **said: Any,
) -> None:
    """Correct what is known of a cell; the former entry stays visible."""
    # An empty correction would be an event that says nothing, for ever.
    if not (said or teardown or pack or box):
        raise UsageFault("nothing to correct was given", "add the entry that is right, like --chemistry nmc")
    kind = _mistyped(mistake)

    # Checked and corrected under one lock: between the two another entry could make the check untrue.
    bench = context.bench()
    with bench.writing() as writer:
        found = writer.cell(writer.find_code(code))
        notes = _check_correction(found, said, mistyped=kind is not None)
        made = writer.correct_cell(
            found.code,
            said,
            because,
            kind,
            teardown=KEEP if teardown is None else parse_teardown_code(teardown),
            pack=KEEP if pack is None else pack,
            box=KEEP if box is None else box,
        )
        done = record.followed(bench, writer, [], [made.code])
    output.emit([shapes.cell_json(made)], lambda: _codes([made]))
    output.talk(*notes)
    after_writing.talk_recorded(done, Step.INTAKE)


def _mistyped(mistake: str | None) -> str | None:
    if mistake is None:
        return None
    found: Mistake = values.parse_word(mistake, Mistake, "--mistake")
    # Wrong cell and bad contact are mistakes of measuring; an entry of a cell is only typed.
    if found is not Mistake.MISTYPED:
        raise UsageFault(
            f"an entry of a cell cannot be a '{found}'",
            "--mistake mistyped, or leave it out when the former entry was true at its time",
        )
    return found.value


def _check_correction(cell: Cell, said: dict[str, object], *, mistyped: bool) -> list[str]:
    """A chemistry or a marking stated later meets the other as it is on record.

    A new marking brings along what `from_new_marking` says; what else it proposes is reported, not taken.
    """
    if "marking" not in said and "chemistry" not in said:
        return []
    # A marking added later may contradict the chemistry on record; it is asked before both stand.
    on_record: dict[str, object] = {"confirmed_rechargeable": cell.facts.confirmed_rechargeable or None}
    if cell.facts.chemistry is not Chemistry.UNKNOWN:
        on_record["chemistry"] = cell.facts.chemistry
    marking = str(said.get("marking", cell.facts.marking))
    facts.with_marking({**facts.stated(**on_record), **said}, marking)
    if "marking" not in said:
        return []
    notes = facts.from_new_marking(cell.facts, said, mistyped=mistyped)
    return [note.replace("CODE", cell.code) for note in notes]


@app.command("list")
def list_all(
    outcome: verdict_page.OutcomeOption = None,
    stage: Annotated[Stage | None, values.word("--stage", Stage, "Only cells in this stage.")] = None,
    chemistry: Annotated[
        Chemistry | None, values.word("--chemistry", Chemistry, "Only cells of this chemistry.")
    ] = None,
    form: Annotated[Form | None, values.word("--form", Form, "Only cells of this form.")] = None,
    box: Annotated[str | None, values.text_option("--box", "Only cells in this box.", metavar="BOX")] = None,
    teardown: Annotated[
        str | None, values.text_option("--teardown", "Only cells of this tear-down.", metavar="CODE")
    ] = None,
    search: Annotated[
        str | None,
        values.text_option(
            "--search",
            "Only cells whose marking, maker, note, box or tear-down holds this text.",
            metavar="TEXT",
        ),
    ] = None,
    min_capacity: Annotated[
        float | None,
        values.quantity(
            "--min-capacity", Dimension.CAPACITY, "Only cells with at least this capacity today."
        ),
    ] = None,
    sort: Annotated[
        CellOrder | None, values.word("--sort", CellOrder, "Sort by this (default code).")
    ] = None,
    columns: Annotated[
        str | None,
        values.text_option(
            "--columns",
            f"Show these columns, joined by commas: {' '.join(cell_page.COLUMNS)}.",
            metavar="NAMES",
        ),
    ] = None,
    plot: Annotated[
        Path | None,
        values.option("--plot", "Also draw them, capacity over resistance (.png or .svg).", metavar="FILE"),
    ] = None,
    force: files.Force = False,
) -> None:
    """List the cells with their figures of today."""
    wanted = Wanted(
        outcome,
        stage,
        chemistry,
        form,
        box,
        teardown,
        search,
        min_capacity,
    )
    # Before the store is read: a mistyped column must not cost the judging of every cell.
    names = cell_page.chosen_columns(columns)
    bench = context.bench()
    with bench.reading() as reader:
        listed = cell_list(reader, bench.rules, bench.now, wanted)
    # Sorted here and not in the store: most orders are by figures that rules work out.
    listed = sort_cells(listed, sort or CellOrder.CODE)
    if plot is not None:
        cell_page.draw(listed, plot, force=force)
    output.emit([shapes.listed_json(each) for each in listed], lambda: cell_page.show(listed, names))


@app.command("show")
def show(code: values.CellArgument) -> None:
    """Show one cell: what it is, what it may do, why, and what comes next."""
    page = cell_sheet(context.bench(), code)
    output.emit(shapes.sheet_json(page), lambda: cell_page.sheet(page))
    # Told only where no capacity counts: a second run is a day's work, and a good one needs none.
    if page.remedy and (page.figures.at_least or page.figures.capacity is None):
        output.hint(page.remedy)
    cautions.talk(*verdict_words.handling(page.verdict), kinds=[page.cell.facts])


@app.command("plot")
def plot(code: values.CellArgument, out: picture.Out = None, force: picture.Force = False) -> None:
    """Draw how a cell keeps its charge: rest voltages within what the limits allow, its siblings faint."""
    from straycell.bench.paper.curves_of import rest_curves_of

    picture.draw(rest_curves_of(context.bench(), code), out, force)


@app.command("history")
def history(code: values.CellArgument) -> None:
    """Show everything that ever happened to a cell, corrections too."""
    defaults = context.rules().defaults
    history = cell_history(context.bench(), code)
    output.emit(
        [shapes.event_json(event) for event in history.events],
        lambda: tables.story(
            sheet_words.history_in_words(history, defaults),
            {
                "when": lambda entry: output.stamp_short(entry[0].at),
                "what": lambda entry: entry[0].verb,
                "which": lambda entry: entry[0].subject,
                "detail": lambda entry: entry[1],
            },
        ),
    )


@app.command("move")
def move(
    codes: values.CodesArgument = None,
    *,
    target: Annotated[str, values.text_argument("BOX", "Where they lie now.")],
    box: values.BoxOption = None,
    teardown: values.TeardownOption = None,
) -> None:
    """Put cells into another box, all of them in one write."""
    which = many.Which(tuple(codes or ()), box, teardown)
    with context.writing() as writer:
        # One write: a box that takes two of three cells would leave a person guessing which.
        found = which.find(writer, (*IN_HOUSE, Stage.CONDEMNED))
        moved = many.each(found, lambda code: writer.move_cell(code, target))
    documents = [shapes.cell_json(cell) for cell in moved]
    shown = f"{', '.join(cell.code for cell in moved)}  now in {target}"
    output.emit(documents[0] if len(documents) == 1 else documents, lambda: output.say(shown))
    cautions.talk(*laying_away(cell.stage for cell in moved))


@app.command("withdraw")
def withdraw(
    because: values.BecauseOption,
    codes: values.CodesArgument = None,
    box: values.BoxOption = None,
    teardown: values.TeardownOption = None,
    last: Annotated[
        int | None, values.whole("--last", "The N cells recorded last at this bench.", low=1, high=500)
    ] = None,
    back: Annotated[bool, values.flag("--back", "They are there after all: undo it.")] = False,
) -> None:
    """Take back cells that were recorded by mistake and do not exist; the history keeps them.

    A cell of which a reading, a charge or an incident counts stays: supersede those first.
    """
    if last is not None and (codes or box or teardown or back):
        raise UsageFault("--last is given beside other cells or --back", "leave one of them out")
    with context.writing() as writer:
        which = many.Which(tuple(codes or ()), box, teardown)
        found = which.find(writer) if last is None else writer.last_added(last)
        act = writer.reinstate_cell if back else writer.withdraw_cell
        done = many.each(found, lambda code: act(code, because))
    shown = f"{', '.join(cell.code for cell in done)}  {'back as received' if back else 'withdrawn'}"
    output.emit(
        [shapes.cell_json(cell) for cell in done],
        lambda: output.say(shown),
        then="take its label off, if one was printed; cell withdraw --back undoes this" if not back else "",
    )


@app.command("swap")
def swap(
    first: Annotated[str, values.text_argument("CODE", "One of the two.")],
    second: Annotated[str, values.text_argument("OTHER", "The other.")],
    because: Annotated[
        str, values.text_option("--because", "How they were mixed up; it stays in the history.")
    ],
    since: Annotated[
        datetime | None, values.time_option("--since", "Only what was measured from then on (default: all).")
    ] = None,
) -> None:
    """Correct two mixed-up cells: what was measured of one counts for the other."""
    # One write for both cells: half a swap would be two cells with wrong readings.
    done = record.swap_cells(context.bench(), first, second, because, since)
    defaults = context.rules().defaults
    output.emit(
        [shapes.item_json(item, defaults) for item in done.items],
        lambda: output.say(f"{len(done.items)} readings and charges changed places"),
    )
    after_writing.talk_recorded(done)


@app.command("photo")
def photo(
    code: values.CellArgument,
    file: Annotated[Path, values.argument("FILE", "A picture file.")],
) -> None:
    """Keep a photograph with a cell: scaled, without the place and device that a camera writes into it."""
    from straycell.bench.recording.record import keep_photograph

    kept = keep_photograph(context.bench(), code, file)
    output.emit(
        shapes.photograph_json(kept) | {"file": str(kept.file)},
        lambda: output.say(f"{kept.cell}: photograph kept, {kept.file}"),
        then="it decides nothing: what it shows is recorded with: straycell reading add CODE --look WORD",
    )
