"""Reference numbers for the panel statistics (NumPy, SciPy, statsmodels, pandas).

Run:  python3 panel_reference.py      writes panel.json beside itself.

ranks     scipy.stats.spearmanr, kendalltau (tau-b), friedmanchisquare, permutation_test for the exact Spearman p, all orders counted where values are tied
mixed     statsmodels MixedLM by REML: value ~ block dummies + x, random intercept per group; the mean over blocks at an x
          and its variance by generalised least squares at the variances found
crossed   statsmodels MixedLM by REML: value ~ block dummies + day dummies + x, random intercept per group; days also by OLS
ordinal   cumulative logit: statsmodels OrderedModel without a random effect; with one, the marginal likelihood integrated by
          60-point Gauss-Hermite quadrature, maximised by SciPy under the same weak priors
"""
import itertools
import json
import os
import sys
import warnings

import numpy as np
import pandas as pd
import scipy
import statsmodels
import statsmodels.formula.api as smf
from scipy import optimize, stats

warnings.filterwarnings("ignore")
RNG = np.random.default_rng(20261125)
# Of their own, so that the older cases keep their numbers.
DAYS = np.random.default_rng(20261130)


def orders(rx, ry):
    """Shares of all orders whose sum of rank products, and whose pairs in order less those out of order, lie as far from 0 association."""
    n = len(rx)
    product = lambda o: abs(sum(a * b for a, b in zip(rx, o)) - n * ((n + 1) / 2) ** 2)
    pairs = lambda o: abs(sum(np.sign(rx[i] - rx[j]) * np.sign(o[i] - o[j]) for i in range(n) for j in range(i)))
    every = list(itertools.permutations(ry))
    return [sum(of(o) >= of(ry) - 1e-9 for o in every) / len(every) for of in (product, pairs)]


def ranks():
    sets = [
        ("no ties, five", [53.7, 191, 82, 640, 120], [2.1, 5.2, 2.6, 8.0, 3.1]),
        ("no ties, eight", [1, 2, 3, 4, 5, 6, 7, 8], [3, 1, 4, 2, 7, 5, 8, 6]),
        ("ties on one side", [1, 2, 3, 4, 5, 6, 7], [2, 2, 3, 3, 3, 5, 4]),
        ("ties on both sides", [1, 1, 2, 3, 3, 3, 4, 5, 6, 6], [1, 2, 2, 4, 3, 3, 5, 5, 5, 7]),
        ("twelve without ties", list(range(12)), [0, 3, 1, 2, 6, 5, 4, 9, 7, 11, 8, 10]),
        ("forty without ties", list(range(40)), [float(v) for v in np.argsort(RNG.normal(size=40) + 0.03 * np.arange(40))]),
    ]
    out = []
    for name, x, y in sets:
        tie = len(set(x)) < len(x) or len(set(y)) < len(y)
        s, k = stats.spearmanr(x, y), stats.kendalltau(x, y)
        p, p_tau = float(s.pvalue), float(k.pvalue)
        if tie and len(x) <= 8:
            p, p_tau = orders(stats.rankdata(x), stats.rankdata(y))
        if not tie and len(x) <= 9:
            test = stats.permutation_test((x,), lambda v: stats.spearmanr(v, y).statistic, permutation_type="pairings",
                                          n_resamples=np.inf)
            p = float(test.pvalue)
        out.append(dict(name=name, x=x, y=y, rho=float(s.statistic), rho_p=p, tau=float(k.statistic), tau_p=p_tau))
    return out


def concordance():
    out = []
    for name, rows in [
        ("three judges, six things", [[1, 6, 3, 2, 5, 4], [1, 5, 6, 4, 2, 3], [6, 3, 2, 5, 4, 1]]),
        ("four judges with ties", [[2, 2, 5, 7, 7], [1, 3, 3, 8, 9], [2, 4, 4, 4, 6], [3, 1, 5, 5, 8]]),
    ]:
        m, n = len(rows), len(rows[0])
        f = stats.friedmanchisquare(*[list(c) for c in zip(*rows)])
        out.append(dict(name=name, rows=rows, w=float(f.statistic) / (m * (n - 1)), p=float(f.pvalue)))
    return out


def refined(m, d, X, groups):
    """The REML deviance over the variance ratio alone, minimised further than statsmodels' fit m does, and held against it; the
    last column of X is x."""
    y, Z = d["value"].to_numpy(), np.column_stack([(d["group"] == g).astype(float) for g in range(groups)])

    def solve(theta):
        V = np.eye(len(y)) + theta * Z @ Z.T
        W = np.linalg.inv(V)
        C = np.linalg.inv(X.T @ W @ X)
        b = C @ X.T @ W @ y
        r = y - X @ b
        return b, C, float(r @ W @ r), V

    def deviance(theta):
        b, C, rss, V = solve(theta)
        return (len(y) - X.shape[1]) * np.log(rss) + np.linalg.slogdet(V)[1] - np.linalg.slogdet(C)[1]

    t = optimize.minimize_scalar(lambda t: deviance(np.exp(t)), bounds=(-12, 6), method="bounded", options=dict(xatol=1e-12)).x
    theta = np.exp(t) if deviance(0.0) > deviance(np.exp(t)) else 0.0
    b, C, rss, _ = solve(theta)
    scale = rss / (len(y) - X.shape[1])
    assert abs(m.params["x"] / b[-1] - 1) < 2e-3, (m.params["x"], b[-1])
    if theta > 0:
        assert abs(m.bse["x"] / np.sqrt(scale * C[-1, -1]) - 1) < 2e-2
    return b, C, scale, theta


def day_levels(d):
    """Ordinary least squares of block, group and day dummies: every day's effect less the mean of them."""
    m = smf.ols("value ~ C(block) + C(group) + C(day)", d).fit()
    days = sorted(d["day"].unique())
    e = np.array([0.0] + [m.params[f"C(day)[T.{k}]"] for k in days[1:]])
    return [float(v) for v in e - e.mean()]


def crossed_case(name, blocks, days, x, day_of, day_sd, group_sd, noise_sd, slope=0.55):
    """Blocks and days crossed, both fixed; groups random. day_of gives the days on which a block has a value of a group."""
    groups = len(x)
    u, v, s = DAYS.normal(0, 0.4, blocks), DAYS.normal(0, day_sd, days), DAYS.normal(0, group_sd, groups)
    rows = [dict(block=b, group=g, day=k, value=round(0.5 + u[b] + v[k] + slope * x[g] + s[g] + DAYS.normal(0, noise_sd), 4))
            for b in range(blocks) for g in range(groups) for k in day_of(b, g)]
    d = pd.DataFrame(rows)
    d["x"] = [x[g] for g in d["group"]]
    m = smf.mixedlm("value ~ C(block) + C(day) + x", d, groups=d["group"]).fit(reml=True, method=["powell"])
    dummies = [(d["block"] == b).astype(float) for b in range(blocks)] + [(d["day"] == k).astype(float) for k in range(1, days)]
    b, C, scale, theta = refined(m, d, np.column_stack(dummies + [d["x"]]), groups)
    # The mean over all sessions that there were, at an x.
    sessions = {(r["block"], r["day"]) for r in rows}
    at = 0.5 * (min(x) + max(x))
    c = np.zeros(len(b))
    for block, day in sessions:
        c[block] += 1 / len(sessions)
        if day > 0:
            c[blocks + day - 1] += 1 / len(sessions)
    c[-1] = at
    return dict(name=name, blocks=blocks, days=days, x=x, cells=[[r["block"], r["group"], r["value"], r["day"]] for r in rows],
                slope=float(b[-1]), slope_se=float(np.sqrt(scale * C[-1, -1])), group_var=float(theta * scale),
                noise_var=float(scale), statsmodels=dict(slope=float(m.params["x"]), slope_se=float(m.bse["x"])),
                at=at, mean=float(c @ b), mean_var=float(scale * c @ C @ c), day_levels=day_levels(d))


def crossed():
    x = [3.98, 4.41, 4.79, 5.25, 5.9, 6.46]
    return [
        crossed_case("Latin square, one scrub a day", 6, 6, x, lambda b, g: [(b + g) % 6], 0.3, 0.15, 0.2),
        crossed_case("harsh scrubs on the second day, one on both", 6, 2, x,
                     lambda b, g: [0, 1] if g == 2 else [int(g > 2)], 0.3, 0.2, 0.15),
    ]


def mixed_case(name, blocks, x, keep, group_sd, noise_sd, slope=0.6):
    groups = len(x)
    u, s = RNG.normal(0, 0.4, blocks), RNG.normal(0, group_sd, groups)
    cells = [(b, g) for b in range(blocks) for g in range(groups) if keep(b, g)]
    rows = [dict(block=b, group=g, value=round(0.5 + u[b] + slope * x[g] + s[g] + RNG.normal(0, noise_sd), 4)) for b, g in cells]
    d = pd.DataFrame(rows)
    d["x"] = [x[g] for g in d["group"]]
    m = smf.mixedlm("value ~ C(block) + x", d, groups=d["group"]).fit(reml=True, method=["powell"])
    X = np.column_stack([(d["block"] == b).astype(float) for b in sorted(d["block"].unique())] + [d["x"]])
    b, C, scale, theta = refined(m, d, X, groups)
    at = 0.5 * (min(x) + max(x))
    used = X.shape[1] - 1
    c = np.array([1.0 / used] * used + [at])
    return dict(name=name, blocks=blocks, groups=groups, x=x, cells=[[r["block"], r["group"], r["value"]] for r in rows],
                slope=float(b[-1]), slope_se=float(np.sqrt(scale * C[-1, -1])), group_var=float(theta * scale),
                noise_var=float(scale), statsmodels=dict(slope=float(m.params["x"]), slope_se=float(m.bse["x"]),
                group_var=float(m.cov_re.iloc[0, 0]), noise_var=float(m.scale)),
                at=at, mean=float(c @ b), mean_var=float(scale * c @ C @ c))


def mixed():
    x = [3.98, 4.41, 4.79, 5.25, 5.9, 6.46]
    return [
        mixed_case("full", 5, x, lambda b, g: True, 0.2, 0.25),
        mixed_case("a third missing", 7, x, lambda b, g: (2 * b + g) % 3 != 1, 0.25, 0.2),
        mixed_case("no deviation of groups", 6, x, lambda b, g: (b + g) % 5 != 0, 0.0, 0.4),
    ]


def ordinal_case(name, blocks, x, cuts, slope, sd, rng=RNG, day_of=None, day_shift=(0.0,)):
    u = rng.normal(0, sd, blocks)
    rows = []
    for b in range(blocks):
        for g, v in enumerate(x):
            day = day_of(b, g) if day_of else 0
            latent = slope * v + u[b] + day_shift[day] + rng.logistic()
            rows.append((b, v, int(np.searchsorted(cuts, latent)), day))
    seen = sorted({r[2] for r in rows})
    rows = [(b, v, seen.index(k), day) for b, v, k, day in rows]
    B, X, K, D = (np.array(c) for c in zip(*rows))
    k, later = K.max(), len(day_shift) - 1
    mean, spread = X.mean(), X.std()
    S = (X - mean) / spread
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / np.sqrt(2 * np.pi)

    def nll(p, with_sd, priors):
        th = np.concatenate([[p[0]], p[0] + np.cumsum(np.exp(p[1:k]))])
        b, s = p[k], p[k + 1] if with_sd else 0.0
        days = np.concatenate([[0.0], p[k + 1 + int(with_sd):]])
        edges = np.concatenate([[-np.inf], th, [np.inf]])
        eta = b * S[:, None] + days[D][:, None] + s * nodes[None, :]
        cdf = lambda e: 1 / (1 + np.exp(-(e[:, None] - eta)))
        pr = cdf(edges[K + 1]) - cdf(edges[K])
        total = 0.0
        for j in range(blocks):
            total += np.log(np.sum(weights * np.exp(np.sum(np.log(pr[B == j]), axis=0))))
        return -total + (0.5 * ((b / 5) ** 2 + (s / 3) ** 2 + np.sum((days / 5) ** 2)) if priors else 0.0)

    def best(with_sd, priors):
        start = np.concatenate([[-2.0], np.zeros(k - 1), [1.0], [1.0] if with_sd else [], np.zeros(later)])
        r = optimize.minimize(nll, start, args=(with_sd, priors), method="BFGS", options=dict(gtol=1e-7, maxiter=5000))
        r = optimize.minimize(nll, r.x, args=(with_sd, priors), method="Nelder-Mead",
                              options=dict(xatol=1e-9, fatol=1e-12, maxiter=40000, maxfev=40000))
        th = np.concatenate([[r.x[0]], r.x[0] + np.cumsum(np.exp(r.x[1:k]))])
        return r, th

    from statsmodels.miscmodels.ordinal_model import OrderedModel
    design = np.column_stack([S] + [(D == day).astype(float) for day in range(1, later + 1)])
    om = OrderedModel(K, design, distr="logit").fit(method="bfgs", disp=False, maxiter=5000, gtol=1e-9)
    plain, _ = best(False, False)
    assert abs(om.llf + plain.fun) < 1e-6 and abs(om.params[0] / plain.x[k] - 1) < 1e-4
    r, th = best(True, True)
    b = r.x[k] / spread
    mean_day = np.sum(r.x[k + 2:]) / (later + 1)
    return dict(name=name, ratings=[[int(a), float(v), int(c), int(day)] for a, v, c, day in rows], slope=float(b),
                thresholds=[float(t + b * mean - mean_day) for t in th], block_sd=float(abs(r.x[k + 1])),
                log_likelihood=float(-nll(r.x, True, False)))


def ordinal():
    x = [3.98, 4.41, 4.79, 5.25, 5.9, 6.46]
    return [
        ordinal_case("five categories", 8, x, [9.0, 10.5, 12.5, 14.0], 2.2, 1.0),
        ordinal_case("three categories", 12, x, [10.0, 12.0], 2.0, 0.8),
        ordinal_case("harsh scrubs on later days", 9, x, [9.5, 11.0, 13.0], 2.0, 0.8, DAYS,
                     lambda b, g: (g + b % 3) // 3, (0.0, 1.2, 0.4)),
    ]


def main():
    doc = dict(about="Reference numbers for the panel statistics, made by panel_reference.py.",
               versions=dict(python=sys.version.split()[0], numpy=np.__version__, scipy=scipy.__version__,
                             statsmodels=statsmodels.__version__),
               ranks=ranks(), concordance=concordance(), mixed=mixed(), crossed=crossed(), ordinal=ordinal())
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "panel.json"), "w") as fh:
        json.dump(doc, fh, indent=1, allow_nan=False)
        fh.write("\n")


if __name__ == "__main__":
    main()
