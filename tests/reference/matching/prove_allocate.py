"""Makes allocate_proofs.csv: the best weight and then the least surplus, proven by HiGHS on the plain model.

Run: python tests/reference/matching/prove_allocate.py > tests/reference/matching/allocate_proofs.csv
The model knows nothing of the package: one binary for each cell and group of each demand, one for each demand, and
under a ratio a pairwise exclusion within a group for each two cells further apart than it.
"""

from __future__ import annotations

import csv
import json
import random
import sys
from typing import Any

import highspy

CASES = [  # name, cells, demands, ratio, largest parallel
    ("30-cells-5-demands", 30, 5, None, 3),
    ("60-cells-8-demands", 60, 8, None, 4),
    ("80-cells-10-demands", 80, 10, None, 4),
    ("14-cells-4-demands-ratio", 14, 4, 1.3, 3),
    ("16-cells-5-demands-ratio", 16, 5, 1.5, 2),
]


def proven(offers: list[list[int]], demands: list[list[float]], ratio: float | None) -> tuple[int, int]:
    """Weight and surplus in mAh, or an error where HiGHS does not prove them."""
    model = highspy.Highs()
    model.silent()
    model.setOptionValue("mip_rel_gap", 0.0)
    served = [model.addBinary() for _ in demands]
    taken: list[list[Any]] = [[] for _ in offers]
    surplus: Any = 0
    for asked, serve in zip(demands, served, strict=True):
        series, parallel, packs, least, most, _, rank = asked
        able = [
            i for i, (mah, mohm, has) in enumerate(offers) if mah >= least and mohm <= most and has >= rank
        ]
        for _ in range(int(series * packs)):
            group = {i: model.addBinary() for i in able}
            model.addConstr(sum(group.values()) == parallel * serve)
            for i, placed in group.items():
                taken[i].append(placed)
                surplus = surplus + (offers[i][0] - least) * placed
            for one in able:
                for two in able:
                    ohms = sorted((offers[one][1], offers[two][1]))
                    if one < two and ratio is not None and ohms[1] > ratio * ohms[0] * (1 + 1e-9):
                        model.addConstr(group[one] + group[two] <= 1)
    for uses in taken:
        if uses:
            model.addConstr(sum(uses) <= 1)
    weight = sum(asked[5] * serve for asked, serve in zip(demands, served, strict=True))
    model.maximize(weight)
    best = checked(model)
    model.addConstr(weight >= best)
    model.minimize(surplus)
    return best, checked(model)


def checked(model: highspy.Highs) -> int:
    if model.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        raise SystemExit(f"not proven: {model.getModelStatus()}")
    return round(model.getObjectiveValue())


def case(cells: int, projects: int, largest: int, seed: int) -> tuple[list[list[int]], list[list[float]]]:
    chance = random.Random(seed)
    offers = [
        [round(chance.gauss(2000, 300)), round(55 * chance.lognormvariate(0, 0.25)), chance.randint(0, 2)]
        for _ in range(cells)
    ]
    demands: list[list[float]] = []
    for _ in range(projects):
        parallel = chance.randint(1, largest)
        series = max(1, round(chance.uniform(0.5, 2.0) * cells / projects / parallel))
        limits = [
            chance.choice([1500, 1800, 2000]),
            chance.choice([50, 65, 90]),
            chance.randint(1, 9),
            chance.randint(0, 1),
        ]
        demands.append([series, parallel, 1, *limits])
    return offers, demands


def main() -> None:
    print("# optima proven by HiGHS", highspy.Highs().version(), "with prove_allocate.py")
    print(
        "# offers: mAh, mohm, rank; demands: series, parallel, packs, least mAh, most mohm, weight, least rank"
    )
    table = csv.writer(sys.stdout, lineterminator="\n")
    table.writerow(["name", "ratio", "weight", "surplus_mah", "offers", "demands"])
    for seed, (name, cells, projects, ratio, largest) in enumerate(CASES):
        offers, demands = case(cells, projects, largest, 2000 + seed)
        weight, surplus = proven(offers, demands, ratio)
        table.writerow([name, ratio or "", weight, surplus, json.dumps(offers), json.dumps(demands)])
        sys.stdout.flush()


if __name__ == "__main__":
    main()
