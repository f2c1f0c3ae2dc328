"""Rows for a person: a table where its columns fit, else a card for each row; nothing that decides is cut."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Literal, TypeVar

from straycell.cli.app import options, output
from straycell.plain_text import one_line

NARROW = 72
"""Below so many columns a row of figures is a card: a code or a date in half is worse than a long page."""
_LEAST = 12
"""A flexible column with fewer characters than this tells nothing."""


class Marked(str):
    """A cell's text with a colour for a screen (a style of rich); the words say the same without it."""

    style: str

    def __new__(cls, text: str, style: str) -> "Marked":
        made = super().__new__(cls, text)
        made.style = style
        return made


Cell = str | None
_Item = TypeVar("_Item")
Columns = Mapping[str, Callable[[_Item], object]]
"""Heading by heading what a row shows of its item; None and an empty text are a dash."""


def listing(
    items: Sequence[_Item],
    document: Callable[[_Item], object],
    columns: Columns[_Item],
    *,
    flexible: str | None,
    empty: str,
    right: Collection[str] = (),
) -> None:
    """What a list command answers: `document` of each item with --json, else a table of `columns`."""
    output.emit(
        [document(item) for item in items],
        lambda: grid(items, columns, flexible=flexible, empty=empty, right=right),
    )


def grid(
    items: Sequence[_Item],
    columns: Columns[_Item],
    *,
    flexible: str | None,
    empty: str,
    right: Collection[str] = (),
) -> None:
    """A table of `columns`: heading and value are written side by side, so that none slips under another."""
    table(list(columns), _rows(items, columns), flexible=flexible, empty=empty, right=right)


def _rows(items: Sequence[_Item], columns: Columns[_Item]) -> list[list[Cell]]:
    return [[_word(show(item)) for show in columns.values()] for item in items]


def _word(value: object) -> Cell:
    if value is None or value == "":
        return None
    return value if isinstance(value, str) else str(value)


def runs(items: Iterable[_Item], follows: Callable[[_Item, _Item], bool]) -> list[list[_Item]]:
    """The items in groups of neighbours: each follows the one before it."""
    found: list[list[_Item]] = []
    for item in items:
        if found and follows(found[-1][-1], item):
            found[-1].append(item)
        else:
            found.append([item])
    return found


def lines(rows: Sequence[Sequence[str]], *, empty: str) -> None:
    """A few short rows without headers, aligned, for what a command just recorded; `empty` goes to stderr."""
    if not rows:
        output.talk(empty)
        return
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        line = "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()
        output.say(*(output.wrap(line) if options.current().at_terminal else [line]))


def table(
    headers: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    *,
    flexible: str | None,
    empty: str,
    right: Collection[str] = (),
    spare: str | None = None,
) -> None:
    """Rows under headers; `flexible` gives way (None: nothing may be cut), `right` are figures; `empty` goes to stderr.

    `spare` draws what other columns say in figures: it is left out where the table would be too wide.
    """
    if not rows:
        output.talk(empty)
        return
    cells = [[_tidy(cell) for cell in row] for row in rows]
    current = options.current()
    if (
        spare is not None
        and sum(max(map(len, c)) + 2 for c in zip(headers, *cells, strict=True)) - 2 > current.columns
    ):
        at = headers.index(spare)
        headers, cells = [*headers[:at], *headers[at + 1 :]], [[*row[:at], *row[at + 1 :]] for row in cells]
    widths = [max(map(len, column)) for column in zip(headers, *cells, strict=True)]
    gives_way = 0 if flexible is None else max(0, widths[headers.index(flexible)] - _LEAST)
    needed = sum(widths) - gives_way + 2 * (len(widths) - 1)
    # A card breaks no code or date: a figure cut in half is read as another one.
    if current.at_terminal and (current.columns < NARROW or needed > current.columns):
        _cards(headers, cells)
    elif current.at_terminal or current.in_colour:
        _rich_table(headers, cells, flexible, right)
    else:
        output.say(*_plain_table(headers, cells, flexible, right))


def _tidy(cell: Cell) -> str:
    shown = one_line((cell or "-").replace("\n", " "))
    return Marked(shown, cell.style) if isinstance(cell, Marked) else shown


def story(items: Sequence[_Item], columns: Columns[_Item]) -> None:
    """Like a table, but the last column is written in full, below its row when it is long."""
    headers, rows = list(columns), _rows(items, columns)
    brief = [[_tidy(cell) for cell in row[:-1]] for row in rows]
    widths = [max(len(row[i]) for row in [list(headers[:-1]), *brief]) for i in range(len(headers) - 1)]
    output.say("  ".join([*(h.ljust(w) for h, w in zip(headers[:-1], widths, strict=True)), headers[-1]]))
    for row, full in zip(brief, rows, strict=True):
        lead = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        text = _tidy(full[-1])
        if len(lead) + 2 + len(text) <= options.current().line:
            output.say(f"{lead}  {text}")
            continue
        output.say(lead.rstrip())
        output.say_wrapped(text, "    ", "")


def _cards(headers: Sequence[str], rows: list[list[str]]) -> None:
    """The first column as a heading, what is known below it, name by name."""
    for row in rows:
        # A figure alone is no heading: `cells 3`.
        output.say(f"{headers[0]} {row[0]}" if row[0].isdigit() else row[0])
        output.facts(
            [(name, None if cell == "-" else cell) for name, cell in zip(headers[1:], row[1:], strict=True)],
            indent="  ",
        )


def _plain_table(
    headers: Sequence[str], rows: list[list[str]], flexible: str | None, right: Collection[str]
) -> list[str]:
    """Within 80 columns where the flexible column can give way, else as wide as it must be."""
    widths = [max(map(len, column)) for column in zip(headers, *rows, strict=True)]
    # A pipe has no width, but logs and mails are read at 80 columns.
    excess = sum(widths) + 2 * (len(widths) - 1) - options.current().columns
    if flexible is not None:
        place = headers.index(flexible)
        widths[place] -= min(max(0, excess), max(0, widths[place] - _LEAST))
    aligned = [name in right for name in headers]
    return [
        "  ".join(_fit(*each) for each in zip(row, widths, aligned, strict=True)).rstrip()
        for row in [list(headers), *rows]
    ]


def _fit(cell: str, width: int, right: bool) -> str:
    # The ellipsis says that something is missing; a cut alone would look whole.
    if len(cell) > width:
        return cell[: width - 1] + "…"
    return cell.rjust(width) if right else cell.ljust(width)


def _rich_table(
    headers: Sequence[str], rows: list[list[str]], flexible: str | None, right: Collection[str]
) -> None:
    # Imported only where a table is drawn: in a pipe nobody needs it.
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    current = options.current()
    # Two blanks between columns, as `table` reckons: rich's usual three would cut what just fits.
    drawn = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    for header in headers:
        side: Literal["left", "right"] = "right" if header in right else "left"
        drawn.add_column(header, no_wrap=header != flexible, overflow="fold", justify=side)
    for row in rows:
        drawn.add_row(*(Text(cell, cell.style if isinstance(cell, Marked) else "") for cell in row))
    colours: Literal["standard"] | None = "standard" if current.in_colour else None
    console = Console(
        file=current.stdout,
        color_system=colours,
        force_terminal=current.in_colour,
        highlight=False,
        width=current.columns,
    )
    console.print(drawn)
