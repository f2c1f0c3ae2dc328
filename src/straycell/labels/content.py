"""Which lines a label carries, decided from the cell, its verdict and its figures.

A figure stands only with its date, an outcome only with the date until which it holds; a cell that is out of
use shows no figure at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum

from straycell.acceptance.permission import least_outcome
from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, Chemistry, Form, Stage, parse_code
from straycell.errors import BadData
from straycell.quantities import Dimension, Measured, show
from straycell.readings import Method

MOST_LINES = 4
"""No label carries more lines below its code."""

DO_NOT_USE = "DO NOT USE"


class Role(Enum):
    """What a line is for, and so what may happen to it when room is short."""

    KIND = "kind"  # may be cut with an ellipsis
    FIGURE = "figure"  # whole, or an ellipsis alone: half a number is a wrong number
    OUTCOME = "outcome"  # the same
    WARNING = "warning"  # must stand in full
    NOTE = "note"  # may be cut
    WRITE_IN = "write-in"  # a word and a rule to write on


@dataclass(frozen=True, slots=True)
class Line:
    """One line in one or more wordings, the longest first; the layout takes the longest that fits.

    A wording is what stands on the left and what stands at the right edge, most often a date.
    """

    wordings: tuple[tuple[str, str], ...]
    role: Role


@dataclass(frozen=True, slots=True)
class LabelContent:
    """Everything one label says: the code, large and as a QR symbol, and the lines below it."""

    code: str
    lines: tuple[Line, ...]
    hatched: bool = False


@dataclass(frozen=True, slots=True)
class LabelFigures:
    """The measured figures of a cell and when they were taken; `at_least`: the capacity is a lower bound."""

    capacity: Measured | None = None
    capacity_at: datetime | None = None
    at_least: bool = False
    resistance: Measured | None = None
    resistance_method: str = Method.UNKNOWN.value
    resistance_at: datetime | None = None


NO_FIGURES = LabelFigures()
_METHODS = {Method.DC_PULSE.value: "dc", Method.AC_1KHZ.value: "ac"}
_FLAT = {Form.POUCH, Form.PRISMATIC, Form.OTHER}


def label_content(
    cell: Cell, verdict: Verdict | None, figures: LabelFigures = NO_FIGURES, *, today: date
) -> LabelContent:
    """The label of one cell. `verdict` must be the one that holds now (None: not known).

    Raises BadData when the verdict is another cell's or the code is not valid.
    """
    code = parse_code(cell.code)
    if verdict is not None and verdict.code != cell.code:
        raise BadData(f"the verdict of {verdict.code} cannot stand on the label of {cell.code}")
    if out_of_use(cell, verdict):
        return _out_of_use_content(code, cell)
    lines = [
        _kind_line(cell),
        _capacity_line(figures),
        _resistance_line(figures),
        _outcome_line(verdict, today) or Line((("look it up before use", ""),), Role.NOTE),
    ]
    return LabelContent(code, tuple(line for line in lines if line is not None))


def blank_content(code: str) -> LabelContent:
    """A label for a code set aside: the cell is marked first and measured later; two rules to write on."""
    volts = Line((("as found, V", ""), ("found, V", ""), ("V", "")), Role.WRITE_IN)
    return LabelContent(parse_code(code), (volts, Line((("date", ""),), Role.WRITE_IN)))


def out_of_use(cell: Cell, verdict: Verdict | None) -> bool:
    """True when the label must warn: a discard, a condemned cell, or one that is not rechargeable."""
    gone = cell.stage in (Stage.CONDEMNED, Stage.HANDED_OVER)
    discarded = verdict is not None and verdict.outcome is Outcome.DISCARD
    return gone or discarded or cell.facts.chemistry is Chemistry.PRIMARY


def _out_of_use_content(code: str, cell: Cell) -> LabelContent:
    warning = Line(((DO_NOT_USE, ""),), Role.WARNING)
    kind = _kind_line(cell).wordings[-1][0]
    note = Line((("do not charge", kind), ("do not charge", "")), Role.NOTE)
    return LabelContent(code, (warning, note), hatched=True)


def _kind_line(cell: Cell) -> Line:
    """`NMC 18650`; a flat cell's marking carries its size, so it follows where there is room."""
    facts = cell.facts
    form = "other form" if facts.form is Form.OTHER else facts.form.value
    if facts.chemistry is Chemistry.UNKNOWN:
        return Line(((f"chemistry unknown, {form}", ""), (f"unknown, {form}", "")), Role.KIND)
    kind = f"{facts.chemistry.value.upper()} {form}"
    marking = _printable(facts.marking)
    if facts.form in _FLAT and marking:
        return Line(((kind, marking), (kind, "")), Role.KIND)
    return Line(((kind, ""),), Role.KIND)


def _capacity_line(figures: LabelFigures) -> Line | None:
    if figures.capacity is None or figures.capacity_at is None:
        return None
    long, short = _figure_texts(figures.capacity, Dimension.CAPACITY)
    texts = (f"at least {long}", f"at least {short}", f"> {short}") if figures.at_least else (long, short)
    return _dated_line(texts, figures.capacity_at)


def _resistance_line(figures: LabelFigures) -> Line | None:
    if figures.resistance is None or figures.resistance_at is None:
        return None
    long, short = _figure_texts(figures.resistance, Dimension.RESISTANCE)
    method = _METHODS.get(figures.resistance_method, "method?")
    texts = (
        f"{long} {method}",
        f"{short} {method}",
        f"{_three_figures(short)} {method.removeprefix('method')}",
    )
    return _dated_line(texts, figures.resistance_at)


def _three_figures(shown: str) -> str:
    """`12.8 mohm` for `12.80 mohm`, where a label is too narrow for more."""
    number, unit = shown.split(" ", 1)
    return f"{float(number):.3g} {unit}" if abs(float(number)) < 999.5 else shown


def _dated_line(texts: tuple[str, ...], at: datetime) -> Line:
    day = at.date().isoformat()
    return Line(tuple((text, day) for text in texts), Role.FIGURE)


def _figure_texts(measured: Measured, dimension: Dimension) -> tuple[str, str]:
    """`2010 ± 60 mAh` and, rounded alike, `2010 mAh`."""
    if measured.u <= 0:
        plain = show(measured.value, dimension)
        return plain, plain
    long = show(measured.value, dimension, u=measured.u)
    value, rest = long.split(" ± ")
    return long, f"{value} {rest.split(' ', 1)[1]}"


def _outcome_line(verdict: Verdict | None, today: date) -> Line | None:
    """None unless the cell may be used and the date until which that holds lies ahead."""
    if verdict is None or verdict.valid_until is None or verdict.outcome < least_outcome(joined=False):
        return None
    day = verdict.valid_until.date()
    if day <= today:
        return None
    return Line(((f"{verdict.outcome.word.upper()} until {day.isoformat()}", ""),), Role.OUTCOME)


def _printable(text: str) -> str:
    """On one line, and in the characters the built-in PDF fonts have (Latin-1)."""
    tidy = " ".join(text.split())
    return "".join(c if c.isprintable() else "?" for c in tidy.encode("latin-1", "replace").decode("latin-1"))
