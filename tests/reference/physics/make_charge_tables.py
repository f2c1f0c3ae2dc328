"""Make the tables of charge times with PyBaMM's full (Doyle-Fuller-Newman) model.

Run by hand, as make_pybamm_tables.py beside it says:

    PYBAMM_DISABLE_TELEMETRY=true /tmp/pbm/bin/python tests/reference/physics/make_charge_tables.py [SET ...]

Each cell is emptied at 0.2C to its lower cut-off, rests for an hour, and is charged to 4.2 V (lfp 3.65 V) until the
current has fallen to a tenth of what the charger is set to. Charger and supply are those of a cell of 2 Ah: the set's
currents are scaled by its capacity over 2 Ah, which leaves the hours as they are. Isothermal.

The charger gives the least of: what it is set to; what its heat lets it give (120 degC, ambient 25 degC, theta in K/W
over supply less cell voltage); what its pass element of 0.6 ohm lets through; what the supply gives. Supplies: `stiff`;
`resistor`, whose current falls straight from `supply_a` at 2.9 V to nothing at `supply_v`; `panel`, which gives nearly
`supply_a` until close to `supply_v`.
Output, one file a set:
    charge_SET.csv    temperature_c,set_a,supply_v,theta,supply,supply_a,hours,ah
"""

from __future__ import annotations

import sys
from typing import NamedTuple

import make_pybamm_tables as warm  # type: ignore[import-not-found]
import numpy as np
import pybamm

SCALED_AH = 2.0
PASS_OHM = 0.6
JUNCTION_C, AMBIENT_C = 120.0, 25.0
FROM_V = 2.9
LFP_V, OTHERS_V = 3.65, 4.2
# Chosen before any of them was solved: no figure of the tool may be set with these in sight.
BLIND = (
    "OKane2022",
    "Ai2020-worn",
    "Marquis2019-worn",
    "NCA_Kim2011-worn",
    "Ecker2015-worn",
    "OKane2022-worn",
    "Chen2020-worn",
    "Prada2013-worn",
    "Mohtat2020-spent",
    "ORegan2022-spent",
    "Ramadass2004",
    "Ramadass2004-worn",
)
COLD = ("Mohtat2020", "Ai2020", "NCA_Kim2011", "Marquis2019", "Ecker2015", "ORegan2022", "OKane2022")
"""Sets whose paper gives activation energies."""


class Case(NamedTuple):
    """One charger and its supply; nothing else than a current and an end voltage where `supply_v` is 0."""

    set_a: float
    supply_v: float = 0.0
    theta: float = 0.0
    supply: str = "stiff"
    supply_a: float = 0.0
    temperature_c: float = 25.0


CASES = (
    *(Case(a) for a in (0.2, 0.4, 1.0, 2.0)),
    *(Case(1.0, 5.0, theta) for theta in (80.0, 230.0)),
    Case(1.0, 6.0, 125.0),
    Case(0.4, 5.0, 125.0, "resistor", 0.3),
    Case(1.0, 5.0, 125.0, "panel", 0.3),
)
IN_THE_COLD = (Case(0.4, temperature_c=10.0), Case(0.2, temperature_c=5.0))


def given_a(case: Case, volts: np.ndarray) -> np.ndarray:
    """What the charger gives a cell of 2 Ah at each terminal voltage, in A."""
    if not case.supply_v:
        return np.full_like(volts, case.set_a)
    head_v = case.supply_v - volts
    found = np.minimum(case.set_a, (JUNCTION_C - AMBIENT_C) / case.theta / head_v)
    found = np.minimum(found, head_v / PASS_OHM)
    if case.supply == "resistor":
        found = np.minimum(found, case.supply_a * head_v / (case.supply_v - FROM_V))
    if case.supply == "panel":
        found = np.minimum(found, case.supply_a * (1.0 - np.exp(-head_v / 0.1)))
    return found


def solved(name: str, case: Case, capacity: float, low_v: float, top_v: float) -> tuple[float, float] | None:
    """(hours, Ah of the set's own cell) of one charge; None when it does not end."""
    scale = capacity / SCALED_AH
    current: object = -scale * case.set_a
    # What the charger gives hangs on the voltage, which hangs on it: by turns, three times, over the charge.
    for turn in range(3 if case.supply_v else 1):
        entries, start = charged(
            name, case.temperature_c, current, capacity, case.set_a * scale, (low_v, top_v)
        )
        if not case.supply_v or turn == 2:
            break
        first = (entries["t"] > start) & (entries["i"] < 0)
        volts, put_ah = entries["v"][first], -np.maximum.accumulate(-entries["ah"][first])
        put_ah = put_ah[0] - put_ah
        grid = np.linspace(0.0, put_ah[-1], 400)
        amps = scale * given_a(case, np.minimum(np.interp(grid, put_ah, volts), top_v))
        seconds = np.concatenate([[0], np.cumsum(np.diff(grid) * 1800.0 * (1 / amps[1:] + 1 / amps[:-1]))])
        # Beyond the end that the last turn found, at the last current: the next turn may need a little more.
        current = np.column_stack([[*seconds, 2 * seconds[-1]], [*-amps, -amps[-1]]])
    if entries["i"][-1] < -0.11 * case.set_a * scale or abs(entries["v"][-1] - top_v) > 0.005:
        return None
    at = int(np.searchsorted(entries["t"], start))
    return (entries["t"][-1] - start) / 3600.0, float(entries["ah"][at] - entries["ah"][-1])


def charged(
    name: str, at_c: float, current: object, capacity: float, set_a: float, ends_v: tuple[float, float]
) -> tuple[dict[str, np.ndarray], float]:
    """Emptied, rested, charged by a current (A, or rows of s and A) and held: its entries, and when the charge began."""
    low_v, top_v = ends_v
    values = warm.parameters(name)
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = 273.15 + at_c
    values["Upper voltage cut-off [V]"] = top_v + 0.02
    hours = current[-1, 0] / 3600.0 if isinstance(current, np.ndarray) else 40.0 * capacity / set_a
    steps = [
        pybamm.step.current(0.2 * capacity, duration=8 * 3600, termination=f"{low_v} V", period=120),
        pybamm.step.rest(duration=3600, period=120),
        pybamm.step.current(current, duration=hours * 3600, termination=f"> {top_v} V", period=60),
        pybamm.step.voltage(top_v, duration=100 * 3600, termination=f"{0.1 * set_a} A", period=60),
    ]
    simulation = pybamm.Simulation(
        pybamm.lithium_ion.DFN({"contact resistance": "true" if name in warm.WORN else "false"}),
        parameter_values=values,
        experiment=pybamm.Experiment(steps),
        solver=pybamm.IDAKLUSolver(rtol=1e-6, atol=1e-8),
    )
    solution = simulation.solve(initial_soc=1.0)
    done = [each for cycle in solution.cycles for each in cycle.steps]
    return warm.entries_of(solution), float(done[1]["Time [s]"].entries[-1])


def make(name: str) -> None:
    """The table of one set."""
    base = warm.WORN.get(name, (name,))[0]
    chemistry, source, _ = warm.SETS[base]
    low_v = float(warm.parameters(name)["Lower voltage cut-off [V]"])
    capacity = float(warm.parameters(name)["Nominal cell capacity [A.h]"])
    for _ in range(2):
        end = warm.first_below(warm.discharge(name, "current", 0.2 * capacity, low_v, 5.0), low_v)
        assert end is not None
        capacity = end[1]
    head = [
        f"# set: {name}",
        f"# chemistry: {chemistry}",
        f"# source: {source}",
        f"# role: {'blind' if name in BLIND else 'used'}",
        f"# made with: PyBaMM {pybamm.__version__}, DFN, make_charge_tables.py",
        f"# capacity_ah: {capacity:.5f} at 0.2C and 25 degC to {low_v} V",
    ]
    rows = ["temperature_c,set_a,supply_v,theta,supply,supply_a,hours,ah"]
    top_v = LFP_V if chemistry == "lfp" else OTHERS_V
    for case in (*CASES, *(IN_THE_COLD if name in COLD else ())):
        shown = f"{case.temperature_c:g},{case.set_a:g},{case.supply_v:g},{case.theta:g},{case.supply},{case.supply_a:g}"
        try:
            found = solved(name, case, capacity, low_v, top_v)
        except Exception as fault:  # a run that fails gives no row; the head names it
            head.append(f"# not solved: {shown}: {type(fault).__name__}")
            continue
        if found is None:
            head.append(f"# not solved: {shown}: did not end")
        else:
            rows.append(f"{shown},{found[0]:.4f},{found[1] / capacity * SCALED_AH:.4f}")
    warm.write(f"charge_{name}.csv", head + rows)


if __name__ == "__main__":
    for chosen in sys.argv[1:] or [*warm.SETS, *warm.WORN]:
        make(chosen)
