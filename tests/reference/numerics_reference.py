"""Reference numbers for the numerical building blocks (NumPy + SciPy).

Run:  python3 numerics_reference.py      writes numerics.json beside itself.

D[p,q] = (M_{p-3,3} / M_{q-3,3})^(1/(p-q)), where M_{k,3} is the integral of x^k dQ3.  null = diverges.
Fits are on Q3 as a fraction; R2 = 1 - SSE/SST about the mean of Q3, rmse_pct = 100 sqrt(SSE/N).
The linearised fits leave out points with Q3 <= 0 or >= 1 when fitting, but R2 and rmse are on Q3 over all
the points (with Gates-Gaudin-Schuhmann capped at 1).
"""
import json
import math
import os
import sys

import numpy as np
import scipy
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq, least_squares, minimize_scalar
from scipy.special import gamma, gammaincinv, ndtr, ndtri

PCT = (5, 10, 16, 25, 50, 75, 84, 90, 95, 99)
PQ = ((1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3))


def dpq(mom, pairs):
    out = {}
    for p, q in pairs:
        a, b = mom(p - 3), mom(q - 3)
        ok = a is not None and b is not None
        out["d%d_%d_um" % (p, q)] = (a / b) ** (1 / (p - q)) if ok else None
    return out


# ------------------------------------------------------------- pchip
def pchip_sets():
    sets = [
        ("with a flat segment", [1, 2, 4, 5, 7, 8], [0.0, 0.1, 0.45, 0.45, 0.9, 1.0]),
        ("non-uniform abscissae", [math.log(v) for v in (5, 6, 20, 22, 90, 100, 400, 1000)],
         [0.0, 0.02, 0.05, 0.30, 0.42, 0.80, 0.985, 1.0]),
        ("two points", [math.log(125), math.log(250)], [0.0, 1.0]),
    ]
    out = []
    for name, x, y in sets:
        p = PchipInterpolator(x, y)
        d = p.derivative()
        e = np.linspace(x[0], x[-1], 9)
        extra = [x[0] + 0.013 * (x[-1] - x[0]), x[-1] - 0.021 * (x[-1] - x[0]), x[0] + 0.437 * (x[-1] - x[0])]
        at = sorted(set([float(v) for v in e] + extra + [float(v) for v in x]))
        slopes = [float(d(v)) for v in x]
        out.append(dict(name=name, x=[float(v) for v in x], y=y, slopes_at_knots=slopes,
                        at=[dict(x=v, y=float(p(v)), dy=float(d(v))) for v in at]))
    return out


# ------------------------------------------------------------- laws
def lognormal():
    out = []
    for d50, gsd in ((5.0, math.exp(0.5)), (45.0, 1.6), (100.0, 1.5), (400.0, 1.1), (20.0, 2.8)):
        s = math.log(gsd)
        mom = lambda k: d50 ** k * math.exp(k * k * s * s / 2)
        e = dict(d50_um=d50, gsd=gsd)
        e["cdf"] = [dict(x_um=f * d50, q3=float(ndtr(math.log(f) / s))) for f in (0.2, 0.5, 0.9, 1.0, 1.3, 2.0, 4.0)]
        e["quantile"] = [dict(q3=q / 100, x_um=d50 * math.exp(s * float(ndtri(q / 100)))) for q in PCT]
        e["moments"] = [dict(k=k, value=mom(k)) for k in (-3, -2, -1, 1, 2)]
        e.update(dpq(mom, ((1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3))))
        e["number_median_um"] = d50 * math.exp(-3 * s * s)
        # check the closed form by quadrature
        u0 = math.log(d50)
        for k in (-3, -2, -1, 1, 2):
            c = k * s * s
            num = quad(lambda u: math.exp(k * (u0 + u) - (u / s) ** 2 / 2) / (s * math.sqrt(2 * math.pi)), c - 12 * s, c + 12 * s,
                       epsabs=0, epsrel=1e-12, limit=400)[0]
            assert abs(num / mom(k) - 1) < 1e-9
        out.append(e)
    return out


def rosin_rammler():
    out = []
    for size, n in ((120.0, 0.8), (120.0, 1.5), (85.0, 2.2), (200.0, 4.0)):
        mom = lambda k: size ** k * float(gamma(1 + k / n)) if k > -n else None
        e = dict(size_um=size, exponent=n)
        e["cdf"] = [dict(x_um=f * size, q3=-math.expm1(-f ** n)) for f in (0.05, 0.2, 0.5, 1.0, 1.5, 3.0)]
        e["quantile"] = [dict(q3=q / 100, x_um=size * (-math.log1p(-q / 100)) ** (1 / n)) for q in PCT]
        e.update(dpq(mom, PQ))
        e["number_median_um"] = size * float(gammaincinv(1 - 3 / n, 0.5)) ** (1 / n) if n > 3 else None
        if n > 3:  # check: half the number below the median
            f = lambda u: math.exp(-3 * u + n * u - math.exp(n * u))
            m = math.log(e["number_median_um"] / size)
            lo, hi = quad(f, -60, m, epsrel=1e-11, limit=500, points=[-5, -1])[0], quad(f, m, 2, epsrel=1e-11)[0]
            assert abs(lo / hi - 1) < 1e-7, (lo, hi)
        out.append(e)
    return out


def ggs():
    out = []
    for k0, m in ((250.0, 0.7), (250.0, 1.3), (180.0, 4.5)):
        mom = lambda k: k0 ** k * m / (m + k) if k > -m else None
        e = dict(size_um=k0, exponent=m)
        e["cdf"] = [dict(x_um=f * k0, q3=min(1.0, f ** m)) for f in (0.05, 0.2, 0.5, 0.9, 1.0, 1.5)]
        e["quantile"] = [dict(q3=q / 100, x_um=k0 * (q / 100) ** (1 / m)) for q in PCT]
        e.update(dpq(mom, PQ))
        e["number_median_um"] = k0 * 0.5 ** (1 / (m - 3)) if m > 3 else None
        out.append(e)
    return out


# ------------------------------------------------------------- measured tables
def tables():
    out = []
    sets = [
        ("seven sieves", [22.5, 45.0, 75.0, 106.0, 150.0, 212.0, 300.0, 425.0],
         [0.0, 0.013, 0.062, 0.171, 0.452, 0.793, 0.964, 1.0]),
        ("empty class in the middle", [20.0, 38.0, 63.0, 90.0, 125.0, 180.0, 250.0, 355.0],
         [0.0, 0.11, 0.34, 0.47, 0.47, 0.66, 0.93, 1.0]),
    ]
    for name, x, q in sets:
        u = np.log(x)
        p = PchipInterpolator(u, q)
        d = p.derivative()

        def part(k, a, b):
            return quad(lambda v: math.exp(k * v) * float(d(v)), a, b, epsabs=0, epsrel=1e-12, limit=200)[0] if b > a else 0.0

        def upto(k, top):
            tot = 0.0
            for i, (a, b) in enumerate(zip(u[:-1], u[1:])):
                if a >= top:
                    break
                if q[i + 1] > q[i]:
                    tot += part(k, a, min(b, top))
            return tot

        mom = lambda k: upto(k, u[-1])
        e = dict(name=name, knots_um=x, q3=q, moments=[dict(k=k, value=mom(k)) for k in (-3, -2, -1, 0, 1)])
        e.update(dpq(mom, PQ))
        tot = mom(-3)
        e["number_median_um"] = math.exp(brentq(lambda v: upto(-3, v) / tot - 0.5, u[0], u[-1], xtol=1e-13))
        e["percentiles"] = {"d%d_um" % c: math.exp(brentq(lambda v: float(p(v)) - c / 100, u[0], u[-1], xtol=1e-14, rtol=1e-15)) for c in PCT}
        out.append(e)
    return out


# ------------------------------------------------------------- fits
def q_ln(x, a, b):
    return ndtr(np.log(x / a) / math.log(b))


def q_rr(x, a, b):
    return -np.expm1(-(x / a) ** b)


def q_ggs(x, a, b):
    return np.minimum(1.0, (x / a) ** b)


def score(q, y):
    sse = float(np.sum((q - y) ** 2))
    return dict(r2=1 - sse / float(np.sum((y - np.mean(y)) ** 2)), rmse_pct=100 * math.sqrt(sse / len(y)), sse=sse)


def nls(f, x, y, starts, second_log_of_log=False):
    """Parameters as ln a and ln b (for the log-normal ln ln gsd); best of several starts."""
    b_of = (lambda t: math.exp(math.exp(t))) if second_log_of_log else math.exp
    best = None
    for a, b in starts:
        t0 = [math.log(a), math.log(math.log(b)) if second_log_of_log else math.log(b)]
        r = least_squares(lambda t: f(x, math.exp(t[0]), b_of(t[1])) - y, t0, xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=20000)
        if best is None or r.cost < best.cost:
            best = r
    return math.exp(best.x[0]), b_of(best.x[1]), best


def nls_ggs(x, y):
    """Global: profile over ln k (dense grid, then golden section round the best cells), inner search over ln m.
    The cap makes the surface piecewise smooth, with a kink wherever k passes a point."""
    grid = np.linspace(math.log(0.01), math.log(20), 400)

    def inner(lk):
        r = np.minimum(1.0, np.exp(np.outer(np.exp(grid), np.log(x) - lk))) - y
        s = np.sum(r * r, axis=1)
        j = int(np.argmin(s))
        o = minimize_scalar(lambda t: float(np.sum((q_ggs(x, math.exp(lk), math.exp(t)) - y) ** 2)),
                            bounds=(grid[max(j - 1, 0)], grid[min(j + 1, len(grid) - 1)]), method="bounded", options=dict(xatol=1e-13))
        return float(o.fun), float(o.x)

    lk = np.linspace(math.log(x[0]), math.log(x[-1]) + 3, 1500)
    lk = np.unique(np.concatenate([lk, np.log(x)]))
    v = np.array([inner(t)[0] for t in lk])
    best = None
    for j in np.argsort(v)[:8]:
        for a, b in ((lk[max(j - 1, 0)], lk[j]), (lk[j], lk[min(j + 1, len(lk) - 1)])):
            if b <= a:
                continue
            o = minimize_scalar(lambda t: inner(t)[0], bounds=(a, b), method="bounded", options=dict(xatol=1e-13))
            if best is None or o.fun < best[0]:
                best = (float(o.fun), float(o.x))
    for t in np.log(x):
        s = inner(t)
        if s[0] < best[0]:
            best = (s[0], float(t))
    k, m = math.exp(best[1]), math.exp(inner(best[1])[1])
    # several starts of a local search, then keep the best of everything
    for k0 in np.geomspace(x[0] * 2, x[-1] * 8, 25):
        for m0 in (0.3, 0.6, 1.0, 1.8, 3.0):
            a, b, r = nls(q_ggs, x, y, [(k0, m0)])
            if 2 * r.cost < float(np.sum((q_ggs(x, k, m) - y) ** 2)):
                k, m = a, b
    return k, m


def ols(t, z):
    b = float(np.sum((t - t.mean()) * (z - z.mean())) / np.sum((t - t.mean()) ** 2))
    return float(z.mean() - b * t.mean()), b


def fit_all(name, unit, x, y):
    x, y = np.array(x, float), np.array(y, float)
    med = float(np.exp(np.interp(0.5, y, np.log(x))))
    e = dict(name=name, size_unit=unit, size=[float(v) for v in x], q3=[float(v) for v in y], nonlinear={}, linearised={})
    a, b, _ = nls(q_ln, x, y, [(med * f, g) for f in (0.5, 1, 2) for g in (1.2, 1.6, 2.5, 8.0)], True)
    e["nonlinear"]["log_normal"] = dict(median=a, gsd=b, **score(q_ln(x, a, b), y))
    a, b, _ = nls(q_rr, x, y, [(med * f, g) for f in (0.7, 1.4, 3) for g in (0.5, 1, 2, 4)])
    e["nonlinear"]["rosin_rammler"] = dict(size=a, exponent=b, **score(q_rr(x, a, b), y))
    a, b = nls_ggs(x, y)
    e["nonlinear"]["gates_gaudin_schuhmann"] = dict(size=a, exponent=b, **score(q_ggs(x, a, b), y))
    ok = (y > 0) & (y < 1)
    t, v = np.log(x[ok]), y[ok]
    i, s = ols(t, ndtri(v))
    a, b = math.exp(-i / s), math.exp(1 / s)
    e["linearised"]["log_normal"] = dict(median=a, gsd=b, **score(q_ln(x, a, b), y))
    i, s = ols(t, np.log(-np.log1p(-v)))
    a = math.exp(-i / s)
    e["linearised"]["rosin_rammler"] = dict(size=a, exponent=s, **score(q_rr(x, a, s), y))
    i, s = ols(t, np.log(v))
    a = math.exp(-i / s)
    e["linearised"]["gates_gaudin_schuhmann"] = dict(size=a, exponent=s, **score(q_ggs(x, a, s), y))
    return e


def fits():
    xa = [0.08, 0.5, 1.25, 2, 4, 6.3, 8, 12.5, 16, 40]
    ra = [95.61, 87.71, 82.45, 79.78, 73.28, 66.98, 63.21, 55.4, 49.91, 23.95]
    out = [fit_all("published exercise (Brezani 2011)", "mm", xa, [(100 - r) / 100 for r in ra])]
    rng = np.random.default_rng(20240117)
    x = np.array([20, 32, 45, 63, 90, 125, 180, 250, 355, 500], float)
    y = q_ln(x, 95.0, 1.75) + rng.normal(0, 0.012, len(x))
    y = np.round(np.maximum.accumulate(np.clip(y, 0, 1)), 4)
    y[-1] = 1.0
    out.append(fit_all("synthetic log-normal with noise, top at 1", "um", x, y))
    x = np.array([38, 53, 75, 106, 150, 212, 300, 425, 600, 850], float)
    y = q_ggs(x, 560.0, 1.25) + rng.normal(0, 0.01, len(x)) * (x < 560)
    y = np.round(np.maximum.accumulate(np.clip(y, 0, 1)), 4)
    y = np.concatenate([[0.0], y])
    x = np.concatenate([[19.0], x])
    out.append(fit_all("synthetic Gates-Gaudin-Schuhmann with noise, a zero and ones", "um", x, y))
    return out


def main():
    doc = dict(about="Reference numbers for the numerical building blocks, made by numerics_reference.py.",
               versions=dict(python=sys.version.split()[0], numpy=np.__version__, scipy=scipy.__version__),
               pchip=pchip_sets(), log_normal=lognormal(), rosin_rammler=rosin_rammler(), gates_gaudin_schuhmann=ggs(),
               tables=tables(), fits=fits())
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "numerics.json")
    with open(path, "w") as fh:
        json.dump(doc, fh, indent=1, ensure_ascii=True, allow_nan=False)
        fh.write("\n")
    for f in doc["fits"]:
        print(f["name"])
        for k in ("nonlinear", "linearised"):
            for law, v in f[k].items():
                print("  %-10s %-24s %s" % (k, law, v))


if __name__ == "__main__":
    main()
