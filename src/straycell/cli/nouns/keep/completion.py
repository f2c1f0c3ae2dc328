"""`straycell completion`: the script that lets a shell complete codes, boxes, projects, and the words of commands."""

from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from straycell.cli.app import options, output, values, verbs
from straycell.cli.app.app import root_command
from straycell.cli.nouns.keep.suggest import suggestions
from straycell.errors import UsageFault
from straycell.store.location import resolve_store
from straycell.store.sqlite.completion_names import Names, names
from straycell.typed import nearest_words

app = verbs.lone_app()
_ASKED_BY_SHELL = "words"

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
