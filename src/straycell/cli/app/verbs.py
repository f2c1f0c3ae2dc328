"""How nouns and verbs become a Typer app: nouns are loaded only when they are named."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from straycell.errors import UsageFault
from straycell.shipped import shipped_table
from straycell.typed import nearest_words

_CONTEXT: dict[str, Any] = {"help_option_names": ["--help", "-h"], "max_content_width": 80}


class _Word:
    """How a word becomes a value: by its option's own parser. Typer would load pydantic, a tenth of a short command."""

    def __init__(self, parse: Callable[[str], Any]) -> None:
        self._parse = parse

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """The value of what was typed, of each word where there may be several; nothing typed stays nothing."""
        if param.multiple or param.nargs == -1:
            return tuple(map(self._parse, value or ()))
        return None if value is None else self._parse(value)


def _parsed_directly(params: list[Any]) -> list[Any]:
    for param in params:
        # Older Typers have no descriptor and load nothing.
        found = getattr(param, "type_descriptor", None)
        if found is not None and (parse := found.parameter_info.parser or _KINDS.get(found.annotation)):
            param.get_runtime_param = partial(_Word, parse)
    return params


_KINDS: dict[Any, Callable[[str], Any]] = {bool: bool, str: str, list[str]: str, Path: Path, list[Path]: Path}


class Verb(TyperCommand):
    """A command whose help names its arguments as a person writes them: CODE, [CODE], CODE..., [CODE...]."""

    def get_params(self, ctx: Any) -> list[Any]:
        return _parsed_directly(super().get_params(ctx))

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        params: list[Any] = list(self.params)
        shown = [_usage_word(p) for p in params if _is_argument(p) and not p.hidden]
        return ["[OPTIONS]", *shown]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Arguments and options, without the names of Python's types and ranges."""
        # Typer's own page names Python types, which mean nothing at a bench.
        arguments, options = [], []
        params: list[Any] = self.get_params(ctx)
        for param in params:
            record = param.get_help_record(ctx)
            if record is None:
                continue
            if _is_argument(param):
                arguments.append((_usage_word(param).strip("[]"), str(param.help or "")))
            else:
                options.append((record[0], _RANGE.sub("", record[1])))
        for title, rows in (("Arguments", arguments), ("Options", options)):
            if rows:
                with formatter.section(title):
                    formatter.write_dl([(name, text.replace("-", _UNBROKEN)) for name, text in rows])

    def get_help(self, ctx: Any) -> str:
        return str(super().get_help(ctx)).replace(_UNBROKEN, "-")

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Two examples end every page of help."""
        lines = examples_of(ctx.command_path.split()[1:])
        if lines:
            with formatter.section("Examples"):
                for line in lines:
                    formatter.write(f"{'':{formatter.current_indent}}straycell {line}\n")


def examples_of(path: Sequence[str]) -> list[str]:
    """The example lines of a command, without the program's name; none for an unknown one."""
    # Kept in one file of their own: examples scattered over docstrings would rot unseen.
    found: Any = shipped_table("cli/app/examples.toml")
    for word in path:
        found = found.get(word, {}) if isinstance(found, dict) else {}
    return list(found) if isinstance(found, list) else []


_UNBROKEN = "\N{NON-BREAKING HYPHEN}"
"""Stands for a hyphen while click wraps: `torn-ring` in two is typed wrongly."""
_RANGE = re.compile(r"; x[<>]=?-?[\d.]+")


def _is_argument(param: Any) -> bool:
    return bool(param.param_type_name == "argument")


def _usage_word(param: Any) -> str:
    # `CODE` of `[CODE]...`: what brackets and dots say follows from the argument itself.
    word = str(param.metavar or param.name.upper()).strip("[].")
    many = "..." if param.nargs != 1 else ""
    return f"{word}{many}" if param.required else f"[{word}{many}]"


class _App(typer.Typer):
    """A Typer whose commands are verbs."""

    def command(self, name: str | None = None, **options: Any) -> Any:
        return super().command(name, cls=options.pop("cls", Verb), **options)


class Verbs(TyperGroup):
    """A group that names the nearest verb when one is mistyped."""

    kind = "verb"

    def get_params(self, ctx: Any) -> list[Any]:
        return _parsed_directly(super().get_params(ctx))

    def list_commands(self, ctx: Any) -> list[str]:
        return list(self.commands)  # as written, which older Typers would sort

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Each verb with its whole sentence: cut by click after 45 characters, many say nothing."""
        found = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, command.get_short_help_str(_WHOLE)) for name, command in found if command is not None]
            )

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        # click would only say that there is no such command; the nearest one is what was meant.
        word = args[0]
        if self.get_command(ctx, word) is None and not word.startswith("-"):
            known = self.list_commands(ctx)
            raise UsageFault(
                f"'{ctx.command_path}' has no {self.kind} '{word[:60]}'",
                _instead(nearest_words(word, known), known, ctx.command_path),
            )
        return super().resolve_command(ctx, args)


_WHOLE = 1000
_MOST_LISTED = 12
"""So many words fit in a line or two; of more, the help tells."""


def _instead(near: Sequence[str], known: Sequence[str], path: str) -> str:
    """The nearest words; else all where they are few; always within two lines of a narrow terminal."""
    if near:
        return f"nearest: {', '.join(near)}; see: {path} --help"
    return f"one of: {', '.join(known)}" if len(known) <= _MOST_LISTED else f"see: {path} --help"


@dataclass(frozen=True, slots=True)
class Noun:
    """Where a noun's file is, what it is about (for --help), and under which heading it is."""

    module: str
    help: str
    heading: str


class LazyNouns(Verbs):
    """The root group. `table` is set by the app; a noun's file is imported when the noun is used."""

    kind = "noun"
    table: Mapping[str, Noun] = {}

    def list_commands(self, ctx: Any) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in self.table:
            return None
        # Imported when named: otherwise every command pays for the imports of all nouns.
        if cmd_name not in self.commands:
            app: typer.Typer = import_module(self.table[cmd_name].module).app
            self.commands[cmd_name] = typer.main.get_command(app)
        return self.commands[cmd_name]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        for heading in dict.fromkeys(noun.heading for noun in self.table.values()):
            rows = [(name, noun.help) for name, noun in self.table.items() if noun.heading == heading]
            with formatter.section(heading):
                formatter.write_dl(rows)


# Completion is a noun of its own, and Rich's boxes cannot be copied from a help page.
_PLAIN: dict[str, Any] = {
    "add_completion": False,
    "rich_markup_mode": None,
    "pretty_exceptions_enable": False,
    "context_settings": _CONTEXT,
}


def noun_app(help_text: str) -> typer.Typer:
    """A noun with verbs; each verb is a function decorated with `@app.command("verb")`."""
    app = _App(cls=Verbs, help=help_text, subcommand_metavar="VERB ...", **_PLAIN)
    app.callback()(_nothing)
    return app


def lone_app() -> typer.Typer:
    """A noun that is its own verb, such as `discard`: give it exactly one `@app.command()`."""
    return _App(**_PLAIN)


def root_app(table: Mapping[str, Noun], help_text: str) -> typer.Typer:
    """The root: global options come from its callback, nouns from the table."""
    cls = type("Nouns", (LazyNouns,), {"table": table})
    return typer.Typer(cls=cls, help=help_text, subcommand_metavar="NOUN VERB ...", **_PLAIN)


def _nothing() -> None:
    return None
