"""A charger measured too high speaks of the charges before the measurement: typed as 4.20 V, they may have ended there."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.acceptance.bench import LFP, NMC, Bench, day, good

from straycell.acceptance import Outcome, find, shipped_rules
from straycell.cells import CellFacts, Chemistry, Form
from straycell.quantities import Measured
from straycell.readings.charger import Charger


def measured(
    volts: float, at: float, u: float = 0.002, slot: int | None = None, name: str = "bay"
) -> Charger:
    """The end of a charger in V, measured on a day."""
    return Charger(name, day(at), slot, Measured(volts, u))


def charged(*floats: Charger, until: float = 4.2, facts: CellFacts = NMC, rests: bool = False) -> Bench:
    """A pack cell that was charged in slot 2 of the bay on day 30, with what is known of chargers."""
    bench = good(facts=facts)
    bench.charge(30.0, until=until)
    bench.charges[-1] = replace(bench.charges[-1], charger="bay", slot=2)
    if rests:
        bench.rest(4.175, 31.0)
    bench.more["floats"] = floats
    return bench


def held(bench: Bench, at: float = 40.0) -> bool:
    """True where the charger's end holds it, and no charge is allowed."""
    found = any(r.rule == "charger-end" and r.ceiling is Outcome.HOLD for r in bench.verdict(at).reasons)
    return found and bench.no_charge(at)


@pytest.mark.parametrize(
    ("floats", "holds"),
    [
        ([measured(4.35, 31)], True),  # the day after: what it did the day before nobody knows
        ([measured(4.35, 29)], True),  # known before, and typed as 4.20 all the same
        ([measured(4.35, -100)], True),  # too old to count as good, not too old to warn
        ([measured(4.19, -100), measured(4.35, 200)], True),
        ([measured(4.19, 20), measured(4.35, 31)], True),  # good before, and not any more
        ([measured(4.19, 31), measured(4.35, 40)], False),  # good just after it
        ([measured(4.35, 10), measured(4.19, 20), measured(4.19, 31)], False),
        ([measured(4.35, 31), measured(4.19, 32)], True),  # mended since, perhaps
        ([measured(4.24, 31, u=0.02)], True),  # too coarse to tell
        ([measured(4.24, 31, u=0.02), measured(4.21, 31.1)], False),
        ([measured(4.22, 31, u=0.05)], False),  # full, as a coarse meter shows it
        ([measured(4.245, 31, u=0.002)], False),
        ([measured(4.35, 31, slot=2)], True),
        ([measured(4.35, 31, slot=3)], False),  # another slot
        ([measured(4.35, 31, name="post")], False),
    ],
)
def test_the_measurements_around_a_charge_tell_whether_it_holds(floats: list[Charger], holds: bool) -> None:
    """The last before it and the first after it, of its slot or of the whole charger."""
    bench = charged(*floats)
    assert held(bench) is holds
    assert not bench.judged(40.0)[1]


def test_too_high_before_and_after_condemns_for_good() -> None:
    """A finding rests on the charge and both measurements, and on them alone gives the same at any later time."""
    bench = charged(measured(4.35, 20), measured(4.34, 31))
    (finding,) = bench.judged(40.0)[1]
    assert (
        finding.rule == "voltage-over-full"
        and sum(key.startswith("charger bay") for key in finding.basis) == 2
    )
    evidence = bench.evidence()
    alone = replace(evidence, readings=(), charges=evidence.charges[-1:])
    assert finding.digest in {f.digest for f in find(alone, day(4000))}
    late = replace(evidence, floats=(*evidence.floats, measured(4.19, 31.5)))
    assert finding.digest in {f.digest for f in find(late, day(4000))}


def test_a_rest_voltage_soon_after_the_charge_shows_where_it_ended() -> None:
    """A cell that was charged to 4.35 V does not rest at 4.175 V the next day; a week later it tells nothing."""
    assert not held(charged(measured(4.35, 31), rests=True))
    assert held(charged(measured(4.35, 31)).rest(4.175, 37.0))
    assert held(charged(measured(4.35, 31)).rest(4.24, 31.0))


def test_a_later_charge_by_the_same_slot_shows_it_too() -> None:
    """A run came after the first of two charges, and no rest voltage: the second was shown to end where it should."""
    bench = charged(measured(4.35, 36), rests=True)
    bench.charges.insert(-1, replace(bench.charges[-1], at=day(29.5)))
    assert not held(bench)
    bench.charges[-2] = replace(bench.charges[-2], slot=3)
    bench.more["floats"] = (measured(4.35, 36), measured(4.35, 36, slot=3))
    assert held(bench)
    bench.charges[-2] = replace(bench.charges[-2], slot=2)
    bench.more["floats"] = (measured(4.35, 29.8), measured(4.35, 36))
    assert held(bench) or bench.judged(40.0)[1]


def test_what_can_be_done_depends_on_how_long_ago_it_was() -> None:
    """Within three days a rest voltage, after that nothing but a mistake in the measurement."""
    reason = {
        at: next(r for r in charged(measured(4.35, 30.1)).verdict(at).reasons if r.rule == "charger-end")
        for at in (31, 40)
    }
    assert [str(reason[at].todo and reason[at].todo.kind) for at in (31, 40)] == ["rest-voltage", "discard"]


def test_another_mode_or_a_charge_ended_by_hand_is_not_meant() -> None:
    """The bay's 4.35 V is not where it ends for iron phosphate, nor where a charge to 3.85 V was stopped."""
    lfp = Bench(LFP).found(3.3).look().charge(30.0, until=3.65)
    lfp.charges[-1] = replace(lfp.charges[-1], charger="bay")
    lfp.more["floats"] = (measured(4.35, 31),)
    assert not held(lfp)
    lfp.more["floats"] = (measured(3.80, 31),)
    assert held(lfp)
    assert not held(charged(measured(4.35, 31), until=3.85))
    high = CellFacts(Chemistry.NMC, Form.F18650, "INR18650", rated_capacity_ah=2.5, full_voltage_v=4.35)
    assert not held(charged(measured(4.36, 31), until=4.35, facts=high))


def test_the_limits_are_the_published_ones() -> None:
    """4.20 ± 0.05 V, and 0.55 V between the ends for iron phosphate and for 4.2 V cells."""
    assert shipped_rules().figure("charger-end") < 4.20 - 3.65
