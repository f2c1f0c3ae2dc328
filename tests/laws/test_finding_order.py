"""Law: which findings a cell has does not depend on the order in which its records came, and each basis alone gives its own."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.acceptance.bench import NMC, Bench, day, good
from tests.acceptance.test_charger_end import charged, measured
from tests.acceptance.test_verdict_laws import benches
from tests.drawing import few
from tests.laws.test_finding_laws import CONDEMNED, LATER, alone, digests, leaking

from straycell.acceptance import Evidence, Finding, Upset, find, shipped_rules
from straycell.acceptance.case import Case
from straycell.acceptance.evidence import DISMANTLED, SHELF_LOSS, Record
from straycell.acceptance.findings import CONDEMNING, condemned
from straycell.cells import CellFacts, Chemistry, Form
from straycell.keys import RecordKey
from straycell.readings import Charge, Quantity, Reading
from straycell.readings.charger import Charger

EACH = few(40)
"""How many examples each way to be condemned draws, and how often each rule must have condemned in them."""


def records(evidence: Evidence) -> tuple[Record, ...]:
    return (*evidence.readings, *evidence.charges, *evidence.upsets, *evidence.floats)


def only(evidence: Evidence, kept: Iterable[Record]) -> Evidence:
    """The same cell with these of its records."""
    keys = {each.key for each in kept}
    return replace(
        evidence,
        readings=tuple(r for r in evidence.readings if r.key in keys),
        charges=tuple(c for c in evidence.charges if c.key in keys),
        upsets=tuple(u for u in evidence.upsets if u.key in keys),
        floats=tuple(f for f in evidence.floats if f.key in keys),
    )


def recorded(evidence: Evidence, order: list[Record]) -> dict[str, Finding]:
    """The findings of a cell whose records came one write after the other, in this order."""
    found: dict[str, Finding] = {}
    for number in range(len(order) + 1):
        for each in find(only(evidence, order[:number]), day(LATER)):
            found.setdefault(each.digest, each)
    return found


def mixed(bench: Bench, more: Bench) -> Evidence:
    """A condemned cell and whatever else may be recorded of it."""
    shift = len(bench.readings) + len(bench.charges)
    for each in more.readings:
        bench.readings.append(replace(each, id=RecordKey("A", each.id.number + shift)))
    for charge in more.charges:
        bench.charges.append(replace(charge, id=RecordKey("A", charge.id.number + shift)))
    return bench.evidence()


def used(record: Record) -> bool:
    """True for what moves charge, and for a measurement of a charger: between two others they make these no pair."""
    if isinstance(record, Reading):
        return record.quantity in (Quantity.CAPACITY, Quantity.LET_DOWN)
    # A charger is measured now and recorded now, so one between two others is never recorded after both.
    return isinstance(record, Charge | Charger) or (isinstance(record, Upset) and record.kind == DISMANTLED)


def declined(evidence: Evidence, extra: Finding) -> bool:
    """True where the whole record does not condemn only because it tells that the cell was used in between."""
    own = [each.at for each in records(evidence) if each.key in extra.basis]
    if not own:
        return False
    begin, end = min(own) - timedelta(hours=2), max(own)
    left = [
        each
        for each in records(evidence)
        if each.key in extra.basis or not ((used(each) and begin < each.at <= end) or elsewhere(each, extra))
    ]
    return extra.digest in digests(find(only(evidence, left), day(LATER)))


def nearer(evidence: Evidence, extra: Finding) -> bool:
    """True where a stain came back and the whole record shows that by looks nearer to each other.

    All looks taken three by three would show the same, at a cost that grows with their cube.
    """
    return extra.rule == "look-returned" and extra.rule in {f.rule for f in find(evidence, day(LATER))}


def elsewhere(record: Record, extra: Finding) -> bool:
    """True where a record of any time may decline: two runs that contradict each other prove no wear, which is no matter
    of safety; a loss on the shelf only holds, and a reading between its two, or a full charge before them, tells more.
    """
    kinds = {"capacity-discard": (Reading,), SHELF_LOSS: (Charge, Reading)}
    return isinstance(record, kinds.get(extra.rule, ()))


SMALL = CellFacts(Chemistry.LCO, Form.POUCH)
"""A flat cell of no rating and no size: all that is known of its capacity is what it gave."""


def put_in(bench: Bench, *amounts: float) -> Bench:
    """Charges, a week apart, that are known to have put in so many Ah; each with the run after it."""
    for number, ah in enumerate(amounts):
        at = 30.0 + 7.0 * number
        bench.charge(at)
        bench.charges[-1] = replace(bench.charges[-1], put_in_ah=ah, put_in_u=0.01)
        bench.capacity(1.0, at + 0.3, discharge_current_a=0.2)
    return bench


def frozen(facts: CellFacts) -> Bench:
    """Charged at 0.4C in hard frost."""
    return Bench(facts).capacity(1.0, 1.0).charge(30.0, amps=1.0, ambient=-20.0, peak=-15.0)


def gone(*, twice: bool = False) -> Bench:
    """Most of its charge missing the day after; or some of it twice, the second time after a measured float."""
    if not twice:
        return good().charge(30.0).rest(3.70, 31.0)
    bench = good().charge(30.0).rest(4.03, 31.0).charge(40.0)
    bench.charges[-1] = replace(bench.charges[-1], u=0.002)
    return bench.rest(4.03, 41.0)


def hot(facts: CellFacts) -> Bench:
    """At rest, and 15 K warmer than the room."""
    return Bench(facts).read(Quantity.TEMPERATURE, 30.0, 37.0, surroundings_c=22.0, rested_s=7200.0 * 2)


BOARD = replace(NMC, protection_board=True)
WAYS = CONDEMNED | {
    "charger-end": lambda: charged(measured(4.35, 20), measured(4.34, 31)),
    "charger-end, rested": lambda: charged(measured(4.35, 20), measured(4.34, 31), rests=True),
    "charger-end, of a slot": lambda: charged(
        measured(4.35, 20), measured(4.19, 25, slot=2), measured(4.34, 31)
    ),
    "charge-in-discard": lambda: put_in(good(), 4.2),
    "charge-in, twice": lambda: put_in(good(), 3.3, 3.3),
    "charge-in of a small one": lambda: put_in(Bench(SMALL), 1.7),
    "charge-in of a small one, thrice": lambda: put_in(Bench(SMALL), 1.3, 1.3, 1.3),
    "first-day-discard": gone,
    "first-day, twice": lambda: gone(twice=True),
    "first-day of a small one": lambda: Bench(SMALL).charge(30.0).rest(3.70, 31.0),
    "charge-frost-rate": lambda: frozen(NMC),
    "charge-frost-rate of a small one": lambda: frozen(SMALL),
    "warming-discard of a small one": lambda: Bench(SMALL).capacity(2.5, 1.0).charge(30.0, peak=45.0),
    "warm-rest-discard": lambda: hot(NMC),
    "leak over a board": lambda: good(facts=BOARD, second=leaking(12.0)),
    "leak of a small one": lambda: (
        Bench(replace(SMALL, protection_board=True)).charge(1.0).rest(4.18, 2.5).rest(leaking(14.0), 17.5)
    ),
    "shelf-loss, thrice": lambda: (
        good().charge(20.0, until=3.85).rest(3.85, 21.5).rest(3.82, 33.0).rest(leaking(14.0, 40, 3.85), 61.5)
    ),
    "shelf-loss within days": lambda: good().charge(20.0, until=3.85).rest(3.85, 30.0).rest(3.40, 33.0),
    "shelf-loss since a let-down": lambda: (
        good().read(Quantity.LET_DOWN, 30.0, 3.80, meter=None).rest(3.40, 31.0)
    ),
    "shelf-loss since a part charge": lambda: good().charge(30.0, until=3.95, amps=0.5).rest(3.40, 31.0),
    "by two runs, nmc": lambda: good().charge(30.0).capacity(1.2, 62.0),
    "worn out, small": lambda: Bench(replace(SMALL, volume_cm3=8.0)).charge(1.0).capacity(0.6, 1.2),
}


def test_the_order_of_recording_does_not_change_which_findings_hold() -> None:
    """Any order of writes gives what one write of all gives, and each basis alone its finding at any later time.

    But for one thing: what tells that the cell was used between two records makes them no pair; recorded after the
    finding it lifts nothing, as the design has it.
    """
    rules: Counter[str] = Counter()
    tests: Counter[str] = Counter()
    for way in WAYS:

        @settings(max_examples=EACH)
        @given(benches(), st.randoms(use_true_random=False), st.just(way))
        def law(more: Bench, dice: random.Random, way: str) -> None:
            evidence = mixed(WAYS[way](), more)
            order = list(records(evidence))
            dice.shuffle(order)
            whole, grown = digests(find(evidence, day(LATER))), recorded(evidence, order)
            assert whole <= grown.keys()
            for digest, finding in grown.items():
                assert digest in digests(find(alone(evidence, finding), day(LATER + 1000))), (way, finding)
                kept = digest in whole or declined(evidence, finding) or nearer(evidence, finding)
                assert kept, (way, finding)
            rules.update({finding.rule for finding in grown.values()})
            case = Case(evidence, evidence.facts, shipped_rules(), day(LATER))
            tests.update({f"{test.__module__}.{test.__name__}" for test, _ in condemned(case)})

        law()
    assert all(count >= EACH for count in rules.values()), rules
    assert tests.keys() == {f"{test.__module__}.{test.__name__}" for test in CONDEMNING}, tests
    assert min(tests.values()) >= EACH // 2, tests
