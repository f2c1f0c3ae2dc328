"""`straycell handover`: what leaves for a collection point, with its list."""

from pathlib import Path
from typing import Annotated, Any

from straycell.cli.app import cautions, context, files, output, prompts, tables, values, verbs
from straycell.errors import BadData
from straycell.quantities import count_of
from straycell.safety import Step, cautions_for
from straycell.safety.energy import Amount
from straycell.safety.handover.listing import HandoverLine, HandoverList
from straycell.store.book.records import HandoverEntry

app = verbs.noun_app("What leaves for a collection point, with its list.")
Number = Annotated[str, values.record_argument("hand-over", "The hand-over's number.", metavar="N")]


@app.command("add")
def add(
    place: Annotated[str, values.text_argument("PLACE", "Where the cells go.")],
    codes: Annotated[
        list[str] | None,
        values.argument("[CODE]...", "Only these (default: all that wait)."),
    ] = None,
) -> None:
    """Gather the condemned cells that wait; an open hand-over for the same place takes them in."""
    bench = context.bench()
    with bench.writing() as writer:
        named = [writer.find_code(code) for code in codes] if codes else None
        entry = writer.add_handover(place, named)
        listed = writer.handover_list(entry.id, bench.rules, bench.now)
    output.emit(
        document(entry, listed),
        lambda: _page(entry, listed),
        then=f"next: straycell handover show {entry.id} --out list.pdf; when they are gone: handover close {entry.id}",
    )
    cautions.talk(Step.HANDOVER)


@app.command("list")
def list_all() -> None:
    """List the hand-overs, and how many condemned cells wait for one."""
    with context.bench().reading() as reader:
        entries = reader.handovers()
    tables.listing(
        entries,
        _head,
        {
            "n": lambda e: e.id,
            "state": lambda e: "closed " + output.day(e.closed_at) if e.closed_at else "open",
            "begun": lambda e: output.day(e.opened_at),
            "cells": lambda e: len(e.codes),
            "place": lambda e: e.place,
        },
        flexible="place",
        empty="no hand-over yet",
    )


@app.command("show")
def show(
    number: Number,
    out: Annotated[
        Path | None, values.option("--out", "Write the list to go with them as a PDF.", metavar="PDF")
    ] = None,
    force: files.Force = False,
) -> None:
    """Show the list of a hand-over: count, chemistry, mass, energy, state, and what may apply to its carriage."""
    bench = context.bench()
    with bench.reading() as reader:
        entry = reader.handover(reader.handover_number(number))
        listed = reader.handover_list(entry.id, bench.rules, bench.now)
    # The paper goes with the cells: whoever receives them has no access to the store.
    if out is not None:
        from straycell.safety.handover.render import handover_pdf

        texts = [caution.text for caution in cautions_for(Step.HANDOVER)]
        files.write_whole(out, handover_pdf(listed, bench.now, cautions=texts), force=force)
        files.talk_missing_glyphs(listed)
    output.emit(
        document(entry, listed) | {"file": out},
        lambda: _page(entry, listed),
        then=f"written to {out}" if out is not None else "",
    )
    cautions.talk(Step.HANDOVER)


@app.command("close")
def close(
    number: Number,
    yes: Annotated[bool, values.flag("--yes", "Do not ask at a terminal.")] = False,
) -> None:
    """Record that the cells have left the house: they are handed over for good and stay on record."""
    bench = context.bench()
    listed_now = None
    # Final by trigger, so somebody at the keys is asked; a script that names the list has decided.
    if not yes and prompts.at_terminal():
        with bench.reading() as reader:
            listed_now = reader.handover(reader.handover_number(number))
        if listed_now.closed_at is None:
            count = count_of(len(listed_now.codes), "cell")
            prompts.confirm(False, f"have {count} left the house for {listed_now.place}? That is final.")
    with bench.writing() as writer:
        before = writer.handover(writer.handover_number(number))
        # Minutes pass at the question, and another bench may lay a cell on the list that is still in the house.
        if listed_now is not None and (new := sorted(set(before.codes) - set(listed_now.codes))):
            raise BadData(
                f"{', '.join(new)} came onto hand-over {before.id} meanwhile",
                "close it again when they have left, too",
            )
        entry = writer.close_handover(before.id)
        listed = writer.handover_list(before.id, bench.rules, bench.now)
    # A cell cleared meanwhile must not leave with the drum: it is named, so that somebody takes it out.
    stayed = sorted(set(before.codes) - set(entry.codes))
    count = count_of(len(entry.codes), "cell")
    output.emit(
        document(entry, listed) | {"left_out": stayed},
        lambda: output.say(f"hand-over {entry.id} closed: {count} handed over to {entry.place}"),
    )
    if stayed:
        output.talk(f"left out, because they are not condemned any more: {', '.join(stayed)}")


def _head(entry: HandoverEntry) -> dict[str, Any]:
    return {
        "id": entry.id,
        "place": entry.place,
        "state": "closed" if entry.closed_at else "open",
        "opened_at": entry.opened_at,
        "closed_at": entry.closed_at,
        "cells": list(entry.codes),
    }


def document(entry: HandoverEntry, listed: HandoverList) -> dict[str, Any]:
    """The JSON of a hand-over with its list."""
    kept = listed.to_json()
    return _head(entry) | {name: kept[name] for name in kept if name not in ("number", "place", "bench")}


def _page(entry: HandoverEntry, listed: HandoverList) -> None:
    output.say(f"hand-over {entry.id} to {entry.place}, {'closed' if entry.closed_at else 'open'}")
    tables.grid(
        listed.lines,
        {
            "count": lambda line: line.count,
            "form": lambda line: line.form,
            "chem.": lambda line: line.chemistry,
            "state": _state,
            "mass": lambda line: _amount(line.mass, "g"),
            "energy": lambda line: _amount(line.energy, "Wh"),
            "UN": lambda line: line.un,
        },
        flexible="state",
        empty="no condemned cell on it",
    )
    for line in listed.lines:
        output.section(f"{line.count} x {line.form} {line.chemistry}: {_state(line)}")
        for cell in line.cells:
            output.say(*output.wrap(f"{cell.code}  {cell.why}", "  "))
    # The tool names rules and classifies nothing: that is the consignor's duty (ADR 1.4.2.1).
    output.listed(
        "May apply; check with the collection point",
        (f"{rule.name}: {rule.text} ({rule.source})" for rule in listed.rules),
    )


def _state(line: HandoverLine) -> str:
    """What may react comes first: a narrow column cuts the end of a cell, never this."""
    # Whoever sorts the drum reads the first words only.
    return ("MAY REACT, " if line.critical else "") + str(line.condition)


def _amount(amount: Amount, unit: str) -> str:
    return f"{'~' if amount.estimated else ''}{amount.value:.0f} {unit}"
