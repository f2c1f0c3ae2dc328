"""Values on the command line: quantities with their unit, times, words of a list, whole numbers, texts, switches; and the
options of a command made from the table of what can be recorded (`readings.fields`).

A word that is not a choice and a count that is none are wrong usage (UsageFault, exit 2), as is the shape of the line
itself, which is click's business. A quantity, a time or a text that cannot be taken is BadData (exit 3).
"""

import inspect
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from enum import StrEnum
from typing import Annotated, Any

import typer

from straycell import typed
from straycell.cells import Look
from straycell.cli.app import clock
from straycell.errors import BadData, UsageFault
from straycell.keys import typed_key
from straycell.quantities import Dimension, Window, parse_quantity
from straycell.readings import Field
from straycell.typed import Word, parse_day, parse_line, parse_time


def _parsed(flag: str, parse: Callable[[str], Any], metavar: str, text: str) -> Any:
    """An option whose value is what `parse` makes of its word."""
    return typer.Option(flag, parser=parse, metavar=metavar, help=text, show_default=False)


def flag(name: str, text: str) -> Any:
    """A switch, which takes no value."""
    return typer.Option(name, help=text)


def option(name: str, text: str, *, metavar: str) -> Any:
    """An option whose value is taken as it is typed: a file, or several words."""
    return typer.Option(name, metavar=metavar, help=text, show_default=False)


def argument(metavar: str, text: str) -> Any:
    """A place on the line that takes a word as it is typed."""
    return typer.Argument(metavar=metavar, help=text, show_default=False)


def quantity(
    flag: str, dimension: Dimension, text: str, *, window: Window | None = None, example: str = ""
) -> Any:
    """An option that takes one quantity and gives it in the base unit of its dimension."""

    # A bare number is refused: 500 may be mA or mAh, and a wrong guess charges a cell too fast.
    def parse(value: str) -> float:
        return parse_quantity(value, dimension, window=window, name=flag.removeprefix("--").replace("-", " "))

    return _parsed(flag, parse, example or dimension.value.example, text)


def word(flag: str, kind: type[StrEnum], text: str, *, meaning: Callable[[Any], object] | None = None) -> Any:
    """An option that takes one word of an enumeration (or several options, for a list), or what each is the word for."""
    words = " ".join(member.value for member in kind)
    # Parsed here, so that a mistyped word is answered with the nearest one.
    return _parsed(
        flag,
        lambda value: (meaning or kind)(parse_word(value, kind, flag)),
        "WORD",
        f"{text} One of: {words}.",
    )


def parse_word(value: str, kind: type[Word], name: str) -> Word:
    """A member of `kind` by its word, capitals and blanks forgiven. Raises UsageFault."""
    try:
        return typed.parse_word(value, kind)
    except BadData as fault:
        from straycell.safety.incidents import find_incident

        # "warm" and "hissing" are seen at the bench and are no looks: what happened is recorded by another command.
        happened = find_incident(value) if kind is Look else None
        remedy = happened and f"that is an incident: straycell incident add --kind {happened.id} CODE"
        raise _of_option(name, BadData(fault.what, remedy or fault.remedy)) from fault


def nearest_word_fault(name: str, value: str, words: Sequence[str]) -> UsageFault:
    """An option's word that is not known, with the nearest ones and all of them."""
    return _of_option(name, typed.unknown_word(value, words))


def _of_option(name: str, fault: BadData) -> UsageFault:
    return UsageFault(f"{name.removeprefix('--')}: {fault.what}", fault.remedy)


def text_option(flag: str, help_text: str, *, metavar: str = "TEXT") -> Any:
    """An option that takes one line of text."""
    return _parsed(flag, _line_parser(flag), metavar, help_text)


def text_argument(metavar: str, help_text: str) -> Any:
    """A positional text that must not be empty."""
    return typer.Argument(parser=_line_parser(metavar), metavar=metavar, help=help_text, show_default=False)


def _line_parser(name: str) -> Callable[[str], str]:
    return lambda value: parse_line(value, name.removeprefix("--").lower())


def whole(flag: str, text: str, *, low: int, high: int) -> Any:
    """An option that takes a whole number from low to high; another is wrong usage."""

    def parse(value: str) -> int:
        try:
            return parse_whole(value, flag, low=low, high=high)
        except BadData as fault:
            raise UsageFault(fault.what, fault.remedy) from fault

    return _parsed(flag, parse, "N", text)


def parse_whole(value: str, name: str, *, low: int, high: int) -> int:
    """A whole number from low to high, written in plain digits. Raises BadData."""
    tidy = value.strip().removeprefix("#")
    label = name.removeprefix("--").lower()
    # isdigit alone takes digits of other scripts, and a very long number takes time to convert.
    digits = tidy.removeprefix("-")
    if not (digits.isascii() and digits.isdigit() and len(digits) < 12):
        raise BadData(f"{label}: '{value[:60]}' is not a whole number", f"write {low} to {high}")
    if int(tidy) < low:
        raise BadData(f"{label}: {tidy} is out of range", f"it must be {low} or more")
    if int(tidy) > high:
        raise BadData(f"{label}: {tidy} is out of range", f"write {low} to {high}")
    return int(tidy)


def record_argument(what: str, text: str, metavar: str = "ID") -> Any:
    """The number of a record as typed (H-613, or 613 alone); which record it means only the store can tell."""

    def parse(value: str) -> str:
        typed_key(value, what)
        return value

    return typer.Argument(parser=parse, metavar=metavar, help=text, show_default=False)


def at_option(text: str = "When it was done (default: now).") -> Any:
    """`--at TIME`; gives a UTC time."""
    return time_option("--at", text)


def time_option(flag: str, text: str) -> Any:
    """An option that takes a time up to now; gives a UTC time."""
    # Up to now: what lies in the future was not measured.
    return _parsed(flag, lambda value: parse_time(value, clock.now()), "TIME", text)


def day_option(flag: str, text: str) -> Any:
    """An option that takes a calendar day up to today."""
    return _parsed(flag, lambda value: parse_day(value, clock.now()), "DATE", text)


def limit_wh_option() -> Any:
    """`--limit-wh N`: watt-hours, bare or written out."""

    # The option's name holds the unit, so the one bare number that is clear is taken.
    def parse(value: str) -> float:
        window = Window(0.1, 1e6, "a box")
        return parse_quantity(value, Dimension.ENERGY, window=window, bare="Wh", name="limit-wh")

    text = "The most energy it may hold, in watt-hours."
    return _parsed("--limit-wh", parse, "N", text)


CellArgument = Annotated[str, text_argument("CODE", "The cell.")]
OwnNameArgument = Annotated[str, text_argument("NAME", "What you call it.")]
BecauseOption = Annotated[str, text_option("--because", "Why; it stays in the history.")]
# The codes behind the first one of `--cells A B C`: an option takes one word.
MoreCodes = Annotated[list[str] | None, typer.Argument(hidden=True, metavar="[CODE]...")]
# Which cells a command is about: codes, all of a box, all of a tear-down.
CodesArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[CODE]...", help="The cells; or --box or --teardown.", show_default=False),
]
BoxOption = Annotated[str | None, text_option("--box", "All cells of this box.", metavar="BOX")]
TeardownOption = Annotated[
    str | None, text_option("--teardown", "All cells out of this tear-down.", metavar="CODE")
]


# --- options made from the table of fields


def takes(
    fields: Iterable[Field], *, needed: Iterable[str] = ()
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command that ends in `**said` an option for each field; it is called with those that were given.

    They are before the command's own options in `--help`. `needed` are the names it cannot do without.
    """
    # One table of fields: an option, a CSV column and a note of one thing cannot drift apart.
    options = [_parameter(field, needed=field.name in needed) for field in fields]

    def dressed(command: Callable[..., None]) -> Callable[..., None]:
        def run(**given: Any) -> None:
            said = {option.name: given.pop(option.name) for option in options}
            command(**given, **{name: value for name, value in said.items() if value not in (None, [])})

        own = [
            p
            for p in inspect.signature(command, eval_str=True).parameters.values()
            if p.kind != p.VAR_KEYWORD
        ]
        # inspect.Signature takes no parameter without a default after one that has it.
        required = [p for p in (*own, *options) if p.default is p.empty]
        optional = [p for p in (*options, *own) if p.default is not p.empty]
        run.__doc__, run.__name__ = command.__doc__, command.__name__
        run.__signature__ = inspect.Signature([*required, *optional])  # type: ignore[attr-defined]
        return run

    return dressed


def _parameter(field: Field, *, needed: bool) -> inspect.Parameter:
    kind: Any = list[Look] if field.kind is Look else field.kind if isinstance(field.kind, type) else float
    default = inspect.Parameter.empty if needed else None
    return inspect.Parameter(
        field.name,
        inspect.Parameter.POSITIONAL_OR_KEYWORD,
        default=default,
        annotation=Annotated[kind if needed else kind | None, _option(field)],
    )


def _option(field: Field) -> Any:
    if field.dimension is not None:
        return quantity(field.option, field.dimension, field.help, window=field.typed, example=field.example)
    if field.kind is bool:
        no = "" if field.note else f"/--no-{field.option.removeprefix('--')}"
        return typer.Option(f"{field.option}{no}", help=field.help, show_default=False)
    if field.kind is date:
        return day_option(field.option, field.help)
    if field.kind is int and field.typed is not None:
        return whole(field.option, field.help, low=int(field.typed.low), high=int(field.typed.high))
    if isinstance(field.kind, type) and issubclass(field.kind, StrEnum):
        return word(field.option, field.kind, field.help)
    return text_option(field.option, field.help, metavar=field.example or "TEXT")
