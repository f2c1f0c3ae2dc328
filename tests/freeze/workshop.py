"""What the program answers about the sample workshop, as plain lines: outcomes, rules, numbers and exit codes.

Sentences are left out on purpose: wording may change freely, an answer may not. Numbers have six digits, times are UTC.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.cli.bench import Bench

FROZEN = Path(__file__).with_name("workshop.txt")
NOW = "2026-11-20T20:00:00+00:00"
# A load any cell can be asked about, and one that works a cell in the cold by power.
LOADS = ("--current 0.1A --until 3.0V", "--power 0.5W --until 3.1V --temperature 5C")

Document = dict[str, Any]


def answers(store: Path) -> list[str]:
    """Ask the workshop's store everything; one line for each fact."""
    bench = Bench(store, now=NOW)
    parts = (_verdicts(bench), _matches(bench), _due(bench), _stock(bench), _cells(bench), _run_times(bench))
    return [line.rstrip() for part in parts for line in part]


def _asked(bench: Bench, line: str) -> tuple[int, Any]:
    answer = bench.run(f"{line} --json")
    return answer.code, answer.json if answer.out else None


def _verdicts(bench: Bench) -> Iterator[str]:
    code, verdicts = _asked(bench, "verdict list")
    yield f"== verdict list: exit {code}, {len(verdicts)} cells; what is not met"
    for each in verdicts:
        open_ones = sorted(f"{r['rule']} {r['status']}" for r in each["reasons"] if r["status"] != "met")
        until = _when(each["valid_until"])
        yield f"{each['code']} {each['outcome']:<7} until {until:<16}  {'; '.join(open_ones)}"


def _matches(bench: Bench) -> Iterator[str]:
    code, told = _asked(bench, "match --all")
    figures = ("objective", "bound", "gap", "surplus_ah", "bound_surplus_ah", "stopped_early")
    yield ""
    yield f"== match --all: exit {code}; " + ", ".join(f"{name} {_value(told[name])}" for name in figures)
    for plan in (*told["plans"], *told["unserved"]):
        yield from _plan(plan)
    yield "every cell:"
    yield from sorted(f"  {each['code']} {each['test']}{_pass(each)}" for each in told["cells"])


def _plan(plan: Document) -> Iterator[str]:
    yield f"project {plan['project']!r}: {'served' if plan['served'] else 'not served'}"
    for number, group in enumerate(plan["groups"], 1):
        yield f"  group {number}: {' '.join(group)}"
    for name in ("spread_ah", "bound_spread_ah", "gap", "runtime_basis", "runtime_stop"):
        if plan[name] is not None:
            yield f"  {name} {_value(plan[name])}"
    if plan["runtime_h"]:
        yield f"  runtime_h {_span(plan['runtime_h'])}"
    for part in ("why", "not_chosen"):
        yield f"  {part}:"
        yield from sorted(f"    {_test(each)}" for each in plan[part])
    if plan["nearest"]:
        yield f"  nearest: {_test(plan['nearest'])}"


def _test(each: Document) -> str:
    said = {name: each[name] for name in ("observed", "limit", "short_by") if each[name] is not None}
    figures = " ".join(f"{name} {_value(value)}" for name, value in said.items())
    return f"{each['code']} {each['test']}{_pass(each)} {figures} {each['unit'] if said else ''}".rstrip()


def _pass(each: Document) -> str:
    return "" if each["passed"] else " FAILS"


def _due(bench: Bench) -> Iterator[str]:
    code, told = _asked(bench, "due")
    yield ""
    yield f"== due: exit {code}"
    for each in told["due"]:
        danger = "danger" if each["danger"] else ""
        yield f"{each['rank']:>2} {each['kind']:<14} {each['subject']:<22} {_when(each['due_at'])} {danger}"


def _stock(bench: Bench) -> Iterator[str]:
    code, boxes = _asked(bench, "stock")
    yield ""
    yield f"== stock: exit {code}"
    names = ("cells", "condemned", "energy_wh", "estimated", "limit_wh", "over_limit", "never_checked")
    for box in boxes:
        yield f"{box['box']!r}: " + ", ".join(f"{name} {_value(box[name])}" for name in names)
        outcomes = ", ".join(f"{name} {count}" for name, count in sorted(box["outcomes"].items()))
        counts = [each["count"] for each in box["attention"]]
        yield f"  oldest check {_when(box['oldest_check'])}; {outcomes}; attention {counts}"


def _cells(bench: Bench) -> Iterator[str]:
    yield ""
    yield "== cell show, every cell; best: what the reason allows at most, !: a safety rule"
    for each in _asked(bench, "cell list")[1]:
        code, cell = _asked(bench, f"cell show {each['code']}")
        verdict = cell["verdict"]
        named = f"{cell['form']} {cell['chemistry']} {cell['stage']} in {cell['box']!r}"
        yield f"{cell['code']} {verdict['outcome']} until {_when(verdict['valid_until'])}: {named}; exit {code}"
        for name, figure in cell["figures"].items():
            yield f"  {name} {_figure(figure)}"
        yield from (f"  {_reading(reading)}" for reading in cell["readings"])
        reasons = sorted(verdict["reasons"], key=lambda reason: (not reason["safety"], _reason(reason)))
        yield from (f"  {_reason(reason)}" for reason in reasons)


def _figure(figure: Any) -> str:
    if not isinstance(figure, dict):
        return _value(figure)
    return f"{_value(figure['value'])} U {_value(figure['expanded_uncertainty'])} of {_when(figure['at'])}"


def _reading(reading: Document) -> str:
    value = " ".join(reading.get("look", ())) or f"{_value(reading['value'])} {reading['unit']}"
    notes = (
        [f"U {_value(reading['expanded_uncertainty'])}"]
        if reading["expanded_uncertainty"] is not None
        else []
    )
    conditions = (
        "temperature_c",
        "current_a",
        "discharge_current_a",
        "peak_temperature_c",
        "rested_h",
        "mistake",
    )
    notes += [f"{name} {_value(reading[name])}" for name in conditions if reading.get(name) is not None]
    return " ".join([_when(reading["at"]), reading["quantity"], value, *notes])


def _reason(reason: Document) -> str:
    mark = "!" if reason["safety"] else " "
    line = f"{mark} {reason['rule']:<26} {reason['status']:<10} best {reason['ceiling']:<7}"
    if reason["observed"] is not None:
        wide = reason["expanded_uncertainty"]
        line += f" {_value(reason['observed'])}" + (f" U {_value(wide)}" if wide is not None else "")
    if reason["limit"] is not None:
        line += f" limit {_value(reason['limit'])}"
    until = f"until {_when(reason['until'])}" if reason["until"] else ""
    return f"{line} {reason['unit']} {until}".rstrip()


def _run_times(bench: Bench) -> Iterator[str]:
    codes = [each["code"] for each in _asked(bench, "cell list")[1]]
    for load in LOADS:
        yield ""
        yield f"== runtime CODE {load}"
        for cell in codes:
            code, told = _asked(bench, f"runtime {cell} {load}")
            yield f"{cell} exit {code} {_run_time(told) if told else ''}"


def _run_time(told: Document) -> str:
    use = "not for use" if told["forbidden"] else ""
    return f"{_span(told['runtime_h'])} h, {told['basis']}, {told['stop']} {_value(told['stop_v'])} V {use}"


def _span(span: Document | None) -> str:
    return (
        "none"
        if span is None
        else " ".join(f"{name} {_value(span[name])}" for name in ("low", "expected", "high"))
    )


def _value(value: Any) -> str:
    """Six digits: a sum in another order is the same answer."""
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "none"}[value]
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _when(text: str | None) -> str:
    return "-" if text is None else f"{datetime.fromisoformat(text).astimezone(UTC):%Y-%m-%dT%H:%M}"
