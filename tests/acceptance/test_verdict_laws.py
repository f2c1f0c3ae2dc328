"""Laws of verdicts: more doubt never helps, noise never condemns, every hold says what to do."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import FINE, NMC, Bench, day, good

from straycell.acceptance import Evidence, Outcome, Status, assess, load_rules
from straycell.acceptance.record import verdict_from_json, verdict_to_json
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.keys import RecordKey
from straycell.meters import Accuracy, Meter, Resolution
from straycell.readings import Method, Quantity

RULES = load_rules()


def later(number: RecordKey) -> RecordKey:
    """A number of the same bench, given out afterwards."""
    return RecordKey(number.bench, number.number + 100)


def scaled(factor: float) -> Meter:
    """The fine meter, `factor` times worse in everything."""

    def worse(accuracy: Accuracy | None) -> Accuracy:
        assert accuracy is not None
        return Accuracy(accuracy.gain * factor, accuracy.offset * factor)

    steps = tuple((bound, step * factor) for bound, step in FINE.voltage_resolution.steps)
    return Meter(
        "scaled",
        "",
        worse(FINE.voltage),
        Resolution(steps),
        worse(FINE.capacity),
        worse(FINE.resistance),
        FINE.temperature,
    )


cells = st.builds(
    lambda found, capacity, resistance, first, drop, peak: {
        "found": found,
        "capacity": capacity,
        "resistance": resistance,
        "first": first,
        "second": first - drop,
        "peak": peak,
    },
    st.floats(2.55, 4.15),
    st.floats(0.8, 2.6),
    st.floats(0.01, 0.6),
    st.floats(4.135, 4.2),
    st.floats(0.0, 0.08),
    st.floats(22.0, 44.0),
)


@given(cells, st.floats(1.0, 20.0), st.floats(1.0, 20.0))
def test_a_verdict_never_improves_as_uncertainty_grows(cell: dict[str, float], a: float, b: float) -> None:
    """Except that doubt may turn a discard into a hold: noise must not condemn."""
    fine, coarse = sorted((a, b))
    sure = good(meter=scaled(fine), **cell).outcome()  # type: ignore[arg-type]
    unsure = good(meter=scaled(coarse), **cell).outcome()  # type: ignore[arg-type]
    if sure is not Outcome.DISCARD:
        assert unsure <= sure
    else:
        assert unsure <= Outcome.HOLD


@given(
    st.floats(-1.0, 1.0),
    st.floats(-1.0, 1.0),
    st.floats(-1.0, 1.0),
    st.floats(-1.0, 1.0),
)
def test_noise_within_u_never_discards_a_good_cell(a: float, b: float, c: float, d: float) -> None:
    """A cell truly at its discard limits, measured with errors up to U: never discarded."""
    meter = scaled(3.0)

    def noisy(accuracy: Accuracy | None, true: float, share: float) -> float:
        assert accuracy is not None
        return true + 0.95 * share * 2 * accuracy.u(true)

    bench = good(
        meter=meter,
        capacity=noisy(meter.capacity, 1.25, a),
        resistance=noisy(meter.resistance, 0.5, b),
        peak=22.0 + 15.0 + c * 3.2,
    )
    bench.rest(noisy(meter.voltage, 2.0, d), 30.0, rested_s=60.0)
    assert bench.outcome(31.0) is not Outcome.DISCARD


looks = st.lists(st.sampled_from(list(Look)), min_size=1, max_size=3).map(tuple)
facts = st.builds(
    CellFacts,
    st.sampled_from(list(Chemistry)),
    st.sampled_from(list(Form)),
    st.sampled_from(["", "INR18650", "CR123A", "603450"]),
    rated_capacity_ah=st.none() | st.floats(0.2, 5.0),
    rated_resistance_ohm=st.none() | st.floats(0.01, 0.2),
    protection_board=st.booleans(),
    bought_new=st.booleans(),
    rewrapped=st.booleans(),
)


@st.composite
def benches(draw: st.DrawFn) -> Bench:
    """Any cell with any readings, in any order."""
    bench = Bench(draw(facts), draw(st.sampled_from([None, FINE])))
    for _ in range(draw(st.integers(0, 8))):
        at = draw(st.floats(0.0, 40.0))
        match draw(st.integers(0, 5)):
            case 0:
                bench.found(draw(st.floats(-0.5, 4.5)), at=at)
            case 1:
                bench.look(*draw(looks), at=at)
            case 2:
                bench.charge(
                    at, until=draw(st.sampled_from([3.65, 4.1, 4.2])), peak=draw(st.floats(20.0, 50.0))
                )
            case 3:
                bench.capacity(draw(st.floats(0.01, 6.0)), at)
            case 4:
                bench.resistance(draw(st.floats(0.001, 2.0)), at, draw(st.sampled_from(list(Method))))
            case _:
                bench.rest(
                    draw(st.floats(1.0, 4.4)), at, temperature_c=draw(st.sampled_from([None, 20.0, 24.0]))
                )
    return bench


@given(benches())
def test_any_evidence_gives_a_verdict_that_repeats_and_survives_json(bench: Bench) -> None:
    """Same arguments, same verdict; nothing lost on the way through the store."""
    verdict = bench.verdict(41.0)
    assert verdict == bench.verdict(41.0)
    assert verdict_from_json(verdict_to_json(verdict)) == verdict


@given(benches())
def test_every_hold_says_what_to_do(bench: Bench) -> None:
    """A hold without a way forward is a dead end."""
    verdict = bench.verdict(41.0)
    if verdict.outcome is Outcome.HOLD:
        assert verdict.missing and all(m.todo for m in verdict.missing)


@given(benches())
def test_unknown_is_never_a_pass(bench: Bench) -> None:
    """Whatever lacks look, capacity, resistance, charge or chemistry is on hold or worse."""
    verdict = bench.verdict(41.0)
    quantities = {r.quantity for r in bench.readings}
    needed = {Quantity.LOOK, Quantity.CAPACITY, Quantity.RESISTANCE, Quantity.VOLTAGE}
    if not needed <= quantities or not bench.charges or bench.facts.chemistry is Chemistry.UNKNOWN:
        assert verdict.outcome <= Outcome.HOLD


@given(benches(), st.floats(0.0, 1000.0))
def test_time_alone_never_improves_a_verdict(bench: Bench, days: float) -> None:
    """Waiting without measuring can only let figures run out; a discard stays."""
    first, later = bench.verdict(41.0), bench.verdict(41.0 + days)
    assert later.outcome <= first.outcome
    assert (later.outcome is Outcome.DISCARD) == (first.outcome is Outcome.DISCARD)


@given(benches())
def test_a_verdict_holds_until_its_valid_until(bench: Bench) -> None:
    """Nothing changes before the time it names."""
    verdict = bench.verdict(41.0)
    if verdict.valid_until is None:
        return
    just_before = verdict.valid_until - timedelta(seconds=1)
    again = assess(bench.evidence(), RULES, just_before)
    assert again.outcome is verdict.outcome
    assert [(r.rule, r.status) for r in again.reasons] == [(r.rule, r.status) for r in verdict.reasons]


@given(benches(), benches())
def test_more_readings_never_bring_a_discard_back(bench: Bench, more: Bench) -> None:
    """A safety discard stands whatever is measured later (an outvoted capacity is no safety rule)."""
    verdict = bench.verdict(41.0)
    if not (any(r.safety and r.ceiling is Outcome.DISCARD for r in verdict.reasons)):
        return
    moved = [replace(r, id=later(r.id), at=r.at + timedelta(days=60)) for r in more.readings]
    charges = [replace(c, id=later(c.id), at=c.at + timedelta(days=60)) for c in more.charges]
    own = bench.evidence()
    grown = Evidence(
        own.code,
        own.facts,
        (*own.readings, *sorted(moved, key=lambda r: (r.at, r.id))),
        (*own.charges, *sorted(charges, key=lambda c: (c.at, c.id))),
    )
    assert assess(grown, RULES, day(120.0)).outcome is Outcome.DISCARD


def test_a_good_cell_is_a_pack_cell_and_thirteen_months_later_it_is_not() -> None:
    """Read without any write: stale is unmeasured."""
    assert good().outcome(20.0) is Outcome.PACK
    stale = good().verdict(20.0 + 396.0)
    assert stale.outcome is Outcome.HOLD
    assert {r.rule for r in stale.reasons if r.status is Status.UNMEASURED} >= {
        "capacity",
        "resistance",
        "rest-voltage",
    }


def test_each_thing_a_cell_needs_is_missed_when_it_is_missing() -> None:
    """Look, a full charge with its peak, capacity, resistance, the pair: each alone keeps it on hold."""
    assert good(look=None).outcome() is Outcome.HOLD
    assert good(capacity=None).outcome() is Outcome.HOLD
    assert good(resistance=None).outcome() is Outcome.HOLD
    assert good(second=None).outcome() is Outcome.HOLD
    assert good(facts=replace(NMC, chemistry=Chemistry.UNKNOWN)).outcome() is Outcome.HOLD
