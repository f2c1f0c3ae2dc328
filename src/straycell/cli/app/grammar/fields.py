"""Options of a command made from the table of what can be recorded (`readings.fields`)."""

import inspect
from collections.abc import Callable, Iterable
from datetime import date
from enum import StrEnum
from typing import Annotated, Any

import typer

from straycell.cells import Look
from straycell.cli.app.grammar import values
from straycell.readings import Field


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
            command(**given, **{name: value for name, value in said.items() if not _left_out(value)})

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


def _left_out(value: object) -> bool:
    return value is None or value == []


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
        return values.quantity(
            field.option, field.dimension, field.help, window=field.typed, example=field.example
        )
    if field.kind is bool:
        no = "" if field.note else f"/--no-{field.option.removeprefix('--')}"
        return typer.Option(f"{field.option}{no}", help=field.help, show_default=False)
    if field.kind is date:
        return values.day_option(field.option, field.help)
    if field.kind is int and field.typed is not None:
        return values.whole(field.option, field.help, low=int(field.typed.low), high=int(field.typed.high))
    if isinstance(field.kind, type) and issubclass(field.kind, StrEnum):
        return values.word(field.option, field.kind, field.help)
    return values.text_option(field.option, field.help, metavar=field.example or "TEXT")
