"""`straycell completion`: the script that lets a shell complete codes, boxes, projects, and the words of commands."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any

import typer

from straycell.cli.app import options, output, values, verbs
from straycell.cli.app.app import root_command
from straycell.cli.app.globals import STORE, Place
from straycell.errors import UsageFault
from straycell.store.location import resolve_store
from straycell.store.sqlite.completion_names import Names, names
from straycell.typed import nearest_words

app = verbs.lone_app()
_ASKED_BY_SHELL = "words"
_GLOBALS = ("--json", "--quiet", "--debug", "--store", "--help")
_OPTIONS: dict[str, Names] = {
    "--teardown": Names.TEARDOWN,
    "--box": Names.BOX,
    "--meter": Names.METER,
    "--code": Names.BLANK,
    "--right-cell": Names.CELL,
    "--cells": Names.CELL,
}
_PROJECT_NOUNS = frozenset({"project", "match", "build"})
Look = Callable[[Names, str, str | None], list[str]]
"""(whose names, how they begin, the store named on the line) -> names."""

SCRIPTS: dict[str, str] = {
    "bash": r"""# bash: put this into ~/.bashrc:  eval "$(straycell completion bash)"
_straycell() {
    local word
    COMPREPLY=()
    while IFS= read -r word; do
        COMPREPLY+=("$(printf '%q' "$word")")
    done < <(straycell completion words -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null)
}
complete -o default -F _straycell straycell""",
    "zsh": r"""# zsh: put this into ~/.zshrc, after compinit:  eval "$(straycell completion zsh)"
_straycell() {
    local -a found
    found=("${(@f)$(straycell completion words -- "${(@Q)words[2,CURRENT]}" 2>/dev/null)}")
    found=("${(@)found:#}")
    if (( $#found )); then compadd -U -- "${found[@]}"; else _files; fi
}
compdef _straycell straycell""",
    "fish": r"""# fish: straycell completion fish > ~/.config/fish/completions/straycell.fish
function __straycell_words
    set -l before (commandline -opc)
    set -l now (commandline -ct | string trim --left --chars '"\'' | string unescape)
    set -l found (straycell completion words -- $before[2..] "$now" 2>/dev/null)
    if test (count $found) -gt 0
        printf '%s\n' $found
    else
        __fish_complete_path (commandline -ct)
    end
end
complete -c straycell -f -a '(__straycell_words)'""",
}


@app.command()
def completion(
    shell: Annotated[str, values.argument("SHELL", "bash, zsh or fish.")],
    line: Annotated[list[str] | None, typer.Argument(hidden=True)] = None,
) -> None:
    """Print a script for your shell that completes codes, boxes, projects and commands; its first line says how."""
    # The shell asks the program itself, so that new commands and codes need no new script.
    if shell == _ASKED_BY_SHELL:
        found = _found(line or [""])
        output.emit(found, lambda: output.say("\n".join(found)) if found else None)
        return
    if shell not in SCRIPTS:
        near = nearest_words(shell, list(SCRIPTS))
        hint = f"nearest: {', '.join(near)}; " if near else ""
        raise UsageFault(f"shell '{shell[:40]}' is not known here", f"{hint}one of: {', '.join(SCRIPTS)}")
    output.emit({"shell": shell, "script": SCRIPTS[shell]}, lambda: output.say(SCRIPTS[shell]))


def _found(line: list[str]) -> list[str]:
    """Suggestions, or none: a person who presses Tab wants no error message whatever is wrong."""
    with suppress(Exception):
        return suggestions(line, root_command(), _look)
    return []


def _look(whose: str, start: str, store: str | None) -> list[str]:
    current = options.current()
    path: Path = resolve_store(store or current.store, current.env)
    return names(path, Names(whose), start)


# --- what can be typed where the cursor is: nouns, verbs, options, words, names in the store


def suggestions(words: Sequence[str], root: Any, look: Look) -> list[str]:
    """What the last of `words` (maybe empty) could become. `root` is the click command of the app."""
    # The word under the cursor is not finished: it selects, and never leads on.
    *before, start = words or [""]
    line = Place(root)
    for word in before:
        line.take(word)
    if line.command is None:
        return []
    return sorted(found for found in set(_candidates(line, start, look)) if _fits(found, start))


def _candidates(line: Place, start: str, look: Look) -> Iterator[str]:
    if line.waiting == STORE:
        return
    if line.waiting is not None:
        yield from _values(line.waiting, line, start, look)
    elif start.startswith("-") and not line.only_values:
        yield from _GLOBALS
        yield from (opt for param in line.command.params for opt in param.opts if opt.startswith("--"))
        yield from (opt for param in line.command.params for opt in param.secondary_opts)
    elif hasattr(line.command, "list_commands"):
        yield from line.command.list_commands(None)
    else:
        places = [param for param in line.command.params if not _is_option(param) and not param.hidden]
        if places:
            place = places[min(line.given, len(places) - 1)]
            if line.given < len(places) or place.nargs == -1:
                yield from _values(place, line, start, look)


def _is_option(param: Any) -> bool:
    return any(opt.startswith("-") for opt in param.opts)


def _values(param: Any, line: Place, start: str, look: Look) -> Iterator[str]:
    """The words a value can be: an enumeration from its help, or names from the store."""
    option = next((opt for opt in param.opts if opt.startswith("--")), "")
    shown = str(param.metavar or "").strip("[].")
    whose = _OPTIONS.get(option) if option else _place(shown, line.noun)
    if whose is not None:
        yield from look(whose, start, line.found.get("store"))
    elif shown == "WORD":
        yield from str(param.help).partition("One of: ")[2].rstrip(".").split()


def _place(shown: str, noun: str) -> Names | None:
    if "CODE" in shown:
        return Names.TEARDOWN if noun == "teardown" else Names.CELL
    if shown == "BOX":
        return Names.BOX
    return Names.PROJECT if shown == "NAME" and noun in _PROJECT_NOUNS else None


def _fits(found: str, start: str) -> bool:
    """Codes may be typed in lower case; everything else begins as typed."""
    # Typed with gloves on: lower case, with blanks and hyphens, as codes are read off a label.
    return found.startswith(start) or found.startswith(start.replace("-", "").replace(" ", "").upper())
