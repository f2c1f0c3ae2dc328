"""The pages of `straycell load` for a person, made from the same documents as their JSON."""

from collections.abc import Mapping
from typing import Any

from straycell.cli.app import output, tables
from straycell.cli.show.verdict_page import say_forbidden
from straycell.matching.words import run_hours as hours
from straycell.physics.run_time.asked import LAMPS_DARK
from straycell.quantities import Dimension, amps, ohms, show

Document = Mapping[str, Any]


def drop_page(found: Document) -> None:
    """What a device draws; or only what a resistor is."""
    resistor = found["resistor"]
    if found["current_a"] is None:
        output.say(f"{ohms(resistor['ohm'])} ± {show(resistor['tolerance'], Dimension.FRACTION)}")
    else:
        output.say(_drawn(found))
    output.facts(
        [
            ("each lamp", _each(found)),
            ("resistor", _resistor(resistor)),
            ("bands say", _bands(resistor) if found["current_a"] is not None else _spread(resistor)),
            ("lamps at", show(found["lamp_v"], Dimension.VOLTAGE) if found["lamp_v"] is not None else None),
        ],
        indent="  ",
    )
    if found["on_supply"]:
        _supplies(found["on_supply"])


def _drawn(found: Document) -> str:
    text = f"draws {amps(found['current_a'])}"
    if found["low_a"] is not None:
        text += f" ({amps(found['low_a'])} to {amps(found['high_a'])} by the resistor's tolerance)"
    return text


def _each(found: Document) -> str | None:
    if found["per_lamp_a"] is None:
        return None
    return f"{amps(found['per_lamp_a'])}, if the {found['lamps']} share it evenly"


def _resistor(resistor: Document) -> str:
    # A value off the E24 row cannot be bought, and usually means a misread band (IEC 60063).
    if resistor["is_e24"]:
        return f"{ohms(resistor['ohm'])}, an E24 value"
    near, colours = ohms(resistor["nearest_e24_ohm"]), " ".join(resistor["nearest_e24_bands"])
    return f"{ohms(resistor['ohm'])} is not an E24 value; the nearest is {near} ({colours})"


def _spread(resistor: Document) -> str:
    return f"anything from {ohms(resistor['low_ohm'])} to {ohms(resistor['high_ohm'])}"


def _bands(resistor: Document) -> str | None:
    if resistor["bands_ohm"] is None:
        return None
    text = f"{ohms(resistor['bands_ohm'])} ± {show(resistor['tolerance'], Dimension.FRACTION)}"
    if not resistor["within_bands"]:
        text += "; what was given lies outside that: measure it once more, out of the circuit"
    return text


def _supplies(rows: list[Document]) -> None:
    output.section("The same lamps on one lithium cell")
    # Lamps in parallel do not share evenly: a figure for each is given only where their count is known.
    each: tables.Columns[Document] = {
        "each lamp": lambda row: amps(row["per_lamp_a"]) if row["lit"] else None
    }
    tables.grid(
        rows,
        {
            "cell at": lambda row: show(row["supply_v"], Dimension.VOLTAGE),
            "draws": lambda row: amps(row["current_a"]) if row["lit"] else "next to nothing: dark",
            **(each if rows[0]["per_lamp_a"] is not None else {}),
        },
        flexible="draws",
        empty="",
    )
    output.say("")
    output.say_wrapped(
        "Taken as one diode through the measured point: the current follows the supply, and twice the resistor "
        "does not halve it.",
        hang="",
    )


def wanted_page(found: Document) -> None:
    """Which resistor or current gives the hours."""
    say_forbidden(found["code"], found["forbidden"])
    wanted = f"{found['wanted_h']:g} h"
    if found["why_not"] is not None:
        output.say_wrapped(f"{found['code']}  NO: {found['why_not']}")
        output.bullets([found["remedy"], *found["notes"]])
        return
    resistor = found["resistor"]
    series = resistor is not None and "runtime_h" not in resistor
    headline = f"{ohms(resistor['ohm'])} in series" if series else f"up to {amps(found['current_a'])}"
    output.say(f"{found['code']}  {headline} for {wanted} {_end(found)}")
    run = found["runtime_h"]
    output.facts(
        [
            ("runs", f"count on {hours(run['low'])}; {hours(run['expected'])} expected"),
            ("draws", _full_draw(found) if series else None),
            ("resistor", _bought(resistor) if resistor else "none of one piece bears that much heat"),
            ("with it", None if series or not resistor else _plain_run(resistor)),
            ("works at", show(found["temperature_c"], Dimension.TEMPERATURE)),
            ("counted from", found["basis"]),
        ],
        indent="  ",
    )
    output.listed("Mind", found["notes"])


def _end(found: Document) -> str:
    dark = found["stop"] == LAMPS_DARK
    return "until the lamps go dark" if dark else f"down to {show(found['until_v'], Dimension.VOLTAGE)}"


def _full_draw(found: Document) -> str:
    text = f"{amps(found['current_a'])} with the cell full"
    return text + (f", {amps(found['per_lamp_a'])} each lamp" if found["per_lamp_a"] is not None else "")


def _bought(resistor: Document) -> str:
    tolerance, heat = (
        show(resistor["tolerance"], Dimension.FRACTION),
        show(resistor["dissipated_w"], Dimension.POWER),
    )
    rating = show(resistor["rating_w"], Dimension.POWER)
    return (
        f"{ohms(resistor['ohm'])} {tolerance} ({' '.join(resistor['bands'])}), "
        f"{rating} or more: it turns up to {heat} into heat; {resistor['use']}"
    )


def _plain_run(resistor: Document) -> str:
    run = resistor["runtime_h"]
    return f"count on {hours(run['low'])}; {hours(run['expected'])} expected"
