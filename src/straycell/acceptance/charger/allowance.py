"""What charge current a cell may have under its verdict: its use, a test charge and nothing more, or none."""

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from straycell.acceptance.case import Case
from straycell.acceptance.checks.warming import proven_charge_a
from straycell.acceptance.evidence import Evidence
from straycell.acceptance.figures import figures
from straycell.acceptance.permission import charge_refusal, maker_may_raise, more_from_maker
from straycell.acceptance.reasons import Outcome, Side, Verdict, against_min
from straycell.acceptance.rules import RuleSet
from straycell.physics.charging import allowed_current, temperature_limit
from straycell.quantities import Dimension, Measured, volts
from straycell.readings import Quantity
from straycell.safe_side import at_most

# Reference temperature of cell sheets (23 to 25 °C): a charge indoors needs no derating.
ROOM_C = 25.0


class ChargeKind(StrEnum):
    """What kind of charge a cell may have."""

    USE = "charge"
    TEST = "test charge"
    NONE = "no charge"


@dataclass(frozen=True, slots=True)
class ChargeAllowance:
    """The most charge current in A, worst case of the charger included; 0 with kind NONE.

    `why` says what the figure rests on, or what forbids a charge; `first` is what to do before. `capacity` (Ah)
    is what 1C means here: measured, else rated or the table's with a wide uncertainty; None when not known.
    `unseen` is (what was never looked at or measured, what to do): with it no charger gets a yes. `more` is how to
    record a maker's figure that could allow more.
    """

    kind: ChargeKind
    allowed_a: float
    why: str
    first: tuple[str, ...] = ()
    capacity: Measured | None = None
    measured: bool = False
    unseen: tuple[str, str] | None = None
    more: str = ""


def charge_allowance(
    evidence: Evidence,
    verdict: Verdict,
    rules: RuleSet,
    now: datetime,
    *,
    temperature_c: float | None = None,
) -> ChargeAllowance:
    """What this cell may be charged with now; `temperature_c` is where it is charged (None: a room).

    Unknown is never a pass: no known chemistry, an unconfirmed look-alike of a primary or a voltage too close
    to a safety limit means no charge; an unknown voltage means the lowest one.
    """
    case = Case(evidence, evidence.facts, rules, now)
    capacity, is_measured = _capacity(case, now)
    known = ChargeAllowance(ChargeKind.NONE, 0.0, "", (), capacity, is_measured)
    refusal = charge_refusal(verdict, case.facts.chemistry)
    if refusal is not None:
        return replace(known, why=refusal.why, first=(refusal.first,))
    # A held cell must be charged once to be judged at all: gently, attended, and for nothing else.
    if verdict.outcome is Outcome.HOLD:
        return _placed(case, _test(case, known), temperature_c)
    return _placed(case, _use(case, verdict.outcome, known), temperature_c)


def _capacity(case: Case, now: datetime) -> tuple[Measured | None, bool]:
    """(what 1C means in Ah, measured or not); a figure that was not measured may be short by what `light` allows."""
    found = figures(case.evidence, case.rules, now).capacity
    if found is not None:
        return found, True
    base_ah = case.rate_base_ah
    if base_ah is None:
        return None, False
    # A cell may pass with half its rating (`light`): counting with all of it would make 0.5C a real 1C.
    return Measured(base_ah, base_ah * (1.0 - case.figure("capacity", "light")) / 2.0), False


def _use(case: Case, outcome: Outcome, known: ChargeAllowance) -> ChargeAllowance:
    """The outcome's rate of the measured capacity's low end; more only on the maker's figure."""
    facts = case.facts
    # A share of an unmeasured capacity is a guess: a worn cell would get a multiple of the rate meant for it.
    if known.capacity is None or not known.measured or known.capacity.low <= 0:
        return replace(known, why="its capacity is not measured", first=("measure its capacity from full",))
    # Sheets charge at 0.5C as standard; for a light cell 0.2C is common practice.
    rate = case.figure("rate-in", outcome.word)
    may_raise = maker_may_raise(outcome, facts)
    maker_a = facts.maker_charge_current_a
    allowed_a = allowed_current(known.capacity.low, rate, maker_current_a=maker_a, maker_may_raise=may_raise)
    # After one warming only the current at which it was seen to stay cool is known to be safe.
    proven_a = proven_charge_a(case)
    if proven_a is not None and proven_a < allowed_a:
        cool = at_most(proven_a, Dimension.CURRENT)
        why = f"{outcome.word} cell: it once warmed, and has stayed cool at {cool} only"
        return replace(known, kind=ChargeKind.USE, allowed_a=proven_a, why=why)
    by_maker = maker_a is not None and allowed_a == maker_a
    low = at_most(known.capacity.low, Dimension.CAPACITY)
    why = "the maker's figure" if by_maker else f"{rate:g}C of {low}, the low end of its capacity"
    more = more_from_maker(outcome, facts, case.evidence.code, "charge")
    why = f"{outcome.word} cell: {why}"
    return replace(known, kind=ChargeKind.USE, allowed_a=allowed_a, why=why, more=more)


def _test(case: Case, known: ChargeAllowance) -> ChargeAllowance:
    """A share of the rated capacity, else of the size's table; the low one unless its voltage clears the limit."""
    base_ah = case.rate_base_ah
    if base_ah is None or known.capacity is None:
        todo = "give its rated capacity, its size or its marking: straycell cell correct"
        return replace(known, why="no charge yet: how much it holds is not known at all", first=(todo,))
    origin = "rated" if case.rated_ah else "table's" if case.table_capacity_ah is not None else "measured"
    if origin == "measured":
        # Measured and without a rating: its low end, as the higher figure gives the higher current.
        base_ah = max(0.0, known.capacity.low)
    # Cell sheet precautions: below 3.0 V at 0.1C or less; a voltage within U of it has not cleared it.
    clear, first = _voltage_is_clear(case)
    rate = case.figure("test-charge", "normal" if clear else "low")
    maker_a = case.facts.maker_charge_current_a
    allowed_a = allowed_current(base_ah, rate, maker_current_a=maker_a, maker_may_raise=False)
    slow = "" if clear else f", as it is not clearly above {volts(case.figure('test-charge-low'))}"
    why = f"{rate:g}C of the {origin} {at_most(base_ah, Dimension.CAPACITY)}{slow}"
    if allowed_a == maker_a:
        why = "the maker's figure"
    why = f"a test charge only, attended: {why}"
    unseen = _unseen(case, first)
    return replace(known, kind=ChargeKind.TEST, allowed_a=allowed_a, why=why, first=first, unseen=unseen)


def _unseen(case: Case, first: tuple[str, ...]) -> tuple[str, str] | None:
    """A cell that nobody looked at, or whose voltage is not known, gets no yes: a dent or a deep discharge may hide."""
    lacks = [] if case.of(Quantity.LOOK) else ["a look"]
    lacks += ["its voltage"] if first else []
    if not lacks:
        return None
    todo = f"straycell reading add {case.evidence.code} --look ... --voltage ... --rested ..."
    return f"{' and '.join(lacks)} of this cell {'is' if len(lacks) == 1 else 'are'} not recorded", todo


def _voltage_is_clear(case: Case) -> tuple[bool, tuple[str, ...]]:
    """(its voltage now clears the low test charge's limit by U, what to do when that is not known)."""
    limit_v = case.figure("test-charge-low")
    latest = max(case.own_voltages, key=lambda r: (r.at, r.id), default=None)
    charge = max(case.charges, key=lambda c: (c.at, c.id), default=None)
    emptied = max(case.of(Quantity.CAPACITY), key=lambda r: (r.at, r.id), default=None)
    last = max(((e.at, e.id) for e in (latest, charge, emptied) if e is not None), default=None)
    if charge is not None and last == (charge.at, charge.id):
        return charge.until_v >= limit_v, ()
    if latest is not None and last == (latest.at, latest.id):
        return against_min(case.measured(latest), limit_v) is Side.CLEAR, ()
    # After a discharge or with no voltage at all the cell may lie below the floor, where charging may meet
    # copper shunts.
    floor_v = volts(case.figure("voltage-floor"))
    since = "it was discharged since its voltage was last known" if emptied else "its voltage is not known"
    return False, (f"measure its voltage first ({since}): below {floor_v} it is never charged",)


def _placed(case: Case, allowance: ChargeAllowance, temperature_c: float | None) -> ChargeAllowance:
    """Less where it is cool, nothing outside the window."""
    if temperature_c is None or allowance.kind is ChargeKind.NONE or allowance.capacity is None:
        return allowance
    # Sheets charge at 0 to 45 °C; below 10 °C it is left to a watched charge (rules, charge-temperature-low).
    low_c, high_c = case.figure("charge-temperature-low"), case.figure("charge-temperature")
    if not case.figure("charge-temperature-attended") <= temperature_c <= high_c:
        why = f"no cell is charged at {temperature_c:g} C"
        first = (f"charge it at {low_c:g} to {high_c:g} C",)
        return replace(allowance, kind=ChargeKind.NONE, allowed_a=0.0, why=why, first=first)
    base = allowance.capacity
    if temperature_c < low_c:
        attended = (*allowance.first, f"stay with it: below {low_c:g} C a cell is charged attended only")
        allowance = replace(allowance, first=attended)
    rate = temperature_limit(temperature_c)
    # Lithium plates at a lower rate in the cold: sheets step 0.1C below 5 °C, 0.2C to 15 °C.
    cool_a = rate * max(0.0, base.low if allowance.measured else base.value)
    if rate >= temperature_limit(ROOM_C) or cool_a >= allowance.allowed_a:
        return allowance
    why = f"{allowance.why}; at {temperature_c:g} C no more than {rate:g}C"
    # What the cold forbids no maker's figure gives back.
    return replace(allowance, allowed_a=cool_a, why=why, more="")
