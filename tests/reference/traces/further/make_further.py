"""Make the further model curves of this folder: other cells, other rows, other ways of writing them.

Run it by hand, in an environment of its own (pybamm is no dependency of straycell):
    PYBAMM_DISABLE_TELEMETRY=true python tests/reference/traces/further/make_further.py
The model is solved in rows far denser than the files' own; figures.json holds what the dense rows say.
Parameter sets: OKane2022 doi 10.1039/D2CP00417H, ORegan2022 doi 10.1016/j.electacta.2022.140700,
Chen2020 doi 10.1149/1945-7111/ab9050, Ecker2015 doi 10.1149/2.0551509jes, NCA_Kim2011 doi 10.1149/1.3597614.
"""

from __future__ import annotations

import gzip
import itertools
import json
import os
from pathlib import Path
from typing import Any

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"
import numpy as np
import pybamm

HERE = Path(__file__).parent
AGES = (0.5, 1.0, 2.0, 5.0, 10.0, 18.0, 29.5)
REST = ("Rest for 5 minutes", "1 second")
PAIR = [
    ("Discharge at 0.2C for 10 seconds", "0.02 seconds"),
    ("Discharge at 1C for 1 second", "0.01 seconds"),
]
CHARGE = [("Charge at 0.5C until 4.2 V", "1 second"), ("Hold at 4.2 V until 100 mA", "1 second")]


def solve(name: str, steps: list[tuple[str, str]], soc: float) -> list[np.ndarray]:
    """A DFN run at 25 degC: for each step time, voltage, current (negative on discharge), Ah out, Wh out."""
    made = [pybamm.step.string(text, period=period) for text, period in steps]
    solution = pybamm.Simulation(
        pybamm.lithium_ion.DFN({"calculate discharge energy": "true"}),
        parameter_values=pybamm.ParameterValues(name),
        experiment=pybamm.Experiment([tuple(made)]),
    ).solve(initial_soc=soc)
    names = [
        "Time [s]",
        "Terminal voltage [V]",
        "Current [A]",
        "Discharge capacity [A.h]",
        "Discharge energy [W.h]",
    ]
    rows = [np.array([step[name].entries for name in names]) for step in solution.cycles[0].steps]
    for step in rows:
        step[2] *= -1
    return rows


def figures(steps: list[np.ndarray]) -> dict[str, Any]:
    """Charge and energy out since the last long charge, resistances of each pulse from rest, the pair's."""
    start = max((k + 1 for k, s in enumerate(steps) if s[2].mean() > 0 and np.ptp(s[0]) > 120), default=0)
    last = max(k for k, s in enumerate(steps) if s[2].mean() < -1e-6)
    found: dict[str, Any] = {
        "capacity_ah": steps[last][3][-1] - steps[start][3][0],
        "energy_wh": steps[last][4][-1] - steps[start][4][0],
        "pulses": [],
    }
    for before, step in itertools.pairwise(steps):
        age = step[0] - step[0][0]
        if abs(before[2].mean()) < 1e-6 and step[2].mean() < -1e-6 and age[1] < 0.2:
            drop = before[1][-1] - np.interp(AGES, age, step[1])
            own = {str(a): float(d / -step[2][-1]) for a, d in zip(AGES, drop, strict=True) if a <= age[-1]}
            found["pulses"].append(own)
        if abs(np.ptp(before[0]) - 10) < 0.1 and abs(np.ptp(step[0]) - 1) < 0.1 and before[2].mean() < 0:
            found["pair"] = (before[1][-1] - step[1][-1]) / (before[2][-1] - step[2][-1])
    return found


def rows(steps: list[np.ndarray], spacing_s: float, short_s: float, rng: Any = None) -> np.ndarray:
    """Rows `spacing_s` apart in each step (`short_s` in steps up to a minute), the last at its end; random with `rng`."""
    parts = []
    for number, step in enumerate(steps, 1):
        begin, length = step[0][0], np.ptp(step[0])
        gap = short_s if length <= 60 else spacing_s
        own = (
            np.cumsum(rng.exponential(gap, int(3 * length / gap) + 9)) if rng else np.arange(gap, length, gap)
        )
        own = np.append(own[own < length - 0.01], length)
        own = np.append(0.0, own) if rng or number == 1 else own
        parts.append(
            [begin + own, *(np.interp(begin + own, step[0], step[j]) for j in (1, 2)), own * 0 + number, own]
        )
    return np.concatenate([np.array(part) for part in parts], axis=1)


def save(
    file: str, header: str, columns: list[tuple[np.ndarray, int]], separator: str, comma: bool = False
) -> None:
    cells = [np.char.mod(f"%.{places}f", values) for values, places in columns]
    cells = [np.char.replace(c, ".", ",") for c in cells] if comma else cells
    text = "\n".join([header, *(separator.join(row) for row in zip(*cells, strict=True))]) + "\n"
    if file.endswith(".gz"):
        with gzip.GzipFile(HERE / file, "wb", mtime=0) as out:
            out.write(text.encode())
    else:
        (HERE / file).write_text(text)


def main() -> None:
    """Every curve, and figures.json beside them."""
    told, rng = {}, np.random.default_rng(4)
    steps = solve(
        "OKane2022",
        [*CHARGE, ("Rest for 30 minutes", "1 second"), ("Discharge at 1C until 2.5 V", "0.5 seconds"), REST],
        0.2,
    )
    told["okane-cccv-1c-minutes.csv"] = figures(steps)
    t, v, i, _, _ = rows(steps, 60.0, 60.0)
    save(
        "okane-cccv-1c-minutes.csv",
        "Zeit (min);Spannung (mV);Strom (mA)",
        [(t / 60, 5), (v * 1e3, 2), (-i * 1e3, 2)],
        ";",
        True,
    )

    pulses = [("Rest for 10 minutes", "1 second")]
    for _ in range(3):
        pulses += [("Discharge at 1C for 30 seconds", "0.02 seconds"), ("Rest for 40 seconds", "0.5 seconds")]
        pulses += [("Charge at 0.75C for 10 seconds", "0.02 seconds"), ("Rest for 2 minutes", "1 second")]
        pulses += [("Discharge at 0.5C for 30 minutes", "0.5 seconds"), ("Rest for 20 minutes", "1 second")]
    steps = solve("ORegan2022", [*pulses, ("Discharge at 0.5C until 2.5 V", "0.5 seconds"), REST], 1.0)
    told["oregan-pulses-bdf.csv.gz"] = figures(steps)
    t, v, i, n, _ = rows(steps, 10.0, 0.5)
    header = "Test Time / s,Voltage / V,Current / A,Cycle Count / 1,Step Count / 1,Ambient Temperature / degC"
    save(
        "oregan-pulses-bdf.csv.gz",
        header,
        [(t, 3), (v, 5), (i, 5), (n * 0 + 1, 0), (n, 0), (n * 0 + 23.1, 1)],
        ",",
    )

    long = [*CHARGE, ("Rest for 30 minutes", "1 second"), ("Discharge at 0.5C for 50 minutes", "0.5 seconds")]
    long += [("Rest for 30 minutes", "1 second"), *PAIR, ("Rest for 2 minutes", "1 second")]
    steps = solve("Chen2020", [*long, ("Discharge at 0.5C until 2.5 V", "0.5 seconds"), REST], 0.3)
    told["chen-pair-inside-machine-names.csv.gz"] = figures(steps)
    t, v, i, n, s = rows(steps, 10.0, 0.1)
    header = (
        "test_time_second,voltage_volt,current_ampere,step_count,ambient_temperature_celsius,step_time_second"
    )
    save(
        "chen-pair-inside-machine-names.csv.gz",
        header,
        [(t, 3), (v, 5), (i, 5), (n, 0), (n * 0 + 23.1, 1), (s, 3)],
        ",",
    )

    steps = solve("Ecker2015", [REST, ("Discharge at 0.5C until 2.5 V", "0.5 seconds"), REST], 1.0)
    told["ecker-small-cell-noisy.csv.gz"] = figures(steps)
    t, v, i, _, _ = rows(steps, 5.0, 1.0)
    v, i = v + rng.normal(0, 1e-3, len(v)), i + rng.normal(0, 1e-3, len(i))
    save("ecker-small-cell-noisy.csv.gz", "t [s]\tU [V]\tI [mA]", [(t, 1), (v, 3), (i * 1e3, 0)], "\t")

    train = [REST]
    for _ in range(8):
        train += [("Discharge at 0.4C for 15 minutes", "0.5 seconds"), ("Rest for 15 minutes", "1 second")]
    steps = solve("NCA_Kim2011", [*train, ("Discharge at 0.4C until 2.7 V", "0.5 seconds"), REST], 1.0)
    told["nca-train-irregular-block.csv"] = figures(steps)
    t, v, i, n, _ = rows(steps, 30.0, 30.0, rng)
    block = "A bench recorder\nStarted: 4 March, 10:22\nCell: not named\n\nRow;Elapsed Time [h];Voltage [V];Current [mA]"
    save(
        "nca-train-irregular-block.csv",
        block,
        [(np.arange(len(t)), 0), (t / 3600, 8), (v, 5), (i * 1e3, 2)],
        ";",
    )
    (HERE / "figures.json").write_text(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main()
