"""Every cell of the store as the matching sees it: verdict, figures, and how they were taken."""

from collections.abc import Collection, Mapping
from datetime import datetime

from straycell.acceptance import Evidence, Figures, RuleSet, figures
from straycell.bench.context import Reader
from straycell.bench.verdict_words import why
from straycell.matching import Candidate
from straycell.matching.screen.candidates import RestVoltage
from straycell.physics.own_pulses import Pulse
from straycell.physics.run_time.runtime import OwnTrace
from straycell.quantities import Measured
from straycell.readings import Quantity, Reading, accuracy_of, alone_u


def candidates(
    reader: Reader, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
) -> list[Candidate]:
    """The cells named, or all that were not withdrawn, by code."""
    evidences = reader.evidences(codes)
    traces = own_traces(reader, evidences)
    verdicts = reader.verdicts(rules, now, codes)
    # One query for all: asked cell by cell, a large store would take minutes.
    stages = {cell.code: cell.stage for cell in reader.cells(wanted=codes)}
    offers = []
    for code, evidence in evidences.items():
        if code not in stages:
            continue
        verdict, known = verdicts[code], figures(evidence, rules, now)
        run, ohms = known.capacity_reading, known.resistance_reading
        offers.append(
            Candidate(
                code=code,
                facts=evidence.facts,
                stage=stages[code],
                outcome=verdict.outcome,
                capacity=known.capacity,
                at_least=known.at_least,
                resistance=known.resistance,
                resistance_method=known.resistance_method,
                verdict_valid_until=verdict.valid_until,
                deciding_text="; ".join(why(verdict)[:2]),
                resistance_pulse_s=ohms.pulse_s if ohms else None,
                resistance_c=ohms.temperature_c if ohms else None,
                pulses=_pulses(known),
                capacity_current_a=run.discharge_current_a if run else None,
                capacity_cutoff_v=run.cutoff_v if run else None,
                own_trace=traces.get(code),
                rest=rest_voltage(evidence, known, rules),
                most_charge_a=known.most_charge_a,
                loss_per_month=_loss_share(verdict.monthly_loss),
            )
        )
    return offers


def _pulses(known: Figures) -> tuple[Pulse, ...]:
    return tuple(
        Pulse(value, 1.0 if reading.pulse_s is None else reading.pulse_s, reading.temperature_c)
        for reading, value in known.pulses
        if reading.temperature_c is not None
    )


def _loss_share(pct_month: tuple[float, float | None] | None) -> Measured | None:
    # U is stated with k = 2: half of it is the standard uncertainty.
    value, expanded = pct_month or (0.0, None)
    return None if expanded is None else Measured(value / 100.0, expanded / 200.0)


def own_traces(reader: Reader, evidences: Mapping[str, Evidence]) -> dict[str, OwnTrace]:
    """By code, the cell's own discharge: of its latest whole capacity, when that came out of a trace.

    A newer capacity that was typed says more of the cell than an older trace.
    """
    # A curve fits the cell as it was on that day; a newer typed capacity says that it has changed.
    latest = {code: _latest_capacity(evidence) for code, evidence in evidences.items()}
    numbers = {code: r.trace for code, r in latest.items() if r and r.trace is not None}
    if not numbers:
        return {}

    curves = reader.curves(set(numbers.values()))
    return {
        code: OwnTrace(tuple(c["ah_out"]), tuple(c["voltage_v"]), tuple(c["current_a"]), c["temperature_c"])
        for code, number in numbers.items()
        if (c := curves.get(number)) is not None
    }


def _latest_capacity(evidence: Evidence) -> Reading | None:
    capacities = (r for r in reversed(evidence.readings) if r.quantity is Quantity.CAPACITY)
    return next((r for r in capacities if not r.at_least), None)


def rest_voltage(evidence: Evidence, known: Figures, rules: RuleSet) -> RestVoltage | None:
    """The latest rest voltage, with what another one by its meter shares; None once the cell was used after it."""
    at, figure = known.rest_voltage_at, known.rest_voltage
    if at is None or figure is None or _last_used(evidence, at):
        return None
    reading = next(r for r in reversed(evidence.readings) if r.quantity is Quantity.VOLTAGE and r.at == at)
    alone_u_v = alone_u(reading, rules.defaults)
    if alone_u_v is None or reading.meter is None:
        return RestVoltage(figure, at, temperature_c=reading.temperature_c)
    gain = accuracy_of(reading, rules.defaults)[0].gain
    return RestVoltage(figure, at, reading.meter.name, alone_u_v, gain, reading.temperature_c)


def _last_used(evidence: Evidence, since: datetime) -> bool:
    """Whether the cell was charged, discharged or built in at or after a time."""
    # After use the voltage is another one, however well it was measured.
    runs = (r.at for r in evidence.readings if r.quantity in (Quantity.CAPACITY, Quantity.LET_DOWN))
    return any(at >= since for at in (*runs, *(c.at for c in evidence.charges), *evidence.installed_at))
