"""`straycell scan`: codes from a keyboard-wedge scanner or typed, one a line, until an empty line or the end."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

from straycell.bench.paper.inventory import Inventory, take_inventory
from straycell.cells import Stage
from straycell.cli.app import cautions, context, files, output, prompts, values, verbs
from straycell.cli.nouns.use import label, label_read
from straycell.errors import BadData, StraycellError, UsageFault
from straycell.labels.payload import code_in
from straycell.safety import Step, laying_away
from straycell.store.book.records import HandoverEntry

app = verbs.lone_app()


@app.command()
def scan(
    check: Annotated[
        str | None,
        values.text_option(
            "--check", "Take stock of this box: here, missing, not expected here.", metavar="BOX"
        ),
    ] = None,
    move: Annotated[
        str | None, values.text_option("--move", "Move every cell to this box.", metavar="BOX")
    ] = None,
    print_to: Annotated[
        Path | None,
        values.option("--print", "Print labels of the cells.", metavar="PDF"),
    ] = None,
    handover: Annotated[
        str | None,
        values.text_option("--handover", "Take the cells into the hand-over to PLACE.", metavar="PLACE"),
    ] = None,
    force: files.Force = False,
) -> None:
    """Scan or type codes, one a line; an empty line ends. Without an option each code says what its cell is."""
    # A scanner types fast: a second meaning of each code would be done before anybody looks.
    if sum(option is not None for option in (check, move, print_to, handover)) > 1:
        raise UsageFault("scan does one thing at a time", "use one of --check, --move, --print, --handover")
    if check is not None:
        _check(check)
    elif move is not None:
        _move(move)
    elif print_to is not None:
        # Refused before the first scan and not after the fortieth.
        with files.prepared(print_to, b"%PDF-", force=force):
            pass
        codes = list(dict.fromkeys(_codes(_known)))
        if not codes:
            raise UsageFault("no code was scanned: nothing to print", "scan one code a line")
        count = label.print_cells(codes, print_to, force=force)
        output.emit(
            {"files": [str(print_to)], "count": count}, lambda: output.say(f"{print_to}  {count} labels")
        )
        cautions.talk(Step.LABEL)
    elif handover is not None:
        _hand_over(handover)
    else:
        _look_up()


def _codes(accept: Callable[[str], str]) -> Iterator[str]:
    """Codes line by line; one that cannot be taken is named at once, and the next is read."""
    if prompts.at_terminal():
        output.hint("scan or type a code; an empty line ends")
    while text := _line():
        try:
            yield accept(text)
        except StraycellError as fault:
            output.talk(f"not taken: {'; '.join(fault.lines())}")


def _line() -> str:
    """The next line without its ends; empty at the end. Raises UsageFault, BadData."""
    try:
        if sys.stdin is not None:
            return sys.stdin.readline().strip()
    except OSError:
        pass
    except UnicodeDecodeError:
        raise BadData("what was scanned is not text", "set the scanner to send plain text") from None
    raise UsageFault(
        "scan cannot read its standard input", "scan at a terminal, or pipe codes in, one a line"
    )


def _bare(text: str) -> str:
    """What was scanned or typed without the address around it: a scanner types what the label holds."""
    return code_in(text) or text


def _code(text: str) -> str:
    """A whole code, whether the store knows it or not; last digits must be a cell's of the store. Raises BadData."""
    return code_in(text) or _known(text)


def _known(text: str) -> str:
    """The code of a cell in the store. Raises BadData."""
    with context.reading() as reader:
        return reader.find_code(_bare(text))


def _look_up() -> None:
    # Answered line by line: with a scanner in hand nobody scrolls back.
    answers: list[dict[str, Any]] = []
    for code in _codes(_code):
        answers += label_read.store_answers([code])
        output.talk(label_read.answer_line(answers[-1]))
    output.emit(answers, lambda: output.say(f"{len(answers)} scanned"))


def _move(box: str) -> None:
    """Each cell is moved as it is scanned: an interrupted evening keeps what was done."""
    with context.reading() as reader:
        reader.box(box)

    def lay(text: str) -> str:
        with context.writing() as writer:
            cell = writer.move_cell(writer.find_code(_bare(text)), box)
        output.talk(f"{cell.code} lies in '{box}'")
        stages.append(cell.stage)
        return cell.code

    stages: list[Stage] = []
    moved = list(dict.fromkeys(_codes(lay)))
    output.emit({"box": box, "moved": moved}, lambda: output.say(f"{len(moved)} moved to '{box}'"))
    cautions.talk(*laying_away(stages))


def _hand_over(place: str) -> None:
    found: list[HandoverEntry] = []

    def take(text: str) -> str:
        with context.writing() as writer:
            code = writer.find_code(_bare(text))
            found.append(writer.add_handover(place, [code]))
        output.talk(f"{code} is on the hand-over to '{place}'")
        return code

    taken = list(dict.fromkeys(_codes(take)))
    number = found[-1].id if found else None
    output.emit(
        {"place": place, "handover": number, "taken": taken},
        lambda: output.say(f"{len(taken)} on the hand-over to '{place}'"),
    )
    cautions.talk(Step.HANDOVER)


def _check(box: str) -> None:
    with context.reading() as reader:
        # Asked before the first scan: a mistyped box must not cost an evening of scanning.
        take_inventory(reader, box, ())
        expected = {cell.code for cell in reader.cells(box=box)}

    def seen(text: str) -> str:
        code = _code(text)
        output.talk(f"{code} here" if code in expected else f"{code} NOT EXPECTED HERE")
        return code

    scanned = list(_codes(seen))
    with context.reading() as reader:
        found = take_inventory(reader, box, scanned)
    output.emit(
        asdict(found)
        | {
            "not_expected": [{"code": code, "box": where} for code, where in found.not_expected],
            "agrees": found.agrees,
        },
        lambda: _page(found),
    )


def _page(found: Inventory) -> None:
    output.say(
        f"'{found.box}': {len(found.here)} here, {len(found.missing)} missing",
        *(f"{code}  missing" for code in found.missing),
        *(
            f"{code}  not expected here: " + (f"recorded in '{where}'" if where else "recorded in no box")
            for code, where in found.not_expected
        ),
        *(f"{code}  not a cell of this store" for code in found.not_known),
    )
    for code, where in found.not_expected:
        if where != found.box:
            output.hint(f"if it lies here now: straycell cell move {code} '{found.box}'")
            break
