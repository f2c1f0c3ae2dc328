"""The rules, one small function a rule, the verdict and its reasons.

rules        limits with their sources, read from TOML      evidence   what a verdict is made from
case         the evidence with uncertainties worked out     figures    the values a cell has today
identity, look, voltage, warming, capacity, resistance, leakage, shelf   the rules
findings     what a rule saw, what alone shows it, and the tests after a finding fell
judge        the verdict                                    record     as JSON
reasons      clear, close or beyond a limit; the reason, its work, the verdict
"""

from straycell.acceptance.case import Case
from straycell.acceptance.evidence import (
    BestSibling,
    Condemnation,
    Evidence,
    Fall,
    Finding,
    SiblingSign,
    Upset,
)
from straycell.acceptance.figures import Figures, figures
from straycell.acceptance.findings import find, stands
from straycell.acceptance.judge import Judgement, assess, judge
from straycell.acceptance.permission import charge_refusal, out_of_use, usable, usable_until
from straycell.acceptance.reasons import (
    Missing,
    Outcome,
    Reason,
    Status,
    Verdict,
    Work,
    WorkKind,
    conformance_probability,
)
from straycell.acceptance.record import verdict_to_json
from straycell.acceptance.rules import (
    Limit,
    RuleSet,
    chemistry_keys,
    hold_of,
    load_rules,
    read_rules,
    shipped_rules,
)

__all__ = [
    "BestSibling",
    "Case",
    "Condemnation",
    "Evidence",
    "Fall",
    "Figures",
    "Finding",
    "Judgement",
    "Limit",
    "Missing",
    "Outcome",
    "Reason",
    "RuleSet",
    "SiblingSign",
    "Status",
    "Upset",
    "Verdict",
    "Work",
    "WorkKind",
    "assess",
    "charge_refusal",
    "chemistry_keys",
    "conformance_probability",
    "figures",
    "find",
    "hold_of",
    "judge",
    "load_rules",
    "out_of_use",
    "read_rules",
    "shipped_rules",
    "stands",
    "usable",
    "usable_until",
    "verdict_to_json",
]
