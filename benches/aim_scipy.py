"""The programs of benches/aim.rs through SciPy's linprog (HiGHS), one call for each set of one to three powders.

    AIM_PROGRAMS=programs.json cargo bench --bench aim
    python3 benches/aim_scipy.py programs.json

Prints the least cost, the set, and the time of the calls alone (arrays are cut before the clock starts).
"""

import itertools
import json
import sys
import time

import numpy as np
from scipy.optimize import linprog

program = json.load(open(sys.argv[1]))[0]
cost = np.array(program["cost"])
bounds = np.array([program["least_pct"], program["most_pct"]]).T
upper, limits = [np.ones(len(cost)), -np.ones(len(cost))], [program["load_pct"][1], -program["load_pct"][0]]
for row, low, high in zip(program["rows"], program["low"], program["high"]):
    if high is not None:
        upper.append(np.array(row))
        limits.append(high)
    if low is not None:
        upper.append(-np.array(row))
        limits.append(-low)
upper, limits = np.array(upper), np.array(limits)

sets = [list(s) for k in (1, 2, 3) for s in itertools.combinations(range(len(cost)), k)]
cut = [(cost[s], upper[:, s], bounds[s]) for s in sets]
start = time.perf_counter()
results = [linprog(c, A_ub=a, b_ub=limits, bounds=b, method="highs") for c, a, b in cut]
taken = time.perf_counter() - start
best = min((r.fun, s) for r, s in zip(results, sets) if r.status == 0)
feasible = sum(r.status == 0 for r in results)
print(f"{len(sets)} programs, {feasible} feasible, least cost {best[0]:.9f} with {best[1]}: {taken:.2f} s")
