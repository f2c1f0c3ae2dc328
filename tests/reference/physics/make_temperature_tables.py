"""Make the tables of run times at other temperatures with PyBaMM's full (Doyle-Fuller-Newman) model.

Run by hand, as make_pybamm_tables.py beside it says:

    PYBAMM_DISABLE_TELEMETRY=true /tmp/pbm/bin/python tests/reference/physics/make_temperature_tables.py [SET ...]

From full and rested at 25 degC, then discharged at 0, 10, 25 and 40 degC: isothermal, and for sets whose heat
capacity and surface are those of a whole cell also with their own heat (`lumped`, 10 W/(m2 K)). The rate 1C is the
capacity at 0.2C and 25 degC. Only sets whose paper gives activation energies for diffusion are taken.
Outputs, one file a set and kind:
    runs_at_SET.csv     temperature_c,heat,kind,rate_c,value,cutoff_v,hours,ah,warmest_c
    pulse_at_SET.csv    temperature_c,pulse_s,ohm           1C pulses from rest at half charge
"""

from __future__ import annotations

import sys

import make_pybamm_tables as warm  # type: ignore[import-not-found]
import numpy as np
import pybamm

TEMPERATURES_C = (0.0, 10.0, 25.0, 40.0)
RATES_C = (0.2, 0.5, 1.0)
PULSE_TIMES_S = (1.0, 10.0, 30.0)
WHOLE_CELLS = ("Ai2020", "ORegan2022", "OKane2022")
"""Sets whose volume and cooled surface are those of a cell one can buy, not of a single layer."""
HEAT_TRANSFER = 10.0
# Chosen before any of them was solved: no figure of the tool may be set with these in sight.
BLIND = ("OKane2022", "Ai2020-worn", "Marquis2019-worn")
# The same for the margins that a cell's own pulses narrow: by then the three above had been looked at.
BLIND_TO_PULSES = ("Ramadass2004", "Ramadass2004-worn", "Mohtat2020-spent", "ORegan2022-spent")
USED = ("Mohtat2020", "Ai2020", "NCA_Kim2011", "Marquis2019", "Ecker2015", "ORegan2022")
USED_WORN = ("ORegan2022-worn", "Mohtat2020-worn")


def solved(
    name: str, step: pybamm.step.BaseStep, soc: float, period_s: float, at_c: float, heat: str
) -> dict[str, np.ndarray]:
    """One step at a temperature: t in s, v in V, i in A, ah, wh, and the cell's temperature in degC."""
    model = pybamm.lithium_ion.DFN(
        {"contact resistance": "true" if name in warm.WORN else "false", "thermal": heat}
    )
    values = warm.parameters(name)
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = 273.15 + at_c
    if heat == "lumped":
        values["Total heat transfer coefficient [W.m-2.K-1]"] = HEAT_TRANSFER
    simulation = pybamm.Simulation(
        model,
        parameter_values=values,
        experiment=pybamm.Experiment([step], period=f"{period_s} seconds"),
        solver=pybamm.IDAKLUSolver(rtol=1e-6, atol=1e-8),
    )
    solution = simulation.solve(initial_soc=soc)
    entries = warm.entries_of(solution)
    entries["c"] = solution["Volume-averaged cell temperature [C]"].entries
    return entries


def capacity_of(name: str, low_v: float) -> float:
    """Ah at 0.2C and 25 degC to the set's lower cut-off."""
    capacity = float(warm.parameters(name)["Nominal cell capacity [A.h]"])
    for _ in range(2):
        # Twice the nominal time: one set holds 1.8 times what its paper calls nominal.
        end = warm.first_below(warm.discharge(name, "current", 0.2 * capacity, low_v, 10.0), low_v)
        assert end is not None
        capacity = end[1]
    return capacity


def make(name: str) -> None:
    """Both tables of one set."""
    base = warm.WORN.get(name, (name,))[0]
    chemistry, source, cutoffs = warm.SETS[base]
    low_v = float(warm.parameters(name)["Lower voltage cut-off [V]"])
    capacity = capacity_of(name, low_v)
    role = "blind to pulses" if name in BLIND_TO_PULSES else "blind" if name in BLIND else "used"
    head = [
        f"# set: {name}",
        f"# chemistry: {chemistry}",
        f"# source: {source}",
        f"# role: {role}",
        f"# made with: PyBaMM {pybamm.__version__}, DFN, make_temperature_tables.py",
        f"# capacity_ah: {capacity:.5f} at 0.2C and 25 degC to {low_v} V",
    ]
    rows, pulses = (
        ["temperature_c,heat,kind,rate_c,value,cutoff_v,hours,ah,warmest_c"],
        ["temperature_c,pulse_s,ohm"],
    )
    mean_v: dict[float, float] = {}
    for at_c in sorted(TEMPERATURES_C, key=lambda t: abs(t - 25.0)):
        for heat in ("isothermal", "lumped") if base in WHOLE_CELLS else ("isothermal",):
            for rate in RATES_C:
                for kind in ("current", "power"):
                    if kind == "power" and heat == "lumped":
                        continue
                    value = rate * capacity * (mean_v[rate] if kind == "power" else 1.0)
                    make_step = pybamm.step.current if kind == "current" else pybamm.step.power
                    step = make_step(value, duration=1.6 / rate * 3600.0, termination=f"{low_v} V")
                    try:
                        found = solved(name, step, 1.0, max(1.0, 3600.0 / rate / 2000.0), at_c, heat)
                    except (
                        Exception
                    ) as fault:  # a run that fails at the start gives no row; the head counts them
                        head.append(
                            f"# not solved: {at_c:g} degC {heat} {kind} {rate}C: {type(fault).__name__}"
                        )
                        continue
                    mean_v.setdefault(rate, float(found["wh"][-1] / found["ah"][-1]))
                    for cutoff in sorted({low_v, *cutoffs}):
                        end = warm.first_below(found, cutoff)
                        if end is not None:
                            rows.append(
                                f"{at_c:g},{heat},{kind},{rate},{value:.6g},{cutoff},{end[0]:.5f},{end[1]:.5f},"
                                f"{found['c'].max():.1f}"
                            )
        rest = solved(name, pybamm.step.rest(duration=60), 0.5, 1.0, at_c, "isothermal")["v"][-1]
        step = pybamm.step.current(capacity, duration=max(PULSE_TIMES_S), termination="1.5 V")
        pulse = solved(name, step, 0.5, 0.1, at_c, "isothermal")
        for pulse_s in PULSE_TIMES_S:
            if pulse["t"][-1] >= pulse_s - 1e-6:
                ohm = (rest - np.interp(pulse_s, pulse["t"], pulse["v"])) / capacity
                pulses.append(f"{at_c:g},{pulse_s},{ohm:.6g}")
    warm.write(f"runs_at_{name}.csv", head + rows)
    warm.write(f"pulse_at_{name}.csv", head + pulses)


if __name__ == "__main__":
    for chosen in sys.argv[1:] or [*USED, *USED_WORN, *BLIND, *BLIND_TO_PULSES]:
        make(chosen)
