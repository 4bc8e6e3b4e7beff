"""Optima of the ten programs in aim_programs.json by SciPy's linprog (HiGHS), every powder set on its own.

Writes aim_optima.json beside itself. The programs are written by `cargo test --test aim -- --ignored`.
"""

import itertools
import json
import pathlib

import numpy as np
from scipy.optimize import linprog

here = pathlib.Path(__file__).parent
optima = []
for problem in json.loads((here / "aim_programs.json").read_text()):
    best = (None, None)
    for program in problem["programs"]:
        cost = np.array(program["cost"])
        bounds = np.array([program["least_pct"], program["most_pct"]]).T
        rows, limits = [np.ones(len(cost)), -np.ones(len(cost))], [program["load_pct"][1], -program["load_pct"][0]]
        for row, low, high in zip(program["rows"], program["low"], program["high"]):
            if high is not None:
                rows.append(np.array(row))
                limits.append(high)
            if low is not None:
                rows.append(-np.array(row))
                limits.append(-low)
        rows = np.array(rows)
        for k in range(1, problem["max_powders"] + 1):
            for chosen in itertools.combinations(range(len(cost)), k):
                s = list(chosen)
                r = linprog(cost[s], A_ub=rows[:, s], b_ub=limits, bounds=bounds[s], method="highs")
                if r.status == 0 and (best[0] is None or r.fun < best[0]):
                    best = (r.fun, s)
    optima.append({"cost": best[0], "powders": best[1]})
(here / "aim_optima.json").write_text(json.dumps(optima, indent=1) + "\n")
