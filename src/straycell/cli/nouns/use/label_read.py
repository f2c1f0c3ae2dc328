"""`straycell label read`: codes back from photographs and scans."""

from pathlib import Path
from typing import Annotated, Any

from straycell.cells import Stage
from straycell.cli.app import context, files, output, values
from straycell.errors import BadData
from straycell.labels.reading import Found, codes_of, marked_png, read_picture
from straycell.quantities import count_of


def read(
    images: Annotated[
        list[Path],
        values.argument("IMAGE...", "Pictures with labels on them."),
    ],
    cells: Annotated[bool, values.flag("--cells", "Also show what the store knows of each code.")] = False,
    out: Annotated[
        Path | None,
        values.option("--out", "Save a copy of the picture with the found codes marked.", metavar="PNG"),
    ] = None,
    force: files.Force = False,
) -> None:
    """Read the codes in pictures, several in one, turned any way. Needs no store without --cells.

    A damaged symbol, or one that is not ours, gives no code.
    """
    if out is not None and len(images) != 1:
        raise BadData("--out takes one picture at a time", "name one IMAGE")
    found = [(image, read_picture(image)) for image in images]
    if out is not None:
        files.write_whole(out, marked_png(*found[0]), force=force)
    # Several photographs of one box overlap: a code counts once.
    codes = codes_of(found)
    for image, symbols in found:
        _talk_others(image, symbols)
    if not cells:
        output.emit(codes, lambda: output.say("\n".join(codes)))
        return
    answers = store_answers(codes)
    output.emit(answers, lambda: output.say(*map(answer_line, answers)))


def _talk_others(image: Path, symbols: list[Found]) -> None:
    """What was seen and is not a code; said also when others were read."""
    broken = sum(symbol.broken for symbol in symbols)
    if broken:
        output.talk(f"{image}: {count_of(broken, 'symbol')} not readable: type the code instead")
    for symbol in symbols:
        if not symbol.broken and symbol.code is None:
            output.talk(f"{image}: a foreign symbol, not a cell's: '{symbol.text[:40]}'")


def store_answers(codes: list[str]) -> list[dict[str, Any]]:
    """For each code what the store says: known or not, and of a known cell what it may be used for."""
    bench = context.bench()
    with bench.reading() as reader:
        # Named ones, for a withdrawn cell is in no list, and its label may still be on something.
        known = {cell.code: cell for cell in reader.cells(wanted=codes)}
        blank = set(reader.blank_codes())
        here = [code for code in codes if code in known]
        verdicts = reader.verdicts(bench.rules, bench.now, here) if here else {}
    answers: list[dict[str, Any]] = []
    for code in codes:
        cell = known.get(code)
        if cell is None:
            answers.append({"code": code, "known": False, "set_aside": code in blank})
            continue
        answers.append(
            {
                "code": code,
                "known": True,
                "set_aside": False,
                "outcome": verdicts[code].outcome.word,
                "valid_until": verdicts[code].valid_until,
                "stage": cell.stage,
                "chemistry": cell.facts.chemistry,
                "form": cell.facts.form,
                "box": cell.box,
            }
        )
    return answers


def answer_line(answer: dict[str, Any]) -> str:
    """`H00100E  pack  nmc 18650  shelved  in 'shelf 1'`; of a withdrawn cell that it is withdrawn."""
    if not answer["known"]:
        return f"{answer['code']}  {'set aside, no cell yet' if answer['set_aside'] else 'not a cell of this store'}"
    if answer["stage"] == Stage.WITHDRAWN:
        back = f"straycell cell withdraw {answer['code']} --back --because TEXT"
        return f"{answer['code']}  withdrawn: recorded by mistake. If it is there after all: {back}"
    box = f"in '{answer['box']}'" if answer["box"] else "in no box"
    return f"{answer['code']}  {answer['outcome']}  {answer['chemistry']} {answer['form']}  {answer['stage']}  {box}"
