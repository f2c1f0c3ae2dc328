"""Every reason that can hold a cell says in shipped.toml what it means: by construction none is missing in `due`."""

import ast
from collections.abc import Iterator
from pathlib import Path

from hypothesis import given
from tests.acceptance.bench import Bench
from tests.acceptance.test_verdict_laws import benches
from tests.drawing import examples

import straycell.acceptance as acceptance
from straycell.acceptance import Outcome, Reason, Status, hold_of
from straycell.acceptance.rules import shipped_rules
from straycell.safety.due.survey import danger_of, due_kinds

STATED = {rule: hold for limit in shipped_rules().limits.values() for rule, hold in limit.holds.items()}


def _words(node: ast.AST | None) -> set[str]:
    """The names that an expression may give; the least step of a graded rule is the one that holds."""
    if isinstance(node, ast.JoinedStr):
        known = "".join(str(part.value) for part in node.values if isinstance(part, ast.Constant))
        return {f"{known}{Outcome.LIGHT.word}"}
    if isinstance(node, ast.IfExp):
        return _words(node.body) | _words(node.orelse)
    return {node.value} if isinstance(node, ast.Constant) and isinstance(node.value, str) else set()


def _holding() -> Iterator[tuple[str, set[str]]]:
    """(where, the rules it may bear) of each reason that the source writes with a hold."""
    for file in Path(acceptance.__file__).parent.rglob("*.py"):
        for call in ast.walk(ast.parse(file.read_text())):
            if not isinstance(call, ast.Call) or getattr(call.func, "attr", "") != "reason":
                continue
            ceiling = "".join(map(ast.unparse, call.args[2:3]))
            if "HOLD" not in ceiling and "outcome - 1" not in ceiling:
                continue
            named = next((key.value for key in call.keywords if key.arg == "rule"), None)
            own = {"None"} & {ast.unparse(n) for n in ast.walk(named)} if named else {"None"}
            yield f"{file.name}:{call.lineno}", _words(named) | (_words(call.args[0]) if own else set())


def test_each_reason_that_holds_a_cell_says_what_it_means() -> None:
    found = dict(_holding())
    assert len(found) >= 40
    said = {rule for rules in found.values() for rule in rules}
    assert said - STATED.keys() == set()
    assert len(said) >= 30


@given(benches())
@examples(300)
def test_each_hold_of_any_cell_is_stated(bench: Bench) -> None:
    """The names that the source takes from a variable, too."""
    holds = {r.rule for r in bench.verdict(40.0).reasons if r.ceiling is Outcome.HOLD and not r.finding}
    assert holds <= STATED.keys()


def test_what_was_seen_is_a_danger_of_due() -> None:
    assert {hold.due for hold in STATED.values() if hold.due} <= {
        k.id for k in due_kinds().values() if k.danger
    }
    assert all(shipped_rules().limit(hold.check).unit == "d" for hold in STATED.values() if hold.check)
    assert len(STATED) == sum(len(limit.holds) for limit in shipped_rules().limits.values())


def test_a_rule_that_says_nothing_is_a_doubt_and_bars_a_charge() -> None:
    strange = Reason("a-new-rule", Status.CLOSE, Outcome.HOLD, "seen", safety=True)
    assert danger_of(strange) == "doubt" and not hold_of(strange.rule).charge
    assert danger_of(Reason("a-new-rule", Status.CLOSE, Outcome.LIGHT, "seen")) == ""
    assert danger_of(Reason("a-new-rule", Status.MET, Outcome.HOLD, "seen")) == ""
    assert danger_of(Reason("warming", Status.UNMEASURED, Outcome.HOLD, "")) == ""
    assert danger_of(Reason("warming", Status.CLOSE, Outcome.HOLD, "")) == "warm"
