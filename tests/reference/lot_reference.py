"""Student's t and the interval of three values, as the tests of `src/numerics/student.rs` have them (SciPy).

Run:  python3 lot_reference.py      prints them.
"""
import numpy as np
from scipy import stats

for p, freedom in ((0.975, 1), (0.975, 2), (0.975, 4), (0.975, 9), (0.95, 5), (0.995, 2), (0.995, 29), (0.9, 3)):
    print(f"t quantile {p} with {freedom} degrees of freedom: {stats.t.ppf(p, freedom)!r}")
values = [163.9, 166.2, 161.5]
print("coefficient of variation, %:", 100 * np.std(values, ddof=1) / np.mean(values))
print("95 % interval:", stats.t.interval(0.95, 2, loc=np.mean(values), scale=stats.sem(values)))
