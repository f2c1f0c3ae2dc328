"""A trace on a page: its figures, where their uncertainty comes from, and a small curve."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from straycell.cli.app import output, tables
from straycell.keys import RecordKey
from straycell.quantities import COVERAGE_FACTOR, Dimension, show
from straycell.store.book.records import TraceEntry

_FIGURES = {
    "capacity_ah": ("Capacity", Dimension.CAPACITY),
    "energy_wh": ("Energy", Dimension.ENERGY),
    "dc_resistance_ohm": ("Resistance", Dimension.RESISTANCE),
}
_FIRST = ("capacity_ah", "energy_wh", "dc_resistance_ohm", "pulses", "at_least", "warnings")
# More than a screen; all of them are in the JSON.
_MOST_PULSES = 24


def document(
    entry: TraceEntry, stand: Sequence[RecordKey], gone: Sequence[RecordKey], doubts: list[str]
) -> dict[str, Any]:
    """A filed trace as JSON: its figures, the readings that came out of it, how it was read.

    `doubts` say why its capacity is less than one that counts (`a lower bound: at 1C`); empty when it counts.
    """
    return {
        "id": entry.id,
        **{key: entry.result[key] for key in _FIRST},
        **entry.result,
        "cell": entry.cell,
        "file": entry.name,
        "sha256": entry.sha256,
        "size_bytes": entry.size_bytes,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
        "meter": None if entry.meter is None else entry.meter.name,
        "columns": entry.columns or None,
        "setting": entry.setting,
        "readings": stand,
        "superseded_readings": gone,
        "capacity_is": doubts[0] if doubts else None,
    }


def headline(entry: TraceEntry) -> str:
    """`trace 3  A00002M  run.csv  2026-05-01 18:00+02:00`."""
    return f"trace {entry.id}  {entry.cell}  {entry.name}  {output.stamp_short(entry.at)}"


def figures(
    entry: TraceEntry, stand: Iterable[RecordKey], gone: Iterable[RecordKey], doubts: Iterable[str]
) -> None:
    """The figures of a trace and what it doubts."""
    found = entry.result
    output.say(headline(entry))
    output.facts(
        [
            ("capacity", _capacity(found)),
            ("", "; ".join(doubts)),
            ("energy", _figure(found, "energy_wh")),
            ("resistance", _resistance(found)),
            ("temperature", _temperature(found)),
            ("meter", entry.meter.name if entry.meter else "none named: the cautious default holds"),
            ("readings", ", ".join(f"{n}" for n in stand) or "none"),
            ("superseded", ", ".join(f"{n}" for n in gone)),
        ],
        indent="  ",
    )
    output.listed("Mind", found["warnings"])


def _figure(found: Mapping[str, Any], key: str) -> str:
    value, dimension = found[key], _FIGURES[key][1]
    if value is None:
        return ""
    return show(value["value"], dimension, u=value["expanded_uncertainty"] / COVERAGE_FACTOR)


def _capacity(found: Mapping[str, Any]) -> str:
    if found["capacity_ah"] is None:
        return "none: nothing was discharged"
    # Without it a lower bound would be read as the capacity.
    least = "at least " if found["at_least"] else ""
    current, cutoff = (
        show(found["discharge_current_a"], Dimension.CURRENT),
        show(found["cutoff_v"], Dimension.VOLTAGE),
    )
    return f"{least}{_figure(found, 'capacity_ah')}  ({current} to {cutoff})"


def _resistance(found: Mapping[str, Any]) -> str:
    dc = found["dc_resistance_ohm"]
    if dc is None:
        return "none"
    charge = "" if dc["soc"] is None else f", {dc['soc']:.0%} charged"
    how = "pair of currents" if dc["method"] == "pair" else "pulse"
    return f"{_figure(found, 'dc_resistance_ohm')} d.c.  ({how}, {dc['pulse_s']:g} s{charge})"


def _temperature(found: Mapping[str, Any]) -> str:
    value = found["temperature_c"]
    return "not known: say it with --temperature" if value is None else show(value, Dimension.TEMPERATURE)


def budget(found: Mapping[str, Any]) -> None:
    """Line by line where the uncertainty of each figure comes from: its share of the square, largest first."""
    for key, (title, dimension) in _FIGURES.items():
        lines = [line for line in found["budget"] if line["figure"] == key]
        if not lines:
            continue
        output.section(f"{title}: {_figure(found, key)}")
        # Shares of the variance, not of u: only these add up to the whole (GUM 5.1.2).
        squares = sum(line["u"] ** 2 for line in lines)
        rows = [
            [
                line["source"],
                line["value"],
                show(line["u"], dimension),
                f"{line['u'] ** 2 / squares:.0%}" if squares else "-",
            ]
            for line in sorted(lines, key=lambda line: -line["u"])
        ]
        rows.append(["together", None, show(squares**0.5, dimension), "U = 2u"])
        tables.table(["source", "how large", "u", "share"], rows, flexible="source", empty="")


def pulses(found: Mapping[str, Any]) -> None:
    """Every pulse read at its lengths."""
    listed = found["pulses"]
    if not listed:
        return
    output.section("Pulses")
    tables.grid(
        listed[:_MOST_PULSES],
        {
            "pulse": lambda p: p["pulse"],
            "after": lambda p: f"{p['pulse_s']:g} s",
            "charged": lambda p: None if p["soc"] is None else f"{p['soc']:.0%}",
            "resistance": lambda p: show(
                p["resistance_ohm"], Dimension.RESISTANCE, u=p["expanded_uncertainty"] / COVERAGE_FACTOR
            ),
            "current": lambda p: show(p["current_a"], Dimension.CURRENT),
            "at": lambda p: (
                None if p["temperature_c"] is None else show(p["temperature_c"], Dimension.TEMPERATURE)
            ),
        },
        flexible="resistance",
        empty="",
    )
    if len(listed) > _MOST_PULSES:
        output.say(f"and {len(listed) - _MOST_PULSES} more; all of them with --json")
