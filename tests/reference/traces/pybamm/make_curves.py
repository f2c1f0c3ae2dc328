"""Make the model curves of this folder and the figures the model itself states for them.

Run it by hand, in an environment of its own (pybamm is no dependency of straycell):
    PYBAMM_DISABLE_TELEMETRY=true python tests/reference/traces/pybamm/make_curves.py
Every step gives its period: without one the solver's sparse points would be interpolated, wrong by up to 0.6 V.
Parameter sets: Chen2020 doi 10.1149/1945-7111/ab9050, Ai2020 doi 10.1149/2.0122001JES,
Prada2013 doi 10.1149/2.053304jes, Mohtat2020 doi 10.1149/1945-7111/aba5d1.
"""

from __future__ import annotations

import gzip
import json
import os
from pathlib import Path

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"
import numpy as np
import pybamm

HERE = Path(__file__).parent
HEADER = "Test Time / s,Voltage / V,Current / A,Step Count / 1,Ambient Temperature / degC"


def solve(name: str, steps: list[tuple[str, str]], soc: float = 1.0) -> pybamm.Solution:
    """A DFN run of (instruction, period) steps from a state of charge, at 25 degC."""
    made = [pybamm.step.string(text, period=period) for text, period in steps]
    simulation = pybamm.Simulation(
        pybamm.lithium_ion.DFN({"calculate discharge energy": "true"}),
        parameter_values=pybamm.ParameterValues(name),
        experiment=pybamm.Experiment([tuple(made)]),
    )
    return simulation.solve(initial_soc=soc)


def save(file: str, solution: pybamm.Solution, flip: bool = False) -> list[dict[str, float]]:
    """Write the rows (model current is positive on discharge: turned round unless `flip`); the model's figures."""
    lines, figures = [HEADER], []
    for number, step in enumerate(solution.cycles[0].steps, 1):
        time, volts = step["Time [s]"].entries, step["Terminal voltage [V]"].entries
        amps = step["Current [A]"].entries * (1 if flip else -1)
        lines += [f"{t:.4f},{v:.7f},{a:.6f},{number},25.0" for t, v, a in zip(time, volts, amps, strict=True)]
        charge = step["Discharge capacity [A.h]"].entries
        energy = step["Discharge energy [W.h]"].entries
        figures.append(
            {
                "seconds": float(time[-1] - time[0]),
                "capacity_ah": float(charge[-1] - charge[0]),
                "energy_wh": float(energy[-1] - energy[0]),
                "last_v": float(volts[-1]),
                "last_a": float(np.mean(amps[-2:])),
            }
        )
    with gzip.GzipFile(HERE / file, "wb", mtime=0) as out:
        out.write(("\n".join(lines) + "\n").encode())
    return figures


def main() -> None:
    """Every curve, and figures.json beside them."""
    rest = ("Rest for 5 minutes", "10 seconds")
    pair = [
        ("Rest for 60 seconds", "5 seconds"),
        ("Discharge at 0.2C for 10 seconds", "1 second"),
        ("Discharge at 1C for 1 second", "0.1 seconds"),
        ("Rest for 60 seconds", "5 seconds"),
    ]
    runs = {
        "chen2020-0.2c.csv.gz": ("Chen2020", [rest, ("Discharge at 0.2C until 2.5 V", "30 seconds")], 1.0),
        "ai2020-0.5c.csv.gz": ("Ai2020", [rest, ("Discharge at 0.5C until 3.0 V", "20 seconds"), rest], 1.0),
        "prada2013-1c.csv.gz": (
            "Prada2013",
            [rest, ("Discharge at 1C until 2.0 V", "10 seconds"), rest],
            1.0,
        ),
        "chen2020-charge-then-0.5c.csv.gz": (
            "Chen2020",
            [
                ("Charge at 0.5C until 4.2 V", "30 seconds"),
                ("Hold at 4.2 V until 100 mA", "30 seconds"),
                ("Rest for 60 minutes", "60 seconds"),
                ("Discharge at 0.5C until 2.5 V", "30 seconds"),
                ("Rest for 60 minutes", "60 seconds"),
            ],
            0.3,
        ),
        "chen2020-iec-pair-50.csv.gz": ("Chen2020", pair, 0.5),
        "mohtat2020-iec-pair-80.csv.gz": ("Mohtat2020", pair, 0.8),
        "ai2020-iec-pair-20.csv.gz": ("Ai2020", pair, 0.2),
    }
    figures = {
        file: {"set": name, "steps": save(file, solve(name, steps, soc), flip=file.startswith("ai"))}
        for file, (name, steps, soc) in runs.items()
    }
    (HERE / "figures.json").write_text(json.dumps(figures, indent=1) + "\n")


if __name__ == "__main__":
    main()
