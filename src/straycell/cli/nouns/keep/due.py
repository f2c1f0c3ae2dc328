"""`straycell due`: what must be looked at today, worst first, with why and what to do."""

from datetime import datetime, timedelta
from itertools import groupby
from pathlib import Path
from typing import Annotated

from straycell.bench.wording.shapes import due_json
from straycell.cli.app import cautions, context, files, output, tables, values, verbs
from straycell.safety import Step, cautions_for
from straycell.safety.due.calendar import calendar_file
from straycell.safety.due.gather import due_now, due_until, survey
from straycell.safety.due.survey import DueItem, common_step, due_kinds

app = verbs.lone_app()
MOST_AHEAD_DAYS = 3660


@app.command()
def due(
    kind: Annotated[
        str | None,
        values.text_argument("[KIND]", "Only this kind: each cell with the reason and since when."),
    ] = None,
    ics: Annotated[
        Path | None,
        values.option("--ics", "Also write what is due now and later as an iCalendar file.", metavar="FILE"),
    ] = None,
    out: Annotated[
        Path | None,
        values.option("--out", "Also write what is due now as a list to tick off.", metavar="PDF"),
    ] = None,
    ahead: Annotated[
        int | None,
        values.whole("--ahead", "Days to look ahead (default 0: today).", low=0, high=MOST_AHEAD_DAYS),
    ] = None,
    force: files.Force = False,
) -> None:
    """Show what must be looked at, worst first; with a kind, which cells and why. It changes nothing."""
    bench = context.bench()
    now = bench.now
    if kind is not None and kind not in due_kinds():
        raise values.nearest_word_fault("KIND", kind, list(due_kinds()))
    with bench.reading() as reader:
        household = reader.household(bench.rules, now)
        letter = reader.bench_letter()
    # Surveyed after the store is closed: with thousands of cells it takes a second, and writers wait.
    everything = survey(household)
    items = [item for item in everything if kind in (None, item.kind.id)]
    # Ahead shows what comes and never makes it due: a calendar is not a reason to touch a cell early.
    until = now + timedelta(days=ahead or 0)
    found = due_now(items, now)
    later = due_until(items, now, until)
    coming = [item for item in items if item.at > now]
    # The calendar holds everything, whatever kind was asked for: it replaces the last one whole.
    if ics is not None:
        files.write_whole(ics, calendar_file(everything, now, bench=letter), force=force)
    if out is not None:
        from straycell.safety.due.paper import due_pdf

        texts = [each.text for each in cautions_for(_caution_step(found))]
        files.write_whole(out, due_pdf(found, now, letter, cautions=texts), force=force)
        files.talk_missing_glyphs(found)
    output.emit(
        {
            "at": now,
            "due": [due_json(item, now) for item in found],
            "later": [due_json(item, now) for item in later],
            "next": min((item.at for item in coming), default=None),
            "ics": ics,
            "files": [path for path in (ics, out) if path is not None],
        },
        lambda: _page(found, later, now) if kind else _board(found, later, now),
    )
    _talk(found, coming, ics)
    if found and kind is None:
        output.hint(f"which cells, why and what to do: straycell due {found[0].kind.id}")


def _talk(found: list[DueItem], coming: list[DueItem], ics: Path | None) -> None:
    if not found:
        output.talk("nothing is due today")
    if coming:
        output.hint(f"the next thing falls due on {output.day(min(i.at for i in coming))}")
    if ics is not None:
        output.hint(f"written to {ics}; take it into your calendar in place of the last one")
    if found:
        cautions.talk(_caution_step(found))


def _caution_step(found: list[DueItem]) -> Step:
    """A cell that warms or leaks is handled differently from one that is only to be measured."""
    kinds = {item.kind.id for item in found}
    return Step.LOOK_BAD if kinds & {"in-device", "isolate", "warm"} else Step.STORING


def _board(found: list[DueItem], later: list[DueItem], now: datetime) -> None:
    """A line for each kind, worst first: how many, where, how long overdue at most."""
    if found:
        tables.story(
            _by_kind(found),
            {
                "  kind": lambda listed: f"{'!' if listed[0].kind.danger else ' '} {listed[0].kind.id}",
                "count": lambda listed: f"{len(listed):>5}",
                "overdue": lambda listed: f"{_overdue(listed, now):>7}",
                "what": lambda listed: f"{listed[0].kind.title}{_where(listed)}",
            },
        )
    _later(later)


def _by_kind(found: list[DueItem]) -> list[list[DueItem]]:
    return [list(group) for _, group in groupby(found, key=lambda item: item.kind)]


def _overdue(listed: list[DueItem], now: datetime) -> str:
    days = max((now - item.at).days for item in listed)
    return f"{days} d" if days else "today"


def _where(listed: list[DueItem]) -> str:
    boxes = dict.fromkeys(item.box for item in listed if item.box)
    return f" (in {'; '.join(boxes)})" if boxes else ""


def _page(found: list[DueItem], later: list[DueItem], now: datetime) -> None:
    for listed in _by_kind(found):
        kind = listed[0].kind
        output.section(f"{'! ' if kind.danger else ''}{kind.title} ({len(listed)})")
        output.say_wrapped(f"do: {common_step(listed)}", "  ")
        for item in listed:
            _line(item, now)
    _later(later)


def _later(later: list[DueItem]) -> None:
    if later:
        output.section("Later")
        output.say(*(f"  {output.day(item.at)}  {item.subject}  {item.kind.title}" for item in later))


def _line(item: DueItem, now: datetime) -> None:
    over = (now - item.at).days
    since = f" [{over} days overdue]" if over > 0 else ""
    place = f" in {item.box}" if item.box else ""
    output.say_wrapped(f"{item.subject}{place}{since}: {item.why}", "  ", "    ")
