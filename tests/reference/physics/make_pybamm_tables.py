"""Make the reference tables of this folder with PyBaMM's full (Doyle-Fuller-Newman) model.

Run by hand in a virtual environment of its own; the tool and the ordinary test run never import PyBaMM:

    python3 -m venv /tmp/pbm && /tmp/pbm/bin/pip install pybamm==26.10.1.1
    PYBAMM_DISABLE_TELEMETRY=true /tmp/pbm/bin/python tests/reference/physics/make_pybamm_tables.py [SET ...]

Isothermal, from full and rested, at 25 degC. The rate 1C is the set's capacity at 0.2C to its lower cut-off.
Outputs, one file a set and kind:
    trace_SET.csv   rate_c,ah,volts              discharges at constant current, thinned
    pulse_SET.csv   soc,pulse_s,ohm              (rest voltage - voltage) / current of a 1C pulse
    runs_SET.csv    kind,rate_c,value,cutoff_v,hours,ah,wh    value in A, W or ohm, as the kind says;
                                                             duty: rate high/low, value is the high current
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"

import numpy as np
import pybamm

HERE = Path(__file__).parent
SETS: dict[str, tuple[str, str, tuple[float, ...]]] = {
    # set: chemistry, source, cut-offs in V (the set's own lower one is added)
    "Chen2020": ("nmc", "doi 10.1149/1945-7111/ab9050", (3.0, 3.3, 3.5)),
    "Mohtat2020": ("nmc", "doi 10.1149/1945-7111/aba5d1", (3.0, 3.3, 3.5)),
    "Ai2020": ("lco", "doi 10.1149/2.0122001JES", (3.0, 3.3, 3.5)),
    "NCA_Kim2011": ("nca", "doi 10.1149/1.3597614", (3.0, 3.3, 3.5)),
    "Prada2013": ("lfp", "doi 10.1149/2.053304jes", (2.5, 2.8, 3.0)),
    "Marquis2019": ("lco", "doi 10.1149/2.0341915jes", (3.2, 3.3, 3.5)),
    "Ecker2015": ("nmc", "doi 10.1149/2.0551509jes", (3.0, 3.3, 3.5)),
    "ORegan2022": ("nmc", "doi 10.1016/j.electacta.2022.140700", (3.0, 3.3, 3.5)),
    "OKane2022": ("nmc", "doi 10.1039/D2CP00417H", (3.0, 3.3, 3.5)),
    "Ramadass2004": ("lco", "doi 10.1149/1.1634273", (3.0, 3.3, 3.5)),
}
# Worn cells, made up from the sets above: (set, particle radii x, contact resistance in ohm x Ah). Kept apart: no
# figure of the tool was taken from them.
WORN: dict[str, tuple[str, float, float]] = {
    "Chen2020-worn": ("Chen2020", 1.5, 0.10),
    "Mohtat2020-worn": ("Mohtat2020", 1.5, 0.15),
    "Ai2020-worn": ("Ai2020", 1.4, 0.10),
    "Marquis2019-worn": ("Marquis2019", 1.4, 0.15),
    "Prada2013-worn": ("Prada2013", 1.2, 0.10),
    # made after the margins were set, to see whether the promise holds on cells nobody had looked at
    "NCA_Kim2011-worn": ("NCA_Kim2011", 1.3, 0.10),
    "Ecker2015-worn": ("Ecker2015", 1.4, 0.12),
    "OKane2022-worn": ("OKane2022", 1.4, 0.12),
    "ORegan2022-worn": ("ORegan2022", 1.2, 0.08),
    # named with the second blind set (make_temperature_tables.py), after the margins by a cell's own pulses were set
    "Ramadass2004-worn": ("Ramadass2004", 1.3, 0.12),
    "Mohtat2020-spent": ("Mohtat2020", 2.0, 0.20),
    "ORegan2022-spent": ("ORegan2022", 1.3, 0.12),
}
DUTY_S = (60.0, 240.0)
DUTY_RATES_C = ((0.5, 0.02), (1.0, 0.05))
RATES_C = (0.1, 0.2, 0.5, 1.0)
TRACE_RATES_C = (0.1, 0.2, 0.5)
PULSE_SOCS = (0.9, 0.7, 0.5, 0.3, 0.2, 0.1, 0.05)
PULSE_TIMES_S = (0.5, 1.0, 10.0, 30.0, 60.0, 300.0)


def parameters(name: str) -> pybamm.ParameterValues:
    base, radius, contact = WORN.get(name, (name, 1.0, 0.0))
    values = pybamm.ParameterValues(base)
    for electrode in ("Negative", "Positive"):
        values[f"{electrode} particle radius [m]"] *= radius
    values.update(
        {"Contact resistance [Ohm]": contact / values["Nominal cell capacity [A.h]"]},
        check_already_exists=False,
    )
    values["Ambient temperature [K]"] = 298.15
    values["Initial temperature [K]"] = 298.15
    if base == "ORegan2022":  # its upper limit is 4.4 V; a charger for 4.2 V cells is meant here
        values["Upper voltage cut-off [V]"] = 4.2
    return values


def solve(name: str, steps: list[object], soc: float, period_s: float) -> pybamm.Solution:
    model = pybamm.lithium_ion.DFN({"contact resistance": "true" if name in WORN else "false"})
    experiment = pybamm.Experiment(steps, period=f"{period_s} seconds")
    simulation = pybamm.Simulation(
        model,
        parameter_values=parameters(name),
        experiment=experiment,
        solver=pybamm.IDAKLUSolver(rtol=1e-6, atol=1e-8),
    )
    return simulation.solve(initial_soc=soc)


def discharge(name: str, kind: str, value: float, low_v: float, hours: float) -> dict[str, np.ndarray]:
    make = {"current": pybamm.step.current, "power": pybamm.step.power, "resistance": pybamm.step.resistance}[
        kind
    ]
    step = make(value, duration=hours * 3600.0 * 1.6, termination=f"{low_v} V")
    return entries_of(solve(name, [step], 1.0, max(1.0, hours * 3600.0 / 4000.0)))


def duty(name: str, high_a: float, low_a: float, low_v: float, capacity: float) -> dict[str, np.ndarray]:
    """Rounds of DUTY_S at two currents, until the lower voltage is reached."""
    mean = (high_a * DUTY_S[0] + low_a * DUTY_S[1]) / sum(DUTY_S)
    rounds = int(1.1 * capacity / mean * 3600.0 / sum(DUTY_S)) + 2
    end = f"{low_v} V"
    steps = [
        pybamm.step.current(high_a, duration=DUTY_S[0], termination=end),
        pybamm.step.current(low_a, duration=DUTY_S[1], termination=end),
    ]
    return entries_of(solve(name, steps * rounds, 1.0, 5.0))


def entries_of(solution: pybamm.Solution) -> dict[str, np.ndarray]:
    entries = {
        "t": solution["Time [s]"].entries,
        "v": solution["Terminal voltage [V]"].entries,
        "i": solution["Current [A]"].entries,
    }
    dt = np.diff(entries["t"])
    power = entries["v"] * entries["i"]
    entries["ah"] = np.concatenate([[0], np.cumsum(dt * (entries["i"][1:] + entries["i"][:-1]) / 7200.0)])
    entries["wh"] = np.concatenate([[0], np.cumsum(dt * (power[1:] + power[:-1]) / 7200.0)])
    return entries


def first_below(entries: dict[str, np.ndarray], cutoff_v: float) -> tuple[float, float, float] | None:
    """Hours, Ah and Wh when the voltage first reaches the cut-off."""
    below = np.nonzero(entries["v"] <= cutoff_v + 1e-6)[0]
    if not len(below) or below[0] == 0:
        return None
    k = below[0]
    v0, v1 = entries["v"][k - 1], entries["v"][k]
    share = (v0 - cutoff_v) / (v0 - v1)
    at = {
        key: entries[key][k - 1] + share * (entries[key][k] - entries[key][k - 1])
        for key in ("t", "ah", "wh")
    }
    return at["t"] / 3600.0, at["ah"], at["wh"]


def make(name: str) -> None:
    chemistry, source, cutoffs = SETS[WORN.get(name, (name,))[0]]
    values = parameters(name)
    low_v = float(values["Lower voltage cut-off [V]"])
    nominal = float(values["Nominal cell capacity [A.h]"])
    capacity = nominal
    for _ in range(2):  # 0.2C of what 0.2C of the nominal capacity gives
        end = first_below(discharge(name, "current", 0.2 * capacity, low_v, 5.0), low_v)
        assert end is not None, f"{name} never reaches {low_v} V"
        capacity = end[1]
    head = [
        f"# set: {name}",
        f"# chemistry: {chemistry}",
        f"# source: {source}",
        f"# made with: PyBaMM {pybamm.__version__}, DFN, isothermal 25 degC, make_pybamm_tables.py",
        f"# capacity_ah: {capacity:.5f} at 0.2C to {low_v} V",
    ]
    runs, traces = ["kind,rate_c,value,cutoff_v,hours,ah,wh"], ["rate_c,ah,volts"]
    for rate in RATES_C:
        current = discharge(name, "current", rate * capacity, low_v, 1.0 / rate)
        mean_v = current["wh"][-1] / current["ah"][-1]
        if rate in TRACE_RATES_C:
            traces += [f"{rate},{q:.5f},{v:.4f}" for q, v in thin(current["ah"], current["v"])]
        loads = {
            "current": rate * capacity,
            "power": rate * capacity * mean_v,
            "resistance": mean_v / (rate * capacity),
        }
        for kind, value in loads.items():
            entries = current if kind == "current" else discharge(name, kind, value, low_v, 1.0 / rate)
            for cutoff in sorted({low_v, *cutoffs}):
                end = first_below(entries, cutoff)
                if end is not None:
                    runs.append(f"{kind},{rate},{value:.6g},{cutoff},{end[0]:.5f},{end[1]:.5f},{end[2]:.5f}")
    for high, low in DUTY_RATES_C:
        entries = duty(name, high * capacity, low * capacity, low_v, capacity)
        for cutoff in sorted({low_v, *cutoffs}):
            end = first_below(entries, cutoff)
            if end is not None:
                runs.append(
                    f"duty,{high}/{low},{high * capacity:.6g},{cutoff},{end[0]:.5f},{end[1]:.5f},{end[2]:.5f}"
                )
    write(f"trace_{name}.csv", head + traces)
    write(f"runs_{name}.csv", head + runs)
    write(f"pulse_{name}.csv", [*head, "soc,pulse_s,ohm", *pulses(name, capacity)])


def thin(ah: np.ndarray, volts: np.ndarray, points: int = 120) -> list[tuple[float, float]]:
    """Points evenly spread over the curve's length in the (charge, voltage) plane, ends kept."""
    keep_ah, keep_v = ah / ah[-1], (volts - volts[-1]) / (volts[0] - volts[-1])
    length = np.concatenate([[0], np.cumsum(np.hypot(np.diff(keep_ah), np.diff(keep_v)))])
    index = np.unique(np.searchsorted(length, np.linspace(0, length[-1], points)).clip(0, len(ah) - 1))
    return [(float(ah[k]), float(volts[k])) for k in index]


def pulses(name: str, capacity: float) -> list[str]:
    rows = []
    for soc in PULSE_SOCS:
        rest = solve(name, [pybamm.step.rest(duration=60)], soc, 1.0)["Terminal voltage [V]"].entries[-1]
        step = pybamm.step.current(capacity, duration=max(PULSE_TIMES_S), termination="1.5 V")
        solution = solve(name, [step], soc, 0.1)
        t, v = solution["Time [s]"].entries, solution["Terminal voltage [V]"].entries
        for pulse_s in PULSE_TIMES_S:
            if t[-1] >= pulse_s - 1e-6:
                rows.append(f"{soc},{pulse_s},{(rest - np.interp(pulse_s, t, v)) / capacity:.6g}")
    return rows


def write(name: str, lines: list[str]) -> None:
    (HERE / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(name, len(lines))


if __name__ == "__main__":
    for chosen in sys.argv[1:] or [*SETS, *WORN]:
        make(chosen)
