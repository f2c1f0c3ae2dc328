"""`straycell log`: what this bench wrote, with the numbers to take back."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from straycell.bench.recording.tonight import Logged, last_write, log_since
from straycell.bench.wording import shapes
from straycell.cli.app import context, output, tables, values, verbs
from straycell.errors import UsageFault
from straycell.keys import RecordKey, key_of

app = verbs.lone_app()


@app.command()
def log(
    today: Annotated[bool, values.flag("--today", "Since this morning (the default).")] = False,
    since: Annotated[datetime | None, values.time_option("--since", "From this time on.")] = None,
) -> None:
    """Show what this bench wrote today, with the numbers of readings to take back."""
    if today and since is not None:
        raise UsageFault("--today and --since are two times", "leave one out")
    bench = context.bench()
    # From this bench's own midnight: UTC cuts an evening's work in two.
    start = since or bench.now.astimezone().replace(hour=0, minute=0, second=0, microsecond=0)
    logged, at = log_since(bench, start), output.stamp_short if since is not None else _hour
    output.emit(
        [shapes.event_json(each.event) | {"numbers": each.numbers} for each in logged],
        lambda: tables.story(
            logged,
            {
                "when": lambda each: at(each.event.at),
                "number": lambda each: _spans(each.numbers),
                "what": lambda each: each.event.verb,
                "which": _what,
            },
        ),
    )
    if not logged:
        output.talk("nothing was written yet")
    elif any(each.numbers for each in last_write(logged)):
        output.hint("the last write can be taken back within an hour: straycell reading undo --because TEXT")


def _hour(at: datetime) -> str:
    return f"{at.astimezone():%H:%M}"


def _spans(numbers: Sequence[str]) -> str:
    """`H-12, H-14 to H-31`: what one write of a hundred readings recorded, on a line."""
    spans = tables.runs(map(key_of, numbers), _follows)
    return ", ".join(
        f"{span[0]} to {span[-1]}" if len(span) > 2 else ", ".join(map(str, span)) for span in spans
    )


def _follows(before: RecordKey, key: RecordKey) -> bool:
    # Numbers of one bench only: H-12 and K-13 are no neighbours.
    return (key.bench, key.number) == (before.bench, before.number + 1)


def _what(each: Logged) -> str:
    cells = each.event.cells
    named = ", ".join(cells) if len(cells) <= 4 else f"{', '.join(cells[:3])} and {len(cells) - 3} more"
    return "; ".join(filter(None, [named, shapes.event_words(each.event, [])])) or each.event.subject
