"""The first day of everyday cells on everyday chargers: nobody healthy is held, whoever leaks is.

The truth is drawn from the published curves: a charger 1.5 % off at most that ends at a tenth, a meter of 0.5 % and
3 mV that steps by 10 mV, a room that swings. `python -m tests.walk.test_first_day` plays more of it and prints shares.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from tests.acceptance.bench import Bench, reasons
from tests.drawing import few

from straycell.acceptance import Outcome
from straycell.meters import meter_like
from straycell.physics.curves import OcvCurve, all_curves
from straycell.readings import Method

CHEAP = meter_like("pocket", "hand-held-multimeter")
RATED_AH = 2.5


@dataclass
class Morning:
    """One cell of known truth: its own curve, resistance, its charger's float, what it lost until it was measured."""

    curve: OcvCurve
    ohm: float
    float_v: float
    hours: float
    lost: float

    @classmethod
    def drawn(cls, dice: random.Random, lost: float | None = None) -> Morning:
        curves = [c for c in all_curves() if c.chemistry != "lfp"]
        hours = dice.uniform(20.0, 72.0)
        usual = dice.uniform(0.0, 0.03) * hours / 720.0  # up to 3 % a month, published as usual
        float_v = 4.20 * (1.0 + dice.uniform(-0.015, 0.015))
        return cls(
            dice.choice(curves), dice.uniform(0.02, 0.12), float_v, hours, usual if lost is None else lost
        )

    def shown(self, dice: random.Random) -> float:
        """What the meter shows: the tail's lift gone, charge lost, 0.5 mV a kelvin over 5 K, gain, offset, step."""
        ended = self.float_v - 0.1 * RATED_AH * self.ohm * dice.uniform(1.0, 1.4)
        truth = self.curve.voltage(self.curve.state_of_charge(ended) - self.lost) + dice.uniform(
            -0.0025, 0.0025
        )
        seen = truth * (1.0 + dice.uniform(-0.005, 0.005)) + dice.uniform(-0.003, 0.003)
        return round(seen, 2)

    def bench(self, dice: random.Random) -> Bench:
        bench = Bench(meter=CHEAP).found(3.6).look()
        bench.resistance(round(self.ohm, 3), at=0.5, method=Method.DC_PULSE, meter=None)
        bench.charge(1.0, until=4.2, amps=0.5)
        bench.charges[-1] = replace(bench.charges[-1], end_current_a=0.25)
        return bench.rest(self.shown(dice), 1.0 + self.hours / 24.0, rested_s=self.hours * 3600)


def held(morning: Morning, dice: random.Random) -> str:
    """`first-day`, `first-day-discard` or nothing."""
    verdict = morning.bench(dice).verdict(5.0)
    for rule in ("first-day-discard", "first-day"):
        if reasons(verdict, rule):
            return rule
    return ""


def share_held(count: int, seed: int) -> float:
    dice = random.Random(seed)
    return sum(bool(held(Morning.drawn(dice), dice)) for _ in range(count)) / count


def test_fewer_than_one_healthy_cell_in_two_hundred_is_held() -> None:
    """A cheap meter and a charger at the edge of its tolerance accuse nobody."""
    assert share_held(few(1000), seed=11) < 1 / 200


def test_a_cell_that_lost_most_of_its_charge_in_a_day_never_passes() -> None:
    """Half of the charge gone: discarded or held, on whatever charger."""
    dice = random.Random(12)
    found = [held(Morning.drawn(dice, lost=0.5), dice) for _ in range(few(200))]
    assert all(found) and found.count("first-day-discard") > len(found) / 2
    assert all(
        Morning.drawn(dice, lost=0.5).bench(dice).verdict(5.0).outcome <= Outcome.HOLD for _ in range(few(20))
    )


if __name__ == "__main__":
    print(f"healthy cells held: {share_held(20_000, seed=1):.4%} of 20000")
    walk_dice = random.Random(2)
    for gone in (0.05, 0.1, 0.2, 0.3, 0.5):
        mornings = [held(Morning.drawn(walk_dice, gone), walk_dice) for _ in range(1000)]
        print(
            f"{gone:.0%} lost: {sum(map(bool, mornings)) / 10:.1f} % held, "
            f"{mornings.count('first-day-discard') / 10:.1f} % discarded"
        )
