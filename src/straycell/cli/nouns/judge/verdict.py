"""`straycell verdict`: what the readings say a cell may be used for, with every reason."""

from typing import Annotated

from straycell.acceptance import verdict_to_json
from straycell.bench import cell_list, verdict_words
from straycell.bench.paper.charts import limits_chart_of
from straycell.cli.app import cautions, context, output, progress, tables, values, verbs
from straycell.cli.show import picture, verdict_page

app = verbs.noun_app("What a cell may be used for, with every reason.")


@app.command("show")
def show(
    code: values.CellArgument,
    everything: Annotated[bool, values.flag("--all", "Also the rules that are met.")] = False,
) -> None:
    """Show a cell's verdict: why, what to do next, and when."""
    bench = context.bench()
    with bench.reading() as reader:
        found = reader.find_code(code)
        verdict = reader.verdict(found, bench.rules, bench.now)
        facts = reader.cell(found).facts
    output.emit(
        verdict_to_json(verdict), lambda: verdict_page.page(verdict, bench.now, everything=everything)
    )
    cautions.talk(*verdict_words.handling(verdict), kinds=[facts])


@app.command("plot")
def plot(code: values.CellArgument, out: picture.Out = None, force: picture.Force = False) -> None:
    """Draw a cell's figures with their uncertainty against their limits."""
    picture.draw(limits_chart_of(context.bench(), code), out, force)


@app.command("list")
def list_all(
    outcome: verdict_page.OutcomeOption = None,
    sort: Annotated[
        cell_list.VerdictOrder | None,
        values.word("--sort", cell_list.VerdictOrder, "Sort by this (default code)."),
    ] = None,
) -> None:
    """List every cell's verdict: why, and the next thing to do."""
    bench = context.bench()
    now = bench.now
    with bench.reading() as reader:
        verdicts = reader.verdicts(bench.rules, now)
    # Chosen after judging: an outcome that ran out today is not the recorded one.
    chosen = [verdict for verdict in verdicts.values() if outcome is None or verdict.outcome is outcome]
    chosen = cell_list.sort_verdicts(chosen, sort or cell_list.VerdictOrder.CODE)
    tables.listing(
        chosen,
        verdict_to_json,
        {
            "code": lambda v: v.code,
            "outcome": lambda v: verdict_page.outcome_cell(v.outcome),
            "why": lambda v: next(iter(verdict_words.why(v)), None),
            "next": lambda v: verdict_words.next_in_short(v, now),
            "until": verdict_words.until,
        },
        flexible="why",
        empty="no cell fits; to log cells: straycell intake",
    )


@app.command("refresh")
def refresh() -> None:
    """Record every cell's verdict again under the rules in force."""
    rules = context.rules()
    with progress.counting("verdicts") as tell:
        changed = context.write_long(
            lambda writer: writer.refresh_verdicts(tell, helpers=context.helpers()),
            context.size_of(context.store_path()),
        )
    output.emit(
        {"refreshed": changed, "rules": rules.name, "rules_hash": rules.hash},
        lambda: output.say(f"{changed} verdicts recorded under {rules.name}"),
    )
