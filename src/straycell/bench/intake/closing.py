"""The end of an evening: the verdicts so far, what to measure next and when, and the offer of a label sheet."""

from collections import Counter
from collections.abc import Callable, Iterator

from straycell.bench.context import Bench
from straycell.bench.intake import words
from straycell.bench.intake.cell import describe_kind
from straycell.bench.intake.script import Ask, Key, Say, Scanned, Talk, Tone, act, ask, fault
from straycell.bench.intake.state import Session
from straycell.bench.intake.store_actions import CellKept
from straycell.errors import StraycellError
from straycell.quantities import count_of
from straycell.typed import day

MOST_CODES = 6
_WHY_LABELS = (
    "An A4 sheet with a QR symbol a cell. y takes the name in brackets, or type a path; Enter: no sheet."
)


def left_over(session: Session) -> list[Say]:
    """What was dropped or shown in vain, so that no code on a cell is forgotten."""
    # A label that was not used is still on its sheet; only a code shown here may be on a cell.
    unused = [] if session.printed else _unused(session.pending)
    if session.scanned:
        unused.append(Say(f"{session.scanned} was scanned last: nothing new of it is recorded."))
    if session.correcting:
        stays = Say(f"{session.correcting} stays as it was kept: its correction was not finished.")
        return [stays, *unused]
    # A code that is on a cell and in no record would turn up months later as a mystery.
    if session.in_hand and session.in_hand in (session.pending, *session.kept):
        said = f"{session.in_hand} was not finished: nothing new of it is recorded"
    elif session.in_hand:
        said = f"{session.in_hand} was not finished: nothing of it is recorded"
    else:
        return unused
    pending = session.pending
    return [Say(f"{said}. If {pending} is on a cell, type it there next time." if pending else f"{said}.")]


def _unused(code: str) -> list[Say]:
    return [Say(f"{code} was not used. If it is on a cell, type it there next time.")] if code else []


def outlook_lines(kept: list[CellKept]) -> list[str]:
    """What to measure next and when, the same thing said once for all cells it stands for."""
    lines: dict[str, list[str]] = {}
    for each in kept:
        for text in _outlook_texts(each):
            # Forty cells that wait for the same thing are one line, or nobody reads the list.
            lines.setdefault(text, []).append(each.code)
    return [f"{_codes(codes, len(kept))}: {text}" for text, codes in sorted(lines.items(), key=_by_first)]


def _by_first(line: tuple[str, list[str]]) -> str:
    return line[1][0]


def _outlook_texts(kept: CellKept) -> Iterator[str]:
    out = kept.outlook
    decides = f"; could decide from {day(out.decides)} on" if out.decides else ""
    if out.now:
        yield f"now {', '.join(out.now)}{decides}"
    for need, at in out.later:
        yield f"{need} from {day(at)} on"
    yield from out.other


def _codes(codes: list[str], of: int) -> str:
    if len(codes) > MOST_CODES:
        return f"all {of}" if len(codes) == of else f"{len(codes)} cells ({codes[0]} to {codes[-1]})"
    return " ".join(codes)


def summary(kept: list[CellKept]) -> str:
    """`12 cells: 10 hold, 2 discard`."""
    counts = Counter(each.outcome for each in kept)
    outcomes = ", ".join(f"{counts[outcome]} {outcome.word}" for outcome in sorted(counts, reverse=True))
    return f"{count_of(len(kept), 'cell')}: {outcomes}"


def rows(kept: list[CellKept]) -> list[list[str | None]]:
    """code, kind, outcome, why: the table of the session."""
    return [
        [
            each.code,
            describe_kind(each.facts, with_marking=False),
            each.outcome.word,
            each.because[0] if each.because else None,
        ]
        for each in kept
    ]


def offer_labels(session: Session, print_labels: Callable[[Bench, str, tuple[str, ...]], None]) -> Talk[None]:
    """A label sheet of tonight's cells, if the person wants one; `print_labels` writes it, or raises BadData."""
    codes = tuple(session.kept)
    if not codes:
        return
    usual = f"labels-{session.teardown or 'measured'}.pdf"
    while True:
        prompt = f"label sheet for {count_of(len(codes), 'cell')}? y or a path"
        try:
            text = yield from ask(Ask(prompt, "no", _WHY_LABELS))
        except Scanned as seen:
            yield Say(
                f"{seen.code} is a cell's code and no file. Go on with it: straycell intake", Tone.FAULT
            )
            continue
        if text.casefold() in ("", "n", "no", Key.DONE, Key.NONE):
            return
        path = usual if words.is_yes(text) else text
        try:
            yield from act(print_labels, path, codes)
            yield Say(f"{path}: {count_of(len(codes), 'label')}", Tone.GOOD)
            return
        except StraycellError as error:
            yield fault(error)
