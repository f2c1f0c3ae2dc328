"""What a label says, decided from the cell, its verdict and its figures.

Four faces, told apart at a metre: a gauge of three fields for what the cell may do, NOT YET in a dashed frame,
DO NOT USE in a black field, and an empty gauge for a code set aside. A figure is printed only with the month of its
test, an outcome only with the date until which it holds; without a pass that holds now there is no figure.
"""

import hashlib
import math
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

from straycell.acceptance import Figures, Outcome, Verdict, out_of_use
from straycell.acceptance.permission import permission
from straycell.cells import Cell, Chemistry, Form, parse_code
from straycell.errors import BadData
from straycell.labels.payload import Payload, cell_payload
from straycell.quantities import COVERAGE_FACTOR, Dimension, count_of, show
from straycell.readings import Method

DO_NOT_USE, NEVER_CHARGE, NOT_YET = "DO NOT USE", "never charge", "NOT YET"
FIELDS = 3
"""Fields of the gauge: one filled for light, two for solo, three for pack."""


class Face(StrEnum):
    """Which of the pictures a label is; a person sees this before any word."""

    GAUGE = "gauge"
    NOT_YET = "not-yet"
    DO_NOT_USE = "do-not-use"
    BLANK = "blank"
    PLAIN = "plain"  # a box or a project: no gauge, no symbol


Purpose = StrEnum("Purpose", "SHELF TINY BUILD DISCARD BOX")
"""What the labels are for."""


@dataclass(frozen=True, slots=True)
class Line:
    """A short text in one or more wordings, the longest first; the layout takes the longest that fits.

    `mono`: in the face for codes; `optional`: left out where the rest would get too small.
    """

    wordings: tuple[str, ...]
    mono: bool = False
    optional: bool = False


@dataclass(frozen=True, slots=True)
class LabelContent:
    """Everything one label says. `headline` is its largest text, `unit` follows it small, `filled` fields of the
    gauge are black; `rules` are words with a line to write on.
    """

    code: str
    face: Face
    headline: tuple[str, ...] = ()
    unit: str = ""
    filled: int = 0
    lines: tuple[Line, ...] = ()
    rules: tuple[str, ...] = ()
    payload: Payload | None = None

    def fingerprint(self) -> str:
        """Changes when what a person reads changes, so that an outdated label is found."""
        # Without code and symbol: those never change, and what does is what a person reads.
        said = (
            self.face.value,
            self.headline,
            self.unit,
            self.filled,
            [line.wordings for line in self.lines],
        )
        return hashlib.sha256(repr(said).encode()).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a cell sits in a build: group and cell count from 1, as on the build sheet."""

    project: str
    group: int
    groups: int
    cell: int
    cells: int


NO_FIGURES = Figures()
_FIELDS = {Outcome.LIGHT: 1, Outcome.SOLO: 2, Outcome.PACK: 3}
_METHODS = {Method.DC_PULSE: "dc", Method.AC_1KHZ: "ac"}
_FLAT = {Form.POUCH, Form.PRISMATIC, Form.OTHER}


def label_content(
    cell: Cell,
    verdict: Verdict | None,
    figures: Figures = NO_FIGURES,
    *,
    today: date,
    purpose: Purpose = Purpose.SHELF,
    place: Place | None = None,
) -> LabelContent:
    """The label of one cell. `verdict` must be the one that holds now (None: not known).

    Raises BadData when the verdict is another cell's, the code is not valid, or a discard label is asked for a cell
    in use.
    """
    code = parse_code(cell.code)
    # A wrong label on a cell is worse than none: it is believed.
    if verdict is not None and verdict.code != cell.code:
        raise BadData(f"the verdict of {verdict.code} does not belong on the label of {cell.code}")
    # Before any figure: a good capacity printed on a condemned cell would bring it back into use.
    if out_of_use(verdict.outcome if verdict else None, cell.stage, cell.facts.chemistry):
        lines = (
            ()
            if purpose is Purpose.TINY
            else (Line((NEVER_CHARGE,)), replace(_kind_line(cell), optional=True))
        )
        return _cell_label(
            code, Face.DO_NOT_USE, (DO_NOT_USE, DO_NOT_USE.replace(" USE", "\nUSE")), lines=lines
        )
    if purpose is Purpose.DISCARD:
        raise BadData(f"{code} is not out of use", "a discard label is for cells with the outcome discard")
    # Figures without a pass that holds now would outlive it on paper for years.
    until = _until(cell, verdict, today)
    if verdict is None or until is None:
        lines = (
            ()
            if purpose is Purpose.TINY
            else (_kind_line(cell), Line(("look it up before use", "look it up")))
        )
        return _cell_label(code, Face.NOT_YET, (NOT_YET, NOT_YET.replace(" ", "\n")), lines=lines)
    filled = _FIELDS[verdict.outcome]
    if purpose is Purpose.TINY:
        return LabelContent(code, Face.GAUGE, (code,), filled=filled, payload=cell_payload(code))
    use = f"{verdict.outcome.word.upper()} until {until.isoformat()}"
    # In a build the position matters at the soldering iron, not the capacity.
    if place is not None:
        headline: tuple[str, ...] = (f"{place.group}-{place.cell}",)
        unit, more = "", _place_lines(place)
    else:
        (headline, unit), more = _headline(verdict, figures), _figure_lines(figures)
    return _cell_label(
        code,
        Face.GAUGE,
        headline,
        unit,
        filled,
        (_kind_line(cell), *more, Line((use, f"to {until.isoformat()}"))),
    )


def blank_content(code: str) -> LabelContent:
    """A label for a code set aside: the cell is marked first and measured later; two rules to write on."""
    # Marked first, measured later: look-alikes are mixed up between the bench and the notebook.
    code = parse_code(code)
    return LabelContent(code, Face.BLANK, (code,), rules=("found, V", "date"), payload=cell_payload(code))


def box_content(name: str, kind: str, limit_wh: float | None, count: int) -> LabelContent:
    """The label of a box: its name, what it is, the most energy it may hold, how many cells lie in it."""
    limit = "no limit set" if limit_wh is None else f"at most {limit_wh:g} Wh"
    lines = (Line((kind,)), Line((limit,)), Line((count_of(count, "cell"),)))
    return LabelContent("", Face.PLAIN, (name,), lines=lines)


def project_content(name: str, shape: str, count: int) -> LabelContent:
    """The label of a project's tray: its name, how its cells are joined, how many they are."""
    lines = (Line((shape,)), Line((count_of(count, "cell"),)))
    return LabelContent("", Face.PLAIN, (name,), lines=lines)


def _cell_label(
    code: str,
    face: Face,
    headline: tuple[str, ...],
    unit: str = "",
    filled: int = 0,
    lines: tuple[Line, ...] = (),
) -> LabelContent:
    return LabelContent(
        code, face, headline, unit, filled, (Line((code,), mono=True), *lines), (), cell_payload(code)
    )


def _until(cell: Cell, verdict: Verdict | None, today: date) -> date | None:
    """The day until which the cell may be used; None unless it lies ahead."""
    if verdict is None or verdict.valid_until is None:
        return None
    # Asked for the end of today: the paper must not promise the afternoon of the day on which the verdict ends.
    tonight = datetime.combine(today + timedelta(days=1), time(), UTC)
    allowed = permission(verdict.outcome, cell.stage, verdict.valid_until, tonight)
    return verdict.valid_until.date() if allowed.may_use() else None


def _headline(verdict: Verdict, figures: Figures) -> tuple[tuple[str, ...], str]:
    """The capacity and its unit; a lower bound is printed less its uncertainty. Else the outcome is the largest word."""
    capacity = figures.capacity
    if capacity is None or figures.capacity_at is None:
        return (verdict.outcome.word.upper(),), ""
    if figures.at_least:
        # A lower bound is printed less U and rounded down: at least this much it surely holds.
        sure_mah = math.floor((capacity.value - COVERAGE_FACTOR * capacity.u) * 1000 + 1e-9)
        return (f"\u2265{sure_mah}",), "mAh"
    number, unit = show(capacity.value, Dimension.CAPACITY, u=capacity.u or None).split(" ", 1)
    return (number,), unit.split(" ")[-1]


def _figure_lines(figures: Figures) -> tuple[Line, ...]:
    """The uncertainty of the headline, the resistance with its method, the month of the last test."""
    lines: list[Line] = []
    days = [at for at in (figures.capacity_at, figures.resistance_at) if at is not None]
    capacity = figures.capacity if figures.capacity_at is not None else None
    if capacity is not None and capacity.u > 0 and not figures.at_least:
        spread = show(capacity.value, Dimension.CAPACITY, u=capacity.u).split(" \u00b1 ")[1]
        lines.append(Line((f"\u00b1 {spread}",), optional=True))
    if figures.resistance is not None and figures.resistance_at is not None:
        method = _METHODS.get(figures.resistance_method or Method.UNKNOWN, "?")
        lines.append(Line((f"{figures.resistance.value * 1000:.3g} m\u03a9 {method}",)))
    if days:
        month = f"{max(days):%Y-%m}"
        lines.append(Line((f"tested {month}", month)))
    return tuple(lines)


def _place_lines(place: Place) -> tuple[Line, ...]:
    where = f"group {place.group} of {place.groups}, cell {place.cell} of {place.cells}"
    return (Line((where, f"group {place.group}, cell {place.cell}")), Line((place.project,), optional=True))


def _kind_line(cell: Cell) -> Line:
    """`NMC 18650`; a flat cell's marking carries its size, so it follows where there is room."""
    facts = cell.facts
    form = "other form" if facts.form is Form.OTHER else facts.form.value
    if facts.chemistry is Chemistry.UNKNOWN:
        return Line((f"chemistry unknown, {form}", f"unknown {form}"))
    if facts.chemistry is Chemistry.LIION:
        return Line((f"LIION kind unknown {form}: never join", f"LIION {form}: never join"))
    kind = f"{facts.chemistry.value.upper()} {form}"
    marking = " ".join(facts.marking.split())
    return Line((f"{kind} {marking}", kind)) if facts.form in _FLAT and marking else Line((kind,))
