"""Reference numbers for the panel statistics (NumPy, SciPy, statsmodels, pandas).

Run:  python3 panel_reference.py      writes panel.json beside itself.

ranks     scipy.stats.spearmanr, kendalltau (tau-b), friedmanchisquare, and permutation_test for the exact Spearman p
mixed     statsmodels MixedLM by REML: value ~ block dummies + x, random intercept per group; the mean over blocks at an x
          and its variance by generalised least squares at the variances found
ordinal   cumulative logit: statsmodels OrderedModel without a random effect; with one, the marginal likelihood integrated by
          60-point Gauss-Hermite quadrature, maximised by SciPy under the same weak priors
"""
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
        p = float(s.pvalue)
        if not tie and len(x) <= 9:
            test = stats.permutation_test((x,), lambda v: stats.spearmanr(v, y).statistic, permutation_type="pairings",
                                          n_resamples=np.inf)
            p = float(test.pvalue)
        out.append(dict(name=name, x=x, y=y, rho=float(s.statistic), rho_p=p, tau=float(k.statistic), tau_p=float(k.pvalue)))
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


def mixed_case(name, blocks, x, keep, group_sd, noise_sd, slope=0.6):
    groups = len(x)
    u, s = RNG.normal(0, 0.4, blocks), RNG.normal(0, group_sd, groups)
    cells = [(b, g) for b in range(blocks) for g in range(groups) if keep(b, g)]
    rows = [dict(block=b, group=g, value=round(0.5 + u[b] + slope * x[g] + s[g] + RNG.normal(0, noise_sd), 4)) for b, g in cells]
    d = pd.DataFrame(rows)
    d["x"] = [x[g] for g in d["group"]]
    m = smf.mixedlm("value ~ C(block) + x", d, groups=d["group"]).fit(reml=True, method=["powell"])
    # Refined: the REML deviance over the variance ratio alone.
    X = np.column_stack([(d["block"] == b).astype(float) for b in sorted(d["block"].unique())] + [d["x"]])
    y, Z = d["value"].to_numpy(), np.column_stack([(d["group"] == g).astype(float) for g in range(groups)])

    def solve(theta):
        V = np.eye(len(y)) + theta * Z @ Z.T
        W = np.linalg.inv(V)
        C = np.linalg.inv(X.T @ W @ X)
        b = C @ X.T @ W @ y
        r = y - X @ b
        return b, C, float(r @ W @ r), V

    def deviance(t):
        b, C, rss, V = solve(np.exp(t))
        return (len(y) - X.shape[1]) * np.log(rss) + np.linalg.slogdet(V)[1] - np.linalg.slogdet(C)[1]

    t = optimize.minimize_scalar(deviance, bounds=(-12, 6), method="bounded", options=dict(xatol=1e-12)).x
    theta = np.exp(t)
    zero = solve(0.0)
    dev0 = (len(y) - X.shape[1]) * np.log(zero[2]) - np.linalg.slogdet(zero[1])[1]
    if dev0 <= deviance(t):
        theta = 0.0
    b, C, rss, _ = solve(theta)
    scale = rss / (len(y) - X.shape[1])
    assert abs(m.params["x"] / b[-1] - 1) < 2e-3, (m.params["x"], b[-1])
    if theta > 0:
        assert abs(m.bse["x"] / np.sqrt(scale * C[-1, -1]) - 1) < 2e-2
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


def ordinal_case(name, blocks, x, cuts, slope, sd):
    u = RNG.normal(0, sd, blocks)
    rows = []
    for b in range(blocks):
        for v in x:
            latent = slope * v + u[b] + RNG.logistic()
            rows.append((b, v, int(np.searchsorted(cuts, latent))))
    seen = sorted({r[2] for r in rows})
    rows = [(b, v, seen.index(k)) for b, v, k in rows]
    B, X, K = (np.array(c) for c in zip(*rows))
    k = K.max()
    mean, spread = X.mean(), X.std()
    S = (X - mean) / spread
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / np.sqrt(2 * np.pi)

    def nll(p, with_sd, priors):
        th = np.concatenate([[p[0]], p[0] + np.cumsum(np.exp(p[1:k]))])
        b, s = p[k], p[k + 1] if with_sd else 0.0
        edges = np.concatenate([[-np.inf], th, [np.inf]])
        eta = b * S[:, None] + s * nodes[None, :]
        cdf = lambda e: 1 / (1 + np.exp(-(e[:, None] - eta)))
        pr = cdf(edges[K + 1]) - cdf(edges[K])
        total = 0.0
        for j in range(blocks):
            total += np.log(np.sum(weights * np.exp(np.sum(np.log(pr[B == j]), axis=0))))
        return -total + (0.5 * ((b / 5) ** 2 + (s / 3) ** 2) if priors else 0.0)

    def best(with_sd, priors):
        start = np.concatenate([[-2.0], np.zeros(k - 1), [1.0], [1.0] if with_sd else []])
        r = optimize.minimize(nll, start, args=(with_sd, priors), method="BFGS", options=dict(gtol=1e-7, maxiter=5000))
        r = optimize.minimize(nll, r.x, args=(with_sd, priors), method="Nelder-Mead",
                              options=dict(xatol=1e-9, fatol=1e-12, maxiter=40000, maxfev=40000))
        th = np.concatenate([[r.x[0]], r.x[0] + np.cumsum(np.exp(r.x[1:k]))])
        return r, th

    from statsmodels.miscmodels.ordinal_model import OrderedModel
    om = OrderedModel(K, S[:, None], distr="logit").fit(method="bfgs", disp=False, maxiter=5000, gtol=1e-9)
    plain, _ = best(False, False)
    assert abs(om.llf + plain.fun) < 1e-6 and abs(om.params[0] / plain.x[k] - 1) < 1e-4
    r, th = best(True, True)
    b = r.x[k] / spread
    return dict(name=name, ratings=[[int(a), float(v), int(c)] for a, v, c in rows], slope=float(b),
                thresholds=[float(t + b * mean) for t in th], block_sd=float(abs(r.x[k + 1])),
                log_likelihood=float(-nll(r.x, True, False)))


def ordinal():
    x = [3.98, 4.41, 4.79, 5.25, 5.9, 6.46]
    return [
        ordinal_case("five categories", 8, x, [9.0, 10.5, 12.5, 14.0], 2.2, 1.0),
        ordinal_case("three categories", 12, x, [10.0, 12.0], 2.0, 0.8),
    ]


def main():
    doc = dict(about="Reference numbers for the panel statistics, made by panel_reference.py.",
               versions=dict(python=sys.version.split()[0], numpy=np.__version__, scipy=scipy.__version__,
                             statsmodels=statsmodels.__version__),
               ranks=ranks(), concordance=concordance(), mixed=mixed(), ordinal=ordinal())
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "panel.json"), "w") as fh:
        json.dump(doc, fh, indent=1, allow_nan=False)
        fh.write("\n")


if __name__ == "__main__":
    main()
