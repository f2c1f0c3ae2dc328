"""What a capacity is worth for grading, in words: a lower bound or not comparable, why, and what to do about it."""

from datetime import datetime

from straycell.acceptance import Case, Evidence, RuleSet, assess
from straycell.acceptance.charger.allowance import ChargeKind, charge_allowance
from straycell.acceptance.checks.retention import Run, Worth, runs
from straycell.keys import RecordKey
from straycell.safe_side import two_figures


def doubted(evidence: Evidence, rules: RuleSet, now: datetime) -> dict[RecordKey, str]:
    """`{id: "a lower bound: at 0.962C"}` for each capacity that is less than one that counts."""
    case = Case(evidence, evidence.facts, rules, now)
    return {run.reading.id: _words(run) for run in runs(case) if run.worth is not Worth.COUNTS}


def _words(run: Run) -> str:
    kind = "a lower bound" if run.worth is Worth.AT_LEAST else "not comparable"
    return f"{kind}: {run.why}"


def remedy(evidence: Evidence, rules: RuleSet, now: datetime) -> str:
    """What a run must be to count, with this cell's own currents; empty for a cell that may have no charge."""
    if charge_allowance(evidence, assess(evidence, rules, now), rules, now).kind is ChargeKind.NONE:
        return ""
    case = Case(evidence, evidence.facts, rules, now)
    cutoffs, warmth = (
        "-".join(f"{case.figure(f'capacity-{limit}-{end}'):g}" for end in ("low", "high"))
        for limit in ("cutoff", "temperature")
    )
    return (
        f"to count: charge it full, attended (charge add {evidence.code} ...), then discharge at {_currents(case)} "
        f"until {cutoffs} V, {warmth} C"
    )


def _currents(case: Case) -> str:
    base, unit = (case.rate_base_ah, " A") if case.rate_base_ah else (1.0, "C")
    low, high = (case.figure(f"capacity-rate-{end}") * base for end in ("low", "high"))
    return f"{two_figures(low, up=True):g}-{two_figures(high, up=False):g}{unit}"
