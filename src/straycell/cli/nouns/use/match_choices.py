"""`match` without its own choice: with cells that a person names, and for a load without a project."""

from collections.abc import Sequence

from straycell.bench.candidates import candidates
from straycell.bench.project_match import device_answers_of, project_solver, understood
from straycell.cli.app import context, output, tables
from straycell.cli.show.match_page import page
from straycell.errors import BadData, NegativeAnswer, UsageFault
from straycell.matching import Match, UseLimits
from straycell.matching.what import EMPTY_V, ROOM_C, Stock, load_of, what_it_gives
from straycell.matching.words import run_hours
from straycell.physics.loads import ConstantPower, Load
from straycell.quantities import ANY_WINDOW, Dimension, parse_quantity, show
from straycell.safe_side import at_most


def choices_of(cells: Sequence[str], more: Sequence[str]) -> list[list[str]]:
    """One choice as words, or each --cells A,B,C as a choice of its own."""
    # Codes hold no comma, so one shows that each --cells is a choice of its own.
    if any("," in text for text in cells):
        if more:
            raise UsageFault(
                f"'{more[0]}' is one word too many", "write each choice as --cells CODE,CODE,..."
            )
        return [[code.strip() for code in text.split(",") if code.strip()] for text in cells]
    return [[*cells, *more]]


def match_cells(name: str, choices: Sequence[Sequence[str]]) -> None:
    """A dry run with just these cells; two choices and more side by side. Raises NegativeAnswer where none serves."""
    bench = context.bench()
    with bench.reading() as reader:
        named = [[reader.find_code(code) for code in choice] for choice in choices]
        solvers = [project_solver(bench, reader, name, codes=codes, planning=True) for codes in named]
        project = understood(reader.project(name))
    found = [solve() for solve in solvers]
    if len(found) == 1:
        only = found[0]
        output.emit(only.to_json() | device_answers_of(bench, project, only), lambda: page(only))
    else:
        output.emit({"choices": [m.to_json() for m in found]}, lambda: side_by_side(found))
    for words, codes, one in zip(choices, named, found, strict=True):
        used = {code for group in one.groups for code in group}
        left = [word for word, code in zip(words, codes, strict=True) if code not in used]
        if one.served and left:
            output.talk(f"not needed: {', '.join(left)}")
    if not any(m.served for m in found):
        reason = output.brief(_first_refusal(found[0]))
        raise NegativeAnswer(f"project '{name}' is not served by these cells", reason)


def side_by_side(found: Sequence[Match]) -> None:
    """One line a quantity, one column a choice."""
    heads = [f"choice {n}" for n in range(1, len(found) + 1)]
    # Cells first: who compares two choices looks for the codes.
    rows = [["", *(" + ".join(code for g in m.groups for code in g) or "not served" for m in found)]]
    for label, value in _COMPARED:
        rows.append([label, *(value(m) if m.served else "" for m in found)])
    rows.append(["why not", *("" if m.served else _first_refusal(m) for m in found)])
    tables.table(["", *heads], rows, flexible=heads[-1], empty="")


def _first_refusal(found: Match) -> str:
    failed = next((why for why in found.not_chosen if not why.passed), None)
    return f"{failed.code}: {failed.text}" if failed else (found.missing[0] if found.missing else "")


def _fuse(found: Match) -> str:
    rated_a = found.data.fusing.main.rated_a if found.data else 0.0
    return show(rated_a, Dimension.CURRENT) if rated_a else "none fits" if found.data else ""


_COMPARED = (
    ("runs at the low end", lambda m: run_hours(m.runtime.low_h) if m.runtime else ""),
    ("expected", lambda m: run_hours(m.runtime.expected_h) if m.runtime else ""),
    ("groups apart by", lambda m: show(m.spread_ah or 0.0, Dimension.CAPACITY)),
    ("energy at the low end", lambda m: at_most(m.data.low_wh, Dimension.ENERGY) if m.data else ""),
    ("may give", lambda m: at_most(m.data.currents.discharge_a, Dimension.CURRENT) if m.data else ""),
    ("fuse", _fuse),
)


def match_what(text: str) -> None:
    """What the stock can give to a load like `5V 300mA`, `300mA` or `1.5W`. Raises NegativeAnswer for nothing."""
    voltage_v, current_a, power_w = _parsed(text)
    load, bench = load_of(voltage_v, current_a, power_w), context.bench()
    with bench.reading() as reader:
        cells = candidates(reader, bench.rules, bench.now)
    stock = what_it_gives(load, cells, UseLimits.from_rules(bench.rules), now=bench.now)
    output.emit(
        {
            "what": text,
            "assumed": _assumed(load),
            "choices": [
                {"series": len(offer.groups), "parallel": len(offer.groups[0]), **offer.to_json()}
                for offer in stock.offers
            ],
            "waiting": list(stock.waiting),
        },
        lambda: _page(load, stock),
    )
    if not stock.offers:
        raise NegativeAnswer(
            f"no cells in store can feed {text}", "see what they lack: straycell verdict list"
        )


def _parsed(text: str) -> tuple[float | None, float | None, float | None]:
    """(V, A, W) out of the words, joined or apart. Raises UsageFault, BadData."""
    found: dict[Dimension, float] = {}
    # The unit alone says what a number is; a bare one could be any of the three.
    for word in text.replace(",", " ").split():
        for dimension in (Dimension.VOLTAGE, Dimension.CURRENT, Dimension.POWER):
            try:
                found[dimension] = parse_quantity(word, dimension, window=ANY_WINDOW)
                break
            except BadData:
                continue
        else:
            raise BadData(
                f"--what: '{word}' is not a voltage, current or power", 'write it like "5V 300mA" or 300mA'
            )
    # Power with a current would fix the voltage twice.
    power_w, current_a = found.get(Dimension.POWER), found.get(Dimension.CURRENT)
    if (power_w is None) == (current_a is None) or min(found.values()) <= 0:
        raise UsageFault(
            f"--what '{text}' is not a load", 'give a current, with a voltage or not, or a power: "5V 300mA"'
        )
    return found.get(Dimension.VOLTAGE), current_a, power_w


def _assumed(load: Load) -> dict[str, float | None]:
    efficiency = load.efficiency if isinstance(load, ConstantPower) else None
    return {"efficiency": efficiency, "cutoff_v_per_cell": EMPTY_V, "temperature_c": ROOM_C}


def _assumed_words(load: Load) -> str:
    """What nobody said of the device: hours without it would promise what was never asked."""
    found = _assumed(load)
    share = found["efficiency"]
    through = "drawn straight from the cells" if share is None else f"through a converter of {share:.0%}"
    return (
        f"counted {through}, down to {found['cutoff_v_per_cell']:g} V a cell at {found['temperature_c']:g} C, "
        "cells charged full outside"
    )


def _page(load: Load, stock: Stock) -> None:
    rows = [
        [
            offer.project,
            run_hours(offer.runtime.low_h) if offer.runtime else "",
            run_hours(offer.runtime.expected_h) if offer.runtime else "",
            f"{offer.data.nominal_v:.1f} V" if offer.data else "",
            " | ".join(" + ".join(group) for group in offer.groups),
        ]
        for offer in stock.offers
    ]
    head = ["shape", "count on", "expected", "nominal", "cells"]
    tables.table(head, rows, flexible="cells", empty="nothing in store can feed it")
    if rows:
        output.hint(_assumed_words(load))
    output.hint("each wants a protection board, strings one that watches and balances every cell")
    if stock.waiting:
        count = len(stock.waiting)
        output.hint(
            f"{count} more free cell{'s' if count != 1 else ''} wait on hold for a test: straycell due, "
            f"or straycell verdict show {stock.waiting[0]}"
        )
