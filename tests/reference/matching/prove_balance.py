"""Makes balance_proofs.csv: the largest possible weakest group, proven by HiGHS on a model of its own.

Run: python tests/reference/matching/prove_balance.py > tests/reference/matching/balance_proofs.csv
The model knows nothing of the package: one binary for each cell and group, a pairwise exclusion for each two cells
whose resistances are further apart than the ratio, and the weakest group as one integer in mAh.
"""

from __future__ import annotations

import random
import sys

import highspy

RATIO = 1.5
CASES = [  # name, cells, series, parallel, spread of the logarithm of resistance
    ("2s2p-of-9", 9, 2, 2, 0.2),
    ("3s2p-of-8", 8, 3, 2, 0.3),
    ("2s4p-of-12", 12, 2, 4, 0.15),
    ("3s3p-of-9", 9, 3, 3, 0.12),
    ("4s2p-of-14", 14, 4, 2, 0.3),
    ("3s4p-of-14", 14, 3, 4, 0.25),
    ("4s3p-of-16", 16, 4, 3, 0.2),
]


def proven_smallest_mah(mah: list[int], ohms: list[float], series: int, parallel: int) -> int:
    """The optimum, or an error where HiGHS does not prove it."""
    model = highspy.Highs()
    model.silent()
    model.setOptionValue("mip_rel_gap", 0.0)
    model.setOptionValue("mip_abs_gap", 0.5)
    cells = range(len(mah))
    placed = [[model.addBinary() for _ in range(series)] for _ in cells]
    weakest = model.addIntegral(lb=0, ub=sum(mah))
    for cell in cells:
        model.addConstr(sum(placed[cell]) <= 1)
    for group in range(series):
        model.addConstr(sum(placed[cell][group] for cell in cells) == parallel)
        model.addConstr(sum(mah[cell] * placed[cell][group] for cell in cells) >= weakest)
        for one in cells:
            for two in range(one):
                if max(ohms[one], ohms[two]) > RATIO * min(ohms[one], ohms[two]) * (1 + 1e-9):
                    model.addConstr(placed[one][group] + placed[two][group] <= 1)
    model.maximize(weakest)
    if model.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        raise SystemExit(f"not proven: {model.getModelStatus()}")
    return round(model.getObjectiveValue())


def main() -> None:
    print(
        "# optima proven by HiGHS", highspy.Highs().version(), "with prove_balance.py; resistance ratio 1.5"
    )
    print("name,series,parallel,best_smallest_ah,capacity_ah,resistance_ohm")
    for seed, (name, count, series, parallel, spread) in enumerate(CASES):
        chance = random.Random(1000 + seed)
        mah = [round(chance.gauss(2200, 250)) for _ in range(count)]
        ohms = [round(0.05 * chance.lognormvariate(0, spread), 4) for _ in range(count)]
        best = proven_smallest_mah(mah, ohms, series, parallel)
        figures = " ".join(f"{c / 1000:.3f}" for c in mah), " ".join(f"{r:.4f}" for r in ohms)
        print(name, series, parallel, f"{best / 1000:.3f}", *figures, sep=",")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
